import { Command, CommanderError, Option } from 'commander';
import { AppError, sayPlainly } from '../errors.ts';
import type { CommandContext, CommandRecord, Io, OptionValues } from './command.ts';
import { pointTo } from './pointers.ts';
import { createProgress } from './progress.ts';
import { hintFor, wordError } from './word-error.ts';

/** Options of every command. */
const COMMON = [
  { flags: '--json', help: 'print one JSON document on stdout, and nothing else there' },
  { flags: '--shop <dir>', help: 'shop folder (default: TONEWRIGHT_SHOP, else ./shop, else the built-in examples)' },
] as const;

const ABOUT =
  'Turns photographs into bitmaps that a laser engraver burns right the first time, because it has measured how each ' +
  'material answers the beam. Lengths take mm, um, cm or in; bare numbers are mm. Exit status: 0 done, 1 the input or the ' +
  'measurement is at fault, 2 wrong usage, 70 a bug.';

/** What people mean who give a command more paths than it takes. */
const TOO_MANY =
  'Put a path with spaces in quotes. Several photos are an order: put them in a folder and give it to `tonewright order`.';

/**
 * Run the command line and give the exit status. Prints only through `io`; never ends the process.
 * @param argv Arguments after the program's name.
 */
export async function runProgram(
  argv: readonly string[],
  {
    commands,
    groups,
    version,
    io,
  }: {
    readonly commands: readonly CommandRecord[];
    /** What each group of commands is for, by its word. */
    readonly groups: Readonly<Record<string, string>>;
    readonly version: string;
    readonly io: Io;
  },
): Promise<number> {
  let status = 0;
  const program = new Command('tonewright')
    .description(ABOUT)
    .version(version)
    .configureOutput({ writeOut: io.stdout, writeErr: io.stderr })
    .exitOverride()
    .showSuggestionAfterError(true);
  const parents = new Map<string, Command>();
  const parentOf = (word: string) => {
    const known = parents.get(word);
    if (known) return known;
    const summary = groups[word]!;
    const parent = program.command(word).summary(summary).description(summary);
    parents.set(word, parent);
    return parent;
  };
  for (const record of commands) {
    const words = record.name.split(' ');
    const name = words.at(-1)!;
    const command = (words.length > 1 ? parentOf(words[0]!) : program)
      .command(record.args === '' ? name : `${name} ${record.args}`)
      .summary(record.summary)
      .description(record.summary)
      .addHelpText('after', `\nExamples:\n${record.examples.map((line) => `  tonewright ${line}`).join('\n')}`);
    for (const { flags, help, ...rest } of [...record.options, ...COMMON]) {
      const option = new Option(flags, help);
      if ('choices' in rest && rest.choices) option.choices([...rest.choices]);
      if ('required' in rest && rest.required) option.makeOptionMandatory();
      if ('group' in rest && rest.group) option.helpGroup(`${rest.group}:`);
      command.addOption(option);
    }
    command.action(async (...values: unknown[]) => {
      const options = values.at(-2) as OptionValues;
      const args = values
        .slice(0, -2)
        .flat()
        .filter((value) => value !== undefined) as string[];
      status = await runCommand(record, { args, options, io });
    });
  }
  if (argv.length === 0) {
    io.stderr(program.helpInformation());
    return 2;
  }
  try {
    await program.parseAsync([...argv], { from: 'user' });
  } catch (error) {
    if (!(error instanceof CommanderError)) throw error;
    if (error.exitCode === 0) return 0;
    // A group without an action has shown its help already.
    if (error.code === 'commander.help') return 2;
    if (error.code === 'commander.excessArguments') io.stderr(`${TOO_MANY}\n`);
    const pointer = error.code === 'commander.unknownOption' ? pointTo(error.message) : undefined;
    if (pointer) io.stderr(`${pointer}\n`);
    const known = error.code === 'commander.unknownCommand' ? listBeside(argv[0], commands) : [];
    if (known.length > 0) io.stderr(`There are ${known.join(', ')}.\n`);
    // The parser has told people already; whoever asked for JSON gets it of any error.
    if (argv.includes('--json'))
      io.stdout(writeError(new AppError('option-invalid', error.message.replace(/^error: /, ''))));
    return 2;
  }
  return status;
}

/** Actions of a group, as they are typed; none where the word is no group. */
function listBeside(group: string | undefined, commands: readonly CommandRecord[]): readonly string[] {
  return commands.map(({ name }) => name).filter((name) => name.startsWith(`${group} `));
}

async function runCommand(
  record: CommandRecord,
  { args, options, io }: { readonly args: readonly string[]; readonly options: OptionValues; readonly io: Io },
): Promise<number> {
  const progress = createProgress(io);
  const warnings: string[] = [];
  const warn = (said: string) => {
    const text = sayPlainly(said);
    if (warnings.includes(text)) return;
    warnings.push(text);
    progress.clear();
    io.stderr(`warning: ${text}\n`);
  };
  try {
    refuseEmpty(args, options);
    const { makeShopFor, openShopFor, rememberGiven } = await import('./shop.ts');
    const action = record.name.split(' ').slice(1);
    const outcome = await rememberGiven(args, io, async () => {
      if (record.makesShop) await makeShopFor(options, io);
      const shop = openShopFor(options, io);
      const commandContext: CommandContext = { io, shop, warn, progress: progress.show };
      const run = await record.load();
      return run([...action, ...args], options, commandContext);
    });
    progress.clear();
    io.stdout(options.json ? `${JSON.stringify(outcome.json, null, 2)}\n` : `${outcome.text}\n`);
    return outcome.exit ?? 0;
  } catch (error) {
    progress.clear();
    if (isToldToPeople(error)) {
      const { exit } = error;
      const said = wordError(
        error,
        [...record.options, ...COMMON].map(({ flags }) => flags),
      );
      if (options.json) io.stdout(writeError(error));
      io.stderr(`tonewright ${record.name}: ${said}\n${hintFor(error)}\n`);
      return exit;
    }
    io.stderr(
      `tonewright ${record.name}: this is a bug in Tonewright, not in your input. Please report the lines below.\n` +
        `${error instanceof Error ? (error.stack ?? error.message) : String(error)}\n`,
    );
    return 70;
  }
}

/** An empty text is what a variable without a value leaves; as a path it would be the current folder. */
function refuseEmpty(args: readonly string[], options: OptionValues): void {
  if (args.includes('')) throw new AppError('option-invalid', 'found an empty argument, needed a value');
  for (const [name, value] of Object.entries(options)) {
    if (value !== '') continue;
    const flag = name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
    throw new AppError('option-invalid', `--${flag}: found nothing after it, needed a value`);
  }
}

function writeError(error: AppError): string {
  const { code, message, details } = error;
  return `${JSON.stringify({ error: { code, message, hint: hintFor(error), details } }, null, 2)}\n`;
}

/** What a person may be told. Commands are bundled apart, so the class of their errors is another one than any here. */
function isToldToPeople(error: unknown): error is AppError {
  return error instanceof Error && error.name === 'AppError' && 'exit' in error && 'hint' in error;
}
