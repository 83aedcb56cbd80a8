import { join } from 'node:path';
import { AppError } from '../../errors.ts';
import type { Shop } from '../../material/index.ts';
import type { EventHub } from '../server-events.ts';
import { clearIncoming } from '../server-incoming.ts';
import type { Work } from '../server-work.ts';

/** What charts, captures, readings and profiles of a shop folder need of the world. */
export interface Calibration {
  readonly shop: Shop;
  readonly shopDir: string;
  readonly pool: Work;
  readonly events: EventHub;
}

/** What was being received when a server stopped is swept. */
export async function openCalibration(given: Calibration): Promise<Calibration> {
  await clearIncoming(incomingOf(given));
  return given;
}

/** Where captures are received, and what is taken away lies until it is gone. */
export const incomingOf = ({ shopDir }: Pick<Calibration, 'shopDir'>) => join(shopDir, 'captures', '.incoming');

export const ID = /^[0-9a-f]{16}$/;
export const HASH = /^[0-9a-f]{6,64}$/;

export const unknown = (what: string) => new AppError('name-unknown', `found no such ${what} in the shop folder`);
