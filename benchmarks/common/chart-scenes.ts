import { createNoise } from './simulate-capture.ts';

/** What lies in front of cameras besides charts: surfaces with a structure, cluttered tables, shadows of fingers. */
type Field = (xMm: number, yMm: number) => number;

/** Smooth chance between −1 and 1 on a lattice of the given steps. */
function createLattice(seed: number, stepX: number, stepY: number): Field {
  const random = createNoise(seed);
  const size = 256;
  const values = Float64Array.from({ length: size * size }, () => 2 * random() - 1);
  const at = (i: number, j: number) => values[(j & (size - 1)) * size + (i & (size - 1))]!;
  return (xMm, yMm) => {
    const x = xMm / stepX;
    const y = yMm / stepY;
    const i = Math.floor(x);
    const j = Math.floor(y);
    const u = x - i;
    const v = y - j;
    return (at(i, j) * (1 - u) + at(i + 1, j) * u) * (1 - v) + (at(i, j + 1) * (1 - u) + at(i + 1, j + 1) * u) * v;
  };
}

/** Brushed metal: fine streaks along a direction. */
export function brushSurface(seed: number, { strength, angleDeg }: { strength: number; angleDeg: number }): Field {
  const fine = createLattice(seed, 12, 0.08);
  const broad = createLattice(seed + 1, 30, 0.4);
  const cos = Math.cos((angleDeg * Math.PI) / 180);
  const sin = Math.sin((angleDeg * Math.PI) / 180);
  return (xMm, yMm) => {
    const along = xMm * cos + yMm * sin;
    const across = -xMm * sin + yMm * cos;
    return Math.max(0.05, 1 + strength * (0.75 * fine(along, across) + 0.5 * broad(along, across)));
  };
}

/** Wood: wavy rings cut lengthwise, with pores. */
export function growWood(seed: number, { strength, angleDeg }: { strength: number; angleDeg: number }): Field {
  const wave = createLattice(seed, 25, 6);
  const pores = createLattice(seed + 1, 3, 0.15);
  const cos = Math.cos((angleDeg * Math.PI) / 180);
  const sin = Math.sin((angleDeg * Math.PI) / 180);
  return (xMm, yMm) => {
    const along = xMm * cos + yMm * sin;
    const across = -xMm * sin + yMm * cos;
    const ring = Math.sin((2 * Math.PI * (across + 0.8 * wave(along, across))) / 1.7);
    return Math.max(0.05, 1 + strength * (0.6 * ring + 0.5 * Math.min(0, pores(along, across))));
  };
}

/** A desk: wood grain, a ruler's ticks, lines of text and dark and light rectangles. */
export function clutterTable(seed: number): Field {
  const random = createNoise(seed);
  const grain = growWood(seed + 2, { strength: 0.25, angleDeg: 180 * random() });
  const level = 0.1 + 0.4 * random();
  const things = Array.from({ length: 40 }, () => {
    const angle = Math.PI * random();
    return {
      x: -80 + 260 * random(),
      y: -80 + 220 * random(),
      cos: Math.cos(angle),
      sin: Math.sin(angle),
      halfX: 4 + 14 * random(),
      halfY: 3 + 9 * random(),
      kind: Math.floor(4 * random()),
      light: random() < 0.5 ? 0.03 : 0.85,
    };
  });
  const letters = createLattice(seed + 3, 0.6, 1.1);
  return (xMm, yMm) => {
    for (const { x, y, cos, sin, halfX, halfY, kind, light } of things) {
      const u = (xMm - x) * cos + (yMm - y) * sin;
      const v = -(xMm - x) * sin + (yMm - y) * cos;
      if (Math.abs(u) > halfX || Math.abs(v) > halfY) continue;
      if (kind === 0) return light;
      const ink = 0.9 - light;
      if (kind === 1) return Math.abs(u - Math.round(u)) < 0.12 && v < 0 ? ink : light;
      if (kind === 2) return Math.abs((v / 3) % 1) < 0.6 && letters(u, v) > 0.1 ? ink : light;
      return (Math.floor(u / 2.5) + Math.floor(v / 2.5)) % 2 === 0 ? ink : light;
    }
    return level * grain(xMm, yMm);
  };
}

/** Shadow of a finger or hand that points at a place, soft at its edge. */
export function shadeFinger(
  tip: readonly [xMm: number, yMm: number],
  { angleDeg, depth, widthMm }: { angleDeg: number; depth: number; widthMm: number },
): Field {
  const cos = Math.cos((angleDeg * Math.PI) / 180);
  const sin = Math.sin((angleDeg * Math.PI) / 180);
  return (xMm, yMm) => {
    const u = (xMm - tip[0]) * cos + (yMm - tip[1]) * sin;
    const v = -(xMm - tip[0]) * sin + (yMm - tip[1]) * cos;
    const away = Math.hypot(Math.min(0, u), v) - widthMm / 2;
    return 1 - depth / (1 + Math.exp(away / 0.6));
  };
}
