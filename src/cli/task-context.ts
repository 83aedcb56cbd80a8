import { readRefused, type TaskContext } from '../tasks/index.ts';
import type { Surroundings } from './command.ts';
import { version } from './version.ts';

/** The world as a task is handed it. */
export function taskContext({ io, shop, progress, warn }: Surroundings): TaskContext {
  return { shop, refused: () => readRefused(shop), clock: { today: io.today }, version, progress, warn };
}
