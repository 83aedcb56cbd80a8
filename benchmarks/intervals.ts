// Whether stated uncertainty is honest. Each simulation draws a material by chance, burns a tone chart on it with the
// engraver of benchmarks/mismatch, whose physics is unlike the fit's and the project's own engraver, takes one picture
// of it and learns it; then it asks whether the 95 % band of the tone curve's shape holds the true lightness at its
// points once the truth is scaled to the lighter of bare and solid as read, since shape counts from there; whether the
// band of both, shape and how light the whole is, holds the truth as it is, unscaled; and whether the 95 % intervals of
// mark widths and of the darker of bare and solid hold the true ones. 90 to 99 % should. Beside that a wedge of another
// screen than the chart's is burned through its predicted curve, and compared with the straight line between its own
// ends, and with the lightness that was wanted. White paper, somewhere from L* 90 to 96, lies under the piece and is
// what it is learned by; with PAPER=0 there is none, and the exposure stands open. FROM and TO (20 simulations without)
// are the seeds, MINUTES ends the run in time; CAMERA is `scan`, `photo` or `unknown`, or all three in turn. RESULTS
// names a file that keeps the outcome of each simulation as one line of JSON: the next run with it goes on from there,
// and counts all of them. The counts are printed after every ten simulations, so a run that is ended is a result, too.
import { appendFileSync, existsSync, readFileSync } from 'node:fs';
import { drawChart, layoutChart, WHITE_PAPER } from '../src/chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../src/colour/index.ts';
import { AppError } from '../src/errors.ts';
import { learnProfile } from '../src/job/calibrate/learn.ts';
import { predictPoints } from '../src/job/request/curve.ts';
import { exposureHalf } from '../src/job/request/uncertainty.ts';
import { toneCurveOf } from '../src/material/index.ts';
import { createPchip } from '../src/numeric/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import { burnOther, drawMaterial, loneMark } from './mismatch/engraver.ts';
import { COVERAGES, type Kind, takePicture, trueLuminance } from './mismatch/picture.ts';

const FROM = Number(process.env.FROM ?? 1);
const TO = Number(process.env.TO ?? FROM + 20);
/** The run ends by itself after so many minutes, and says how many simulations fitted in. */
const MINUTES = Number(process.env.MINUTES ?? Number.POSITIVE_INFINITY);
const KINDS: readonly Kind[] = ['scan', 'photo', 'unknown'];
const WITH_PAPER = process.env.PAPER !== '0';
const ONLY = process.env.CAMERA as Kind | undefined;
const RESULTS = process.env.RESULTS;
/** Simulations from one print of the counts to the next. Assumed: some minutes. */
const PRINT_EVERY = 10;
const SCREEN = { name: 'floyd-steinberg', options: {} } as const;
/** Another screen than the chart's, whose curve is predicted. */
const OTHER = { name: 'blue-noise', options: {} } as const;
/** A smaller chart with fewer patches: the same road in a third of the time. */
const CHART = { widthMm: 70, heightMm: 46, steps: 12, replicates: 2 } as const;

interface Count {
  readonly inside: number;
  readonly asked: number;
}
interface Wedge {
  readonly mean: number;
  readonly worst: number;
}
/** What came of one simulation. A refused capture has neither counts nor wedges. */
interface Outcome {
  readonly seed: number;
  readonly kind: Kind;
  readonly refused?: string;
  readonly counts: Readonly<Record<string, Count>>;
  /** By what was counted: how far off each value is, in half widths of its band; 1 lies on the edge. */
  readonly offs?: Readonly<Record<string, readonly number[]>>;
  /**
   * By what was burned: through the curve of the chart's screen; through the predicted curve of the other one, from the
   * straight line between its own ends; and from the wanted L* itself.
   */
  readonly wedges: Readonly<Record<string, Wedge>>;
}

const outcomes: Outcome[] =
  RESULTS !== undefined && existsSync(RESULTS)
    ? readFileSync(RESULTS, 'utf8')
        .split('\n')
        .filter((line) => line.endsWith('}'))
        .map((line) => JSON.parse(line) as Outcome)
    : [];
const done = new Set(outcomes.map(({ seed, kind }) => `${seed} ${kind}`));
let made = 0;
for (let seed = FROM; seed < TO && process.uptime() < 60 * MINUTES; seed++) {
  const kind = ONLY ?? KINDS[seed % KINDS.length]!;
  if (done.has(`${seed} ${kind}`)) continue;
  const outcome = simulate(seed, kind);
  outcomes.push(outcome);
  if (RESULTS !== undefined) appendFileSync(RESULTS, `${JSON.stringify(outcome)}\n`);
  made++;
  if (made % PRINT_EVERY === 0) printCounts(outcomes);
}
printCounts(outcomes);

function simulate(seed: number, kind: Kind): Outcome {
  const counts: Record<string, Count> = {};
  const wedges: Record<string, Wedge> = {};
  const count = (what: string, inside: boolean) => {
    const one = counts[what] ?? { inside: 0, asked: 0 };
    counts[what] = { inside: one.inside + (inside ? 1 : 0), asked: one.asked + 1 };
  };
  const offs: Record<string, number[]> = {};
  /** How far from the middle of its band a value lies, in half widths. */
  const measureOff = (what: string, off: number, half: number) => {
    const list = offs[what] ?? [];
    offs[what] = [...list, Math.round((1000 * Math.abs(off)) / half) / 1000];
  };
  const material = drawMaterial(seed);
  const { grid } = material;
  const layout = layoutChart('tone', {
    machine: 'virtual',
    material: `other-${seed}`,
    direction: material.fullL > material.bareL ? 'lighter' : 'darker',
    settings: { powerW: 10, speedMmPerS: 500, passes: 1, scan: 'two-way' },
    grid,
    screen: SCREEN,
    seed,
    ...CHART,
  });
  const chart = drawChart(layout, (coverage) => applyScreen(coverage, { name: SCREEN.name, grid }));
  const piece = burnOther(chart, { material, seed: 3 * seed });
  try {
    const image = takePicture(piece, { layout, material, kind, seed, withPaper: WITH_PAPER });
    const { profile, report } = learnProfile([{ name: kind, image }], {
      layouts: [layout],
      camera: kind === 'unknown' ? 'unknown' : 'known',
      ...(WITH_PAPER ? { reference: WHITE_PAPER } : {}),
      date: '2026-01-01',
      origin: 'simulated',
    });
    const luminance = trueLuminance(material, { seed: 3 * seed + 1, screen: SCREEN });
    // Shape counts from the lighter of bare and solid as read; how light that is, is counted beside it.
    const lighter = profile.direction === 'lighter';
    const lightest = reflectanceOfLightness(lighter ? profile.full[0] : profile.bare[0]);
    const scale = lightest / (lighter ? luminance.at(-1)! : luminance[0]!);
    const lightness = luminance.map((value) => lightnessOfReflectance(value * scale));
    const truth = createPchip(COVERAGES, lightness);
    const inner = report.curve.filter(({ coverage }) => coverage > 0.005 && coverage < 0.995);
    const held = inner.filter(({ coverage, lightness, low, high }) => {
      const value = truth.valueAt(coverage);
      measureOff(`shape, ${kind}`, value - lightness, value < lightness ? lightness - low : high - lightness);
      return value >= low && value <= high;
    }).length;
    for (let i = 0; i < inner.length; i++) count(`shape, ${kind}`, i < held);
    const unscaled = createPchip(COVERAGES, luminance.map(lightnessOfReflectance));
    for (const point of inner) {
      const together = exposureHalf(point.lightness, profile.exposure!.factor);
      const [below, above] = [point.lightness - point.low, point.high - point.lightness];
      const off = unscaled.valueAt(point.coverage) - point.lightness;
      count(`both, ${kind}`, off > -Math.hypot(below, together) && off < Math.hypot(above, together));
      measureOff(`both, ${kind}`, off, Math.hypot(off < 0 ? below : above, together));
    }
    const lightestL = lightnessOfReflectance(lightest);
    const offTogether = lightestL - lightnessOfReflectance(lightest / scale);
    const openTogether = exposureHalf(lightestL, profile.exposure!.factor);
    count(`lightest, ${kind}`, Math.abs(offTogether) < openTogether);
    const mark = loneMark(material);
    const holds = ({ low, high }: { low: number; high: number }, value: number) => low <= value && value <= high;
    count('mark width x', holds(report.markX, mark.xUm));
    count('mark width y', holds(report.markY, mark.yUm));
    if (material.n > 1 && report.yuleNielsenN.determined) count('n', holds(report.yuleNielsenN, material.n));
    const [bare, end] = [report.curve[0]!, report.curve.at(-1)!];
    count(`darkest, ${kind}`, lighter ? holds(bare, lightness[0]!) : holds(end, truth.valueAt(end.coverage)));
    const curve = toneCurveOf(profile);
    const [first, last] = [profile.points[0]!.lightness, profile.points.at(-1)!.lightness];
    // A curve ends where more dots turn the tone back.
    const [from, to] = [lightness[0]!, truth.valueAt(profile.points.at(-1)!.coverage)];
    const errors = Array.from({ length: 11 }, (_, step) => {
      const aim = first + ((last - first) * step) / 10;
      return Math.abs(truth.valueAt(curve.coverageAt(aim)) - from - ((to - from) * step) / 10);
    });
    const own = summarise(errors);
    wedges[`${kind}, the chart's screen, shape`] = own;
    const other = toneCurveOf({ points: predictPoints({ profile, grid, screen: OTHER }) });
    const otherTruth = createPchip(
      COVERAGES,
      trueLuminance(material, { seed: 3 * seed + 2, screen: OTHER }).map(lightnessOfReflectance),
    );
    const aims = Array.from({ length: 11 }, (_, step) => first + ((last - first) * step) / 10);
    const burned = aims.map((aim) => otherTruth.valueAt(other.coverageAt(aim)));
    const [burnedFirst, burnedLast] = [burned[0]!, burned.at(-1)!];
    wedges[`${kind}, ${OTHER.name}, shape`] = summarise(
      burned.map((value, step) => value - burnedFirst - ((burnedLast - burnedFirst) * step) / 10),
    );
    wedges[`${kind}, ${OTHER.name}, as wanted`] = summarise(burned.map((value, step) => value - aims[step]!));
    const off = (found: number, width: number) => `${(100 * (found / width - 1)).toFixed(1)} %`;
    console.log(
      `${seed} ${kind}: wedge ${own.mean.toFixed(2)} ${own.worst.toFixed(2)}, shape holds ${held} of ${inner.length}, ` +
        `lightest off ${offTogether.toFixed(1)} of ± ${openTogether.toFixed(1)} L*, ` +
        `mark ${off(report.markX.value, mark.xUm)} × ${off(report.markY.value, mark.yUm)}`,
    );
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    console.log(`${seed} ${kind}: refused, ${error.code}: ${error.message}`);
    return { seed, kind, refused: error.code, counts: {}, wedges: {} };
  }
  return { seed, kind, counts, offs, wedges };
}

function printCounts(all: readonly Outcome[]): void {
  const refused = all.filter((one) => one.refused !== undefined).length;
  console.log(`after ${all.length} simulations${refused > 0 ? `, ${refused} refused` : ''}:`);
  for (const what of namesOf(all.map(({ counts }) => counts))) {
    const of = all.flatMap(({ counts }) => counts[what] ?? []);
    const inside = of.reduce((sum, one) => sum + one.inside, 0);
    const asked = of.reduce((sum, one) => sum + one.asked, 0);
    console.log(
      `  ${what.padEnd(16)} ${((100 * inside) / asked).toFixed(1)} % of ${asked} held, ${of.length} simulations${sayNeeded(what, all)}`,
    );
  }
  for (const what of namesOf(all.map(({ wedges }) => wedges))) {
    const of = all.flatMap(({ wedges }) => wedges[what] ?? []);
    const mean = of.reduce((sum, wedge) => sum + wedge.mean, 0) / of.length;
    const most = (key: keyof Wedge) => Math.max(...of.map((wedge) => wedge[key])).toFixed(2);
    console.log(
      `  ${what}: ${of.length} wedges, mean ${mean.toFixed(2)}, largest mean ${most('mean')}, worst step ${most('worst')} ΔL*`,
    );
  }
}

/** The factor on a band that would hold 95 % of what was counted. */
function sayNeeded(what: string, all: readonly Outcome[]): string {
  const of = all.flatMap(({ offs }) => offs?.[what] ?? []).sort((a, b) => a - b);
  if (of.length === 0) return '';
  return `; 95 % lie within ${of[Math.floor(0.95 * (of.length - 1))]!.toFixed(2)} half widths`;
}

function namesOf(records: readonly object[]): string[] {
  return [...new Set(records.flatMap((one) => Object.keys(one)))].sort();
}

function summarise(differences: readonly number[]): Wedge {
  const off = differences.map(Math.abs);
  return { mean: off.reduce((sum, one) => sum + one, 0) / off.length, worst: Math.max(...off) };
}
