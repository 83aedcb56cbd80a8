// How even the screens are on slow curved ramps: deviation of what is seen from what is wanted, by tone, and streaks,
// the deviation of means along lines in the direction in which it is greatest. Marks are discs of 1.095 dots of 20 µm
// on black anodised, seen by an eye of four dots. `node build.js --bench && node dist/bench/ramps.js [--check] [screen
// ...]`.
import type { DotGrid, StrengthTable } from '../src/plane/index.ts';
import { applyScreen, chooseScreen, type ScreenName, type ScreenOptions, takesStrength } from '../src/screens/index.ts';
import {
  askForRamp,
  drawRamp,
  levelCoverage,
  lookAtRamp,
  medianDeviation,
  RAMP_L,
  type Ramp,
  scoreTones,
  type ToneScore,
  tabulateDiscs,
  worstOf,
} from './common/ramp.ts';

const SIDE = 900;
const GRIDS: readonly DotGrid[] = [
  { pitchMm: 0.02, lineSpacingMm: 0.02 },
  { pitchMm: 0.02, lineSpacingMm: 0.016 },
];
const DIRECTIONS_DEG = [0, 30, 45, 90];
/** L* of the whole ramp, and of slower ones where dots like to lie in lattices: a quarter, a third, half. */
const RANGES = [RAMP_L, { from: 39.5, to: 44.5 }, { from: 45.5, to: 50.5 }, { from: 54.5, to: 60.5 }] as const;

interface Contestant {
  readonly label: string;
  readonly screenOf: (grid: DotGrid) => { readonly name: ScreenName; readonly options: Partial<ScreenOptions> };
  readonly goal?: { readonly median: number; readonly worst: number };
}
const fixed = (label: string, name: ScreenName, options: Partial<ScreenOptions> = {}): Contestant => ({
  label,
  screenOf: () => ({ name, options }),
});
const steady = { levels: 2, knowsMarks: true, loneStrength: 1, repeatability: 0, shortestRun: 1 };
const all: readonly Contestant[] = [
  {
    label: 'automatic',
    screenOf: (grid) => chooseScreen({ ...steady, grid }),
    goal: { median: 0.09, worst: 0.13 },
  },
  { ...fixed('direct-search', 'direct-search', { response: 'table' }), goal: { median: 0.07, worst: 0.1 } },
  fixed('direct-search, linear', 'direct-search', { response: 'linear' }),
  fixed('floyd-steinberg', 'floyd-steinberg'),
  fixed('floyd-steinberg, model-based', 'floyd-steinberg', { errorOf: 'marks' }),
  fixed('jarvis-judice-ninke', 'jarvis-judice-ninke'),
  fixed('stucki', 'stucki'),
  fixed('burkes', 'burkes'),
  fixed('sierra', 'sierra'),
  fixed('ostromoukhov', 'ostromoukhov'),
  fixed('ostromoukhov, model-based', 'ostromoukhov', { errorOf: 'marks' }),
  fixed('zhou-fang', 'zhou-fang'),
  fixed('zhou-fang, model-based', 'zhou-fang', { errorOf: 'marks' }),
  fixed('blue-noise', 'blue-noise'),
  fixed('green-noise', 'green-noise'),
  fixed('bayer', 'bayer'),
  fixed('clustered-dot', 'clustered-dot'),
];
const asked = process.argv.slice(2).filter((word) => !word.startsWith('-'));
const contestants = asked.length === 0 ? all : all.filter(({ label }) => asked.some((word) => label.startsWith(word)));

function scoreRamp(ramp: Ramp, { screenOf }: Contestant, table: StrengthTable): ToneScore[] {
  const { name, options } = screenOf(ramp.grid);
  const request = { ...options, name, grid: ramp.grid, marks: table };
  const lightness = drawRamp(ramp);
  const plane = askForRamp(lightness, ramp);
  if (!takesStrength(request)) {
    const curve = levelCoverage(table, (even) => applyScreen(even, request));
    plane.data.forEach((value, i) => {
      plane.data[i] = curve[value]!;
    });
  }
  return scoreTones(lookAtRamp(applyScreen(plane, request), lightness, { ramp, table }), ramp);
}

console.log(
  `Fields of ${SIDE} × ${SIDE} dots, ramps towards ${DIRECTIONS_DEG.join(', ')}°, ΔL*: median of the tones on the whole ramp; worst tone and worst streaks of all ramps, with L* and direction`,
);
let hasMissed = false;
for (const contestant of contestants) {
  for (const grid of GRIDS) {
    const table = tabulateDiscs(grid);
    const scores = DIRECTIONS_DEG.flatMap((directionDeg) =>
      RANGES.map(({ from, to }) =>
        scoreRamp({ grid, width: SIDE, height: SIDE, directionDeg, from, to }, contestant, table),
      ),
    );
    const median = Math.max(...scores.filter((_, i) => i % RANGES.length === 0).map(medianDeviation));
    const worst = worstOf(scores.flat(), 'deviation');
    const streaks = worstOf(scores.flat(), 'streaks');
    let verdict = '';
    if (contestant.goal) {
      const isMet = median <= contestant.goal.median && worst.deviation <= contestant.goal.worst;
      hasMissed ||= !isMet;
      verdict = `  goal ${contestant.goal.median} and ${contestant.goal.worst}: ${isMet ? 'met' : 'MISSED'}`;
    }
    const cells = [
      contestant.label.padEnd(30),
      `${1000 * grid.pitchMm} × ${1000 * grid.lineSpacingMm} µm`,
      `median ${median.toFixed(3)}`,
      `worst ${worst.deviation.toFixed(3)} at ${worst.lightness.toFixed(0)}`.padEnd(20),
      `streaks ${streaks.streaks.toFixed(3)} at ${streaks.lightness.toFixed(0)}, ${streaks.streakDeg}°`,
    ];
    console.log(`${cells.join('  ')}${verdict}`);
  }
}
if (hasMissed && process.argv.includes('--check')) process.exitCode = 1;
