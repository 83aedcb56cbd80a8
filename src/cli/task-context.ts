import { createContext, type TaskContext } from '../tasks/index.ts';
import type { Surroundings } from './command.ts';
import { version } from './version.ts';

/** The world as a task is handed it. */
export function taskContext({ io, shop, progress, warn }: Surroundings): TaskContext {
  return createContext({ shop, version }, { clock: { today: io.today }, progress, warn });
}
