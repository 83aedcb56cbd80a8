// How alike a wedge comes out in six pockets of an uneven field, before and after its field chart. Words on the command
// line choose benches by name; --burns=2 burns the field chart twice on other stock and learns both; --seeds=3 takes
// every bench so many times, by other chance; --rows prints the tones.
import { AppError } from '../src/errors.ts';
import { evennessAt } from '../src/machine/index.ts';
import {
  type Bench,
  burnInMiddle,
  burnPockets,
  type LearnedField,
  learnField,
  listPockets,
} from './common/field-bench.ts';
import { FIELDS_BY_CHANCE, TOLD_FIELDS } from './common/field-benches.ts';
import { runBenches } from './common/run-benches.ts';

/** Most that two pockets may differ by, mean |ΔL*|; where the stock alone makes them differ by more, that. */
const GOAL_L = 0.5;
/** Places along each side of the home over which the beam is averaged, a count. */
const HOME_PLACES = 10;
/** Between the chances of one bench. */
const NEXT_SEED = 100_000;

const countOf = (name: string) =>
  Number(process.argv.find((word) => word.startsWith(`--${name}=`))?.slice(name.length + 3) ?? 1);
const [burns, seeds] = [countOf('burns'), countOf('seeds')];
const isTold = process.argv.some((word) => word === '--rows');

/** How many pockets' dose and width lay within the 95 % that the map says. */
const within = { dose: 0, width: 0, all: 0 };
let failed = false;
const makers = [...TOLD_FIELDS, ...FIELDS_BY_CHANCE].flatMap((make) =>
  Array.from({ length: seeds }, (_, seed) => () => {
    const bench = make();
    return { ...bench, seed: bench.seed + NEXT_SEED * seed };
  }),
);
await runBenches(makers, run);
console.log(`true dose within the map’s 95 % in ${within.dose} of ${within.all} pockets, width in ${within.width}`);
process.exitCode = failed ? 1 : 0;

async function run(bench: Bench, folder: string): Promise<void> {
  const from = performance.now();
  try {
    const learned = await learnField(bench, folder, { burns });
    const { known, map } = learned;
    const before = burnPockets(bench, { known, corrected: false });
    const after = burnPockets(bench, { known, corrected: true });
    const beam = burnPockets(bench, { known, corrected: true, stock: 'one' });
    const stock = burnInMiddle(bench, { known, corrected: true });
    countWithin(bench, learned);
    const fails = after.mean > Math.max(GOAL_L, stock.mean);
    failed ||= fails;
    console.log(
      `${fails ? '! ' : ''}${bench.name}: pockets differed by ${before.mean.toFixed(2)} L* in the mean, ${before.worst.toFixed(2)} at worst → ${after.mean.toFixed(2)}, ${after.worst.toFixed(2)}; ` +
        `of it the beam ${beam.mean.toFixed(2)}, stock in one pocket ${stock.mean.toFixed(2)}; ` +
        `left ${map.leftL.toFixed(2)}, unseen ${map.crossL.toFixed(2)}, known to ± ${(map.reachL ?? 0).toFixed(2)}, ${((performance.now() - from) / 1000).toFixed(0)} s`,
    );
    if (!isTold) return;
    console.log(map.notes.join('\n'), after.facts.map((one) => JSON.stringify(one)).join('\n'));
    for (const one of after.lightness) console.log(one.map((value) => value.toFixed(2)).join(' '));
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    failed = true;
    console.log(`! ${bench.name}: refused, ${error.code}: ${error.message}`);
  }
}

function countWithin(bench: Bench, { map }: LearnedField): void {
  const { home } = map;
  const beams = Array.from({ length: HOME_PLACES ** 2 }, (_, at) =>
    bench.beamAt(
      home.xMm + (((at % HOME_PLACES) + 0.5) / HOME_PLACES) * home.widthMm,
      home.yMm + ((Math.floor(at / HOME_PLACES) + 0.5) / HOME_PLACES) * home.heightMm,
    ),
  );
  const meanOf = (key: 'dose' | 'width') => beams.reduce((sum, one) => sum + one[key], 0) / beams.length;
  const isWithin = (factor: number, reach: number) => Math.max(factor, 1 / factor) <= reach;
  const toldAt = evennessAt(map);
  for (const [xMm, yMm] of listPockets(bench)) {
    const told = toldAt(xMm, yMm);
    const truth = bench.beamAt(xMm, yMm);
    within.all++;
    if (isWithin(told.dose / (truth.dose / meanOf('dose')), told.doseReach)) within.dose++;
    if (isWithin(told.width / (truth.width / meanOf('width')), told.widthReach)) within.width++;
  }
}
