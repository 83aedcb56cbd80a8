import { recommendStartSpacingMm, refuseBeyond, resolveGrid, startSettings } from '../job/index.ts';
import { type Machine, parseMachine } from '../machine/index.ts';
import { type BurnSettings, describeOptics, type OpticsReport, SPACING_RULE } from '../optics/index.ts';
import type { TaskContext } from './context.ts';
import { formatNumber } from './words.ts';

export interface OpticsRequest {
  /** A machine of the shop, or the path of its file. */
  readonly machine: string;
  /** Each absent one as the machine starts with it; with none given, as a chart without a profile starts. */
  readonly settings?: Partial<Omit<BurnSettings, 'scan'>>;
  readonly pitchMm?: number;
  readonly lineSpacingMm?: number;
  /** What a dot visibly changes; as wide as the spot when absent. */
  readonly markDiameterUm?: number;
  /** Diameter of a round piece that does not turn. */
  readonly cylinderDiameterMm?: number;
}

export interface OpticsRecord {
  readonly machine: Machine;
  readonly settings: BurnSettings;
  readonly report: OpticsReport;
  /** What rests on no measurement: groups of the machine's file, and limits of the report; as sentences. */
  readonly assumed: readonly string[];
  readonly warnings: readonly string[];
}

/**
 * Spot, focus, pulses and dose of a machine with its settings, and the line spacing that the spot supports.
 * @throws AppError name-unknown; option-invalid for settings that the machine does not reach
 */
export function describeMachineOptics(
  request: OpticsRequest,
  { shop, warn }: Pick<TaskContext, 'shop' | 'warn'>,
): OpticsRecord {
  const { pitchMm, lineSpacingMm, markDiameterUm, cylinderDiameterMm, settings: given = {} } = request;
  const { json, name } = shop.read('machines', request.machine);
  const machine = parseMachine(json, name);
  const grid = {
    ...(lineSpacingMm === undefined ? {} : { lineSpacingMm }),
    ...(pitchMm === undefined ? {} : { pitchMm }),
  };
  const settings = chooseSettings(given, { machine, grid });
  refuseBeyond(settings, { machine, of: 'optics' });
  const report = describeOptics(machine, {
    ...settings,
    ...grid,
    ...(givesSettings(given)
      ? {}
      : { recommended: { lineSpacingMm: recommendStartSpacingMm(machine), by: 'spot' as const } }),
    ...(markDiameterUm === undefined ? {} : { markDiameterUm }),
    ...(cylinderDiameterMm === undefined ? {} : { cylinderDiameterMm }),
  });
  const idle = machine.emission === 'continuous' && (given.rateKHz !== undefined || given.pulseNs !== undefined);
  const warnings = [
    ...(idle ? [`${machine.name} has a continuous beam: pulse rate and pulse duration are not used`] : []),
    ...report.warnings.map(({ text }) => text),
  ];
  for (const text of warnings) warn(text);
  return { machine, settings, report, assumed: listAssumed(machine, report), warnings };
}

const givesSettings = (given: NonNullable<OpticsRequest['settings']>) =>
  Object.values(given).some((value) => value !== undefined);

interface SettingsContext {
  readonly machine: Machine;
  readonly grid: { readonly pitchMm?: number; readonly lineSpacingMm?: number };
}

/** As given; with nothing given those that a chart or a photo without a profile starts with. */
function chooseSettings(
  given: NonNullable<OpticsRequest['settings']>,
  { machine, grid }: SettingsContext,
): BurnSettings {
  const { emission } = machine;
  const start = resolveGrid(grid, { machine, learned: undefined });
  const defaults = givesSettings(given) ? machine.defaults : startSettings(machine, { grid: start });
  const rateKHz = given.rateKHz ?? defaults.rateKHz;
  const pulseNs = given.pulseNs ?? defaults.pulseNs;
  return {
    powerW: given.powerW ?? defaults.powerW,
    speedMmPerS: given.speedMmPerS ?? defaults.speedMmPerS,
    ...(emission === 'pulsed' && rateKHz !== undefined ? { rateKHz } : {}),
    ...(emission === 'pulsed' && pulseNs !== undefined ? { pulseNs } : {}),
    passes: given.passes ?? defaults.passes,
    scan: defaults.scan,
  };
}

/** What rests on no measurement: groups of the machine's file, and limits of this report. */
function listAssumed({ origins, spotDiameterUm }: Machine, report: OpticsReport): string[] {
  const groups = [
    ...(origins.optics.kind === 'assumed'
      ? [spotDiameterUm === undefined ? 'beam and lens of the machine, and so its spot' : 'spot of the machine']
      : []),
    ...(origins.defaults.kind === 'assumed' ? ['settings that were not given'] : []),
    ...(report.markOrigin === 'spot' ? ['mark as wide as the spot'] : []),
    'no material is known here: a tone chart of it tells the spacing that its solid supports',
  ];
  const limits = [
    `dose ripple up to ±${formatNumber(100 * report.rippleLimit, 3)} % counts as even; ±1 % less is worth ${SPACING_RULE.secondsPerPercent} s of marking per cm²`,
    `spot growth up to ${formatNumber(100 * report.spotGrowth)} % counts as in focus`,
  ];
  return [...groups, ...limits];
}
