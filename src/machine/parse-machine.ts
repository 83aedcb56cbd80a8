import * as v from 'valibot';
import { type FieldFault, parseRecord, refuseFaults } from '../schema.ts';
import { SOURCES, type SourceKey } from '../sources.ts';
import { listMotionParameters } from './parameters.ts';
import type { Machine } from './types.ts';

const positive = v.pipe(v.number(), v.finite(), v.gtValue(0));
const notNegative = v.pipe(v.number(), v.finite(), v.minValue(0));
const text = v.pipe(v.string(), v.nonEmpty());
const source = v.picklist(Object.keys(SOURCES) as SourceKey[], 'a key of the bibliography, such as "commonPractice"');
const range = v.pipe(
  v.strictObject({ min: positive, max: positive }),
  v.check(({ min, max }) => min <= max, 'a max that is not below min'),
);
const origin = v.strictObject({ kind: v.picklist(['published', 'measured', 'assumed']), source, note: text });

const settings = v.strictObject({
  powerW: positive,
  speedMmPerS: positive,
  rateKHz: v.exactOptional(positive),
  pulseNs: v.exactOptional(positive),
  passes: v.pipe(v.number(), v.integer(), v.minValue(1)),
  scan: v.picklist(['one-way', 'two-way']),
});

const LINE_WAYS = ['skipped', 'line-ends-scanned', 'all-scanned'] as const;

const motion = v.variant('kind', [
  v.strictObject({
    kind: v.literal('galvo'),
    bare: v.exactOptional(v.picklist([...LINE_WAYS, 'dot-by-dot'])),
    jumpSpeedMmPerS: positive,
    accelerationMmPerS2: positive,
    jumpDelayUs: notNegative,
    settlingUs: v.exactOptional(notNegative),
    lineDelayUs: notNegative,
    beamOnDelayUs: notNegative,
    beamOffDelayUs: notNegative,
    jobOverheadS: notNegative,
    dotDelayUs: v.exactOptional(notNegative),
    gapDelayUs: v.exactOptional(notNegative),
    skipSpeedMmPerS: v.exactOptional(positive),
  }),
  v.strictObject({
    kind: v.literal('gantry'),
    bare: v.exactOptional(v.picklist(LINE_WAYS)),
    accelerationMmPerS2: positive,
    accelerationRiseMs: v.exactOptional(notNegative),
    travelSpeedMmPerS: positive,
    overtravelMm: notNegative,
    turnDelayMs: notNegative,
    jobOverheadS: notNegative,
  }),
]);

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
    covariance: v.array(v.array(v.pipe(v.number(), v.finite()))),
    misfitShare: notNegative,
    readingErrorS: notNegative,
    degreesOfFreedom: v.pipe(v.number(), v.finite(), v.gtValue(2)),
  }),
]);

const schema = v.strictObject({
  schema: v.literal('tonewright-machine/1'),
  name: v.pipe(v.string(), v.regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'lower-case letters, digits and single hyphens')),
  title: text,
  wavelengthNm: positive,
  emission: v.picklist(['pulsed', 'continuous']),
  beamQualityM2: v.pipe(v.number(), v.finite(), v.minValue(1)),
  beamDiameterMm: positive,
  focalLengthMm: positive,
  lensApertureMm: v.exactOptional(positive),
  spotDiameterUm: v.exactOptional(positive),
  fieldMm: v.strictTuple([positive, positive]),
  powerW: range,
  speedMmPerS: range,
  rateKHz: v.exactOptional(range),
  pulseNs: v.exactOptional(range),
  switchingUs: v.exactOptional(positive),
  levels: v.pipe(v.number(), v.integer(), v.minValue(2), v.maxValue(256)),
  defaults: settings,
  motion,
  motionUncertainty: v.exactOptional(motionUncertainty),
  cautions: v.array(v.strictObject({ text, source })),
  origins: v.strictObject({ optics: origin, ranges: origin, motion: origin, defaults: origin }),
});

/**
 * A machine from parsed JSON. `name` is what messages call the file.
 * @throws AppError file-invalid, naming the first wrong field, what was found and what was needed; `details.fields` has all.
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
  const { motion, motionUncertainty } = machine;
  if (motion.kind === 'galvo' && motion.bare !== 'dot-by-dot') {
    for (const field of ['dotDelayUs', 'gapDelayUs', 'skipSpeedMmPerS'] as const) {
      if (motion[field] === undefined) continue;
      problems.push({
        field: `motion.${field}`,
        found: `${motion[field]}`,
        needed: 'none, unless "bare" is "dot-by-dot"',
      });
    }
  }
  if (motionUncertainty?.kind === 'fitted') {
    const names = listMotionParameters(motion).map(({ name }) => name);
    const { parameters, covariance } = motionUncertainty;
    if (parameters.join() !== names.join()) {
      problems.push({
        field: 'motionUncertainty.parameters',
        found: parameters.join(', '),
        needed: `those of a ${motion.kind}: ${names.join(', ')}`,
      });
    }
    if (covariance.length !== names.length || covariance.some((row) => row.length !== names.length)) {
      problems.push({
        field: 'motionUncertainty.covariance',
        found: `${covariance.length} rows of ${covariance.map((row) => row.length).join(', ')}`,
        needed: `${names.length} rows of ${names.length}`,
      });
    }
  }
  return problems;
}
