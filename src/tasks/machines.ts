import {
  ASSUMED_MOTION_FACTORS,
  listRotaryRows,
  type Machine,
  type MotionFactors,
  type MotionRow,
  motionRecord,
  parseMachine,
  type TwoWayRecord,
} from '../machine/index.ts';
import type { FoundRecord, Shop } from '../material/index.ts';
import type { Notice } from '../notices.ts';
import { computeSpotDiameterUm } from '../optics/index.ts';
import { SOURCES } from '../sources.ts';
import { type FoundSettings, findSettingsOf, listFoundSettings } from './found-settings.ts';
import { listRecords } from './listing.ts';
import { readTwoWayRecord } from './two-way.ts';

export interface MachineRecord extends Pick<FoundRecord, 'from' | 'path'> {
  readonly machine: Machine;
  /** 1/e² diameter at the work, µm: as the file has it, else computed. */
  readonly spotDiameterUm: number;
  /** The numbers of its motion, as a person reads them. */
  readonly motionRows: readonly MotionRow[];
  /** How far the numbers of its motion may be off, as factors by name; absent where they were fitted. */
  readonly motionFactors?: MotionFactors;
  /** What dose charts found on it, by material. */
  readonly found: readonly FoundSettings[];
  /** How far apart lines there and back land, as spot charts told; absent where none did. */
  readonly twoWay?: TwoWayRecord;
  /** Cautions, each with the whole reference that it comes from. */
  readonly cautions: readonly { readonly text: string; readonly source: string }[];
}

/** All machines of a shop that can be read, and a notice for each that cannot. */
export function listMachines(shop: Shop): {
  readonly machines: readonly MachineRecord[];
  readonly notices: readonly Notice[];
} {
  const { records, notices } = listRecords(shop, { kind: 'machines', read: (name) => showMachine(name, shop) });
  return { machines: records.map(({ value }) => value), notices };
}

/**
 * One machine and what follows from its numbers.
 * @param nameOrPath a machine of the shop, or the path of its file
 * @throws AppError name-unknown, path-*, file-invalid
 */
export function showMachine(nameOrPath: string, shop: Shop): MachineRecord {
  const { json, name, path, from } = shop.read('machines', nameOrPath);
  const machine = parseMachine(json, name);
  const { motionUncertainty } = machine;
  const twoWay = readTwoWayRecord(name, shop);
  return {
    machine,
    from,
    path,
    spotDiameterUm: machine.spotDiameterUm ?? computeSpotDiameterUm(machine),
    motionRows: [...motionRecord(machine.motion).listRows(machine.motion), ...listRotaryRows(machine.motion)],
    ...(motionUncertainty?.kind === 'fitted'
      ? {}
      : { motionFactors: motionUncertainty?.factors ?? ASSUMED_MOTION_FACTORS }),
    found: findSettingsOf(name, listFoundSettings(shop)),
    ...(twoWay ? { twoWay } : {}),
    cautions: machine.cautions.map(({ text, source }) => ({ text, source: SOURCES[source] })),
  };
}
