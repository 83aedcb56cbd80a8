/** A part of a photo, shares of its width and height. */
export interface PhotoPart {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** What a crop has to know of a face. Shares of the photo. */
export interface FaceToKeep {
  /** From the brows to the chin. */
  readonly box: PhotoPart;
  /** Height of the eyes. */
  readonly eyesY: number;
  /** Where it looks: −1 to the left of the picture … 0 at the camera … 1 to the right. */
  readonly look: number;
}

/** What a crop should keep; the most important face first. */
export interface CropRequest {
  readonly faces: readonly FaceToKeep[];
  /** All of the subject that is seen. */
  readonly box: PhotoPart;
  /** Whether it keeps its upper part where it is too high for the crop, without a face: heads are on top. */
  readonly fromTop?: boolean;
  /** Share of each pixel of a small picture of the photo that is the subject's. */
  readonly weights?: { readonly width: number; readonly height: number; readonly data: Float32Array };
}

export interface CropChoice {
  /** Middle of the crop, shares of the photo. */
  readonly focus: { readonly x: number; readonly y: number };
  /** Faces of which a part lies outside. */
  readonly facesCut: number;
  /** Whether the most important one is among them. */
  readonly isFirstCut: boolean;
  /** Share of the subject that lies outside. */
  readonly subjectLost: number;
}

/**
 * What belongs to a face beyond its box, as shares of the width and height of the box: without it hair and chin are
 * cut. Assumed, by eye on portraits.
 */
const HEAD = { beside: 0.15, above: 0.5, below: 0.12 } as const;
/** Air about a head that is wanted where there is room, the same shares. Assumed: a portrait's usual room. */
const AIR = { beside: 0.45, above: 0.85, below: 0.5 } as const;
/** Where the eyes are to lie, a share of the crop's height. Assumed: the upper third of common practice. */
const EYES = 1 / 3;
/**
 * How far a look to the side moves a face from the middle, a share of the crop's width. Assumed: more looks like a
 * mistake.
 */
const BEFORE_GAZE = 0.1;
/**
 * Air above a subject without a face that is too high, a share of the crop's height. Assumed: ears and hair stay whole.
 */
const AIR_ON_TOP = 0.05;
/**
 * From so much that is cut of its height it keeps all of its upper part, a share; less moves it in proportion. Assumed:
 * of a head that nearly fits, chin and ears give way alike.
 */
const CUT_BELOW = 0.3;
/** A cut of less than this share of the photo is none. Assumed: far below a pixel. */
const NOTHING = 1e-6;

interface Sides {
  readonly width: number;
  readonly height: number;
}

interface Span {
  readonly from: number;
  readonly to: number;
}

/**
 * The crop of a wished shape that keeps its subject: all faces with air above and before the gaze, eyes about the upper
 * third, then as much of the bodies as fits. Where the faces do not fit together, the first wins, then those that fit
 * beside it. Without faces the subject's middle, or its upper part, or the part of it that fills the crop best.
 * @param crop width and height of the crop, shares of the photo, 0 … 1
 * @param seen the box about its middle that an outline leaves in sight, shares of the crop; all of it when absent
 */
export function chooseCrop(
  { faces, box, fromTop = false, weights }: CropRequest,
  { crop: whole, seen = { width: 1, height: 1 } }: { readonly crop: Sides; readonly seen?: Sides },
): CropChoice {
  const crop = { width: whole.width * seen.width, height: whole.height * seen.height };
  const across = faces.map((face) => headSpan(face, 'x', HEAD));
  const down = faces.map((face) => headSpan(face, 'y', HEAD));
  const kept = chooseTogether(faces, { across, down, crop });
  const x = placeSpan(crop.width, {
    beside: (whole.width - crop.width) / 2,
    needed: unionOf(kept.map((i) => across[i])),
    airy: unionOf(kept.map((i) => headSpan(faces[i], 'x', AIR))),
    whole: { from: box.x, to: box.x + box.width },
    wish: (needed) =>
      (needed.from + needed.to) / 2 - crop.width / 2 + BEFORE_GAZE * crop.width * (faces[kept[0]]?.look ?? 0),
    profile: weights && sumAlong(weights, 'x'),
  });
  const eyes = kept.reduce((sum, i) => sum + faces[i].eyesY, 0) / Math.max(1, kept.length);
  const y = placeSpan(crop.height, {
    beside: (whole.height - crop.height) / 2,
    needed: unionOf(kept.map((i) => down[i])),
    airy: unionOf(kept.map((i) => headSpan(faces[i], 'y', AIR))),
    whole: { from: box.y, to: box.y + box.height },
    wish: () => eyes - EYES * crop.height,
    fromStart: fromTop,
    profile: weights && sumAlong(weights, 'y'),
  });
  const isCut = (i: number) =>
    across[i].from < x - NOTHING ||
    across[i].to > x + crop.width + NOTHING ||
    down[i].from < y - NOTHING ||
    down[i].to > y + crop.height + NOTHING;
  const cut = faces.map((_, i) => isCut(i));
  return {
    focus: { x: x + crop.width / 2, y: y + crop.height / 2 },
    facesCut: cut.filter(Boolean).length,
    isFirstCut: cut[0] ?? false,
    subjectLost: weights ? lostOf(weights, { x, y, ...crop }) : 0,
  };
}

/** A head within the photo: what the photo itself cuts off cannot be kept. */
function headSpan({ box }: FaceToKeep, axis: 'x' | 'y', room: typeof HEAD | typeof AIR): Span {
  const span =
    axis === 'x'
      ? { from: box.x - room.beside * box.width, to: box.x + (1 + room.beside) * box.width }
      : { from: box.y - room.above * box.height, to: box.y + (1 + room.below) * box.height };
  return { from: Math.max(0, span.from), to: Math.min(1, span.to) };
}

/** Numbers of the faces that fit into one crop: the first, then each that still fits beside those before it. */
function chooseTogether(
  faces: readonly FaceToKeep[],
  {
    across,
    down,
    crop,
  }: {
    readonly across: readonly Span[];
    readonly down: readonly Span[];
    readonly crop: Sides;
  },
): readonly number[] {
  const kept: number[] = [];
  for (let i = 0; i < faces.length; i++) {
    const together = [...kept, i];
    const wide = unionOf(together.map((k) => across[k]))!;
    const high = unionOf(together.map((k) => down[k]))!;
    const fits = wide.to - wide.from <= crop.width && high.to - high.from <= crop.height;
    if (i === 0 || fits) kept.push(i);
  }
  return kept;
}

function unionOf(spans: readonly Span[]): Span | undefined {
  if (spans.length === 0) return undefined;
  return { from: Math.min(...spans.map(({ from }) => from)), to: Math.max(...spans.map(({ to }) => to)) };
}

/** Where what is seen of the crop begins along one axis. */
function placeSpan(
  length: number,
  {
    beside,
    needed,
    airy,
    whole,
    wish,
    fromStart = false,
    profile,
  }: {
    /** What the crop reaches beyond what is seen of it, on either side. */
    readonly beside: number;
    readonly needed: Span | undefined;
    readonly airy: Span | undefined;
    readonly whole: Span;
    readonly wish: (needed: Span) => number;
    /** Whether a whole that does not fit keeps its beginning, where nothing is needed. */
    readonly fromStart?: boolean;
    readonly profile: Float64Array | undefined;
  },
): number {
  const within = (start: number) => Math.min(Math.max(beside, start), 1 - beside - length);
  if (!needed || !airy) {
    const middle = (whole.from + whole.to) / 2 - length / 2;
    const fits = whole.to - whole.from <= length;
    const start = fits || !profile ? middle : fullestStart(profile, length, middle);
    if (fits || !fromStart) return within(start);
    const share = Math.min(1, (1 - length / (whole.to - whole.from)) / CUT_BELOW);
    return within(start + share * (whole.from - AIR_ON_TOP * length - start));
  }
  // What is too large for the crop keeps its middle.
  if (needed.to - needed.from > length) return within((needed.from + needed.to) / 2 - length / 2);
  let start = wish(needed);
  for (const span of [whole, airy, needed]) {
    if (span.to - span.from > length) continue;
    start = Math.min(Math.max(start, span.to - length), span.from);
  }
  return within(start);
}

/** Begin of the window of a length that holds most of a profile; of several the one nearest to a wish. */
function fullestStart(profile: Float64Array, length: number, wish: number): number {
  const cells = Math.max(1, Math.round(length * profile.length));
  let best = 0;
  let most = -1;
  for (let from = 0; from + cells <= profile.length; from++) {
    let sum = 0;
    for (let i = from; i < from + cells; i++) sum += profile[i];
    const isNearer = Math.abs(from / profile.length - wish) < Math.abs(best / profile.length - wish);
    if (sum > most * (1 + NOTHING) || (sum >= most && isNearer)) {
      most = sum;
      best = from;
    }
  }
  return best / profile.length;
}

function sumAlong({ width, height, data }: NonNullable<CropRequest['weights']>, axis: 'x' | 'y'): Float64Array {
  const sums = new Float64Array(axis === 'x' ? width : height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) sums[axis === 'x' ? x : y] += data[y * width + x];
  }
  return sums;
}

function lostOf({ width, height, data }: NonNullable<CropRequest['weights']>, part: PhotoPart): number {
  let inside = 0;
  let all = 0;
  for (let y = 0; y < height; y++) {
    const v = (y + 0.5) / height;
    for (let x = 0; x < width; x++) {
      const u = (x + 0.5) / width;
      const value = data[y * width + x];
      all += value;
      if (u >= part.x && u <= part.x + part.width && v >= part.y && v <= part.y + part.height) inside += value;
    }
  }
  return all > 0 ? 1 - inside / all : 0;
}
