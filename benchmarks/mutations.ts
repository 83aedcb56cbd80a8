// Mutated inputs over every reader: 200 000, or COUNT of them, from SEED on. Each must give a value or an AppError,
// within five seconds; another error, a hang, or the end of the process is told with its seed and the shortest bytes
// that do it. READER=profile takes those alone whose name holds the word. `node dist/bench/mutations.js`
import { fork } from 'node:child_process';
import { AppError } from '../src/errors.ts';
import { mutate, mutateJson, shrink } from './mutations/mutate.ts';
import { listReaders, type Reader } from './mutations/readers.ts';

const COUNT = Number(process.env.COUNT ?? 200_000);
const SEED = Number(process.env.SEED ?? 1);
const ONLY = process.env.READER ?? '';
/** Longest that a reader may take, ms, and how long the other process is waited for beside. */
const LONGEST_MS = 5000;
const PATIENCE_MS = 15_000;

interface Task {
  readonly reader: string;
  readonly from: number;
  readonly to: number;
}
type Told = { readonly at: number } | { readonly fault: string } | { readonly refused: number; readonly taken: number };

function inputOf({ samples, mend, isJson }: Reader, at: number): Buffer {
  const change = isJson && at % 3 > 0 ? mutateJson : mutate;
  const bytes = change(samples[at % samples.length]!, SEED * 1_000_003 + at);
  return mend && at % 4 > 0 ? mend(bytes) : bytes;
}

/** How bytes fail; undefined for a value, or a refusal in words. */
async function failureOf({ read }: Reader, bytes: Buffer): Promise<{ way?: string; refused: boolean }> {
  const began = performance.now();
  try {
    await read(bytes);
    const spent = performance.now() - began;
    return spent > LONGEST_MS ? { way: `took ${(spent / 1000).toFixed(1)} s`, refused: false } : { refused: false };
  } catch (error) {
    if (error instanceof AppError) return { refused: true };
    const { name, message, stack = '' } = error as Error;
    const where = /\n\s+at ([^\n]*)/.exec(stack)?.[1] ?? '';
    return { way: `${name}: ${message.slice(0, 120)} (${where})`, refused: false };
  }
}

async function work({ reader: name, from, to }: Task): Promise<void> {
  const { readers, close } = await listReaders();
  const reader = readers.find((one) => one.name === name)!;
  const tell = (told: Told) => process.send!(told);
  const seen = new Set<string>();
  let [refused, taken] = [0, 0];
  for (let at = from; at < to; at++) {
    tell({ at });
    const bytes = inputOf(reader, at);
    const { way, refused: isRefused } = await failureOf(reader, bytes);
    if (isRefused) refused++;
    else if (way === undefined) taken++;
    else if (!seen.has(way.replace(/\d+/g, '#'))) {
      seen.add(way.replace(/\d+/g, '#'));
      const least = await shrink(bytes, async (shorter) => (await failureOf(reader, shorter)).way);
      tell({
        fault: `${name}, seed ${SEED}, input ${at}: ${way}\n    ${JSON.stringify(least.toString('latin1').slice(0, 400))}`,
      });
    }
  }
  close();
  // Heard by the parent, however busy it is, before this process lets go of the line.
  await new Promise((sent) => process.send!({ refused, taken } satisfies Told, sent));
}

/** One reader's inputs in a process of their own, begun again after what ended it or held it up. */
async function watch(task: Task): Promise<{ refused: number; taken: number; faults: readonly string[] }> {
  const faults: string[] = [];
  const sum = { refused: 0, taken: 0 };
  let from = task.from;
  while (from < task.to) {
    let at = from;
    await new Promise<void>((done) => {
      const child = fork(process.argv[1]!, ['work'], {
        env: { ...process.env, TASK: JSON.stringify({ ...task, from }) },
      });
      let isHung = false;
      const hung = () => {
        isHung = true;
        child.kill('SIGKILL');
      };
      // What it does before its first input has no limit: on a busy machine a process may take long to start.
      let timer: NodeJS.Timeout | undefined;
      child.on('message', (told: Told) => {
        clearTimeout(timer);
        timer = setTimeout(hung, PATIENCE_MS);
        if ('at' in told) at = told.at;
        else if ('fault' in told) faults.push(told.fault);
        else {
          sum.refused += told.refused;
          sum.taken += told.taken;
          at = task.to;
        }
      });
      const exited = new Promise<string>((resolve) => child.on('exit', (code, signal) => resolve(`${signal ?? code}`)));
      // What it said last may come after its end is known, on a busy machine.
      child.on('disconnect', async () => {
        const end = await exited;
        clearTimeout(timer);
        if (at < task.to)
          faults.push(`${task.reader}, seed ${SEED}, input ${at}: ${isHung ? 'hung' : `ended with ${end}`}`);
        done();
      });
    });
    from = Math.min(at + 1, task.to);
  }
  return { ...sum, faults };
}

if (process.argv[2] === 'work') {
  await work(JSON.parse(process.env.TASK!));
  process.disconnect();
} else {
  const { readers, close } = await listReaders();
  const chosen = readers.filter(({ name }) => name.includes(ONLY));
  // What is refused as it is would prove nothing when it is changed.
  for (const reader of chosen) for (const sample of reader.samples) await reader.read(Buffer.from(sample));
  const whole = chosen.reduce((sum, { weight }) => sum + weight, 0);
  let [all, bad] = [0, 0];
  for (const { name, weight } of chosen) {
    const to = Math.ceil((COUNT * weight) / whole);
    const began = performance.now();
    const { refused, taken, faults } = await watch({ reader: name, from: 0, to });
    all += to;
    bad += faults.length;
    const seconds = ((performance.now() - began) / 1000).toFixed(0);
    console.log(
      `${name.padEnd(22)} ${String(to).padStart(6)} inputs: ${taken} taken, ${refused} refused, ${faults.length} faults; ${seconds} s`,
    );
    for (const fault of faults) console.log(`  ${fault}`);
  }
  close();
  console.log(`seed ${SEED}: ${all} inputs, ${bad} faults`);
  if (bad > 0) process.exitCode = 1;
}
