// Every screen in one page: the same portrait, wedge and zone plate, dots at 1:1 and the proof, on three materials.
// `npm run gallery` writes out/gallery/index.html.
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import {
  createPlane,
  type Dots,
  encodeColour,
  encodeDots,
  luminanceOfLightness,
  ONE,
  type Plane,
  readPhoto,
  resampleLuminance,
} from '../src/plane/index.ts';
import { assessTone, predictReflectance, renderSurface } from '../src/proof/index.ts';
import { SCREENS } from '../src/screens/index.ts';
import {
  type BenchMaterial,
  listVariants,
  openPrinter,
  type Variant,
  WIDE_MARKS,
} from './screens-quality/materials.ts';

const OUT = join('out', 'gallery');
const SIDE = 256;
const WEDGE = { height: 48, steps: 11 } as const;

/** Portrait, wedge of equal steps of L*, and zone plate, whose rings end at the finest that dots can show. */
async function composePicture(): Promise<Plane<'luminance'>> {
  const photo = await readPhoto(join('images', 'photos', 'portrait.png'));
  const side = 0.62 * photo.width;
  const crop = { x: 0.16 * photo.width, y: 0, width: side, height: side };
  const portrait = resampleLuminance(photo, { crop, width: SIDE, height: SIDE });
  const plane = createPlane('luminance', SIDE, 2 * SIDE + WEDGE.height);
  plane.data.set(portrait.data);
  const from = SIDE * SIDE;
  for (let i = 0; i < SIDE * WEDGE.height; i++) {
    const step = Math.floor(((i % SIDE) * WEDGE.steps) / SIDE);
    plane.data[from + i] = Math.round(luminanceOfLightness((100 * step) / (WEDGE.steps - 1)));
  }
  const plate = from + SIDE * WEDGE.height;
  for (let i = 0; i < SIDE * SIDE; i++) {
    const [x, y] = [(i % SIDE) + 0.5 - SIDE / 2, Math.floor(i / SIDE) + 0.5 - SIDE / 2];
    plane.data[plate + i] = Math.round(ONE * (0.5 + 0.5 * Math.cos((Math.PI * (x * x + y * y)) / SIDE)));
  }
  return plane;
}

interface Shown {
  readonly dots: string;
  readonly proof: string;
  readonly caption: string;
}

async function show(material: BenchMaterial, variant: Variant, picture: Plane<'luminance'>): Promise<Shown> {
  const { grid, surface } = material;
  const { dots, table, reflectance } = openPrinter(material, variant)(picture);
  const seen = predictReflectance(dots, { table });
  const colours = { bare: surface.bare, full: surface.full, yuleNielsenN: surface.response.yuleNielsenN };
  const name = `${material.title}-${variant.label.replace(/[^a-z]+/g, '-')}`;
  const { mean, p95 } = assessTone(dots, { table, grid, luminance: picture, reflectance });
  writeFileSync(join(OUT, `${name}.png`), encodeDots(lightDots(dots, material), grid, { format: 'png' }));
  writeFileSync(join(OUT, `${name}.proof.png`), await encodeColour(renderSurface(seen, colours), { format: 'png' }));
  return {
    dots: `${name}.png`,
    proof: `${name}.proof.png`,
    caption: `mean ${mean.toFixed(2)}, 95 % within ${p95.toFixed(2)} ΔL*`,
  };
}

/** On a material that marks lighter the picture of the dots is turned over, to be looked at beside the proof. */
function lightDots(dots: Dots, { surface }: BenchMaterial): Dots {
  if (surface.full[0] < surface.bare[0]) return dots;
  return { ...dots, data: dots.data.map((bit) => 1 - bit) };
}

function renderPage(rows: readonly { variant: Variant; shown: readonly Shown[] }[]): string {
  const head = WIDE_MARKS.map(
    ({ title, grid, markToPitch }) =>
      `<th colspan="2" scope="col">${title}<br><small>dots of ${grid.pitchMm} mm, marks ${markToPitch} × as wide</small></th>`,
  ).join('');
  const body = rows
    .map(({ variant, shown }) => {
      const cells = shown
        .map(
          ({ dots, proof, caption }) =>
            `<td><img src="${dots}" width="${SIDE}" alt="dots of ${variant.label}" loading="lazy"></td>` +
            `<td><img src="${proof}" width="${SIDE}" alt="proof of ${variant.label}" loading="lazy"><br><small>${caption}</small></td>`,
        )
        .join('');
      return `<tr><th scope="row">${variant.label}<br><small>${SCREENS[variant.name].title}</small></th>${cells}</tr>`;
    })
    .join('\n');
  return `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Screens</title>
<style>
body { font: 15px/1.4 system-ui, sans-serif; margin: 1.5rem; background: #e9e9e6; color: #1c1c1a; }
h1 { font-size: 1.4rem; margin: 0; } p { max-width: 46rem; margin: .4rem 0 1rem; }
table { border-collapse: separate; border-spacing: 6px; }
thead th { position: sticky; top: 0; background: #e9e9e6; padding: .3rem; text-align: left; z-index: 1; }
tbody th { text-align: left; vertical-align: top; min-width: 9.5rem; position: sticky; left: 0; background: #e9e9e6; font-weight: 600; }
small { font-weight: 400; color: #55554f; } td { vertical-align: top; } img { display: block; image-rendering: pixelated; }
</style></head><body>
<h1>Every screen</h1>
<p>The same portrait, wedge of eleven equal steps and zone plate. Left the dots, one pixel each and as light as their marks; right the
proof, what the response model predicts of them. Look at it at 100 %. Errors are after the eye’s filter at 300 mm. Portrait: NASA, public domain.</p>
<table><thead><tr><th></th>${head}</tr></thead><tbody>
${body}
</tbody></table></body></html>
`;
}

mkdirSync(OUT, { recursive: true });
const picture = await composePicture();
const rows: { variant: Variant; shown: Shown[] }[] = [];
for (const variant of listVariants()) {
  const shown: Shown[] = [];
  for (const material of WIDE_MARKS) shown.push(await show(material, variant, picture));
  rows.push({ variant, shown });
}
writeFileSync(join(OUT, 'index.html'), renderPage(rows));
console.log(`${rows.length} screens on ${WIDE_MARKS.length} materials: ${join(OUT, 'index.html')}`);
