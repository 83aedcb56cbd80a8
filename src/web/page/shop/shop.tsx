import { useShop } from '../shop-context.ts';
import { BurnedRecord } from './record.tsx';
import { ShopRecords } from './records.tsx';
import { RestedWarnings } from './rested.tsx';

/** What the shop has and remembers. */
export function ShopScreen({ begin }: { readonly begin?: string | undefined }) {
  const { shop } = useShop();
  return (
    <div class="shop-page">
      <h1>The shop</h1>
      <p class="soft">
        Everything here lies in <code>{shop.folder}</code>, as plain files.
      </p>
      <BurnedRecord />
      <ShopRecords begin={begin} />
      <RestedWarnings />
    </div>
  );
}
