import { type ExpectedOffset, expectOffset, type Machine, parseTwoWay } from '../../machine/index.ts';
import type { Shop } from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import type { BurnSettings } from '../../optics/index.ts';
import type { DotGrid } from '../../plane/index.ts';

/** How lines there and back are brought together in a job. */
export interface TwoWayCorrection extends ExpectedOffset {
  /** Whole dots by which the bitmap's lines that run back are moved to the right. */
  readonly movedDots: number;
  /** What whole dots do not take back, µm. */
  readonly leftUm: number;
}

const roundTo = (value: number, digits: number) => Number(value.toFixed(digits));

/**
 * The shop's offset of lines there and back at the speed of a job; nothing for lines that run one way, or where the
 * shop has measured none.
 * @throws AppError file-invalid
 */
export function resolveTwoWay(
  { settings, grid, machine }: { readonly settings: BurnSettings; readonly grid: DotGrid; readonly machine: Machine },
  shop: Shop,
): { readonly twoWay?: TwoWayCorrection; readonly notices: readonly Notice[] } {
  const isKnown = shop.list('two-way').some(({ name }) => name === machine.name);
  if (settings.scan === 'one-way' || !isKnown) return { notices: [] };
  const { json, path } = shop.read('two-way', machine.name);
  const record = parseTwoWay(json, path);
  const speedMmPerS = roundTo(settings.speedMmPerS, 3);
  const expected = expectOffset(record, settings.speedMmPerS);
  if (!expected) {
    const measured = record.measured.map((one) => roundTo(one.speedMmPerS, 3));
    return { notices: [notice('two-way-speed', { speedMmPerS, measured })] };
  }
  const dotUm = grid.pitchMm * 1000;
  const reachUm = (expected.highUm - expected.lowUm) / 2;
  if (reachUm > dotUm / 2) {
    return {
      notices: [notice('two-way-vague', { speedMmPerS, reachUm: roundTo(reachUm, 1), dotUm: roundTo(dotUm, 1) })],
    };
  }
  const movedDots = 0 - Math.round(expected.offsetUm / dotUm);
  return { twoWay: { ...expected, movedDots, leftUm: expected.offsetUm + movedDots * dotUm }, notices: [] };
}
