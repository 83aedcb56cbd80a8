import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';

let collect: (() => void) | undefined;

/**
 * Gives back, now, the memory that nothing refers to any more. A decoded photo lies outside the engine's heap, so the
 * engine does not feel how large it is and would keep it beside all that follows: a third of the peak of a 24-megapixel
 * job (benchmarks/prepare.ts). Costs about 10 ms, so call it only after letting go of something large.
 */
export async function releaseMemory(): Promise<void> {
  if (!collect) {
    setFlagsFromString('--expose-gc');
    collect = runInNewContext('gc') as () => void;
  }
  collect();
  // The image library's buffers are freed in later turns of the event loop: one to notice, one to free.
  for (let turn = 0; turn < 2; turn++) await new Promise((resolve) => setTimeout(resolve, 1));
}

/** Below this size there is nothing to gain, bytes. Assumed: 1 MiB is little beside a plane of a card. */
const LARGE_BYTES = 1 << 20;

/**
 * Lets go of the bytes of a file that nobody will read again; they are empty afterwards. Handing their memory to a new,
 * short-lived object frees it at the engine's next small collection, where the old object would keep it for a large
 * one: the size of the file less at the peak of a photo's job, at no cost.
 */
export function dropBytes(bytes: Uint8Array): void {
  const { buffer, byteLength } = bytes;
  if (byteLength < LARGE_BYTES || byteLength !== buffer.byteLength || !(buffer instanceof ArrayBuffer)) return;
  structuredClone(buffer, { transfer: [buffer] });
}

/**
 * Sets the engine for a process that does one photo and ends. Its room for short-lived objects stays as it is now: it
 * would grow to several times that beside the photo, 4 MiB of the peak of a 24-megapixel job. It collects in one go
 * what it would mark by and by. And where it has but one optimiser (V8 11, Node 20) that takes fewer functions, each
 * when it is asked for: half a second is too short for what is compiled ahead to pay. A tenth of the CPU together
 * (medians of seven, benchmarks/prepare.ts). Work that makes many objects or goes on is better off without.
 */
export function tuneForOnePhoto(): void {
  setFlagsFromString('--semi-space-growth-factor=1');
  setFlagsFromString('--no-incremental-marking');
  if (!process.versions.v8.startsWith('11.')) return;
  setFlagsFromString('--no-concurrent-osr');
  setFlagsFromString(`--interrupt-budget=${BUDGET_BYTES}`);
}

/**
 * How much a function runs before it is optimised, bytes of its code. Measured (benchmarks/prepare.ts): 0.718 s,
 * 0.721 s with twice as much, 0.76 s with the engine's own quarter.
 */
const BUDGET_BYTES = 300_000;
