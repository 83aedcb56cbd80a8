import { useState } from 'preact/hooks';
import type { JigFacts, MachineFacts, MaterialFacts } from '../../protocol.ts';
import { sayDiameter, saySize } from '../measure.ts';
import { Button, Icon } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';
import { type FormAsk, RecordForm } from './record-form.tsx';

/** Forms that another screen may ask for, by the word in its address. */
const ASKS: Readonly<Record<string, FormAsk>> = {
  machine: { kind: 'machine', how: 'new' },
  material: { kind: 'material', how: 'new' },
  jig: { kind: 'jig', how: 'new' },
  price: { kind: 'price', from: 'prices', how: 'change' },
};

const LISTS = [
  { kind: 'machine', title: 'Machines', add: 'Add a machine' },
  { kind: 'material', title: 'Materials', add: 'Add a material' },
  { kind: 'jig', title: 'Jigs', add: 'Add a jig' },
] as const;
type RowKind = (typeof LISTS)[number]['kind'];

/** What the shop has: machines, materials, jigs and prices, to be added, changed and copied. */
export function ShopRecords({ begin }: { readonly begin?: string | undefined }) {
  const { shop, unit, go } = useShop();
  const [ask, setAsk] = useState<FormAsk | undefined>(() => ASKS[begin ?? '']);
  const rows = (kind: RowKind, list: readonly (MachineFacts | MaterialFacts | JigFacts)[]) => (
    <ul class="record-list">
      {list.map(({ name, title }) => (
        <li key={name}>
          <span>
            {title}
            <small>{sayFacts(kind, name)}</small>
          </span>
          {kind === 'jig' && (
            <a
              class="button"
              href={`/api/jigs/${name}/drawing`}
              download
              aria-label={`Save the drawing to cut: ${title}`}
            >
              <Icon name="down" />
              <span>To cut</span>
            </a>
          )}
          <Button onClick={() => setAsk({ kind, from: name, how: 'change' })} aria-label={`Change ${title}`}>
            Change
          </Button>
          <Button onClick={() => setAsk({ kind, from: name, how: 'copy' })} aria-label={`Copy ${title}`}>
            Copy
          </Button>
        </li>
      ))}
    </ul>
  );
  const sayFacts = (kind: RowKind, name: string) => {
    const jig = kind === 'jig' ? shop.jigs.find((one) => one.name === name) : undefined;
    if (jig) {
      const pockets = jig.pockets.map(({ count, widthMm, heightMm, round }) => {
        return `${count} of ${round ? sayDiameter(widthMm, unit) : saySize(widthMm, heightMm, unit)}`;
      });
      return `${saySize(jig.widthMm, jig.heightMm, unit)}, pockets: ${pockets.join(', ')}`;
    }
    const machine = kind === 'machine' ? shop.machines.find((one) => one.name === name) : undefined;
    const markedBy = shop.materials.find((one) => one.name === name)?.markedBy.length ?? 0;
    if (machine) return `${saySize(...machine.fieldMm, unit)}, ${machine.wavelengthNm} nm`;
    return markedBy === 1 ? 'marked by 1 machine' : `marked by ${markedBy} machines`;
  };
  if (ask) {
    const { kind, from, how } = ask;
    return (
      <RecordForm
        key={`${kind} ${from ?? ''} ${how}`}
        ask={ask}
        onDone={() => {
          setAsk(undefined);
          if (begin !== undefined) go('/shop');
        }}
      />
    );
  }
  return (
    <>
      {LISTS.map(({ kind, title, add }) => (
        <section key={kind} aria-labelledby={`${kind}s-title`}>
          <h2 id={`${kind}s-title`}>{title}</h2>
          {rows(kind, shop[`${kind}s`])}
          <Button icon="plus" onClick={() => setAsk({ kind, how: 'new' })}>
            {add}
          </Button>
        </section>
      ))}
      <section aria-labelledby="prices-title">
        <h2 id="prices-title">Prices</h2>
        <p class="note">What a minute of the machine, a piece and an order cost; blanks stay as they are.</p>
        <Button icon="plus" onClick={() => setAsk({ kind: 'price', from: 'prices', how: 'change' })}>
          Set the prices
        </Button>
      </section>
    </>
  );
}
