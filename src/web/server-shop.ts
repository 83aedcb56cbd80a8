import { readdir } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import { AppError } from '../errors.ts';
import { meanBandHalf, readMachine } from '../job/index.ts';
import { findMark, type Profile, parseMaterial, type Shop } from '../material/index.ts';
import { TONE_FIELDS } from '../photo/index.ts';
import { screenNames } from '../screens/index.ts';
import { listProfiles, listRecords } from '../tasks/index.ts';
import { NAMED_SIZES } from '../units.ts';
import type { MachineFacts, MaterialFacts, PieceFacts, ProfileFacts, SampleFacts, ShopFacts } from './protocol.ts';
import { MAX_PIXELS } from './server-jobs.ts';

/** Largest file of a photo or a capture, bytes. Assumed: above every camera's file. */
export const MAX_UPLOAD_BYTES = 200e6;

/** Pieces that a shop has at hand, beside the named sizes. Assumed: common blanks. */
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

export async function describeShop(context: ShopContext): Promise<ShopFacts> {
  const { shop, shopDir, version } = context;
  const machines = listRecords(shop, { kind: 'machines', read: (name) => describeMachine(name, shop) });
  const profiles = listProfiles(shop);
  const materials = listRecords(shop, {
    kind: 'materials',
    read: (name): MaterialFacts => {
      const { json, path } = shop.read('materials', name);
      const material = parseMaterial(json, path);
      const markedBy = machines.records
        .filter(({ value: { wavelengthNm } }) => findMark(material, wavelengthNm) !== undefined)
        .map(({ value }) => value.name);
      return { name, title: material.title, markedBy };
    },
  });
  return {
    version,
    folder: basename(shopDir),
    machines: machines.records.map(({ value }) => value),
    profiles: profiles.records.map(({ value, from }) => factsOfProfile(value, from)),
    materials: materials.records.map(({ value }) => value),
    broken: [machines, profiles, materials].flatMap(({ notices }) => notices.map(({ text }) => text)),
    pieces: PIECES,
    screens: screenNames,
    samples: await listSamples(context.photosDir),
    toneFields: TONE_FIELDS,
    limits: { uploadBytes: MAX_UPLOAD_BYTES, megapixels: MAX_PIXELS / 1e6 },
  };
}

function describeMachine(name: string, shop: Shop): MachineFacts {
  const { title, fieldMm, wavelengthNm, defaults } = readMachine(name, shop);
  return { name, title, fieldMm, wavelengthNm, settings: defaults };
}

export function factsOfProfile(profile: Profile, from: ProfileFacts['from']): ProfileFacts {
  const { name, title, material, machine, direction, origin, date, bare, full, grid, screen, captures } = profile;
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
    captures: captures ?? null,
    bandL: meanBandHalf(profile) ?? null,
  };
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
