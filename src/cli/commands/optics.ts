import type { BurnSettings, OpticsReport } from '../../optics/index.ts';
import { describeMachineOptics, type OpticsRecord } from '../../tasks/index.ts';
import type { OptionValues, Run } from '../command.ts';
import { lengthOf, numberOf, textOf } from '../options.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatNumber } from '../text.ts';

/**
 * Smallest power (W), speed (mm/s), rate (kHz) and duration (ns) that an option takes. Assumed: they must be above 0,
 * and no machine goes lower.
 */
const LEAST = 0.001;

export const run: Run = async (_args, options, commandContext) => {
  const record = describeMachineOptics(
    {
      machine: textOf(options, 'machine')!,
      settings: readSettings(options),
      ...lengthOf(options, 'spacing', (lineSpacingMm) => ({ lineSpacingMm })),
      ...lengthOf(options, 'pitch', (pitchMm) => ({ pitchMm })),
      ...lengthOf(options, 'mark', (markMm) => ({ markDiameterUm: markMm * 1000 })),
      ...lengthOf(options, 'cylinder', (cylinderDiameterMm) => ({ cylinderDiameterMm })),
    },
    taskContext(commandContext),
  );
  const { machine, settings, report, assumed } = record;
  return {
    json: { machine: machine.name, title: machine.title, settings, ...report, assumed },
    text: writeReport(record),
  };
};

function readSettings(options: OptionValues): Partial<Omit<BurnSettings, 'scan'>> {
  const given = {
    powerW: numberOf(options, 'power', { min: LEAST, unit: 'W' }),
    speedMmPerS: numberOf(options, 'speed', { min: LEAST, unit: 'mm/s' }),
    rateKHz: numberOf(options, 'rate', { min: LEAST, unit: 'kHz' }),
    pulseNs: numberOf(options, 'pulse', { min: LEAST, unit: 'ns' }),
    passes: numberOf(options, 'passes', { min: 1, whole: true }),
  };
  return Object.fromEntries(Object.entries(given).filter(([, value]) => value !== undefined));
}

type Row = readonly [label: string, value: string, note?: string];

function writeReport({ machine, settings, report, assumed }: OpticsRecord): string {
  const sections: [string, Row[]][] = [
    ['Settings', describeSettings(settings, report)],
    ['Spot and focus', describeSpot(report)],
    ['Pulses', describePulses(report)],
    ['Lines and dose', describeLines(report)],
    ['Round piece that does not turn', describeCylinder(report)],
  ];
  const shown = sections.filter(([, rows]) => rows.length > 0);
  const widest = Math.max(...shown.flatMap(([, rows]) => rows.map(([label]) => label.length)));
  const blocks = shown.map(([title, rows]) => {
    const cells = rows.map(([label, value, note]) => [label.padEnd(widest), value, ...(note ? [note] : [])]);
    return `${title}\n${alignColumns(cells, '  ')}`;
  });
  return [
    `${machine.title} (${machine.name}), ${formatNumber(machine.wavelengthNm)} nm`,
    ...blocks,
    `Assumed, not measured\n${assumed.map((text) => `  ${text}`).join('\n')}`,
  ].join('\n\n');
}

function describeSettings(settings: BurnSettings, report: OpticsReport): Row[] {
  return [
    ['power', show(settings.powerW, 'W')],
    ['speed', show(settings.speedMmPerS, 'mm/s')],
    ...(settings.rateKHz === undefined ? [] : [['pulse rate', show(settings.rateKHz, 'kHz')] as const]),
    ...(settings.pulseNs === undefined ? [] : [['pulse duration', show(settings.pulseNs, 'ns')] as const]),
    ['passes', String(settings.passes)],
    ['line spacing', show(report.lineSpacingMm, 'mm'), report.lineSpacingOrigin],
    ['pitch', show(report.pitchMm, 'mm')],
  ];
}

function describeSpot(report: OpticsReport): Row[] {
  return [
    ['spot diameter', show(report.spotDiameterUm, 'µm'), `1/e², ${report.spotOrigin}`],
    ['Rayleigh range', show(report.rayleighRangeMm, 'mm')],
    ['depth of focus', show(report.depthOfFocusMm, 'mm'), 'in all; the spot grows by √2 at its ends'],
    [
      'defocus tolerance',
      `±${show(report.defocusToleranceMm, 'mm')}`,
      `the spot grows by ${formatNumber(100 * report.spotGrowth)} %`,
    ],
    ['divergence', show(report.fullDivergenceMrad, 'mrad'), 'full angle'],
    ['peak irradiance', show(report.peakIrradianceKWPerCm2, 'kW/cm²'), 'of the mean power'],
    ['dwell time', show(report.dwellTimeUs, 'µs'), 'one spot diameter'],
  ];
}

function describePulses(report: OpticsReport): Row[] {
  const { pulsePitchUm, pulseOverlap, pulsesPerSpot, pulsesPerDot, pulseRipple } = report;
  const { pulseEnergyUJ, peakFluenceJPerCm2, lockedSpeedMmPerS, lockedPulsesPerDot } = report;
  if (
    pulsePitchUm === null ||
    pulseOverlap === null ||
    pulsesPerSpot === null ||
    pulsesPerDot === null ||
    pulseRipple === null ||
    pulseEnergyUJ === null ||
    peakFluenceJPerCm2 === null ||
    lockedSpeedMmPerS === null
  ) {
    return [];
  }
  return [
    ['pulse energy', show(pulseEnergyUJ, 'µJ')],
    ['peak fluence', show(peakFluenceJPerCm2, 'J/cm²'), 'one pulse'],
    ['pulse pitch', show(pulsePitchUm, 'µm')],
    ['pulse overlap', percent(pulseOverlap), pulseOverlap < 0 ? 'gaps between pulses' : ''],
    ['pulses per spot', formatNumber(pulsesPerSpot)],
    ['pulses per dot', formatNumber(pulsesPerDot)],
    ['ripple along a line', `±${percent(pulseRipple)}`],
    ['locked speed', show(lockedSpeedMmPerS, 'mm/s'), `exactly ${lockedPulsesPerDot} per dot`],
  ];
}

function describeLines(report: OpticsReport): Row[] {
  return [
    ['dose', show(report.doseJPerCm2, 'J/cm²'), 'mean of a solid fill, all passes'],
    ['dose on a line', show(report.onLineDoseJPerCm2, 'J/cm²')],
    ['dose between lines', show(report.midLineDoseJPerCm2, 'J/cm²')],
    ['dose of a single line', show(report.lineDoseJPerCm2, 'J/cm²'), 'at its centre'],
    ['line overlap', percent(report.lineOverlap), report.lineOverlap < 0 ? 'gaps between lines' : ''],
    ['dose ripple', `±${percent(report.doseRipple)}`, 'of a solid fill'],
    [
      'recommended spacing',
      show(report.recommendedLineSpacingMm, 'mm'),
      `widest that is even: ${show(report.rippleLineSpacingMm, 'mm')} (ripple ≤ ±${percent(report.rippleLimit)}); less where it is worth its time`,
    ],
    [
      'spacing / mark',
      formatNumber(report.lineSpacingPerMark, 3),
      `mark ${show(report.markDiameterUm, 'µm')}${report.markOrigin === 'spot' ? ', taken as the spot' : ''}`,
    ],
  ];
}

function describeCylinder(report: OpticsReport): Row[] {
  const { cylinderDiameterMm, cylinderWidthMm, cylinderWidthLoweredMm, cylinderEdgeAngleDeg } = report;
  if (
    cylinderDiameterMm === null ||
    cylinderWidthMm === null ||
    cylinderWidthLoweredMm === null ||
    cylinderEdgeAngleDeg === null
  ) {
    return [];
  }
  const zR = show(report.rayleighRangeMm, 'mm');
  return [
    ['diameter', show(cylinderDiameterMm, 'mm')],
    ['width in focus', show(cylinderWidthMm, 'mm'), `focus on the top; edges ${zR} lower (half the depth of focus)`],
    ['with lowered focus', show(cylinderWidthLoweredMm, 'mm'), `focus ${zR} below the top; the whole depth of focus`],
    ['slope at the edge', `${formatNumber(cylinderEdgeAngleDeg, 3)}°`, 'of the first width'],
  ];
}

function show(value: number, unit: string): string {
  return `${formatNumber(value)} ${unit}`;
}

function percent(share: number): string {
  return `${formatNumber(100 * share, 3)} %`;
}
