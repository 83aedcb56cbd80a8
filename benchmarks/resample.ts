// A 24-megapixel photo to the luminance of a 4280 × 2700 dot card in linear light: our kernels, our plain version, and
// sharp's own linear pipeline. Each run is a process of its own, so first-call costs count; turns alternate.
// CPU time (user + system), median of the runs; peak memory of the process.
import { execFileSync } from 'node:child_process';
import { createRequire } from 'node:module';
import { fileURLToPath } from 'node:url';
import { decodeSrgb } from '../src/colour/index.ts';
import { readPhoto, resampleLuminance } from '../src/plane/index.ts';
import { LARGE_PHOTO, makeLargePhoto } from './large-photo.ts';

const RUNS = 7;
const DOTS = { width: 4280, height: 2700 } as const;
/** The part of a 3 : 2 photo that has the card's shape. */
const CROP = { x: 0, y: 107, width: 6000, height: 3785 } as const;
const VARIANTS = ['simd', 'scalar', 'sharp'] as const;

interface Run {
  readonly decodeMs: number;
  readonly resampleMs: number;
  readonly peakMib: number;
  readonly mean: number;
}

async function measure(variant: (typeof VARIANTS)[number], path: string): Promise<Run> {
  const begin = process.cpuUsage();
  const spentMs = () => {
    const { user, system } = process.cpuUsage(begin);
    return (user + system) / 1000;
  };
  let decodeMs = 0;
  let data: Uint16Array;
  let toLight = (level: number) => level / 32767;
  if (variant === 'sharp') {
    const sharp = createRequire(import.meta.url)('sharp') as typeof import('sharp')['default'];
    sharp.cache(false);
    const { x, y, width, height } = CROP;
    const raw = await sharp(path)
      .pipelineColourspace('scrgb')
      .extract({ left: x, top: y, width, height })
      .resize({ ...DOTS, fit: 'fill' })
      .toColourspace('grey16')
      .raw({ depth: 'ushort' })
      .toBuffer();
    data = new Uint16Array(raw.buffer, raw.byteOffset, raw.length / 2);
    // The pipeline is linear inside and coded at its end.
    toLight = (level) => decodeSrgb(level / 65535);
  } else {
    const photo = await readPhoto(path);
    decodeMs = spentMs();
    data = resampleLuminance(photo, { crop: CROP, ...DOTS, arithmetic: variant }).data;
  }
  const resampleMs = spentMs() - decodeMs;
  const peakMib = process.resourceUsage().maxRSS / 1024;
  return { decodeMs, resampleMs, peakMib, mean: data.reduce((sum, level) => sum + toLight(level), 0) / data.length };
}

const median = (values: number[]) => values.sort((a, b) => a - b)[values.length >> 1]!;

const asked = VARIANTS.find((variant) => process.argv[2] === `--run=${variant}`);
if (asked) {
  console.log(JSON.stringify(await measure(asked, process.argv[3]!)));
} else {
  const path = await makeLargePhoto();
  const self = fileURLToPath(new URL('./resample.js', import.meta.url));
  const runs = new Map(VARIANTS.map((variant) => [variant, [] as Run[]]));
  for (let turn = 0; turn < RUNS; turn++) {
    for (const variant of VARIANTS) {
      runs
        .get(variant)!
        .push(JSON.parse(execFileSync(process.execPath, [self, `--run=${variant}`, path], { encoding: 'utf8' })));
    }
  }
  console.log(
    `${LARGE_PHOTO.width} × ${LARGE_PHOTO.height} JPEG → ${DOTS.width} × ${DOTS.height}, linear light; CPU ms, median of ${RUNS}`,
  );
  const totals = new Map<string, number>();
  for (const [variant, results] of runs) {
    const of = (key: keyof Run) => median(results.map((run) => run[key]));
    totals.set(variant, median(results.map((run) => run.decodeMs + run.resampleMs)));
    const parts =
      variant === 'sharp' ? '' : ` (decode ${of('decodeMs').toFixed(0)}, resample ${of('resampleMs').toFixed(0)})`;
    console.log(
      `${variant.padEnd(6)} ${totals.get(variant)!.toFixed(0).padStart(6)}${parts}, peak ${of('peakMib').toFixed(0)} MiB, mean ${of('mean').toFixed(5)}`,
    );
  }
  console.log(
    `simd / sharp ${(totals.get('simd')! / totals.get('sharp')!).toFixed(2)}, simd / scalar ${(totals.get('simd')! / totals.get('scalar')!).toFixed(2)}`,
  );
}
