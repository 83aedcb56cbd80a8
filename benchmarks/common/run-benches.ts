import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/**
 * Runs each bench, or those whose names hold one of the words of the command line, one after the other. Each is made
 * when its turn comes, with a folder for all of them that is gone afterwards.
 */
export async function runBenches<Bench extends { readonly name: string }>(
  makers: readonly (() => Bench)[],
  run: (bench: Bench, folder: string) => Promise<void>,
): Promise<void> {
  const asked = process.argv.slice(2).filter((word) => !word.startsWith('-'));
  const folder = mkdtempSync(join(tmpdir(), 'benches-'));
  try {
    for (const makeBench of makers) {
      const bench = makeBench();
      if (asked.length > 0 && !asked.some((word) => bench.name.includes(word))) continue;
      await run(bench, folder);
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
