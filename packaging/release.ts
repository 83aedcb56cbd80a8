import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { makePortables } from './portable.ts';

/** The notes of a release: what the changelog says under its first heading of the second level, without the heading. */
export function readNotes(changelog: string): string {
  const notes = changelog.split(/^## .*\n/m)[1]?.trim();
  if (!notes) throw new Error('CHANGELOG.md: found nothing below its first "## ", needed what is new');
  return `${notes}\n`;
}

/**
 * Makes all that a release consists of: the packed file, the portable ZIPs of the systems (all when none is named), their
 * checksums as `sha256sum -c` reads them, and the notes.
 * @returns the checksums
 */
export async function makeRelease(systems: readonly string[], out: string): Promise<string> {
  rmSync(out, { recursive: true, force: true });
  await makePortables(systems, out);
  const files = readdirSync(out)
    .filter((name) => /\.(?:tgz|zip)$/.test(name))
    .sort();
  const sums = files.map((name) => {
    const hash = createHash('sha256')
      .update(readFileSync(join(out, name)))
      .digest('hex');
    return `${hash}  ${name}\n`;
  });
  writeFileSync(join(out, 'SHA256SUMS'), sums.join(''));
  writeFileSync(join(out, 'NOTES.md'), readNotes(readFileSync('CHANGELOG.md', 'utf8')));
  return sums.join('');
}
