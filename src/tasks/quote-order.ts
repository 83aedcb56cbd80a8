import { type Quote, quotePieces } from '../job/index.ts';
import type { TaskContext } from './context.ts';
import type { PlannedPiece } from './plan-pieces.ts';
import { readPrices } from './prices.ts';

/**
 * What pieces would cost as one order by the shop's list, before they are made; undefined without a list or a piece.
 * Pieces that cannot be planned cost nothing.
 * @param pieces each with the time that it takes on its machine, s
 * @throws AppError those of `readPrices`
 */
export function quoteOrderAhead(
  pieces: readonly { readonly planned: PlannedPiece; readonly seconds: number }[],
  { shop }: Pick<TaskContext, 'shop'>,
): Quote | undefined {
  const prices = readPrices(undefined, shop);
  const priced = pieces.flatMap(({ planned: { plan, name, count, blank }, seconds }) => {
    if (!('spec' in plan)) return [];
    const { material, machine, size } = plan.spec;
    const { widthMm, heightMm } = size;
    return [{ name, count, blank, seconds, material: material.name, machine: machine.name, widthMm, heightMm }];
  });
  return prices && priced.length > 0 ? quotePieces(priced, prices) : undefined;
}
