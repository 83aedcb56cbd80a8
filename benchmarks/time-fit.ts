// How well stopwatch readings tell a machine: engravers with chance numbers, stepped through time by rules of their
// own, are timed nine times by an unsteady hand and fitted; then they burn jobs that the fit has not seen. After them
// come machines whose physics the motion does not have. Argument: how many engravers of each kind (60 without).
import { cpuUsage } from 'node:process';
import { findUnfit } from '../src/machine/index.ts';
import { createRandom } from '../src/numeric/index.ts';
import { drawEngraver } from './common/engraver.ts';
import { tryFit } from './common/stopwatch.ts';
import { STRANGERS, tryStranger } from './common/strange-machines.ts';

const ENGRAVERS = Number(process.argv.slice(2).find((word) => /^\d+$/.test(word)) ?? 60);
const JOBS = 12;
const HAND_S = 0.25;
/** What the shares are held to: error of a job, coverage of the 95 % interval. */
const TARGETS = { error: 0.02, coverage: [0.9, 0.99] } as const;

const percent = (share: number) => `${(100 * share).toFixed(2)} %`;
let failed = false;
for (const kind of ['galvo', 'gantry'] as const) {
  const errors: number[] = [];
  let inside = 0;
  let halves = 0;
  let leftOut = 0;
  let bareFound = 0;
  let seconds = 0;
  for (let seed = 0; seed < ENGRAVERS; seed++) {
    const random = createRandom(1000 + seed);
    const chance = () => random.nextUnit();
    const engraver = drawEngraver(kind, chance);
    const started = cpuUsage();
    const { fit, unseen } = tryFit(engraver, { chance, handS: HAND_S, jobs: JOBS });
    seconds += cpuUsage(started).user / 1e6;
    leftOut += fit.uncertainty.leftOut;
    if (fit.bare.handling === engraver.bare) bareFound++;
    for (const { seconds: told, interval, truthS } of unseen) {
      errors.push(told / truthS - 1);
      if (truthS >= interval.lowS && truthS <= interval.highS) inside++;
      halves += (interval.highS - interval.lowS) / 2 / told;
    }
  }
  const sizes = errors.map(Math.abs).sort((a, b) => a - b);
  const coverage = inside / errors.length;
  const within = sizes.filter((size) => size <= TARGETS.error).length / sizes.length;
  const good = within >= 0.99 && coverage >= TARGETS.coverage[0] && coverage <= TARGETS.coverage[1];
  failed ||= !good;
  console.log(
    `${good ? ' ' : '!'} ${kind}: ${errors.length} unseen jobs of ${ENGRAVERS} engravers; rms error ${percent(Math.sqrt(sizes.reduce((sum, size) => sum + size ** 2, 0) / sizes.length))}, worst ${percent(sizes.at(-1)!)}, ${percent(within)} within 2 %; ${percent(coverage)} inside their 95 % interval, ± ${percent(halves / errors.length)} wide; ${leftOut} readings left out; bare places right ${bareFound} times; ${((1000 * seconds) / ENGRAVERS).toFixed(0)} ms of CPU each`,
  );
}
// Machines whose physics the motion does not have: what is not refused must hold its intervals.
const STRANGE_HAND_S = 0.5;
const STRANGERS_EACH = Math.max(4, Math.round(ENGRAVERS / 5));
let [held, told] = [0, 0];
for (const [name, draw] of Object.entries(STRANGERS)) {
  let [inside, all, refused, blamed] = [0, 0, 0, 0];
  let squares = 0;
  for (let seed = 0; seed < STRANGERS_EACH; seed++) {
    const random = createRandom(2000 + seed);
    const { fit, unseen } = tryStranger(draw, { chance: () => random.nextUnit(), handS: STRANGE_HAND_S, jobs: JOBS });
    if (findUnfit(fit)) {
      refused++;
      continue;
    }
    blamed += fit.uncertainty.leftOut;
    for (const { seconds, interval, truthS } of unseen) {
      all++;
      squares += (seconds / truthS - 1) ** 2;
      if (truthS >= interval.lowS && truthS <= interval.highS) inside++;
    }
  }
  held += inside;
  told += all;
  const share = all === 0 ? '' : `; rms error ${percent(Math.sqrt(squares / all))}, ${percent(inside / all)} inside`;
  console.log(`  ${name}: ${refused} of ${STRANGERS_EACH} refused${share}; ${blamed} right readings left out`);
}
const strangeHeld = told > 0 && held / told >= TARGETS.coverage[0];
failed ||= !strangeHeld;
console.log(
  `${strangeHeld ? ' ' : '!'} of all that were not refused ${percent(held / told)} inside their 95 % interval`,
);
if (failed) console.log('Beyond the targets: 99 % of the jobs within 2 %, coverage of 90 to 99 %.');
process.exitCode = failed ? 1 : 0;
