import * as v from 'valibot';
import { PROGRAM_CHOICES } from '../plane/index.ts';
import { QUANTITIES as Q, SETTINGS_FIELDS, wholeWithin, within } from '../quantities.ts';
import { type FieldFault, parseRecord, refuseFaults } from '../schema.ts';
import { SOURCES, type SourceKey } from '../sources.ts';
import { CONTROL_CHOICES } from './control.ts';
import { MOTIONS, motionRecord } from './motions/register.ts';
import { listMotionParameters } from './parameters.ts';
import { ROTARY_FIELDS, ROTARY_SETTLING } from './rotary.ts';
import type { Machine, Motion } from './types.ts';

const text = v.pipe(v.string(), v.nonEmpty());
const source = v.picklist(Object.keys(SOURCES) as SourceKey[], 'a key of the bibliography, such as "commonPractice"');
const range = (quantity: ReturnType<typeof within>) =>
  v.pipe(
    v.strictObject({ min: quantity, max: quantity }),
    v.check(({ min, max }) => min <= max, 'a max that is not below min'),
  );
const origin = v.strictObject({ kind: v.picklist(['published', 'measured', 'assumed']), source, note: text });

const settings = v.strictObject(SETTINGS_FIELDS);

const LINE_WAYS = ['skipped', 'line-ends-scanned', 'all-scanned'] as const;

const motion = v.variant(
  'kind',
  Object.entries(MOTIONS).map(([kind, { fields, dotByDot }]) =>
    v.strictObject({
      kind: v.literal(kind),
      bare: v.exactOptional(v.picklist(dotByDot ? [...LINE_WAYS, 'dot-by-dot'] : LINE_WAYS)),
      ...fields,
      ...ROTARY_FIELDS,
    }),
  ),
) as unknown as v.GenericSchema<Motion>;

const factor = v.pipe(v.number(), v.finite(), v.gtValue(1), v.maxValue(1000));
const count = v.pipe(v.number(), v.integer(), v.minValue(0));

const motionUncertainty = v.variant('kind', [
  v.strictObject({
    kind: v.literal('assumed'),
    factors: v.strictObject({ speed: factor, acceleration: factor, delay: factor, overhead: factor }),
  }),
  v.strictObject({
    kind: v.literal('fitted'),
    date: v.pipe(v.string(), v.regex(/^\d{4}-\d{2}-\d{2}$/, 'a day such as 2026-01-31')),
    readings: count,
    leftOut: count,
    parameters: v.array(text),
    covariance: v.array(v.array(within(-1e12, 1e12))),
    misfitShare: within(0, 1),
    readingErrorS: Q.overheadS,
    degreesOfFreedom: v.pipe(within(2, 1e9), v.gtValue(2, 'a number above 2')),
  }),
]);

/** Numbers of a controller's words. Assumed: ten times or more beyond what controllers have. */
const PROGRAM_NUMBERS = {
  fullPower: v.pipe(within(0, 1e6), v.gtValue(0, 'a number above 0')),
  powerStep: v.pipe(within(0, 1e5), v.gtValue(0, 'a number above 0')),
  decimals: wholeWithin(1, 6),
  blocksPerS: within(1, 1e7),
  wordPerTurn: v.pipe(
    within(-1e5, 1e5),
    v.check((word) => word !== 0, 'a number that is not 0'),
  ),
} as const;

const schema = v.strictObject({
  schema: v.literal('tonewright-machine/1'),
  name: v.pipe(v.string(), v.regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'lower-case letters, digits and single hyphens')),
  title: text,
  wavelengthNm: Q.wavelengthNm,
  emission: v.picklist(['pulsed', 'continuous']),
  beamQualityM2: Q.beamQualityM2,
  beamDiameterMm: Q.apertureMm,
  focalLengthMm: Q.focalLengthMm,
  lensApertureMm: v.exactOptional(Q.apertureMm),
  spotDiameterUm: v.exactOptional(Q.diameterUm),
  fieldMm: v.strictTuple([Q.sizeMm, Q.sizeMm]),
  powerW: range(Q.powerW),
  speedMmPerS: range(Q.speedMmPerS),
  rateKHz: v.exactOptional(range(Q.rateKHz)),
  pulseNs: v.exactOptional(range(Q.pulseNs)),
  switchingUs: v.exactOptional(within(1e-4, 1e7, 'µs')),
  levels: v.pipe(v.number(), v.integer(), v.minValue(2), v.maxValue(256)),
  control: v.exactOptional(
    v.strictObject({
      power: v.picklist(CONTROL_CHOICES.power),
      fullPowerW: v.exactOptional(Q.powerW),
      speed: v.picklist(CONTROL_CHOICES.speed),
      rate: v.picklist(CONTROL_CHOICES.rate),
      fires: v.picklist(CONTROL_CHOICES.fires),
      origin: v.picklist(CONTROL_CHOICES.origin),
      mirrors: v.picklist(CONTROL_CHOICES.mirrors),
    }),
  ),
  program: v.exactOptional(
    v.strictObject({
      units: v.picklist(PROGRAM_CHOICES.units),
      feedPer: v.picklist(PROGRAM_CHOICES.feedPer),
      fullPower: PROGRAM_NUMBERS.fullPower,
      powerStep: v.exactOptional(PROGRAM_NUMBERS.powerStep),
      beam: v.picklist(PROGRAM_CHOICES.beam),
      end: v.picklist(PROGRAM_CHOICES.end),
      decimals: PROGRAM_NUMBERS.decimals,
      zero: v.picklist(PROGRAM_CHOICES.zero),
      blocksPerS: v.exactOptional(PROGRAM_NUMBERS.blocksPerS),
      beamLagUs: v.exactOptional(within(-1e6, 1e6, 'µs')),
      backlashMm: v.exactOptional(within(-10, 10, 'mm')),
      turn: v.exactOptional(
        v.strictObject({ axis: v.picklist(PROGRAM_CHOICES.turnAxis), wordPerTurn: PROGRAM_NUMBERS.wordPerTurn }),
      ),
    }),
  ),
  defaults: settings,
  motion,
  motionUncertainty: v.exactOptional(motionUncertainty),
  cautions: v.array(v.strictObject({ text, source })),
  origins: v.strictObject({ optics: origin, ranges: origin, motion: origin, defaults: origin }),
});

/**
 * A machine from parsed JSON. `name` is what messages call the file.
 * @throws AppError file-invalid, naming the first wrong field, what was found and what was needed; `details.fields` has
 * all.
 */
export function parseMachine(json: unknown, name: string): Machine {
  const what = `machine ${name}`;
  const machine = parseRecord(schema, { json, what });
  const faults = findContradictions(machine);
  return faults.length > 0 ? refuseFaults(faults, what) : machine;
}

/** What no single field shows: pulses and beam that do not match, and default settings outside the machine's ranges. */
function findContradictions(machine: Machine): FieldFault[] {
  const problems: FieldFault[] = [];
  const { emission, defaults } = machine;
  if (emission === 'pulsed' && !machine.rateKHz) {
    problems.push({ field: 'rateKHz', found: 'nothing', needed: 'the range of pulse rates of a pulsed machine' });
  }
  if (emission === 'pulsed' && defaults.rateKHz === undefined) {
    problems.push({ field: 'defaults.rateKHz', found: 'nothing', needed: 'a pulse rate, as the machine is pulsed' });
  }
  if (emission === 'continuous') {
    for (const field of ['rateKHz', 'pulseNs'] as const) {
      if (machine[field]) problems.push({ field, found: 'a range', needed: 'none, as the beam is continuous' });
    }
  }
  for (const field of ['powerW', 'speedMmPerS', 'rateKHz', 'pulseNs'] as const) {
    const value = defaults[field];
    const limits = machine[field];
    if (value === undefined) continue;
    if (!limits) {
      problems.push({
        field: `defaults.${field}`,
        found: `${value}`,
        needed: `none, as the machine gives no ${field}`,
      });
    } else if (value < limits.min || value > limits.max) {
      problems.push({
        field: `defaults.${field}`,
        found: `${value}`,
        needed: `a value within the machine's ${limits.min} … ${limits.max}`,
      });
    }
  }
  const { motion, motionUncertainty, program } = machine;
  if (program && motion.bare === 'dot-by-dot') {
    problems.push({ field: 'motion.bare', found: 'dot-by-dot', needed: 'another way, as a program runs whole lines' });
  }
  if (program && (program.powerStep ?? 1) > program.fullPower) {
    problems.push({ field: 'program.powerStep', found: `${program.powerStep ?? 1}`, needed: 'at most fullPower' });
  }
  if (motion.bare !== 'dot-by-dot') {
    for (const field of motionRecord(motion).dotByDot?.fields ?? []) {
      const value = motion[field as keyof Motion];
      if (value === undefined) continue;
      problems.push({ field: `motion.${field}`, found: `${value}`, needed: 'none, unless "bare" is "dot-by-dot"' });
    }
  }
  if (motionUncertainty?.kind === 'fitted') {
    const names = listMotionParameters(motion).map(({ name }) => name);
    const { parameters, covariance } = motionUncertainty;
    // A rotary may have been described since: what no reading told is assumed.
    const flat = names.filter((name) => name !== ROTARY_SETTLING.name);
    if (parameters.join() !== names.join() && parameters.join() !== flat.join()) {
      problems.push({
        field: 'motionUncertainty.parameters',
        found: parameters.join(', '),
        needed: `those of a ${motion.kind}: ${names.join(', ')}`,
      });
    }
    const { length } = parameters;
    if (covariance.length !== length || covariance.some((row) => row.length !== length)) {
      problems.push({
        field: 'motionUncertainty.covariance',
        found: `${covariance.length} rows of ${covariance.map((row) => row.length).join(', ')}`,
        needed: `${length} rows of ${length}`,
      });
    }
  }
  return problems;
}
