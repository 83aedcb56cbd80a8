import { createDots, type Dots } from '../plane/index.ts';
import { type BandResult, searchBand } from './search-band.ts';
import type { Band, SearchPlan } from './search-plan.ts';

/** What a search did; on the ticket. */
export interface SearchFacts {
  readonly toggles: number;
  readonly swaps: number;
  /** Most sweeps that a band took. */
  readonly sweeps: number;
}

/**
 * Searches the bands of one phase, in any order and on any threads, and gives the results in the order of the bands;
 * `done` is told after each.
 */
export type SearchBands = (
  plan: SearchPlan,
  bands: readonly Band[],
  done: () => void,
) => Promise<readonly BandResult[]>;

/** Searches in this thread. The plan is used up. */
export function searchDots(plan: SearchPlan): Dots {
  for (const bands of plan.phases) for (const band of bands) searchBand(plan, band);
  return dotsOf(plan);
}

/**
 * Searches with a searcher of bands, one phase after the other. The dots are those of `searchDots`, bit for bit,
 * however many threads the searcher has. The plan is used up.
 */
export async function searchDotsInBands(
  plan: SearchPlan,
  { searchBands, progress = () => undefined }: { searchBands?: SearchBands; progress?: (share: number) => void },
): Promise<{ readonly dots: Dots; readonly facts: SearchFacts }> {
  const count = plan.phases.reduce((sum, bands) => sum + bands.length, 0);
  let finished = 0;
  const done = () => progress(++finished / count);
  const facts = { toggles: 0, swaps: 0, sweeps: 0 };
  for (const bands of plan.phases) {
    const results = searchBands ? await searchBands(plan, bands, done) : searchHere(plan, bands, done);
    for (const { toggles, swaps, sweeps } of results) {
      facts.toggles += toggles;
      facts.swaps += swaps;
      facts.sweeps = Math.max(facts.sweeps, sweeps);
    }
  }
  return { dots: dotsOf(plan), facts };
}

function searchHere(plan: SearchPlan, bands: readonly Band[], done: () => void): BandResult[] {
  return bands.map((band) => {
    const result = searchBand(plan, band);
    done();
    return result;
  });
}

function dotsOf({ width, height, dots, marks }: SearchPlan): Dots {
  return createDots(width, height, marks?.levels ?? 2, dots);
}
