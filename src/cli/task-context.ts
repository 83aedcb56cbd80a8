import type { TaskContext } from '../tasks/index.ts';
import type { Surroundings } from './command.ts';
import { readRefused } from './refused.ts';

/** The world as a task is handed it. */
export function taskContext({ io, shop, progress }: Surroundings): TaskContext {
  return { shop, refused: () => readRefused(shop), clock: { today: io.today }, progress };
}
