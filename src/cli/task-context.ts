import { createContext, type TaskContext } from '../tasks/index.ts';
import type { CommandContext } from './command.ts';
import { version } from './version.ts';

/** The world as a task is handed it. */
export function taskContext({ io, shop, progress, warn }: CommandContext): TaskContext {
  return createContext({ shop, version }, { clock: { today: io.today }, progress, warn });
}
