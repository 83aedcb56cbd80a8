import { compareProfiles, type ProfileComparison, readProfile } from '../job/index.ts';
import type { Profile } from '../material/index.ts';
import type { TaskContext } from './context.ts';

export interface ComparisonRecord {
  readonly a: Profile;
  readonly b: Profile;
  readonly comparison: ProfileComparison;
  /** What differs, each by its name: the same words for both faces. */
  readonly facts: readonly { readonly label: string; readonly value: string }[];
  /** What else differs, as sentences. */
  readonly notes: readonly string[];
}

/**
 * How two profiles of the shop differ.
 * @throws AppError name-unknown, file-invalid
 */
export function compareShopProfiles(
  request: { readonly a: string; readonly b: string },
  { shop }: Pick<TaskContext, 'shop'>,
): ComparisonRecord {
  const a = readProfile(request.a, shop);
  const b = readProfile(request.b, shop);
  const comparison = compareProfiles(a, b);
  return { a, b, comparison, facts: listFacts(comparison), notes: comparison.notes.map((text) => `${text}.`) };
}

const signed = (value: number) => `${value < 0 ? '' : '+'}${value.toFixed(2)}`;

function listFacts(comparison: ProfileComparison): ComparisonRecord['facts'] {
  const { a, b, scatter, markWidthUm } = comparison;
  const width = ([x, y]: readonly [number, number]) => `${x.toFixed(1)} × ${y.toFixed(1)} µm`;
  return [
    { label: 'mean |ΔL*|', value: `${comparison.meanDelta.toFixed(2)} along coverage` },
    {
      label: 'worst |ΔL*|',
      value: `${comparison.worstDelta.toFixed(2)} at ${Math.round(100 * comparison.worstCoverage)} %`,
    },
    {
      label: 'shape alone',
      value: `mean ${comparison.meanShapeDelta.toFixed(2)}, worst ${comparison.worstShapeDelta.toFixed(2)}, with bare and full laid over each other`,
    },
    { label: 'bare, full', value: `${signed(comparison.bareDelta)}, ${signed(comparison.fullDelta)}` },
    {
      label: 'scatter',
      value: `a difference up to ${(2 * scatter).toFixed(2)} may be chance (two standard deviations of both repeatabilities)`,
    },
    { label: 'width of a mark', value: `${width(markWidthUm.a)} in ${a}, ${width(markWidthUm.b)} in ${b}` },
  ];
}
