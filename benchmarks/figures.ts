// The figures of the folders' READMEs, drawn by the functions that they explain. `npm run figures` writes
// images/figures/.
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { shapeCurve } from '../src/chart/camera.ts';
import { type ChartLayout, drawChart, layoutChart } from '../src/chart/index.ts';
import { decodeSrgb, lightnessOfReflectance } from '../src/colour/index.ts';
import {
  learnProfile,
  makeChart,
  measureCaptures,
  prepareJob,
  readCaptures,
  resolveChart,
  resolveJob,
} from '../src/job/index.ts';
import { mendHeat, planHeat } from '../src/job/prepare/heat.ts';
import { predictPoints } from '../src/job/request/curve.ts';
import { parseMachine, planProgram } from '../src/machine/index.ts';
import {
  coverageTable,
  fillDotTable,
  invertProfile,
  openShop,
  type Profile,
  parseProfile,
  readJson,
  takeRoad,
} from '../src/material/index.ts';
import { computeRawStrength } from '../src/material/response.ts';
import { computeChordMm, placeOnPaper, placeOnRound, unrollCone } from '../src/optics/index.ts';
import {
  createDots,
  createPlane,
  DOT_FORMATS,
  type Dots,
  decodeDotsBytes,
  encodeColour,
  ONE,
  type Plane,
  readPhoto,
  resampleLuminance,
  shrinkToJpeg,
} from '../src/plane/index.ts';
import { predictReflectance } from '../src/proof/index.ts';
import { applyScreen, type ScreenName } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  encodeSrgb,
  engrave,
  engraveCone,
  type FieldModel,
  meanLightness,
  parseMaterialModel,
  parsePowerModel,
  powerAt,
  type Surface,
  unrollPiece,
  viewPiece,
} from '../src/simulation/index.ts';
import { followProgram } from './common/follow-program.ts';

const OUT = join('images', 'figures');
const INK = '#1f2a2e';
const SOFT = '#8a979c';
const SERIES = ['#0f766e', '#b4532a', '#5b5ea6', '#a67c00'];

interface Panel {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  readonly xOf: (value: number) => number;
  readonly yOf: (value: number) => number;
}

const text = (x: number, y: number, words: string, { anchor = 'start', fill = INK, size = 12 } = {}) =>
  `<text x="${x.toFixed(1)}" y="${y.toFixed(1)}" text-anchor="${anchor}" font-size="${size}" fill="${fill}">${words}</text>`;

const line = (points: readonly (readonly [number, number])[], colour: string, width = 2) =>
  `<polyline fill="none" stroke="${colour}" stroke-width="${width}" points="${points.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(' ')}"/>`;

const svg = (width: number, height: number, parts: readonly string[]) =>
  `<svg xmlns="http://www.w3.org/2000/svg" width="${width}" height="${height}" viewBox="0 0 ${width} ${height}" font-family="system-ui, sans-serif">
<rect width="${width}" height="${height}" fill="#fff"/>
${parts.join('\n')}
</svg>
`;

/** A panel with its frame and the names of its axes. */
function openPanel(
  { x, y, width, height }: Pick<Panel, 'x' | 'y' | 'width' | 'height'>,
  { title, across, up, from, to }: { title: string; across: string; up: string; from: number; to: number },
): { panel: Panel; frame: string[] } {
  const panel: Panel = {
    x,
    y,
    width,
    height,
    xOf: (value) => x + ((value - from) / (to - from)) * width,
    yOf: (value) => y + height - value * height,
  };
  const frame = [
    `<rect x="${x}" y="${y}" width="${width}" height="${height}" fill="none" stroke="${SOFT}"/>`,
    text(x, y - 10, title, { size: 13 }),
    text(x + width / 2, y + height + 20, across, { anchor: 'middle', fill: SOFT }),
    `<text transform="translate(${x - 10} ${y + height / 2}) rotate(-90)" text-anchor="middle" font-size="12" fill="${SOFT}">${up}</text>`,
  ];
  return { panel, frame };
}

const STEPS = 160;
const sample = (from: number, to: number) =>
  Array.from({ length: STEPS + 1 }, (_, i) => from + ((to - from) * i) / STEPS);

/** Strength of the mark against the local dose, and how strength mixes into light. */
function drawResponse(profile: Profile): string {
  const model = profile.response;
  const laws = [
    { name: 'threshold: a coating that goes', law: { ...model, steepness: 24, halfDose: 0.6, fading: 0 } },
    { name: 'gradual: charring', law: { ...model, steepness: 2, halfDose: 0.6, fading: 0 } },
    { name: 'overburns: fades again', law: { ...model, steepness: 4, halfDose: 0.5, fading: 0.25 } },
  ];
  const { panel, frame } = openPanel(
    { x: 40, y: 40, width: 300, height: 200 },
    {
      title: 'Characteristic curve: mark strength by dose',
      across: 'dose, of the solid’s mean (log)',
      up: 'strength',
      from: -1,
      to: 0.5,
    },
  );
  const curves = laws.map(({ law }, i) =>
    line(
      sample(-1, 0.5).map((log) => [panel.xOf(log), panel.yOf(computeRawStrength(law, 10 ** log))] as const),
      SERIES[i]!,
    ),
  );
  const keys = laws.map(({ name }, i) => text(50, 60 + 18 * i, name, { fill: SERIES[i]! }));
  const mixing = openPanel(
    { x: 400, y: 40, width: 300, height: 200 },
    {
      title: 'Mixing: luminance by mean strength',
      across: 'mean strength',
      up: 'luminance, bare 0.05 … solid 0.6',
      from: 0,
      to: 1,
    },
  );
  const [bare, full] = [0.05, 0.6];
  const mixes = [1, 1.3, 2].map((n, i) => {
    const mixed = (a: number) => ((1 - a) * bare ** (1 / n) + a * full ** (1 / n)) ** n;
    return line(
      sample(0, 1).map((a) => [mixing.panel.xOf(a), mixing.panel.yOf((mixed(a) - bare) / (full - bare))] as const),
      SERIES[i]!,
    );
  });
  const ns = [1, 1.3, 2].map((n, i) =>
    text(410, 60 + 18 * i, `n = ${n}${n === 1 ? ' (Murray and Davies)' : ''}`, { fill: SERIES[i]! }),
  );
  return svg(730, 280, [...frame, ...curves, ...keys, ...mixing.frame, ...mixes, ...ns]);
}

/** A chart of 16 levels through a laser that bends them: what arrives of each, and the curve with and without it. */
function drawLevels(): string {
  const power = parsePowerModel(readJson('shared/simulation/levels/tube.json'));
  const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
  const request = { kind: 'tone', machine: 'gantry-450', material: 'birch-plywood', levels: 16 } as const;
  const layout = layoutChart('tone', resolveChart(request, { shop, refused: [] }).options);
  const screenOf = ({ screen }: Pick<ChartLayout, 'screen'>) => {
    const named = { ...screen.options, name: screen.name as ScreenName, grid: layout.grid };
    return (coverage: Plane<'coverage'>) => applyScreen(coverage, named);
  };
  const dots = drawChart(layout, screenOf(layout), screenOf(layout.levels!));
  const model = parseMaterialModel(readJson('shared/simulation/birch.json'));
  const surface = engrave(dots, { grid: layout.grid, model, seed: 1, levels: power });
  const { options: camera } = CAMERAS['flatbed-600']!;
  const { width, height, rgb } = captureSurface(surface, { ...camera, seed: 2 });
  const { profile, report } = learnProfile([{ name: 'scan', image: { width, height, rgb, bits: 8 } }], {
    layouts: [layout],
    camera: 'known',
    date: '2026-01-01',
    origin: 'simulated',
  });
  const road = takeRoad(profile, 16);
  const { doseByLevel: _doses, ...response } = road.response;
  const { levels: _levels, ...plain } = profile;
  const guessed = predictPoints({ profile: { ...plain, response }, grid: profile.grid, screen: road.screen });
  const doses = openPanel(
    { x: 60, y: 40, width: 290, height: 210 },
    {
      title: 'What arrives of each level',
      across: 'level, of the full one',
      up: 'dose, of the full one',
      from: 0,
      to: 1,
    },
  );
  const { xOf, yOf } = doses.panel;
  const levels = sample(0, 1);
  const told = report.levels!.doses.map(
    ({ level, dose, low, high }) =>
      `<line x1="${xOf(level)}" x2="${xOf(level)}" y1="${yOf(low)}" y2="${yOf(high)}" stroke="${SERIES[0]}"/><circle cx="${xOf(level).toFixed(1)}" cy="${yOf(dose).toFixed(1)}" r="3" fill="${SERIES[0]}"/>`,
  );
  const tones = openPanel(
    { x: 440, y: 40, width: 290, height: 210 },
    { title: 'Lightness by mean level', across: 'mean level, of the full one', up: 'L*, 20 … 90', from: 0, to: 1 },
  );
  const place = (points: readonly { readonly coverage: number; readonly lightness: number }[]) =>
    points.map(
      ({ coverage, lightness }) => [tones.panel.xOf(coverage), tones.panel.yOf((lightness - 20) / 70)] as const,
    );
  const read = place(report.levels!.rows).map(
    ([x, y]) => `<circle cx="${x.toFixed(1)}" cy="${y.toFixed(1)}" r="3" fill="${INK}"/>`,
  );
  return svg(760, 290, [
    ...doses.frame,
    line(
      levels.map((level) => [xOf(level), yOf(level)] as const),
      SOFT,
      1,
    ),
    line(
      levels.map((level) => [xOf(level), yOf(powerAt(power, level))] as const),
      SERIES[1]!,
    ),
    ...told,
    text(70, 62, 'what the laser does', { fill: SERIES[1]! }),
    text(70, 80, 'as the chart tells it', { fill: SERIES[0]! }),
    text(70, 98, 'in proportion', { fill: SOFT }),
    ...tones.frame,
    line(place(guessed), SOFT, 1.5),
    line(place(road.points), SERIES[0]!),
    ...read,
    text(600, 62, 'patches as read', { fill: INK }),
    text(600, 80, 'learned', { fill: SERIES[0]! }),
    text(600, 98, 'in proportion', { fill: SOFT }),
  ]);
}

/** Neighbourhoods of dots and the strength of the cell in their middle, from the table of a profile. */
function drawDotTable(profile: Profile): string {
  const table = fillDotTable(profile, profile.grid);
  const { columns, rows, corners, strength } = table;
  const cells = Array.from({ length: columns * rows }, (_, i) => ({ x: Math.floor(i / rows), y: i % rows })).filter(
    ({ x, y }) => corners || !((x === 0 || x === columns - 1) && (y === 0 || y === rows - 1)),
  );
  const [middleX, middleY] = [(columns - 1) / 2, (rows - 1) / 2];
  const patterns: readonly (readonly [string, (dx: number, dy: number) => boolean])[] = [
    ['bare', () => false],
    ['beside one dot', (dx, dy) => dx === 1 && dy === 0],
    ['one dot', (dx, dy) => dx === 0 && dy === 0],
    ['checkerboard', (dx, dy) => (dx + dy) % 2 === 0],
    ['line', (_dx, dy) => dy === 0],
    ['solid', () => true],
  ];
  const side = 22;
  const parts = patterns.flatMap(([name, fires], i) => {
    const left = 20 + i * (columns * side + 44);
    let index = 0;
    const drawn = cells.map(({ x, y }) => {
      const bit = fires(x - middleX, y - middleY);
      index = (index << 1) | (bit ? 1 : 0);
      const isMiddle = x === middleX && y === middleY;
      return `<rect x="${left + x * side}" y="${30 + y * side}" width="${side}" height="${side}" fill="${isMiddle ? '#e6f2f0' : '#fff'}" stroke="${SOFT}"/>${
        bit
          ? `<circle cx="${left + (x + 0.5) * side}" cy="${30 + (y + 0.5) * side}" r="${side * 0.5}" fill="${INK}" fill-opacity="0.8"/>`
          : ''
      }`;
    });
    const below = 30 + rows * side + 20;
    return [
      ...drawn,
      text(left, 20, name),
      text(left, below, `strength ${strength[index]!.toFixed(2)}`, { fill: SERIES[0]! }),
    ];
  });
  return svg(20 + patterns.length * (columns * side + 44), 30 + rows * side + 34, parts);
}

/** What a camera's curve does to the light of coarse clusters, whose mean is known by their area. */
function drawCameraCurve(): string {
  const camera = shapeCurve(1.35, 0.85);
  const { panel, frame } = openPanel(
    { x: 40, y: 40, width: 300, height: 220 },
    { title: 'A camera’s curve, found from the chart', across: 'code of the file', up: 'linear light', from: 0, to: 1 },
  );
  const curves = [decodeSrgb, camera].map((curve, i) =>
    line(
      sample(0, 1).map((code) => [panel.xOf(code), panel.yOf(curve(code))] as const),
      i === 0 ? SOFT : SERIES[0]!,
    ),
  );
  const [dark, light] = [0.06, 0.72];
  const codeOf = (wanted: number) => {
    let [low, high] = [0, 1];
    for (let i = 0; i < 50; i++) {
      const middle = (low + high) / 2;
      if (camera(middle) < wanted) low = middle;
      else high = middle;
    }
    return low;
  };
  const points = [0, 0.25, 0.5, 0.75, 1].map((share) => {
    const mean = dark + share * (light - dark);
    return `<circle cx="${panel.xOf(codeOf(mean)).toFixed(1)}" cy="${panel.yOf(mean).toFixed(1)}" r="5" fill="${SERIES[1]}"/>${text(panel.xOf(codeOf(mean)) + 9, panel.yOf(mean) + 4, `${100 * share} %`, { fill: SERIES[1]! })}`;
  });
  const notes = [
    text(400, 70, 'Dots: clusters of 4 × 4 dots and more. Their mean light', { fill: SERIES[1]! }),
    text(400, 88, 'lies between bare and solid as their area says, whatever', { fill: SERIES[1]! }),
    text(400, 106, 'the camera makes of it.', { fill: SERIES[1]! }),
    text(400, 136, 'Green: the curve through them. Grey: sRGB.', { fill: SERIES[0]! }),
  ];
  return svg(730, 300, [...frame, ...curves, ...points, ...notes]);
}

/** A face on its way: light, wanted lightness on the work, coverage, dots, proof. */
async function drawRoad(profile: Profile): Promise<string> {
  const photo = await readPhoto(join('images', 'photos', 'portrait.png'));
  const side = 96;
  const crop = { x: 0.3 * photo.width, y: 0.12 * photo.height, width: 0.36 * photo.width, height: 0.36 * photo.width };
  const luminance = resampleLuminance(photo, { crop, width: side, height: side });
  const tones = coverageTable(profile, { range: 'scale' });
  const coverage = createPlane('coverage', side, side);
  coverage.data.set(luminance.data.map((value) => tones.coverage[value]!));
  const dots = applyScreen(coverage, { name: 'zhou-fang', grid: profile.grid });
  const seen = predictReflectance(dots, { table: fillDotTable(profile, profile.grid) });
  const stages: readonly (readonly [string, (at: number) => number])[] = [
    ['light of the photo', (at) => lightnessOfReflectance(luminance.data[at]! / ONE) / 100],
    ['coverage, black fires', (at) => 1 - coverage.data[at]! / ONE],
    ['dots, black fires', (at) => 1 - dots.data[at]!],
    ['proof on the work', (at) => lightnessOfReflectance(seen.data[at]!) / 100],
  ];
  const shown = 192;
  const parts = await Promise.all(
    stages.map(async ([name, greyAt], i) => {
      const rgb = new Uint8Array(3 * side * side);
      for (let at = 0; at < side * side; at++) rgb.fill(Math.round(255 * greyAt(at)), 3 * at, 3 * at + 3);
      const png = await encodeColour({ width: side, height: side, rgb }, { format: 'png' });
      const left = 12 + i * (shown + 12);
      return `<image x="${left}" y="28" width="${shown}" height="${shown}" style="image-rendering:pixelated" href="data:image/png;base64,${Buffer.from(png).toString('base64')}"/>${text(left, 20, name)}`;
    }),
  );
  return svg(12 + stages.length * (shown + 12), shown + 40, parts);
}

/** Lines of a program as the head runs them: gaining speed without power, firing, and the way to the next line. */
function drawProgram(): string {
  const machine = parseMachine(readJson('shared/machines/gantry-450.json'), 'gantry-450');
  const rows = ['..###.##....#...###.', '....................', '.#...####..##....##.', '###....#..#####.....'];
  const fires = rows.flatMap((row) => [...row].map((sign) => (sign === '#' ? 1 : 0)));
  const dots = createDots(20, rows.length, 2, Uint8Array.from(fires));
  const grid = { pitchMm: 0.5, lineSpacingMm: 1 };
  const settings = { powerW: 5, speedMmPerS: 60, passes: 1, scan: 'two-way' } as const;
  const piece = { widthMm: 10, heightMm: 4, xMm: 100, yMm: 100 };
  const block = { remark: 'figure', dots, grid, settings, xMm: 0, yMm: 0 };
  const { program } = planProgram(machine, { title: 'figure', blocks: [block], piece, cautions: [] });
  const file = Buffer.concat([...DOT_FORMATS.gcode.write(program)]).toString('latin1');
  const unit = 44;
  const at = ([x, y]: readonly [number, number]) => [150 + unit * x, 62 + unit * (4 - y)] as const;
  const { stretches, beforePause } = followProgram(file);
  const [left, top] = at([0, 4]);
  const parts = [
    `<rect x="${left}" y="${top}" width="${unit * 10}" height="${unit * 4}" fill="#f3f5f6" stroke="${SOFT}"/>`,
    text(left, 20, 'A program of three lines: the head gains its speed before its dots, without power', { size: 13 }),
  ];
  for (const { from, to, isRapid, power } of stretches.slice(beforePause + 1, -1)) {
    const [[x1, y1], [x2, y2]] = [at(from), at(to)];
    const style = isRapid
      ? `stroke="${SOFT}" stroke-dasharray="5 4"`
      : power > 0
        ? `stroke="${SERIES[1]}" stroke-width="9"`
        : `stroke="${SERIES[0]}" stroke-width="2"`;
    parts.push(`<path d="M${x1.toFixed(1)} ${y1.toFixed(1)}L${x2.toFixed(1)} ${y2.toFixed(1)}" ${style}/>`);
  }
  const key = [
    [SERIES[0]!, 'at scan speed, S0'],
    [SERIES[1]!, 'fires, S500'],
    [SOFT, 'to the next line, M5'],
  ] as const;
  key.forEach(([colour, words], k) => {
    parts.push(
      line(
        [
          [left + 150 * k, 260],
          [left + 150 * k + 24, 260],
        ],
        colour,
        4,
      ),
      text(left + 150 * k + 30, 264, words),
    );
  });
  return svg(740, 285, parts);
}

const path = join('shared', 'shop', 'profiles', 'anodised-black.json');
const profile = parseProfile(JSON.parse(readFileSync(path, 'utf8')), path);
mkdirSync(OUT, { recursive: true });
writeFileSync(join(OUT, 'response.svg'), drawResponse(profile));
writeFileSync(join(OUT, 'levels.svg'), drawLevels());
writeFileSync(join(OUT, 'round.svg'), drawRound());
writeFileSync(join(OUT, 'through.svg'), drawThrough());
writeFileSync(join(OUT, 'dot-table.svg'), drawDotTable(profile));
writeFileSync(join(OUT, 'program.svg'), drawProgram());
writeFileSync(join(OUT, 'camera-curve.svg'), drawCameraCurve());
writeFileSync(join(OUT, 'photo-to-dots.svg'), await drawRoad(profile));

/** A pane as it is burned from behind, and as it is looked at through it: how light gets to a mark and out again. */
function drawThrough(): string {
  const index = 1.5;
  const box = (x: number, y: number, [width, height]: readonly [number, number], fill: string, more = '') =>
    `<rect x="${x}" y="${y}" width="${width}" height="${height}" fill="${fill}" ${more}/>`;
  const glass = 'stroke="#7fa7b5" stroke-width="1"';
  const marks = [70, 96, 134, 186, 196, 262];
  const letterF = (x: number, y: number, ways: 1 | -1) =>
    line(
      [
        [x + 8 * ways, y],
        [x, y],
        [x, y + 7],
        [x + 6 * ways, y + 7],
        [x, y + 7],
        [x, y + 15],
      ],
      INK,
      2.4,
    );
  const burned = [
    text(20, 24, 'Burned from behind: the bitmap is mirrored', { size: 13 }),
    box(40, 92, [280, 44], '#e4f0f3', glass),
    ...marks.map((x) => box(360 - x - 12, 92, [12, 4], SERIES[1]!)),
    line(
      [
        [170, 44],
        [170, 92],
      ],
      SERIES[1]!,
    ),
    line(
      [
        [170, 136],
        [170, 190],
      ],
      SERIES[1]!,
      1,
    ).replace('<polyline', '<polyline stroke-dasharray="4 4"'),
    letterF(300, 64, -1),
    text(182, 58, 'beam'),
    text(178, 160, 'what passes', { fill: SOFT }),
    box(52, 136, [12, 54], '#b9c1c4'),
    box(296, 136, [12, 54], '#b9c1c4'),
    text(70, 152, 'spacers', { fill: SOFT }),
    box(40, 190, [280, 6], '#8d9699'),
    text(180, 214, 'matt bed, never bright metal', { anchor: 'middle', fill: SOFT }),
  ];
  const [left, top, deep] = [440, 92, 84];
  const place = [left + 100, top + deep] as const;
  const ray = (deg: number) => {
    const inside = (deg * Math.PI) / 180;
    const out = index * Math.sin(inside);
    const up = [place[0] + deep * Math.tan(inside), top] as const;
    if (out >= 1) return [line([place, up, [up[0] + deep * Math.tan(inside), place[1]]], SERIES[0]!, 1.4)];
    const angle = Math.asin(out);
    return [line([place, up, [up[0] + 40 * Math.tan(angle), top - 40]], SERIES[0]!, 1.4)];
  };
  const seen = [
    text(left - 20, 24, 'Looked at through it: some light comes back beside', { size: 13 }),
    box(left, top, [280, deep], '#e4f0f3', glass),
    ...marks.map((x) => box(left + x - 40, top + deep - 4, [12, 4], SERIES[1]!)),
    ...[-32, -14, 10, 45].flatMap(ray),
    letterF(left + 262, 64, 1),
    text(left + 140, top - 10, 'smooth face', { fill: SOFT }),
    box(left, top + deep + 10, [280, 6], '#20262a'),
    text(left + 140, top + deep + 36, 'the ground that shows, put there after the burn', {
      anchor: 'middle',
      fill: SOFT,
    }),
  ];
  return svg(800, 232, [...burned, ...seen]);
}

/** How rays from a point meet a tumbler at rest, and the paper of a cone. */
function drawRound(): string {
  const lying = { diameterMm: 73, pupilMm: 160 };
  const scale = 3.4;
  const [midX, topY] = [150, 92];
  const at = (offMm: number) => {
    const { arcMm, depthMm, dose } = placeOnRound(offMm, lying);
    return { x: midX + scale * 36.5 * Math.sin(arcMm / 36.5), y: topY + scale * depthMm, dose };
  };
  const edgeMm = computeChordMm(60, lying) / 2;
  const offs = Array.from({ length: 13 }, (_, i) => ((i - 6) / 6) * edgeMm);
  const rays = offs.map((off) => {
    const end = at(off);
    const from = midX + scale * off * (1 - 12 / lying.pupilMm);
    return `${line(
      [
        [from, topY - 12 * scale],
        [end.x, end.y],
      ],
      SERIES[1]!,
      1,
    )}<circle cx="${end.x.toFixed(1)}" cy="${end.y.toFixed(1)}" r="3" fill="${SERIES[1]}" fill-opacity="${end.dose.toFixed(2)}"/>`;
  });
  const edge = at(edgeMm);
  const circle = sample(-90, 90).map((deg) => {
    const angle = (deg * Math.PI) / 180;
    return [midX + scale * 36.5 * Math.sin(angle), topY + scale * 36.5 * (1 - Math.cos(angle))] as const;
  });
  const tumbler = [
    line(circle, INK),
    line(
      [
        [midX - scale * edgeMm, topY],
        [midX + scale * edgeMm, topY],
      ],
      SOFT,
      1,
    ),
    ...rays,
    text(20, 24, 'At rest: dots on a tumbler', { size: 13 }),
    text(edge.x + 6, edge.y + 4, `${Math.round(100 * edge.dose)} % of the dose`, { fill: SERIES[1]! }),
    text(midX, topY + 60, '60 mm around Ø 73 mm', { anchor: 'middle', fill: SOFT }),
  ];
  const cone = unrollCone([73, 55], 60);
  const [coneX, coneY, coneScale] = [590, 145, 1.9];
  const onPaper = (aroundMm: number, downMm: number) => {
    const { xMm, yMm } = placeOnPaper(cone, { aroundMm, downMm });
    return [coneX + coneScale * xMm, coneY + coneScale * yMm] as const;
  };
  const rows = [-30, -15, 0, 15, 30].map((down) =>
    line(
      sample(-80, 80).map((around) => onPaper(around, down)),
      SERIES[0]!,
      1,
    ),
  );
  const columns = [-80, -60, -40, -20, 0, 20, 40, 60, 80].map((around) =>
    line([onPaper(around, -30), onPaper(around, 30)], SERIES[0]!, 1),
  );
  const [left, right] = [onPaper(-80, -30)[0], onPaper(80, -30)[0]];
  const [top, bottom] = [onPaper(0, -30)[1], Math.max(onPaper(0, 30)[1], onPaper(80, 30)[1])];
  const highest = Math.min(top, onPaper(80, -30)[1]);
  const paper = [
    `<rect x="${left.toFixed(1)}" y="${highest.toFixed(1)}" width="${(right - left).toFixed(1)}" height="${(bottom - highest).toFixed(1)}" fill="none" stroke="${SOFT}" stroke-dasharray="4 3"/>`,
    ...rows,
    ...columns,
    text(400, 24, 'On a rotary: a cone’s part of the photo', { size: 13 }),
    text(coneX, bottom + 22, 'Ø 73 mm above, 55 mm below, 60 mm high, 160 mm around', { anchor: 'middle', fill: SOFT }),
  ];
  return svg(800, 270, [...tumbler, ...paper]);
}

type Request = Parameters<typeof resolveJob>[0];

/** The proof and the ticket of a sample photo. */
async function prove(photo: string, request: Request) {
  const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
  const { files, ticket } = await prepareJob(() => readPhoto(`images/photos/${photo}`), {
    spec: resolveJob(request, { shop, refused: [] }),
    name: 'figure',
    photoFile: photo,
    version: 'figure',
    only: 'everything',
  });
  return { proof: files.find(({ name }) => name.endsWith('.proof.png'))!.bytes as Uint8Array, ticket: ticket! };
}

/** A card with words below the picture and a drawing, as its proof shows it. */
async function drawCaption(): Promise<void> {
  const { proof } = await prove('cat.png', {
    size: '50x40',
    profile: 'anodised-black',
    caption: { text: 'Mia & Juno, 2026', text2: 'Zoë · שָׁלוֹם · مرحبا' },
    artwork: { name: join('images', 'mark.svg'), widthMm: 7 },
  });
  writeFileSync(join(OUT, 'caption.jpg'), await shrinkToJpeg(proof, { maxSide: 900, quality: 86 }));
}

/** Height of each picture of a pair, and the ground around it, pixels. */
const PAIR = { heightPx: 360, edgePx: 20, ground: '#c9c9c9' } as const;

/** A photo as it is cropped, and beside it the proof of its card. */
async function drawCard(): Promise<void> {
  const { heightPx, edgePx, ground } = PAIR;
  const { proof, ticket } = await prove('cat.png', { size: 'ID-1', profile: 'anodised-black', safeMarginMm: 2 });
  const { crop } = ticket.frame;
  const part = { left: crop.x, top: crop.y, width: crop.width, height: crop.height };
  const whole = Object.fromEntries(Object.entries(part).map(([side, px]) => [side, Math.round(px)]));
  const pictures = await Promise.all([
    sharp('images/photos/cat.png')
      .extract(whole as unknown as typeof part)
      .resize({ height: heightPx })
      .toBuffer(),
    sharp(proof).resize({ height: heightPx }).toBuffer(),
  ]);
  const widths = await Promise.all(pictures.map(async (picture) => (await sharp(picture).metadata()).width));
  const lefts = [edgePx, 2 * edgePx + widths[0]!];
  const size = { width: lefts[1]! + widths[1]! + edgePx, height: heightPx + 2 * edgePx };
  await sharp({ create: { ...size, channels: 3, background: ground } })
    .composite(pictures.map((input, at) => ({ input, left: lefts[at]!, top: edgePx })))
    .jpeg({ quality: 88 })
    .toFile(join(OUT, 'card.jpg'));
}

/** A burned piece as it looks, without its margin. */
async function pictureSurface({ width, height, rgb, ...piece }: Surface, heightPx: number): Promise<Buffer> {
  const [left, top] = [-piece.leftMm / piece.pixelWidthMm, -piece.topMm / piece.pixelHeightMm].map(Math.round);
  const coded = Uint8Array.from(rgb, (light) => Math.round(255 * encodeSrgb(light)));
  return sharp(coded, { raw: { width, height, channels: 3 } })
    .extract({ left: left!, top: top!, width: width - 2 * left!, height: height - 2 * top! })
    .resize({ height: heightPx })
    .jpeg({ quality: 70 })
    .toBuffer();
}

/** Height of the skin and of the piece in the figure of a cone, and the ground around them, pixels. */
const CONE = { skinPx: 210, frontPx: 330, edgePx: 20, ground: '#ffffff' } as const;

/** A photo burned around a virtual cone: its skin laid flat, and the piece from its front. */
async function drawCone(): Promise<void> {
  const { skinPx, frontPx, edgePx, ground } = CONE;
  const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
  const model = parseMaterialModel(readJson('shared/simulation/anodised-black.json'));
  const around = { diametersMm: [73, 60] } as const;
  const spec = resolveJob({ size: '90x60', profile: 'anodised-black', around }, { shop, refused: [] });
  const { files } = await prepareJob(() => readPhoto('images/photos/two-dogs.jpg'), {
    ...{ spec, name: 'figure', photoFile: 'two-dogs.jpg', version: 'figure', only: 'bitmap' },
  });
  const { dots } = await decodeDotsBytes(files[0]!.bytes as Buffer, 'figure');
  const piece = engraveCone(dots, {
    ...{ grid: spec.grid, model, seed: 1, pixelUm: 100, coneDiametersMm: around.diametersMm },
  });
  const pictures = await Promise.all([
    pictureSurface(unrollPiece(piece, { pixelUm: 100 }), skinPx),
    pictureSurface(viewPiece(piece, { fromDeg: 0, pixelUm: 100 }), frontPx),
  ]);
  const widths = await Promise.all(pictures.map(async (picture) => (await sharp(picture).metadata()).width));
  const size = { width: widths[0]! + widths[1]! + 3 * edgePx, height: frontPx + 2 * edgePx };
  await sharp({ create: { ...size, channels: 3, background: ground } })
    .composite([
      { input: pictures[0]!, left: edgePx, top: edgePx + Math.round((frontPx - skinPx) / 2) },
      { input: pictures[1]!, left: 2 * edgePx + widths[0]!, top: edgePx },
    ])
    .jpeg({ quality: 88 })
    .toFile(join(OUT, 'cone.jpg'));
}

/** The board of the field's figure: pockets, sides of a piece (mm), and height of its picture (pixels). */
const BOARD = { columns: 3, rows: 2, widthMm: 24, heightMm: 18, shownPx: 118 } as const;

/**
 * The same photo in six pockets under a scan lens, burned before and after its field chart: pieces as they come out,
 * and by how much each is off the light of the piece that is burned in the middle of the field, where the profile was
 * learned.
 */
async function drawField(): Promise<void> {
  const model = parseMaterialModel(readJson('shared/simulation/painted-steel.json'));
  const lens = readJson('shared/simulation/fields/scan-lens.json') as FieldModel;
  const [fieldWidthMm, fieldHeightMm] = [lens.widthMm, lens.heightMm];
  const { pitchMm, lineSpacingMm } = model.reference;
  const shopDir = mkdtempSync(join(tmpdir(), 'figure-'));
  try {
    for (const kind of ['machines', 'profiles', 'evenness']) mkdirSync(join(shopDir, kind));
    const machine = readJson('shared/machines/gantry-450.json') as object;
    const write = (kind: string, name: string, record: object) =>
      writeFileSync(join(shopDir, kind, `${name}.json`), JSON.stringify(record));
    write('machines', 'lens', { ...machine, name: 'lens', fieldMm: [fieldWidthMm, fieldHeightMm] });
    const known = { shop: openShop({ shopDir, builtIn: 'shared' }), refused: [] };
    const burn = (dots: Dots, at: { readonly xMm: number; readonly yMm: number }, seed: number) =>
      engrave(dots, {
        grid: model.reference,
        model,
        seed,
        pixelUm: 25_400 / 600,
        marginMm: 1,
        field: { model: lens, ...at },
      });
    const scan = async (request: Parameters<typeof resolveChart>[0], seed: number) => {
      const { layout, dots } = await makeChart(resolveChart(request, known));
      const middle = { xMm: (fieldWidthMm - layout.widthMm) / 2, yMm: (fieldHeightMm - layout.heightMm) / 2 };
      const piece = burn(dots, layout.inField ?? middle, seed);
      const image = { ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed }), bits: 8 } as const;
      return { layouts: [layout], captures: [{ name: 'scan', image }] };
    };
    const stock = { machine: 'lens', material: 'stock', direction: model.direction, pitchMm, lineSpacingMm } as const;
    const tone = await scan({ kind: 'tone', ...stock, size: '70x50' }, 1);
    const date = '2026-01-01';
    const { profile: home } = learnProfile(tone.captures, {
      layouts: tone.layouts,
      camera: 'known',
      date,
      origin: 'simulated',
      name: 'home',
    });
    write('profiles', 'home', home);
    const field = await scan({ kind: 'field', profile: 'home' }, 2);
    const read = readCaptures(field.captures, { layouts: field.layouts, camera: 'known' });
    write('evenness', 'lens', measureCaptures(read, { field: { profile: home, date } }).reading);

    const { columns, rows, widthMm, heightMm, shownPx } = BOARD;
    const place = (share: number, of: number, own: number) => own / 2 + 1 + share * (of - own - 2);
    const middle = { xMm: fieldWidthMm / 2, yMm: fieldHeightMm / 2 };
    const pockets = Array.from({ length: columns * rows }, (_, at) => ({
      xMm: place((at % columns) / (columns - 1), fieldWidthMm, widthMm),
      yMm: place(Math.floor(at / columns) / (rows - 1), fieldHeightMm, heightMm),
    }));
    const make = async (at: typeof middle, isPlaced: boolean, seed: number) => {
      const request = { size: `${widthMm}x${heightMm}`, profile: 'home', tone: 'plain' } as const;
      const { files } = await prepareJob(() => readPhoto('images/photos/portrait.png'), {
        spec: resolveJob({ ...request, ...(isPlaced ? { at: `${at.xMm},${at.yMm}` } : {}) }, known),
        name: 'figure',
        photoFile: 'portrait.png',
        version: 'figure',
        only: 'bitmap',
      });
      const { dots } = await decodeDotsBytes(files[0]!.bytes as Buffer, 'figure');
      const piece = burn(dots, { xMm: at.xMm - widthMm / 2, yMm: at.yMm - heightMm / 2 }, seed);
      const cells = Array.from({ length: 48 }, (_, cell) =>
        meanLightness(piece, {
          xMm: ((cell % 8) * widthMm) / 8,
          yMm: (Math.floor(cell / 8) * heightMm) / 6,
          widthMm: widthMm / 8,
          heightMm: heightMm / 6,
        }),
      );
      return { piece, cells };
    };
    const parts: string[] = [];
    for (const [side, isPlaced] of [false, true].entries()) {
      const reference = await make(middle, isPlaced, 9);
      const shownWidth = (shownPx * widthMm) / heightMm;
      const left = 14 + side * (columns * (shownWidth + 8) + 26);
      const words = isPlaced ? 'set for its place after the field chart' : 'as one bitmap in every pocket';
      parts.push(text(left, 22, `The same photo, ${words}`, { size: 13 }));
      for (const [at, pocket] of pockets.entries()) {
        const { piece, cells } = await make(pocket, isPlaced, 11 + at);
        const off = cells.reduce((sum, value, cell) => sum + value - reference.cells[cell]!, 0) / cells.length;
        const x = left + (at % columns) * (shownWidth + 8);
        const y = 34 + Math.floor(at / columns) * (shownPx + 30);
        const jpeg = await pictureSurface(piece, 1.5 * shownPx);
        const words = `${off < 0 ? '−' : '+'}${Math.abs(off).toFixed(1)} L*`;
        parts.push(
          `<image x="${x.toFixed(1)}" y="${y}" width="${shownWidth.toFixed(1)}" height="${shownPx}" href="data:image/jpeg;base64,${jpeg.toString('base64')}"/>`,
          text(x, y + shownPx + 16, words, { fill: Math.abs(off) > 0.5 ? SERIES[1]! : SERIES[0]! }),
        );
      }
    }
    const told = 'Below each: how much lighter or darker than the piece burned in the middle of the field, in the mean';
    parts.push(text(14, 342, told, { fill: SOFT }));
    writeFileSync(join(OUT, 'field.svg'), svg(1038, 354, parts));
  } finally {
    rmSync(shopDir, { recursive: true });
  }
}

/** A corner of an even tone beside bare: dots, of which so many are bare on the left and above; means over so many. */
const CORNER = { sideDots: 360, bareDots: 60, shownDots: 50, overDots: 8, wantedShare: 0.45 };

/**
 * What heat of earlier dots makes of the edges of an even tone on stainless steel, without and with what a tone chart
 * told of it; burned without chance and grain, which are larger than this.
 */
function drawHeat(): string {
  const cold = parseMaterialModel(readJson('shared/simulation/stainless.json'));
  const { reference: grid, direction } = cold;
  const settings = { ...cold.settings, scan: 'one-way' } as const;
  const stock = { machine: 'galvo-1064-f160', material: 'stainless-steel', direction, settings, grid } as const;
  const layout = layoutChart('tone', { ...stock, screen: { name: 'ostromoukhov', options: {} } });
  const chart = drawChart(layout, (coverage) => applyScreen(coverage, { name: 'ostromoukhov', grid }));
  const burned = engrave(chart, { grid, model: cold, seed: 4, settings, marginMm: 3 });
  const image = { ...captureSurface(burned, { ...CAMERAS['flatbed-600']!.options, seed: 5 }), bits: 8 } as const;
  const { profile } = learnProfile([{ name: 'scan.png', image }], {
    layouts: [layout],
    camera: 'known',
    date: '2026-01-01',
  });
  const screen = { name: 'ostromoukhov', options: { errorOf: 'marks' } } as const;
  const points = predictPoints({ profile, grid, screen });
  const table = coverageTable({ points }, { range: 'scale' });
  const { sideDots, bareDots, shownDots, overDots, wantedShare } = CORNER;
  const photo = createPlane('luminance', sideDots, sideDots);
  const isLighter = direction === 'lighter';
  const [bare, tone] = [isLighter ? 0 : ONE, Math.round(wantedShare * ONE)];
  for (let at = 0; at < photo.data.length; at++) {
    photo.data[at] = at % sideDots < bareDots || at < bareDots * sideDots ? bare : tone;
  }
  const even = invertProfile(photo, { table });
  const plan = planHeat({ profile, grid, screen, levels: 2, settings }, points);
  if (!plan) throw new Error('the chart told no heat');
  const model = {
    ...cold,
    beam: { ...cold.beam, jitterUm: 0, lineWobbleUm: 0, dotEnergySd: 0, lineEnergySd: 0 },
    grain: cold.grain.map((one) => ({ ...one, thresholdSd: 0, reflectanceSd: 0 })),
  };
  const marks = fillDotTable(profile, grid);
  const lines = [even, mendHeat(even, plan)].map((coverage) => {
    const dots = applyScreen(coverage, { ...screen.options, name: screen.name, grid, marks });
    const piece = engrave(dots, { grid, model, seed: 9, settings, pixelUm: (1000 * grid.pitchMm) / 2 });
    const far = bareDots + shownDots;
    const length = sideDots - far - 10;
    const { pitchMm, lineSpacingMm } = grid;
    const meanAt = (x: number, y: number, width: number, height: number) =>
      meanLightness(piece, {
        xMm: x * pitchMm,
        yMm: y * lineSpacingMm,
        widthMm: width * pitchMm,
        heightMm: height * lineSpacingMm,
      });
    const within = Array.from({ length: shownDots }, (_, at) => bareDots + at);
    const settled = meanAt(far, far, length, length);
    return {
      along: within.map((x) => meanAt(x, far, overDots, length) - settled),
      across: within.map((y) => meanAt(far, y, length, overDots) - settled),
    };
  });
  const reach = Math.max(...lines.flatMap(({ along, across }) => [...along, ...across].map(Math.abs)));
  const most = Math.ceil(reach);
  const parts = (['along', 'across'] as const).flatMap((way, at) => {
    const title = way === 'along' ? 'Along the line, from a bare edge' : 'From line to line, below a bare edge';
    const { panel, frame } = openPanel(
      { x: 50 + 400 * at, y: 40, width: 340, height: 200 },
      {
        title,
        across: 'dots from the edge',
        up: 'lighter or darker than further in, ΔL*',
        from: 0,
        to: shownDots + overDots,
      },
    );
    const yOf = (value: number) => panel.yOf((value + most) / (2 * most));
    const ticks = [-most, 0, most].map((value) =>
      text(panel.x + panel.width + 4, yOf(value) + 4, String(value).replace('-', '−'), { fill: SOFT, size: 11 }),
    );
    const zero = line(
      [
        [panel.x, yOf(0)],
        [panel.x + panel.width, yOf(0)],
      ],
      SOFT,
      1,
    );
    const curves = lines.map((one, k) =>
      line(
        one[way].map((value, dot) => [panel.xOf(dot + overDots / 2), yOf(value)] as const),
        SERIES[1 - k]!,
      ),
    );
    return [...frame, zero, ...ticks, ...curves];
  });
  return svg(840, 300, [
    ...parts,
    text(50, 290, 'without what the chart told of heat', { fill: SERIES[1]! }),
    text(290, 290, 'with it', { fill: SERIES[0]! }),
  ]);
}

writeFileSync(join(OUT, 'heat.svg'), drawHeat());
await drawCard();
await drawCaption();
await drawField();
await drawCone();
console.log(`wrote ${OUT}`);
