import { randomBytes } from 'node:crypto';
import { AppError } from '../errors.ts';
import type { JobRequest, Prediction, PreparedImage, Quote } from '../job/index.ts';
import { sayAtRest } from '../notices.ts';
import type { Dots, Photo } from '../plane/index.ts';
import { formatMoney, saySettings } from '../tasks/index.ts';
import type { PhotoSettings, PredictionJson, PreviewRequestJson } from './protocol.ts';
import { viewNotice } from './server-notices.ts';
import { requestOf } from './server-photo-settings.ts';
import type { Work } from './server-work.ts';

/**
 * A photo with more pixels is refused from its header. Assumed: decoded it would take more than a third of a gigabyte.
 */
export const MAX_PIXELS = 120e6;
/**
 * Decoded photos and their light are let go of, the longest unused first, beyond this. Assumed: a few large photos
 * beside a browser, on a computer of 8 GB.
 */
const CACHE_BYTES = 700e6;
/** Windows on one job that are told apart. A count. Assumed: more than a shop has screens. */
const MOST_WINDOWS = 16;
/**
 * Previews whose dots are kept for the loupe, counts: of one picture on the page, and of all. Assumed: a loupe looks at
 * the present one until the next is there, and four pictures are compared in one window while another follows.
 */
const PREVIEWS_KEPT = { ofOne: 2, ofAll: 12 } as const;
/**
 * Lights of one photo that are kept, the longest unused let go of first. A count. Assumed: as many as are compared side
 * by side.
 */
const MOST_PREPARED = 4;
/**
 * Memory of gone previews that is kept for the next ones. A count. Assumed: a draft and a proof come by turns.
 */
const MOST_ROOMS = 2;

const NOTHING_DONE = new Int32Array(1);

interface NamedImage {
  readonly prepared: PreparedImage;
  /** Tells it from all others. */
  readonly imageKey: string;
}

interface WindowCells {
  readonly draft: Int32Array;
  readonly proof: Int32Array;
  /** Thousandths of the newest proof's search that are done. */
  readonly done: Int32Array;
}

interface Cached {
  photo?: Promise<Photo>;
  /** By the wish that they depend on, the longest unused first. */
  readonly preparedImages: Map<string, { readonly prepared: Promise<NamedImage>; bytes: number }>;
  photoBytes: number;
  used: number;
  /** By window: turn of the newest draft and of the newest proof; the threads look at them between steps. */
  readonly turns: Map<string, WindowCells>;
}

interface StoredPreview {
  readonly key: string;
  /** The picture on the page that it was drawn for. */
  readonly window: string;
  readonly dots: Dots;
  readonly request: JobRequest;
}

/** A photo that is looked at, wherever it lies. */
export interface Subject {
  /** Tells it from all others. */
  readonly key: string;
  readonly path: string;
  /** Where its masks lie. */
  readonly folder: string;
  /** What messages call the photo's file. */
  readonly file: string;
  /** Name of its work on the ticket. */
  readonly name: string;
}

export interface LoupeRequest {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  readonly as: 'dots' | 'surface';
  /** Pixels along each side of a dot, or dots along each side of a pixel. */
  readonly samples: number;
  readonly average: number;
}

export interface Previews {
  /** Tones without dots; undefined when the same window has asked anew meanwhile. */
  readonly draft: (subject: Subject, ask: PreviewRequestJson) => Promise<Uint8Array | undefined>;
  /** @param gone tells that the one who asked no longer listens */
  readonly look: (
    subject: Subject,
    ask: PreviewRequestJson,
    gone: AbortSignal,
  ) => Promise<{ readonly jpeg: Uint8Array; readonly facts: Promise<PredictionJson | undefined> } | undefined>;
  /** Share of a window's newest search of dots that is done, 0 … 1. */
  readonly shareDone: (subject: Subject, window: string) => number;
  readonly loupe: (key: string, look: string, ask: LoupeRequest) => Promise<Uint8Array>;
  /** PNG of the whole photo, white where its subject is, to paint on. */
  readonly mask: (subject: Subject, wish: PhotoSettings) => Promise<Uint8Array>;
  /** A photo that is decoded already. */
  readonly hold: (key: string, photo: Photo) => void;
  readonly forget: (key: string) => void;
}

/** Drafts, proofs and loupes of photos, and the light of those that are being looked at. */
export function createPreviews(work: Work): Previews {
  const cache = new Map<string, Cached>();
  const previews = new Map<string, StoredPreview>();
  const rooms: Uint8Array[] = [];

  function useCache(key: string): Cached {
    const known = cache.get(key);
    if (known) {
      known.used = Date.now();
      return known;
    }
    const made: Cached = { preparedImages: new Map(), photoBytes: 0, used: Date.now(), turns: new Map() };
    cache.set(key, made);
    return made;
  }

  /** A window's newer wish overtakes its older one, never another window's. */
  function turnsOf(key: string, window: string) {
    const { turns } = useCache(key);
    const known = turns.get(window);
    if (known) return known;
    const cell = () => new Int32Array(new SharedArrayBuffer(4));
    const made = { draft: cell(), proof: cell(), done: cell() };
    turns.set(window, made);
    for (const old of [...turns.keys()].slice(0, -MOST_WINDOWS)) turns.delete(old);
    return made;
  }

  /** Lets go of the longest unused light, never of the one in hand. */
  function trim(key: string): void {
    const byAge = [...cache].filter(([other]) => other !== key).sort((a, b) => a[1].used - b[1].used);
    let bytes = [...cache.values()].reduce((sum, entry) => sum + bytesHeld(entry), 0);
    for (const [other, entry] of byAge) {
      if (bytes <= CACHE_BYTES) return;
      bytes -= bytesHeld(entry);
      cache.delete(other);
    }
    // Of a large photo that is compared with itself, the newest light alone.
    const preparedImages = cache.get(key)?.preparedImages;
    for (const [old, { bytes: own }] of [...(preparedImages ?? [])].slice(0, -1)) {
      if (bytes <= CACHE_BYTES) return;
      bytes -= own;
      preparedImages?.delete(old);
    }
  }

  async function photoOf({ key, path, file }: Subject): Promise<Photo> {
    const entry = useCache(key);
    entry.photo ??= work.run('photos', 'openPhoto', { path, name: file, maxPixels: MAX_PIXELS }).then(({ photo }) => {
      entry.photoBytes = bytesOf(photo);
      return photo;
    });
    return entry.photo.catch((error) => {
      delete entry.photo;
      throw error;
    });
  }

  async function imageOf(subject: Subject, wish: PhotoSettings): Promise<NamedImage> {
    const photo = await photoOf(subject);
    const { preparedImages } = useCache(subject.key);
    // The light, and the tone that suits it, depend on all of the wish but the tone's own values.
    const { toneValues: _values, ...rest } = wish;
    const key = JSON.stringify(rest);
    const known = preparedImages.get(key);
    if (known) {
      preparedImages.delete(key);
      preparedImages.set(key, known);
      return known.prepared;
    }
    const prepared = work
      .run('proof', 'prepareImageOf', { photo, request: requestOf({ ...wish, toneValues: {} }, subject.folder) })
      .then((taken) => ({ prepared: taken, imageKey: randomBytes(6).toString('hex') }));
    const made = { prepared, bytes: 0 };
    preparedImages.set(key, made);
    for (const old of [...preparedImages.keys()].slice(0, -MOST_PREPARED)) preparedImages.delete(old);
    prepared.then(
      ({ prepared: { picture } }) => {
        made.bytes = 3 * picture.light.data.length;
        trim(subject.key);
      },
      () => preparedImages.get(key) === made && preparedImages.delete(key),
    );
    return prepared;
  }

  async function draft(subject: Subject, { wish, showClipped, window, longSidePx }: PreviewRequestJson) {
    const { draft: newest } = turnsOf(subject.key, window);
    const turn = Atomics.add(newest, 0, 1) + 1;
    const named = await imageOf(subject, wish);
    if (Atomics.load(newest, 0) !== turn) return undefined;
    const input = { ...named, request: requestOf(wish, subject.folder), name: subject.name, showClipped, turn, newest };
    return work.run('draft', 'draft', { ...input, longSidePx });
  }

  async function look(subject: Subject, ask: PreviewRequestJson, gone: AbortSignal) {
    const { wish, showClipped, window, longSidePx } = ask;
    const { proof: newest, done } = turnsOf(subject.key, window);
    const turn = Atomics.add(newest, 0, 1) + 1;
    // Who has asked no longer listens; the turn passes to nobody, unless somebody has it by now.
    gone.addEventListener('abort', () => Atomics.compareExchange(newest, 0, turn, turn + 1));
    const named = await imageOf(subject, wish);
    if (Atomics.load(newest, 0) !== turn) return undefined;
    const { frame } = named.prepared.picture;
    Atomics.store(done, 0, 0);
    const name = randomBytes(6).toString('hex');
    const room = takeRoom(frame.width * frame.height);
    const request = requestOf(wish, subject.folder);
    const drawing = { ...named, request, name: subject.name, showClipped, longSidePx, turn, newest };
    const input = { ...drawing, look: name, room, done };
    const found = await work.run('proof', 'exact', input);
    if (!found) {
      rooms.push(room);
      return undefined;
    }
    previews.set(name, { key: subject.key, window, dots: found.dots, request });
    const ofOne = [...previews].filter(([, one]) => one.window === window);
    for (const [old, { dots }] of new Map([
      ...ofOne.slice(0, -PREVIEWS_KEPT.ofOne),
      ...[...previews].slice(0, -PREVIEWS_KEPT.ofAll),
    ])) {
      previews.delete(old);
      rooms.push(dots.data);
    }
    const facts = work
      .run('proof', 'predictPreview', input)
      .then((told) => told && describePreview(name, named.prepared, told));
    return { jpeg: found.jpeg, facts };
  }

  /**
   * Shared memory for so many dots: that of a look which is gone, since fresh memory costs more time than filling it.
   */
  function takeRoom(dots: number): Uint8Array {
    const found = rooms.findIndex((room) => room.length === dots);
    const room = found < 0 ? new Uint8Array(new SharedArrayBuffer(dots)) : rooms.splice(found, 1)[0]!;
    rooms.splice(0, Math.max(0, rooms.length - MOST_ROOMS));
    return room;
  }

  return {
    draft,
    look,
    shareDone: ({ key }, window) => Atomics.load(cache.get(key)?.turns.get(window)?.done ?? NOTHING_DONE, 0) / 1000,
    async loupe(key, name, { as, samples, average, ...part }) {
      const found = previews.get(name);
      if (found?.key !== key) throw new AppError('name-unknown', 'this proof is no longer at hand');
      const png = await work.run('draft', 'loupe', {
        dots: found.dots,
        request: found.request,
        part,
        as,
        samples,
        average,
      });
      // Its memory may hold the dots of another look by now.
      if (previews.get(name) !== found) throw new AppError('name-unknown', 'this proof is no longer at hand');
      return png;
    },
    async mask(subject, wish) {
      const photo = await photoOf(subject);
      return work.run('draft', 'drawMask', { photo, request: requestOf(wish, subject.folder) });
    },
    hold(key, photo) {
      const entry = useCache(key);
      entry.photo = Promise.resolve(photo);
      entry.photoBytes = bytesOf(photo);
      trim(key);
    },
    forget: (key) => void cache.delete(key),
  };
}

const bytesOf = (photo: Photo) => photo.rgb.byteLength + (photo.alpha?.byteLength ?? 0);

const bytesHeld = ({ photoBytes, preparedImages }: Cached) =>
  [...preparedImages.values()].reduce((sum, { bytes }) => sum + bytes, photoBytes);

function describePreview(name: string, { picture }: PreparedImage, facts: Prediction): PredictionJson {
  const { bitmap, time, prediction, profile, screen, settings, speaking, cautions, assumptions, tone, price } = facts;
  return {
    look: name,
    frame: picture.frame,
    focus: picture.focus,
    zoom: picture.framing.zoom ?? 1,
    ...(picture.alone ? { alone: picture.alone } : {}),
    turnDeg: picture.turn.deg,
    tone: tone.values,
    ...(tone.metered ? { metered: tone.metered.note } : {}),
    dots: { width: bitmap.width, height: bitmap.height, firing: bitmap.firing },
    seconds: time.seconds,
    prediction,
    clippedDark: tone.clippedDark,
    clippedLight: tone.clippedLight,
    profile: { title: profile.title, bareL: profile.bareL, fullL: profile.fullL, origin: profile.origin },
    ...(facts.seen ? { seen: facts.seen } : {}),
    screen: screen.name,
    settings,
    typed: saySettings(settings, facts.machine.control),
    notices: speaking.map(viewNotice),
    ...(facts.atRest ? { atRest: sayAtRest(facts.atRest) } : {}),
    cautions,
    assumptions,
    ...(price ? { price: sayPrice(price) } : {}),
  };
}

/** The price of one piece as an order of its own, each line as the list makes it. */
function sayPrice(quote: Quote): NonNullable<PredictionJson['price']> {
  const money = (amountMinor: number) => formatMoney(amountMinor, quote);
  const { tax, roundingMinor } = quote;
  const lines = [...quote.lines, ...quote.pieces.flatMap((piece) => piece.lines)]
    .filter(({ amountMinor }) => amountMinor !== 0)
    .map(({ label, amountMinor }) => [label, money(amountMinor)] as const);
  const taxed = [`${tax.name}, ${tax.percent} %${tax.included ? ', within' : ''}`, money(tax.amountMinor)] as const;
  const rounded = roundingMinor === 0 ? [] : [['Rounding', money(roundingMinor)] as const];
  return { total: money(quote.grossMinor), lines: [...lines, taxed, ...rounded] };
}
