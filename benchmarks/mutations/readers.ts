import { spawnSync } from 'node:child_process';
import { copyFileSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';

import { JOURNAL_FILE, openJournal } from '../../src/batch/journal.ts';
import { readArtwork } from '../../src/caption/index.ts';
import { layoutChart } from '../../src/chart/index.ts';
import { AppError } from '../../src/errors.ts';
import {
  parseChartLayout,
  parseHistory,
  parseJobTicket,
  parseOrderForPlates,
  parseSimulationErrors,
  parseTimeReadings,
  resolveJob,
} from '../../src/job/index.ts';
import { parseJson } from '../../src/json.ts';
import { estimateTime, parseMachine } from '../../src/machine/index.ts';
import {
  coverageTable,
  fillDotTable,
  openShop,
  parseMaterial,
  parsePalette,
  parseProfile,
  parseRefused,
} from '../../src/material/index.ts';
import { createDots, decodeDotsBytes, decodePhoto, encodeDots } from '../../src/plane/index.ts';
import { crc32 } from '../../src/plane/png.ts';
import { parseJig } from '../../src/plate/index.ts';
import { parsePriceList } from '../../src/price/index.ts';
import { parseMaterialModel } from '../../src/simulation/index.ts';
import { parseOrderList } from '../../src/tasks/read-order.ts';
import { readSettingsFile } from '../../src/tasks/settings-file.ts';
import { keepSubjectMask } from '../../src/tasks/subject-mask.ts';
import { parseLengthMm, parseSizeMm } from '../../src/units.ts';
import { parsePhotoSettings, parsePieceSettings, requestOf } from '../../src/web/server-photo-settings.ts';

/** Something that takes bytes from outside, with whole samples of what it takes. */
export interface Reader {
  readonly name: string;
  readonly samples: readonly Uint8Array[];
  /** Reads, and uses what was taken as its first user does; throws AppError for what is refused. */
  readonly read: (bytes: Buffer) => unknown;
  /** Whether samples are JSON, whose values are changed, too. */
  readonly isJson?: true;
  /** Makes checksums of changed bytes right again, so that what lies behind them is read, too. */
  readonly mend?: (bytes: Buffer) => Buffer;
  /** How many inputs of a hundred thousand, in parts; what starts a process for each has few. */
  readonly weight: number;
}

const list = (folder: string) =>
  readdirSync(folder)
    .filter((name) => name.endsWith('.json'))
    .map((name) => join(folder, name));
const texts = (...parts: readonly string[]) => parts.map((text) => Buffer.from(text));

/** A reader of records: text, then JSON, as `readJson` does it, whose messages for what is no JSON are its own. */
function record(name: string, samples: readonly Uint8Array[], use: (json: unknown) => unknown): Reader {
  const read = (bytes: Buffer) => {
    let json: unknown;
    try {
      json = parseJson(bytes.toString('utf8'));
    } catch (error) {
      throw error instanceof SyntaxError ? new AppError('file-invalid', 'found no JSON') : error;
    }
    return use(json);
  };
  return { name, samples, read, isJson: true, weight: 4 };
}

/** A PNG whose chunks have their checksums again, as far as its chunks can be told. */
function mendPng(bytes: Buffer): Buffer {
  for (let at = 8; at + 12 <= bytes.length; ) {
    const length = bytes.readUInt32BE(at);
    if (at + 12 + length > bytes.length) break;
    bytes.writeUInt32BE(crc32(bytes.subarray(at + 4, at + 8 + length)), at + 8 + length);
    at += 12 + length;
  }
  return bytes;
}

/** Made of names and noise alone, so that decoders get to their inner loops. */
async function drawPhotos(): Promise<ReturnType<typeof sharp>> {
  const [width, height] = [24, 18];
  const raw = Uint8Array.from({ length: 3 * width * height }, (_, at) => (at * 37 + (at >> 3) * 11) % 256);
  return sharp(raw, { raw: { width, height, channels: 3 } });
}

/**
 * Records as the program writes them: of an order of one small piece, one of whose photos is no photo. Made once; the
 * processes that read are told where.
 */
function readMade(folder: string) {
  process.env.MADE ??= makeOrder(folder);
  const [ticket, order, journal] = ['cat.ticket.json', 'order.json', JOURNAL_FILE].map((name) =>
    readFileSync(join(process.env.MADE!, name)),
  );
  return { ticket: ticket!, order: order!, journal: journal! };
}

function makeOrder(folder: string): string {
  copyFileSync('images/photos/cat.png', join(folder, 'cat.png'));
  writeFileSync(
    join(folder, 'order.csv'),
    'photo,size,profile\ncat.png,8x6,leather-patch\nnone.png,8x6,leather-patch\n',
  );
  const out = join(folder, 'made');
  spawnSync(process.execPath, ['dist/tonewright.cjs', 'order', join(folder, 'order.csv'), '--out', out]);
  return out;
}

/** All readers of what people and other programs give; `folder` is for those that read files alone. */
export async function listReaders(): Promise<{ readonly readers: readonly Reader[]; readonly close: () => void }> {
  const folder = mkdtempSync(join(tmpdir(), 'tonewright-mutations-'));
  const image = await drawPhotos();
  const photo = (name: string, samples: readonly Buffer[], weight: number): Reader => ({
    name: `photo, ${name}`,
    samples,
    weight,
    ...(name === 'PNG' ? { mend: mendPng } : {}),
    read: (bytes) => decodePhoto(bytes, 'photo', { maxPixels: 1e6, seconds: 5 }),
  });
  const dots = createDots(
    20,
    6,
    2,
    Uint8Array.from({ length: 120 }, (_, at) => (at % 3 === 0 ? 1 : 0)),
  );
  const grid = { pitchMm: 0.05, lineSpacingMm: 0.06 };
  const bitmaps = (['png', 'tiff', 'bmp'] as const).map((format) => encodeDots(dots, grid, { format }));
  const files = (paths: readonly string[]) => paths.map((path) => readFileSync(path));
  const layout = layoutChart('check', {
    ...{ machine: 'm', material: 'slate', direction: 'lighter', grid, screen: { name: 'bayer', options: {} } },
    settings: { powerW: 1, speedMmPerS: 100, passes: 1, scan: 'one-way' },
    ...{ seed: 1, widthMm: 60, heightMm: 12 },
  } as never);
  const made = readMade(folder);
  const check = { date: '2026-01-02', chart: 'a', capture: 'b.png', meanDelta: 0.5, worstDelta: 1, bareDelta: 0 };
  const drift = { solidDelta: 0, midShift: 0.1, basis: 'relative', unit: 0.5, verdict: 'holds', cause: 'none' };
  const history = { schema: 'tonewright-history/1', profile: 'p', entries: [{ ...check, ...drift }] };
  const shop = openShop({ builtIn: ['shared', 'shared/shop'] });
  const wish = {
    ...{
      widthMm: 30,
      heightMm: 20,
      cornerRadiusMm: 2,
      fit: 'cover',
      focus: { x: 0.5, y: 0.5 },
      machine: 'galvo-355-f210',
    },
    ...{ tone: 'auto', toneValues: { contrast: 0.1 }, range: 'scale', caption: { text: 'A B', place: 'below' } },
    ...{ safeMarginMm: 1, profile: 'anodised-black', screen: 'bayer', settings: { passes: 2 } },
  };
  const path = (name: string, bytes: Buffer) => {
    const file = join(folder, name);
    writeFileSync(file, bytes);
    return file;
  };
  const readers: readonly Reader[] = [
    photo(
      'JPEG',
      [
        await image.clone().jpeg().toBuffer(),
        await image
          .clone()
          .jpeg({ progressive: true })
          .withExif({ IFD0: { Make: 'x' } })
          .toBuffer(),
      ],
      6,
    ),
    photo(
      'PNG',
      [
        await image.clone().png().toBuffer(),
        await image.clone().ensureAlpha().toColourspace('rgb16').png().toBuffer(),
        await image.clone().withIccProfile('p3').png().toBuffer(),
      ],
      6,
    ),
    photo(
      'TIFF',
      [await image.clone().tiff().toBuffer(), await image.clone().toColourspace('cmyk').tiff().toBuffer()],
      4,
    ),
    photo('WebP', [await image.clone().webp().toBuffer()], 0.05),
    photo('AVIF', [await image.clone().avif().toBuffer()], 0.05),
    { name: 'bitmap', samples: bitmaps, weight: 6, read: (bytes) => decodeDotsBytes(bytes, 'bitmap') },
    {
      name: 'mask of a subject',
      samples: [await image.clone().greyscale().png().toBuffer()],
      weight: 1,
      read: (bytes) => keepSubjectMask(folder, bytes),
    },
    record('machine', files(list('shared/machines')), (json) => {
      const { motion, defaults } = parseMachine(json, 'machine');
      const { seconds } = estimateTime(dots, { motion, settings: defaults, grid });
      if (!(seconds >= 0)) throw new Error(`a time of ${seconds} s`);
    }),
    record('material', files(list('shared/materials').filter((file) => !/never/.test(file))), (json) =>
      parseMaterial(json, 'material'),
    ),
    record('refused materials', files(['shared/materials/never.json']), (json) => parseRefused(json, 'never')),
    record('profile', files(list('shared/shop/profiles')), (json) => {
      const profile = parseProfile(json, 'profile');
      coverageTable(profile, { range: 'scale' });
      return fillDotTable(profile, profile.grid);
    }),
    record('prices', files(['shared/shop/prices.json']), (json) => parsePriceList(json, 'prices')),
    record('jig', files(list('shared/shop/jigs')), (json) => parseJig(json, 'jig')),
    record('palette', files(list('shared/shop/palettes')), (json) => parsePalette(json, 'palette')),
    record('layout of a chart', texts(JSON.stringify(layout)), (json) => parseChartLayout(json, 'layout')),
    record('history', texts(JSON.stringify(history)), (json) => parseHistory(json, 'history')),
    record('model of a material', files(list('shared/simulation')), (json) => parseMaterialModel(json)),
    record('errors of charts', files(['shared/simulation-errors.json']), (json) =>
      parseSimulationErrors(json, 'errors'),
    ),
    record('ticket', [made.ticket], (json) => parseJobTicket(json, 'ticket')),
    record('order for plates', [made.order], (json) => parseOrderForPlates(json, 'order')),
    record('request of the page', texts(JSON.stringify(wish)), (json) =>
      resolveJob(requestOf(parsePhotoSettings(json), folder), { shop, refused: [] }),
    ),
    record('request of a piece', texts(JSON.stringify({ ...wish, turned: true })), (json) => parsePieceSettings(json)),
    {
      name: 'list of an order',
      samples: [
        readFileSync('shared/shop/orders/spring-market.csv'),
        ...texts('photo;size;count\r\na.jpg;85,6x54;2\r\n'),
        Buffer.from('photo\tcount\na\t1\n', 'utf16le'),
      ],
      weight: 6,
      read: (bytes) => parseOrderList(bytes, 'list'),
    },
    {
      name: 'stopwatch readings',
      samples: texts('file,seconds,speed\na.png,1:35.2,500\n'),
      weight: 4,
      read: (bytes) => parseTimeReadings(bytes.toString('utf8'), 'readings'),
    },
    {
      name: 'drawing',
      samples: texts(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10" width="10mm"><g transform="scale(2)"><path d="M0 0L5 5z" fill="#000"/></g></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg" width="5" height="4"><style>.a{fill:#123}</style><rect class="a" width="2" height="2"/></svg>',
      ),
      weight: 4,
      read: (bytes) => readArtwork(bytes.toString('utf8'), 'drawing'),
    },
    {
      name: 'settings',
      samples: texts(
        JSON.stringify({
          schema: 'tonewright-dose/1',
          recommended: { settings: { powerW: 2, speedMmPerS: 500, passes: 1, scan: 'one-way', lineSpacingMm: 0.02 } },
        }),
      ),
      weight: 1,
      read: (bytes) => readSettingsFile(path('settings.json', bytes)),
    },
    {
      name: 'journal',
      samples: [made.journal],
      weight: 0.5,
      read: async (bytes) => (await openJournal(path(JOURNAL_FILE, bytes))).close(),
    },
    {
      name: 'length',
      samples: texts('12.5mm', '0.02 in', '300um'),
      weight: 2,
      read: (bytes) => parseLengthMm(bytes.toString('utf8'), 'length'),
    },
    {
      name: 'size',
      samples: texts('85.6x54', 'ID-1', '3.37x2.13in', '⌀80'),
      weight: 2,
      read: (bytes) => parseSizeMm(bytes.toString('utf8'), 'size'),
    },
  ];
  return { readers, close: () => rmSync(folder, { recursive: true, force: true }) };
}
