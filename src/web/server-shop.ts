import { readdir } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import { AppError } from '../errors.ts';
import type { Shop } from '../material/index.ts';
import { describeShop, hasPrices, listJigs, type OfferedProfile, TONE_FIELDS } from '../tasks/index.ts';
import { NAMED_SIZES } from '../units.ts';
import type { PieceFacts, ProfileFacts, SampleFacts, ShopFacts } from './protocol.ts';
import { MAX_PIXELS } from './server-previews.ts';

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

export async function viewShop({ shop, shopDir, version, photosDir }: ShopContext): Promise<ShopFacts> {
  const { machines, profiles, materials, screens, charts, notices } = describeShop(shop);
  const jigs = listJigs(shop);
  return {
    version,
    folder: basename(shopDir),
    machines: machines.map(({ start, found, ...machine }) => {
      return { ...machine, settings: start, found: found.map(({ material, settings }) => ({ material, settings })) };
    }),
    profiles: profiles.map(factsOfProfile),
    materials,
    jigs: jigs.records.map(({ value }) => value),
    broken: [...notices, ...jigs.notices].map(({ text }) => text),
    pieces: PIECES,
    screens,
    charts,
    samples: await listSamples(photosDir),
    toneFields: TONE_FIELDS,
    own: {
      machine: shop.list('machines').some(({ from }) => from === 'shop'),
      profile: profiles.some(({ from, profile }) => from === 'shop' && profile.origin === 'measured'),
      prices: hasPrices(shop),
    },
    limits: { uploadBytes: MAX_UPLOAD_BYTES, megapixels: MAX_PIXELS / 1e6 },
  };
}

export function factsOfProfile({ profile, from, bandL, checkDue }: OfferedProfile): ProfileFacts {
  const { name, title, material, machine, direction, origin, date, bare, full, grid, screen, settings, captures } =
    profile;
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
    levels: profile.levels?.count ?? null,
    settings,
    captures: captures ?? null,
    bandL: bandL ?? null,
    checkDue: checkDue ?? null,
    ...(profile.seen ? { seen: profile.seen } : {}),
    ...(profile.beneath ? { beneath: profile.beneath } : {}),
  };
}

/** The sample photographs that come with the program; their names are the ids. */
async function listSamples(folder: string): Promise<SampleFacts[]> {
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
