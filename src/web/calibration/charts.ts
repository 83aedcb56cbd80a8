import { readdir, readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import * as v from 'valibot';
import type { ChartRequest } from '../../job/index.ts';
import { BENEATH, CHART_KIND_NAMES, listLayouts, makeFolder, SEEN } from '../../tasks/index.ts';
import type { ChartCard, ChartMade } from '../protocol.ts';
import { removeFolder } from '../server-files.ts';
import { nameIncoming } from '../server-incoming.ts';
import { LEVELS, parseWith, RECORD_NAME } from '../server-photo-settings.ts';
import { type Calibration, HASH, incomingOf, unknown } from './context.ts';

const CHART_FILES = ['chart.png', 'chart.json', 'chart.html', 'chart.svg', 'chart.csv', 'chart.nc'];
const lengthMm = v.pipe(v.number(), v.minValue(1), v.maxValue(2000));
const positive = v.pipe(v.number(), v.gtValue(0), v.maxValue(1e6));
/** Characters of one swept setting. Assumed: more than forty values with their units take. */
const VARY_MOST = 400;

const CHART_REQUEST = v.strictObject({
  kind: v.picklist(CHART_KIND_NAMES),
  machine: RECORD_NAME,
  material: v.exactOptional(RECORD_NAME),
  profile: v.exactOptional(RECORD_NAME),
  direction: v.exactOptional(v.picklist(['lighter', 'darker'])),
  widthMm: v.exactOptional(lengthMm),
  heightMm: v.exactOptional(lengthMm),
  powerW: v.exactOptional(positive),
  speedMmPerS: v.exactOptional(positive),
  spacingMm: v.exactOptional(v.pipe(v.number(), v.minValue(0.001), v.maxValue(2))),
  levels: v.exactOptional(LEVELS),
  vary: v.exactOptional(v.pipe(v.array(v.pipe(v.string(), v.maxLength(VARY_MOST))), v.maxLength(2))),
  cells: v.exactOptional(v.literal('empty')),
  scan: v.exactOptional(v.picklist(['one-way', 'two-way'])),
  seen: v.exactOptional(v.picklist(SEEN)),
  beneath: v.exactOptional(v.picklist(BENEATH)),
});

/** All charts whose layouts the shop keeps, with the files that are at hand. */
export async function listCharts({ shop, shopDir }: Calibration): Promise<readonly ChartCard[]> {
  const cards: ChartCard[] = [];
  for (const layout of listLayouts(shop).layouts) {
    const { hash, kind, material, machine, direction, widthMm, heightMm } = layout;
    const there = await readdir(join(shopDir, 'charts', hash)).catch(() => [] as string[]);
    const files = CHART_FILES.filter((file) => there.includes(file));
    const field = layout.field ? { hasField: true } : {};
    const side = layout.seen ? { seen: layout.seen } : {};
    const card = { hash, kind, material, machine, direction, widthMm, heightMm, files, ...field, ...side };
    const [first] = files;
    const drawn = first && (await stat(join(shopDir, 'charts', hash, first))).mtime.toISOString();
    cards.push(drawn ? { ...card, drawn } : card);
  }
  return cards;
}

/** @throws AppError option-invalid naming the field; those of `drawChart` */
export async function makeChart({ pool, events }: Calibration, json: unknown): Promise<ChartMade> {
  const { widthMm, heightMm, powerW, speedMmPerS, spacingMm, scan, ...asked } = parseWith(CHART_REQUEST, json);
  const settings = {
    ...(powerW === undefined ? {} : { powerW }),
    ...(speedMmPerS === undefined ? {} : { speedMmPerS }),
    ...(scan === undefined ? {} : { scan }),
  };
  const request: ChartRequest = {
    ...asked,
    ...(widthMm === undefined || heightMm === undefined ? {} : { size: `${widthMm}x${heightMm}` }),
    ...(spacingMm === undefined ? {} : { pitchMm: spacingMm, lineSpacingMm: spacingMm }),
    ...(Object.keys(settings).length > 0 ? { settings } : {}),
  };
  const made = await pool.run('files', 'makeChartFiles', request);
  events.send({ type: 'shop' });
  return made;
}

/** @throws AppError name-unknown */
export async function readChartFile({ shopDir }: Calibration, hash: string, name: string): Promise<Uint8Array> {
  if (!HASH.test(hash) || !CHART_FILES.includes(name)) throw unknown('chart');
  return readFile(join(shopDir, 'charts', hash, name)).catch(() => {
    throw unknown('chart');
  });
}

/**
 * Takes the files of a chart away; its layout stays, so that a scan of it can still be read.
 * @throws AppError name-unknown
 */
export async function putAwayChart(calibration: Calibration, hash: string): Promise<void> {
  const { shop, shopDir, events } = calibration;
  if (!HASH.test(hash) || !shop.list('charts').some(({ name }) => name === hash)) throw unknown('chart');
  const incoming = incomingOf(calibration);
  await makeFolder(incoming);
  await removeFolder(join(shopDir, 'charts', hash), nameIncoming(incoming));
  events.send({ type: 'shop' });
}
