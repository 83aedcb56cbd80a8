import type { Shop } from '../material/index.ts';
import type { OptionValues } from '../options.ts';

export type { OptionValues } from '../options.ts';

/** What a command may know of the world outside; tests hand in their own. */
export interface Io {
  readonly stdout: (text: string) => void;
  readonly stderr: (text: string) => void;
  readonly env: Readonly<Record<string, string | undefined>>;
  readonly cwd: string;
  /** Whether stderr is a terminal: then progress is drawn in place. */
  readonly terminal: boolean;
  /** Seconds since some fixed moment. */
  readonly clock: () => number;
  /** Asks a person and gives the answer; absent where nobody sits at a terminal. */
  readonly ask?: (question: string) => Promise<string>;
  /** Today, as an ISO date. */
  readonly today: () => string;
  /** Ends the process soon after its answer, whatever it still waits for; absent where it is not the command's own. */
  readonly endSoon?: () => void;
}

/** What every run of a command is handed beside its arguments and options. */
export interface CommandContext {
  readonly io: Io;
  /** The shop folder in force, or the built-in examples. */
  readonly shop: Shop;
  /** A line on stderr that a person should read; also kept for the JSON document. */
  readonly warn: (text: string) => void;
  /** Say what is being done now; shown on stderr once the command has taken over a second. */
  readonly progress: (stage: string, share?: number) => void;
}

/** What a command gives back: printed as text, or as one JSON document with --json. Nothing else goes to stdout. */
export interface Outcome {
  readonly json: unknown;
  readonly text: string;
  /** 0 done, 1 the input or the measurement is at fault; 0 when absent. */
  readonly exit?: 0 | 1;
}

export type Run = (args: readonly string[], options: OptionValues, commandContext: CommandContext) => Promise<Outcome>;

export interface OptionRecord {
  /** As commander reads it, such as `--size <WxH>`. */
  readonly flags: string;
  /** With unit and default in words. */
  readonly help: string;
  readonly choices?: readonly string[];
  readonly required?: boolean;
  /** Heading under which the help lists it; absent: among the first. */
  readonly group?: string;
}

/** A command is a record; its code is loaded only when it is asked for. */
export interface CommandRecord {
  /** One word, or that of its group and one more. */
  readonly name: string;
  readonly summary: string;
  /** Positional arguments as commander reads them, such as `<photo>`. */
  readonly args: string;
  readonly options: readonly OptionRecord[];
  readonly examples: readonly string[];
  /** It writes what a shop has: a shop folder is made where there is none. */
  readonly makesShop?: boolean;
  readonly load: () => Promise<Run>;
}
