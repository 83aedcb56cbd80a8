import { type Notice, notice } from '../../notices.ts';
import {
  type Bars,
  chooseCrop,
  type Frame,
  findBars,
  findPrint,
  multiplyMasks,
  outlineMask,
  type PhotoPart,
  PRINT_SEARCHED_PX,
  pieceMask,
  placeOnPiece,
  type SeenPrint,
  seenWithin,
} from '../../photo/index.ts';
import { createPlane, findAttention, type Photo, type Plane, readColour } from '../../plane/index.ts';
import { isRoundSize, type SizeMm } from '../../units.ts';
import type { JobSpec } from '../request/types.ts';
import { roundMask } from './round.ts';
import { cropRequestOf, type StandingPhoto } from './subject.ts';

export interface Focus {
  readonly x: number;
  readonly y: number;
  /** `subject`: so that the subject is kept. `attention`: what draws the eye. */
  readonly origin: 'given' | 'subject' | 'attention' | 'middle';
}

export interface CropFacts {
  readonly focus: Focus;
  /** Times nearer than the photo must be, so that bars at its edges are left out; absent where that is not needed. */
  readonly zoom?: number;
  /** The crop that takes the picture without the bars that are in this one; absent without any. */
  readonly alone?: { readonly focus: { readonly x: number; readonly y: number }; readonly zoom: number };
  readonly notices: readonly Notice[];
}

/**
 * Share of a subject without a face that may be cut off without a word. Assumed: a tail, an ear of a mask that is
 * coarse.
 */
const LOST_UNSAID = 0.2;

/**
 * What must stay in sight: as given, else the subject, else what draws the eye when something is cut off, else the
 * middle.
 */
export async function chooseFocus(
  standing: Pick<StandingPhoto, 'photo' | 'subject'>,
  spec: Pick<JobSpec, 'focus' | 'fit' | 'zoom' | 'size' | 'outline'>,
): Promise<CropFacts> {
  const bars = findBars(standing.photo);
  const chosen = await chooseByBars(bars, standing, spec);
  const print = bars ? undefined : seekPrint(standing.photo);
  return print ? tellPrint(print, chosen, { photo: standing.photo, ...spec }) : chosen;
}

function seekPrint(photo: Photo): SeenPrint | undefined {
  const scale = Math.min(1, PRINT_SEARCHED_PX / Math.max(photo.width, photo.height));
  const [width, height] = [Math.round(photo.width * scale), Math.round(photo.height * scale)];
  const crop = { x: 0, y: 0, width: photo.width, height: photo.height };
  return findPrint(readColour(photo, { crop, width: Math.max(1, width), height: Math.max(1, height) }));
}

/**
 * From here on a print is said to lie askew, degrees, and to be seen aslant, a share. Assumed: less is not seen on a
 * piece, and no hand holds a camera straighter.
 */
const PRINT_SAID = { leansDeg: 0.7, slant: 0.04 } as const;

/** The crop stays as it was chosen: said is how to take the printed picture alone, and what light lies on it. */
function tellPrint(
  { picture, leansDeg, slant, glare }: SeenPrint,
  chosen: CropFacts,
  { photo, fit, zoom, size }: { readonly photo: Photo } & Pick<JobSpec, 'fit' | 'zoom' | 'size'>,
): CropFacts {
  const full = shareOfCover(photo, { aspect: size.widthMm / size.heightMm, zoom });
  const isAlone = fit !== 'contain' && isWithin(chosen.focus, full, picture);
  const alone = isAlone ? undefined : cropWithout({ picture }, { ...full, zoom });
  const told = {
    turnDeg: Math.abs(leansDeg) < PRINT_SAID.leansDeg ? 0 : -Number(leansDeg.toFixed(1)),
    slant: slant < PRINT_SAID.slant ? 0 : slant,
    ...alone,
  };
  const isSaid = alone !== undefined || told.turnDeg !== 0 || told.slant > 0;
  return {
    ...chosen,
    ...(alone ? { alone } : {}),
    notices: [
      ...chosen.notices,
      ...(isSaid ? [notice('print-seen', told)] : []),
      ...(glare ? [notice('print-glare', glare)] : []),
    ],
  };
}

async function chooseByBars(
  bars: Bars | undefined,
  { photo, subject }: Pick<StandingPhoto, 'photo' | 'subject'>,
  { focus, fit, zoom, size, outline }: Pick<JobSpec, 'focus' | 'fit' | 'zoom' | 'size' | 'outline'>,
): Promise<CropFacts> {
  const full = shareOfCover(photo, { aspect: size.widthMm / size.heightMm, zoom });
  const alone = bars && cropWithout(bars, { ...full, zoom });
  if (fit === 'contain') {
    const whole: Focus = { x: 0.5, y: 0.5, origin: 'middle' };
    return {
      focus: whole,
      ...(alone ? { alone, notices: [notice('bars-seen', { ...bars, ...alone })] } : { notices: [] }),
    };
  }
  if (focus || zoom !== undefined) {
    const chosen = await chooseWithin({ photo, subject }, { focus, size, outline, crop: full, within: WHOLE });
    if (!alone || isWithin(chosen.focus, full, bars.picture)) return chosen;
    return { ...chosen, alone, notices: [...chosen.notices, notice('bars-seen', { ...bars, ...alone })] };
  }
  if (!alone) return chooseWithin({ photo, subject }, { focus, size, outline, crop: full, within: WHOLE });
  const crop = { width: full.width / alone.zoom, height: full.height / alone.zoom };
  const chosen = await chooseWithin({ photo, subject }, { focus, size, outline, crop, within: bars.picture });
  return {
    ...chosen,
    ...(alone.zoom > 1 ? { zoom: alone.zoom } : {}),
    notices: [...chosen.notices, notice('bars-left-out', bars)],
  };
}

/** All of a photo, shares. Exact: by definition. */
const WHOLE: PhotoPart = { x: 0, y: 0, width: 1, height: 1 };
/** Decimals of the crop that is told, a count. Assumed: finer than a line of a bar, and short enough to type in. */
const DECIMALS = 3;
/** How far a crop may reach into a bar, a share of the photo. Assumed: a line or two, which the rounding leaves. */
const SLACK = 0.005;

/** The crop that takes the picture alone: as near as it must be, about its middle. */
function cropWithout(
  { picture }: Pick<Bars, 'picture'>,
  { width, height, zoom = 1 }: { readonly width: number; readonly height: number; readonly zoom: number | undefined },
): NonNullable<CropFacts['alone']> {
  const nearer = Math.max(1, (width * zoom) / picture.width, (height * zoom) / picture.height);
  return {
    focus: {
      x: Number((picture.x + picture.width / 2).toFixed(DECIMALS)),
      y: Number((picture.y + picture.height / 2).toFixed(DECIMALS)),
    },
    // Up, so that no line of a bar is left; what is exact but for the dust of a quotient stays.
    zoom: Math.ceil(nearer * 10 ** DECIMALS - 1e-6) / 10 ** DECIMALS,
  };
}

/** Whether a crop about a place shows nothing beyond a part of the photo, but for a line of pixels. */
function isWithin(
  { x, y }: Point,
  crop: { readonly width: number; readonly height: number },
  part: PhotoPart,
): boolean {
  const [left, top] = [clampTo(x, crop.width, WHOLE.x, 1), clampTo(y, crop.height, WHOLE.y, 1)];
  return (
    left - crop.width / 2 >= part.x - SLACK &&
    left + crop.width / 2 <= part.x + part.width + SLACK &&
    top - crop.height / 2 >= part.y - SLACK &&
    top + crop.height / 2 <= part.y + part.height + SLACK
  );
}

interface Point {
  readonly x: number;
  readonly y: number;
}

/** The middle of a span of a length within from … from + whole. */
function clampTo(middle: number, length: number, from: number, whole: number): number {
  const half = Math.min(length, whole) / 2;
  return Math.min(Math.max(middle, from + half), from + whole - half);
}

interface ChoiceWithin {
  readonly size: SizeMm;
  readonly focus: Point | undefined;
  readonly outline: JobSpec['outline'] | undefined;
  /** Size of the crop, shares of the photo. */
  readonly crop: { readonly width: number; readonly height: number };
  /** Where it may lie. */
  readonly within: PhotoPart;
}

async function chooseWithin(
  { photo, subject }: Pick<StandingPhoto, 'photo' | 'subject'>,
  { focus, size, outline, crop, within }: ChoiceWithin,
): Promise<CropFacts> {
  const place = ({ x, y }: Point): Point =>
    within === WHOLE
      ? { x, y }
      : { x: clampTo(x, crop.width, within.x, within.width), y: clampTo(y, crop.height, within.y, within.height) };
  const isWhole = crop.width > within.width - 1e-6 && crop.height > within.height - 1e-6;
  if (focus) return { focus: { ...focus, origin: 'given' }, notices: [] };
  if (isWhole && !(formOf(size, outline) && subject)) {
    const middle = { x: within.x + within.width / 2, y: within.y + within.height / 2 };
    return { focus: { ...middle, origin: 'middle' }, notices: [] };
  }
  if (!subject) {
    const found = await findAttention(photo, size.widthMm / size.heightMm);
    return { focus: { ...place(found), origin: 'attention' }, notices: [] };
  }
  const choice = chooseCrop(cropRequestOf(subject), { crop, ...seenOf(size, outline) });
  const photoLost = 1 - crop.width * crop.height;
  const { facesCut: cut, isFirstCut, subjectLost: lost } = choice;
  const faces = subject.faces.length;
  const notices =
    cut > 0
      ? [notice('subject-cut', { cut, faces, isFirstCut, photoLost })]
      : faces === 0 && lost > LOST_UNSAID
        ? [notice('subject-lost', { lost, photoLost })]
        : [];
  return { focus: { ...place(choice.focus), origin: 'subject' }, notices };
}

/** How a piece that may lie either way shows more of the photo; by what of its subject is lost, then by area. */
export function chooseLay(
  { photo, subject }: Pick<StandingPhoto, 'photo' | 'subject'>,
  { size, zoom, outline }: Pick<JobSpec, 'size' | 'zoom' | 'outline'>,
): SizeMm {
  const turned = { ...size, widthMm: size.heightMm, heightMm: size.widthMm };
  const { width, height } = (zoom === undefined ? findBars(photo)?.picture : undefined) ?? WHOLE;
  const judge = (as: SizeMm) => {
    const picture = { width: photo.width * width, height: photo.height * height };
    const share = shareOfCover(picture, { aspect: as.widthMm / as.heightMm, zoom });
    const crop = { width: share.width * width, height: share.height * height };
    const choice = subject && chooseCrop(cropRequestOf(subject), { crop, ...seenOf(as, outline) });
    return { cut: choice?.facesCut ?? 0, shown: crop.width * crop.height };
  };
  const [as, other] = [judge(size), judge(turned)];
  if (other.cut !== as.cut) return other.cut < as.cut ? turned : size;
  return other.shown > as.shown * MUCH_MORE ? turned : size;
}

/** The form of the picture: as asked for, else the circle of a round piece. */
const formOf = (size: SizeMm, outline: JobSpec['outline'] | undefined) =>
  outline?.outline ?? (isRoundSize(size) ? 'circle' : undefined);

function seenOf(size: SizeMm, outline: JobSpec['outline'] | undefined) {
  const form = formOf(size, outline);
  return form ? { seen: seenWithin(size, form) } : {};
}

/** A piece is turned for this much more of the photo, a factor. Assumed: for less nobody would turn a card. */
const MUCH_MORE = 1.15;

/** Width and height of the crop that fills a piece, shares of the photo. */
function shareOfCover(
  photo: Pick<Photo, 'width' | 'height'>,
  { aspect, zoom = 1 }: { readonly aspect: number; readonly zoom: number | undefined },
): { readonly width: number; readonly height: number } {
  return {
    width: Math.min(1, (photo.height * aspect) / photo.width) / zoom,
    height: Math.min(1, photo.width / aspect / photo.height) / zoom,
  };
}

/**
 * Share of each dot of the piece that may be marked: inside its outline and margin and the picture's own outline, where
 * the photo is and is opaque.
 */
export function markable(
  frame: Frame,
  opaque: Plane<'mask'> | undefined,
  { outline, round }: Pick<JobSpec, 'outline' | 'round'>,
): Plane<'mask'> | undefined {
  const { place, width, height } = frame;
  const fills = place.width === width && place.height === height;
  const shown =
    fills || opaque
      ? opaque
      : createPlane('mask', place.width, place.height, new Uint8Array(place.width * place.height).fill(255));
  const masks = [
    shown && placeOnPiece(shown, frame),
    pieceMask(frame),
    outline && outlineMask(frame, outline),
    round && roundMask(frame, round),
  ];
  return masks
    .filter((mask) => mask !== undefined)
    .reduce<Plane<'mask'> | undefined>((all, mask) => (all ? multiplyMasks(all, mask) : mask), undefined);
}
