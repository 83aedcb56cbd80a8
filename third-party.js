// The notices of everything that the build bundles into dist/: their licences ask that they go along.
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

const TEXTS = /^(licen[cs]e|copying|notice)/i;

/** Folder of the package that a bundled file comes from; undefined for our own. */
function packageOf(file) {
  return /^(.*node_modules\/(?:@[^/]+\/)?[^/]+)\//.exec(file.replaceAll('\\', '/'))?.[1];
}

/**
 * All packages of which a byte is in the outputs, with their licences' texts, sorted by name.
 * @param metafiles of esbuild's results
 * @param more folders of packages that get into dist/ by other ways than these bundles
 * @throws Error for a package that says nothing of its licence
 */
export function writeNotices(metafiles, more) {
  const folders = new Set(more);
  for (const { outputs } of metafiles) {
    for (const { inputs } of Object.values(outputs)) {
      for (const [file, { bytesInOutput }] of Object.entries(inputs)) {
        const folder = packageOf(file);
        if (folder !== undefined && bytesInOutput > 0) folders.add(folder);
      }
    }
  }
  const parts = [...folders].map(describePackage).sort((a, b) => (a.name < b.name ? -1 : 1));
  const head = `Tonewright holds code of the following ${parts.length} packages, or what they made. Their licences and notices:\n`;
  return [head, ...parts.map(({ text }) => text)].join(`\n${'-'.repeat(78)}\n\n`);
}

function describePackage(folder) {
  const { name, version, license, author, homepage } = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
  const texts = readdirSync(folder)
    .filter((file) => TEXTS.test(file))
    .map((file) => readFileSync(join(folder, file), 'utf8').trim());
  if (typeof license !== 'string') throw new Error(`${folder}: found no licence in package.json, needed one to name`);
  const by = typeof author === 'string' ? author : author?.name;
  if (texts.length === 0 && by === undefined)
    throw new Error(`${folder}: found neither a licence's text nor an author`);
  const lines = [`${name} ${version} (${license})`, by === undefined ? '' : `by ${by}`, homepage ?? ''];
  return { name, text: `${lines.filter((line) => line !== '').join('\n')}\n\n${texts.join('\n\n')}\n` };
}
