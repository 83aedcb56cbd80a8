// Machines whose beam differs over the field, each with a stock: five that are told, and twelve by chance.

import { createOtherRandom, drawMaterial } from '../mismatch/engraver.ts';
import { type Bench, type OwnField, otherBench, ownBench, readGrid } from './field-bench.ts';

const even = { cornerLoss: 0, cornerGrowth: 0, order: 2, travelLoss: 0, travelGrowth: 0 } as const;
const LENS = { ...even, widthMm: 70, heightMm: 70, cornerLoss: 0.2, cornerGrowth: 0.08 } as const;
/** Fields that were looked at when the map was made. */
export const TOLD_FIELDS: readonly (() => Bench)[] = [
  () => ownBench('lens, painted steel', { material: 'painted-steel', field: LENS }),
  () =>
    ownBench('lens off its axis, anodised', {
      material: 'anodised-blue',
      field: { ...LENS, axisMm: [30, 40], order: 2.6 },
    }),
  () =>
    ownBench('gantry, birch', {
      material: 'birch',
      field: { ...even, widthMm: 180, heightMm: 130, travelLoss: 0.18, travelGrowth: 0.06 },
    }),
  // cos⁴ of a lens of 80 mm, a rim that cuts, and a tilted board.
  () =>
    otherBench('other lens', {
      material: 2,
      fieldMm: [80, 64],
      field: (xMm, yMm) => {
        const r = Math.hypot(xMm - 38, yMm - 33);
        const rim = 1 - 0.12 / (1 + Math.exp((46 - r) / 3));
        return { dose: Math.cos(Math.atan(r / 80)) ** 4 * rim, width: 1 + 0.09 * (r / 45) ** 2 + 0.0006 * xMm };
      },
    }),
  // A beam that spreads on its way: its width is the hyperbola of a Gaussian beam, a stop takes its rim.
  () =>
    otherBench('other gantry', {
      material: 5,
      fieldMm: [80, 60],
      field: (xMm, yMm) => {
        const way = (xMm + yMm) / 140;
        return { dose: 1 - 0.2 * way ** 1.5, width: Math.sqrt(1 + 0.15 * way ** 2) };
      },
    }),
];

/** A field by chance: a lens with its axis anywhere and a way to the head, as steep as machines have it. */
function drawField(random: () => number): Omit<OwnField, 'widthMm' | 'heightMm'> & { readonly axisAt: Pair } {
  const between = (low: number, high: number) => low + (high - low) * random();
  const lens = random() < 0.6;
  return {
    axisAt: [between(0.35, 0.65), between(0.35, 0.65)],
    cornerLoss: lens ? between(0.08, 0.25) : 0,
    cornerGrowth: lens ? between(0, 0.1) : 0,
    order: between(1.6, 3.2),
    travelLoss: lens ? between(0, 0.06) : between(0.06, 0.2),
    travelGrowth: lens ? 0 : between(0, 0.08),
  };
}

type Pair = readonly [number, number];

/** Materials of the project's own engraver that were not looked at when the map was made. */
const OWN_BY_CHANCE = ['slate', 'anodised-black', 'coated-brass', 'leather', 'kraft-card', 'painted-steel'] as const;
/** Seeds of the second engraver's materials and of its fields. */
const OTHER_BY_CHANCE = [11, 12, 14, 16, 17, 21] as const;
/** The field's sides, dots, so that every bench takes as long. */
const CHANCE_DOTS = [2000, 1500] as const;

export const FIELDS_BY_CHANCE: readonly (() => Bench)[] = [
  ...OWN_BY_CHANCE.map((material, at) => () => {
    const random = createOtherRandom(101 + at);
    const { axisAt, ...field } = drawField(random);
    const { pitchMm, lineSpacingMm } = readGrid(material);
    const widthMm = Math.round(Math.max(64, CHANCE_DOTS[0] * pitchMm));
    const heightMm = Math.round(Math.max(46, CHANCE_DOTS[1] * lineSpacingMm));
    const axisMm = [axisAt[0] * widthMm, axisAt[1] * heightMm] as const;
    const capture = at % 2 === 0 ? 'scan' : 'photo';
    return ownBench(`chance ${material}, ${capture}`, {
      material,
      field: { ...field, widthMm, heightMm, axisMm },
      capture,
      seed: 1000 * at,
    });
  }),
  ...OTHER_BY_CHANCE.map((material, at) => () => {
    const random = createOtherRandom(201 + at);
    const between = (low: number, high: number) => low + (high - low) * random();
    const { grid } = drawMaterial(material);
    const fieldMm = [Math.round(1500 * grid.pitchMm), Math.round(1100 * grid.lineSpacingMm)] as const;
    const half = Math.hypot(...fieldMm) / 2;
    const [axisX, axisY] = [between(0.35, 0.65) * fieldMm[0], between(0.35, 0.65) * fieldMm[1]];
    const fall = {
      lens: between(0.15, 0.4),
      rim: between(0, 0.15),
      width: between(0, 0.1),
      tilt: between(-0.06, 0.06),
    };
    const capture = at % 2 === 0 ? 'scan' : 'photo';
    // The fourth power of a cosine, a rim that cuts, and a board that leans.
    return otherBench(`chance other ${material}, ${capture}`, {
      material,
      fieldMm,
      field: (xMm, yMm) => {
        const r = Math.hypot(xMm - axisX, yMm - axisY) / half;
        const rim = 1 - fall.rim / (1 + Math.exp((1 - r) / 0.08));
        const lean = (2 * xMm) / fieldMm[0] - 1;
        return {
          dose: Math.cos(Math.atan(fall.lens * r)) ** 4 * rim * (1 + fall.tilt * lean),
          width: 1 + fall.width * r ** 2 + 0.3 * fall.tilt * lean,
        };
      },
      capture,
      seed: 1000 * at,
    });
  }),
];
