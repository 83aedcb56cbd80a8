import { readdir } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import { AppError } from '../errors.ts';
import { readMachine, readProfile } from '../job/index.ts';
import { parseMaterial, type Shop } from '../material/index.ts';
import { TONE_FIELDS } from '../photo/index.ts';
import { screenNames } from '../screens/index.ts';
import { NAMED_SIZES } from '../units.ts';
import type { MachineFacts, Named, PieceFacts, ProfileFacts, SampleFacts, ShopFacts } from './protocol.ts';
import { MAX_PIXELS } from './server-jobs.ts';

/** Largest file of a photo or a capture, bytes. */
export const MAX_UPLOAD_BYTES = 200e6;

/** Pieces that a shop has at hand, beside the named sizes. */
const PIECES: readonly PieceFacts[] = [
  ...Object.entries(NAMED_SIZES).map(([name, { widthMm, heightMm, cornerRadiusMm }]) => ({
    name,
    title: name === 'id-1' ? 'Card (ID-1)' : name.toUpperCase(),
    widthMm,
    heightMm,
    cornerRadiusMm,
  })),
  { name: 'square-50', title: 'Square', widthMm: 50, heightMm: 50, cornerRadiusMm: 0 },
  { name: 'round-100', title: 'Coaster, round', widthMm: 100, heightMm: 100, cornerRadiusMm: 50 },
  { name: 'tag-50x28', title: 'Tag', widthMm: 50, heightMm: 28, cornerRadiusMm: 4 },
];

export interface ShopContext {
  readonly shop: Shop;
  readonly shopDir: string;
  readonly version: string;
  readonly photosDir: string;
}

/** One broken record must not hide the others. */
function readAll<T>(names: readonly string[], read: (name: string) => T): T[] {
  return names.flatMap((name) => {
    try {
      return [read(name)];
    } catch (error) {
      if (error instanceof AppError) return [];
      throw error;
    }
  });
}

export async function describeShop(context: ShopContext): Promise<ShopFacts> {
  const { shop, shopDir, version } = context;
  return {
    version,
    folder: basename(shopDir),
    machines: listMachines(shop),
    profiles: listProfiles(shop),
    materials: readAll(
      shop.list('materials').map(({ name }) => name),
      (name): Named => {
        const { json, path } = shop.read('materials', name);
        return { name, title: parseMaterial(json, path).title };
      },
    ),
    pieces: PIECES,
    screens: screenNames,
    samples: await listSamples(context.photosDir),
    toneFields: TONE_FIELDS,
    limits: { uploadBytes: MAX_UPLOAD_BYTES, megapixels: MAX_PIXELS / 1e6 },
  };
}

function listMachines(shop: Shop): MachineFacts[] {
  return readAll(
    shop.list('machines').map(({ name }) => name),
    (name) => {
      const { title, fieldMm, wavelengthNm, defaults } = readMachine(name, shop);
      return { name, title, fieldMm, wavelengthNm, settings: defaults };
    },
  );
}

function listProfiles(shop: Shop): ProfileFacts[] {
  return shop.list('profiles').flatMap(({ name, from }) =>
    readAll([name], (one): ProfileFacts => {
      const { title, material, machine, direction, origin, date, bare, full, grid, screen } = readProfile(one, shop);
      return {
        name,
        title,
        material,
        machine,
        direction,
        origin,
        date,
        from,
        bareL: bare[0],
        fullL: full[0],
        pitchMm: grid.pitchMm,
        lineSpacingMm: grid.lineSpacingMm,
        screen: screen.name,
      };
    }),
  );
}

/** The sample photographs that come with the program; their names are the ids. */
export async function listSamples(folder: string): Promise<SampleFacts[]> {
  const files = await readdir(folder).catch(() => [] as string[]);
  return files
    .filter((file) => /\.(?:png|jpg)$/.test(file))
    .sort()
    .map((file) => {
      const id = basename(file, extname(file));
      return { id, title: id.charAt(0).toUpperCase() + id.slice(1).replaceAll('-', ' ') };
    });
}

/** @throws AppError name-unknown */
export async function findSample(folder: string, id: string): Promise<string> {
  const files = await readdir(folder).catch(() => [] as string[]);
  const file = files.find((name) => basename(name, extname(name)) === id && /\.(?:png|jpg)$/.test(name));
  if (file === undefined) throw new AppError('name-unknown', 'found no such sample photograph');
  return join(folder, file);
}
