import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';

/** A package whose code is in a portable folder, or was bundled into the program. */
export interface Part {
  readonly name: string;
  readonly version: string;
  /** As the package says it, an SPDX expression. */
  readonly licence: string;
  /** Texts of its licence and notices; empty where the package holds none. */
  readonly texts: readonly string[];
  /** Where its files lie in the folder; undefined for what is bundled. */
  readonly folder?: string;
}

const TEXTS = /^(licen[cs]e|copying|notice|third-party-notices)/i;

/** Parts of the GNU licences that each other refers to: LGPL 3 is the GPL 3 with more permissions, and asks for both texts. */
const TOGETHER: Readonly<Record<string, readonly string[]>> = {
  'LGPL-3.0-or-later': ['LGPL-3.0-or-later', 'GPL-3.0-or-later'],
};
const requireData = createRequire(import.meta.url);

/** The text of a licence as the SPDX list has it. @throws Error for one that is not there */
function textOf(id: string): string {
  return requireData(`spdx-license-list/licenses/${id}.json`).licenseText.trim();
}

/** What a package without a file of its own says in its README; of packages with others' machine code that names them all. */
function readSaid(folder: string): readonly string[] {
  const path = join(folder, 'README.md');
  const said = existsSync(path) ? /^## Licensing$.*/ms.exec(readFileSync(path, 'utf8'))?.[0] : undefined;
  return said === undefined ? [] : [said.trim()];
}

/** What one package says of itself. @throws Error for a package without a licence's name, or whose text is nowhere */
export function readPart(folder: string): Part {
  const { name, version, license } = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
  if (typeof license !== 'string') throw new Error(`${folder}: found no licence in package.json, needed one to name`);
  const texts = readdirSync(folder)
    .filter((file) => TEXTS.test(file))
    .map((file) => readFileSync(join(folder, file), 'utf8').trim());
  // A package of machine code names all that went into it and holds the text of its own part only.
  const ids = license.split(/ (?:AND|OR) |[()]/).filter((id) => id !== '');
  if (texts.length === 0 || ids.length > 1) {
    texts.push(...readSaid(folder), ...ids.flatMap((id) => (TOGETHER[id] ?? [id]).map(textOf)));
  }
  return { name, version, licence: license, texts, folder };
}

/** Every package that is installed below a folder, sorted by name. */
export function listInstalled(root: string): readonly Part[] {
  const modules = join(root, 'node_modules');
  if (!existsSync(modules)) return [];
  const folders = readdirSync(modules)
    .filter((name) => !name.startsWith('.'))
    .flatMap((name) =>
      name.startsWith('@')
        ? readdirSync(join(modules, name)).map((own) => join(modules, name, own))
        : [join(modules, name)],
    );
  return folders
    .flatMap((folder) => [readPart(folder), ...listInstalled(folder)])
    .sort((a, b) => (a.name < b.name ? -1 : 1));
}

/** The packages that the program's notices name: those that its build has bundled. */
export function listBundled(notices: string): readonly Part[] {
  const parts = notices.split(`\n${'-'.repeat(78)}\n\n`).slice(1);
  return parts.map((text) => {
    const [, name, version, licence] = /^(\S+) (\S+) \((.+)\)$/m.exec(text)!;
    return { name: name!, version: version!, licence: licence!, texts: [text.trim()] };
  });
}

/** All licences as one text for people. */
export function writeLicences(parts: readonly Part[], bundled: string): string {
  const line = '='.repeat(78);
  const own = parts.map(
    ({ name, version, licence, texts }) => `${name} ${version} (${licence})\n\n${texts.join('\n\n')}\n`,
  );
  return [`This folder holds the following, each under its own licence.\n`, ...own, bundled].join(`\n${line}\n\n`);
}

/**
 * A bill of materials in CycloneDX 1.6 (ECMA-424), JSON. It holds no date and no random number: the same folder has the same one.
 * @param hashes SHA-256 of files that are a component alone, by name of the part
 */
export function writeBill(
  product: { readonly name: string; readonly version: string },
  parts: readonly Part[],
  hashes: ReadonlyMap<string, string>,
): string {
  const refOf = ({ name, version }: { readonly name: string; readonly version: string }) =>
    `pkg:npm/${name.replace('@', '%40')}@${version}`;
  const root = { type: 'application', 'bom-ref': refOf(product), ...product, licenses: [{ license: { id: 'MIT' } }] };
  const components = parts.map((part) => {
    const { name, version, licence } = part;
    const hash = hashes.get(name);
    const isOne = /^[\w.+-]+$/.test(licence);
    return {
      type: name === 'node' ? 'platform' : 'library',
      'bom-ref': refOf(part),
      name,
      version,
      licenses: [isOne ? { license: { id: licence } } : { expression: licence }],
      ...(name === 'node' ? {} : { purl: refOf(part) }),
      ...(hash === undefined ? {} : { hashes: [{ alg: 'SHA-256', content: hash }] }),
    };
  });
  return `${JSON.stringify(
    {
      $schema: 'http://cyclonedx.org/schema/bom-1.6.schema.json',
      bomFormat: 'CycloneDX',
      specVersion: '1.6',
      version: 1,
      metadata: { component: root },
      components,
      dependencies: [{ ref: root['bom-ref'], dependsOn: components.map((one) => one['bom-ref']) }],
    },
    null,
    2,
  )}\n`;
}
