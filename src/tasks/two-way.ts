import { type MeasuredOffset, parseTwoWay, rememberOffset, type TwoWayRecord } from '../machine/index.ts';
import type { Shop } from '../material/index.ts';

/** What the shop has measured of lines there and back on a machine. @throws AppError file-invalid */
export function readTwoWayRecord(machine: string, shop: Shop): TwoWayRecord | undefined {
  if (!shop.list('two-way').some(({ name }) => name === machine)) return undefined;
  const { json, path } = shop.read('two-way', machine);
  return parseTwoWay(json, path);
}

/** Keeps an offset with the machine's others, one a speed. Gives the file's path. */
export function keepTwoWay(machine: string, reading: MeasuredOffset, shop: Shop): Promise<string> {
  const record = rememberOffset(readTwoWayRecord(machine, shop), { machine, reading });
  return shop.write('two-way', machine, record, { force: true });
}
