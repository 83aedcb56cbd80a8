import { randomInt } from 'node:crypto';
import { existsSync } from 'node:fs';
import { rm } from 'node:fs/promises';
import { join } from 'node:path';
import { makeFolder } from '../../tasks/index.ts';
import type { Reading } from '../protocol.ts';
import { nameIncoming } from '../server-incoming.ts';
import { addCapture } from './captures.ts';
import { type Calibration, HASH, incomingOf, unknown } from './context.ts';
import { readCaptures } from './readings.ts';

/** Seeds of a virtual piece are drawn below this, so that each try burns another piece. By definition: 31 bits. */
const SEEDS = 2 ** 31;

/**
 * Burns a chart of the shop virtually, scans it on white paper and reads the scan, as a person with a laser would.
 * @throws AppError name-unknown; those of `captureFile` and `readCaptures`
 */
export async function tryChart(calibration: Calibration, hash: string): Promise<Reading> {
  const bitmap = join(calibration.shopDir, 'charts', hash, 'chart.png');
  if (!HASH.test(hash) || !existsSync(bitmap)) throw unknown('chart');
  const incoming = incomingOf(calibration);
  await makeFolder(incoming);
  const scan = `${nameIncoming(incoming)}.png`;
  try {
    await calibration.pool.run('files', 'captureVirtually', {
      bitmap,
      chart: hash,
      seed: randomInt(1, SEEDS),
      out: scan,
    });
    const { id } = await addCapture(calibration, scan, { name: `virtual-${hash.slice(0, 6)}.png`, isVirtual: true });
    const asked = { captures: [id], chart: hash, camera: 'known', mirrored: false, reference: 'paper' };
    return await readCaptures(calibration, asked);
  } finally {
    await rm(scan, { force: true });
  }
}
