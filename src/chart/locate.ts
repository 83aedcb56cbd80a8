import { AppError } from '../errors.ts';
import { median } from '../numeric/index.ts';
import { type FoundTag, locateTags, polishCorners, readTag, refineExpected, reverseCorners } from './detect.ts';
import { measureEdgeBlur } from './edges.ts';
import { applyHomography, fitHomography, signedArea } from './geometry.ts';
import { type GreySampler, sampleCapture, sampleLight } from './grey.ts';
import { type ChartMap, type FittedMap, fitMap, inkCorners, placeOnCapture, type SeenTag } from './map.ts';
import { INK_CELLS } from './tag-codes.ts';
import { identifyTag } from './tags.ts';
import type { CaptureImage, ChartLayout, Corners, Point, TagPosition } from './types.ts';

export interface LocateOptions {
  /** The chart is seen from behind, as on glass that was burned from the back. */
  readonly mirrored?: boolean;
  /**
   * Corners given by hand, pixels of the capture: outermost corners of the ink of the corner tags, in the chart's own
   * order upper left, upper right, lower right, lower left (on a strip: of the two end tags).
   */
  readonly corners?: Corners;
}

/** Where a chart lies in a capture. */
export interface Located {
  readonly layout: ChartLayout;
  readonly map: ChartMap;
  /** Whether the tags' ink is darker or lighter than the bare surface in this capture. */
  readonly direction: 'darker' | 'lighter';
  readonly mirrored: boolean;
  /** Whether corners given by hand were needed. */
  readonly byHand: boolean;
  readonly tags: readonly { readonly position: TagPosition; readonly corners: Corners }[];
  readonly missing: readonly TagPosition[];
  /** Resolution at the chart's middle, px/mm. */
  readonly pxPerMm: number;
  /** Distance of tag corners from the fitted map, root mean square, mm. */
  readonly residualMm: number;
  /** Largest standard error of a patch's place, mm. */
  readonly placeErrorMm: number;
  /** Blur of the tags' edges, standard deviation, mm. */
  readonly blurMm: number;
  readonly growthMm: number;
}

/**
 * Least tags of a chart with six and of a strip with three. Counts. Assumed: three tags of known place tell a tilted
 * plane with a tag to spare for error; a strip lies flat.
 */
const TAGS_MIN = 3;
const STRIP_TAGS_MIN = 2;
/**
 * Most corrected cells of a tag that tells of another chart. Cells. Assumed: chance patterns come near a code, but
 * seldom so near.
 */
const STRANGER_HAMMING_MAX = 1;
/**
 * How far a tag's corner may lie from where two others put it, cells. Assumed: perspective and lens move a corner by
 * less within a chart.
 */
const PAIR_TOLERANCE_CELLS = 1;
/**
 * Largest distance of a tag's corner from the map: so many borders of a patch and so many pixels. Shares and pixels.
 * Assumed: patches are then read inside their borders with room to spare.
 */
const RESIDUAL_BORDERS = 0.15;
const RESIDUAL_PX = 0.8;
/**
 * The same from which a single tag is suspected, and what leaving it out must bring. Shares and pixels. Assumed: a
 * third of the limit, and a gain that chance does not bring.
 */
const DROP_BORDERS = 0.05;
const DROP_PX = 0.25;
const DROP_GAIN = 0.4;
/**
 * Least pixels along one cell of a tag and along the read part of a patch. Assumed: two pixels a cell still tell its
 * ink; 36 pixels give a patch a mean.
 */
const CELL_MIN_PX = 2;
const PATCH_MIN_PX = 6;
/**
 * Largest blur (standard deviation) as a share of a patch's side: beyond it the middle of a patch sees its neighbours.
 * Assumed: the middle is then four deviations from the edge.
 */
const BLUR_MAX_SHARE = 0.12;

const PLACE_NAMES: Readonly<Record<TagPosition, string>> = {
  0: 'upper left',
  1: 'upper right',
  2: 'lower right',
  3: 'lower left',
  4: 'first spare',
  5: 'second spare',
};

/**
 * Finds which of the layouts lies in the capture, and where: tags, then one map through the corners of all that fit
 * together; tags that were passed over are looked for again where the map expects them.
 * @throws AppError chart-not-found, chart-corner-missing, chart-wrong, chart-mirrored, capture-blurred
 */
export function locateChart(
  capture: CaptureImage,
  layouts: readonly ChartLayout[],
  options: LocateOptions = {},
): Located {
  if (layouts.length === 0) throw new RangeError('locating needs at least one layout');
  const { mirrored = false, corners } = options;
  const sample = sampleLight(sampleCapture(capture));
  if (corners && layouts.length === 1) return locateByHand(capture, layouts[0]!, corners, sample);

  const enough = (tags: readonly FoundTag[]) =>
    layouts.some((layout) => matchLayout(tags, layout).length >= Math.min(4, layout.tags.length));
  const tags = locateTags(capture, { enough, mirrored });
  const best = bestMatch(tags, layouts);
  if (!best || best.seen.length < leastTags(best.layout)) {
    if (corners) {
      if (!best) throw wrongChart(tags, layouts, 'the corners were given by hand, but not which chart it is');
      return locateByHand(capture, best.layout, corners, sample);
    }
    throw explainMissing(capture, tags, layouts, { mirrored, best });
  }
  return finishLocating(capture, best.layout, best.seen, { sample, mirrored, byHand: false });
}

const leastTags = (layout: ChartLayout) => (layout.tags.length > 3 ? TAGS_MIN : STRIP_TAGS_MIN);

interface Match extends SeenTag {
  readonly polarity: 'darker' | 'lighter';
}

function bestMatch(tags: readonly FoundTag[], layouts: readonly ChartLayout[]) {
  let best: { layout: ChartLayout; seen: readonly Match[] } | undefined;
  for (const layout of layouts) {
    const seen = matchLayout(tags, layout);
    if (seen.length > (best?.seen.length ?? 0)) best = { layout, seen };
  }
  return best;
}

/** The largest set of tags that belong to the layout, are of one polarity and lie to one another as the layout says. */
function matchLayout(tags: readonly FoundTag[], layout: ChartLayout): readonly Match[] {
  const own = tags.flatMap((found): Match[] => {
    const tag = layout.tags.find(({ id }) => id === found.id);
    return tag ? [{ tag, corners: found.corners, polarity: found.polarity }] : [];
  });
  if (own.length < 2) return own;
  let best: readonly Match[] = own.slice(0, 1);
  for (let i = 0; i < own.length; i++) {
    for (let j = i + 1; j < own.length; j++) {
      const pair = [own[i]!, own[j]!];
      if (pair[0]!.polarity !== pair[1]!.polarity) continue;
      const there = fitHomography(
        pair.flatMap(({ tag }) => inkCorners(tag, layout)),
        pair.flatMap(({ corners }) => corners),
      );
      if (!there) continue;
      const agreeing = own.filter(({ tag, corners, polarity }) => {
        if (polarity !== pair[0]!.polarity) return false;
        const cellPx = Math.sqrt(Math.abs(signedArea(corners))) / INK_CELLS;
        const distance = Math.hypot(tag.xDots - pair[0]!.tag.xDots, tag.yDots - pair[0]!.tag.yDots);
        const base = Math.hypot(pair[1]!.tag.xDots - pair[0]!.tag.xDots, pair[1]!.tag.yDots - pair[0]!.tag.yDots);
        // Two tags extrapolate poorly; the map through all of them is checked more strictly afterwards.
        const tolerance = cellPx * PAIR_TOLERANCE_CELLS * Math.max(1, (3 * distance) / base);
        return inkCorners(tag, layout).every(([x, y], at) => {
          const [px, py] = applyHomography(there, x, y);
          return Math.hypot(px - corners[at]![0], py - corners[at]![1]) <= tolerance;
        });
      });
      if (agreeing.length > best.length) best = agreeing;
    }
  }
  return best;
}

function explainMissing(
  capture: CaptureImage,
  tags: readonly FoundTag[],
  layouts: readonly ChartLayout[],
  { mirrored, best }: { readonly mirrored: boolean; readonly best: ReturnType<typeof bestMatch> },
): AppError {
  const other = bestMatch(locateTags(capture, { mirrored: !mirrored, enough: (all) => all.length >= 4 }), layouts);
  if (other && other.seen.length >= Math.max(2, (best?.seen.length ?? 0) + 1)) {
    return new AppError(
      'chart-mirrored',
      mirrored
        ? `found ${other.seen.length} tags the right way round, needed them seen from behind; read it as one that is not mirrored`
        : `found ${other.seen.length} tags seen from behind, needed them the right way round; say that it is mirrored when the piece was burned from the back`,
      { found: other.seen.length, mirrored: !mirrored, options: ['mirrored'] },
    );
  }
  if (best && best.seen.length > 0) {
    const missing = best.layout.tags.filter((tag) => !best.seen.some((seen) => seen.tag === tag));
    return new AppError(
      'chart-corner-missing',
      `found ${best.seen.length} of ${best.layout.tags.length} tags (missing: ${missing.map(({ position }) => PLACE_NAMES[position]).join(', ')}), ` +
        `needed ${leastTags(best.layout)}; put the whole chart into the frame`,
      { found: best.seen.length, needed: leastTags(best.layout), missing: missing.map(({ position }) => position) },
    );
  }
  // With many corrections chance makes tags of print and grain; those of another chart are read as they are.
  const strangers = tags.filter(({ id, hamming }) => identifyTag(id) !== undefined && hamming <= STRANGER_HAMMING_MAX);
  if (strangers.length >= 2) return wrongChart(strangers, layouts, 'the tags belong to another chart');
  return new AppError(
    'chart-not-found',
    `found no tag of a chart in ${capture.width} × ${capture.height} pixels, needed ${TAGS_MIN}; take the chart larger and sharper, or give its corners by hand`,
    { width: capture.width, height: capture.height },
  );
}

function wrongChart(tags: readonly FoundTag[], layouts: readonly ChartLayout[], why: string): AppError {
  const names = layouts.slice(0, 4).map(({ kind, hash }) => `${kind} ${hash}`);
  if (layouts.length > 4) names.push(`${layouts.length - 4} more`);
  return new AppError(
    'chart-wrong',
    `found ${tags.length} tags of a chart that is none of ${names.join(', ')} (${why}), needed its own layout file`,
    { ids: tags.map(({ id }) => id), hashes: layouts.map(({ hash }) => hash) },
  );
}

interface FinishOptions {
  readonly sample: GreySampler;
  readonly mirrored: boolean;
  readonly byHand: boolean;
}

function finishLocating(
  capture: CaptureImage,
  layout: ChartLayout,
  first: readonly Match[],
  { sample, mirrored, byHand }: FinishOptions,
): Located {
  let seen = first;
  let fitted = fitMap(seen, layout, capture);
  if (fitted && seen.length < layout.tags.length) {
    const { map } = fitted;
    const more = layout.tags
      .filter((tag) => !seen.some((one) => one.tag === tag))
      .flatMap((tag): Match[] => {
        const expected = inkCorners(tag, layout).map(([x, y]) => placeOnCapture(map, x, y)) as unknown as Corners;
        const found = seeExpected(sample, expected, { polarity: first[0]!.polarity, id: tag.id, mirrored });
        return found ? [{ tag, corners: found, polarity: first[0]!.polarity }] : [];
      });
    if (more.length > 0) {
      seen = [...seen, ...more];
      fitted = fitMap(seen, layout, capture);
    }
  }
  seen = polish(seen, sample);
  fitted = fitMap(seen, layout, capture);
  if (fitted && seen.length > 4 && fitted.worstPx > dropLimitPx(layout, fitted.map)) {
    ({ seen, fitted } = dropWorst(capture, layout, { seen, fitted }));
  }
  if (!fitted) {
    throw new AppError(
      'chart-corner-missing',
      `found ${seen.length} tags that lie on one line, needed three around the chart; put the whole chart into the frame`,
      { found: seen.length },
    );
  }
  return judgePlace({ layout, seen, fitted, sample, mirrored, byHand });
}

const signOf = (polarity: Match['polarity']) => (polarity === 'darker' ? 1 : -1);
const cellOf = (corners: Corners) => Math.sqrt(Math.abs(signedArea(corners))) / INK_CELLS;

/** Median blur of the tags' edges, standard deviation in pixels. */
function measureBlurPx(seen: readonly Match[], sample: GreySampler): number {
  const blursPx = seen.flatMap(({ corners, polarity }) => {
    const clockwise = signedArea(corners) > 0 ? corners : reverseCorners(corners);
    return measureEdgeBlur(sample, clockwise, { polarity: signOf(polarity), reachPx: cellOf(corners) * 0.8 }) ?? [];
  });
  return blursPx.length > 0 ? median(blursPx) : 0;
}

/** Corners of all tags refined at the blur that they have in common. */
function polish(seen: readonly Match[], sample: GreySampler): readonly Match[] {
  const blurPx = measureBlurPx(seen, sample);
  return seen.map((one) => {
    const { corners, polarity } = one;
    const cellPx = cellOf(corners);
    const polished = polishCorners(sample, corners, { polarity: signOf(polarity), cellPx, blurPx });
    const near = polished?.every(([x, y], at) => Math.hypot(x - corners[at]![0], y - corners[at]![1]) < cellPx / 2);
    return polished && near ? { ...one, corners: polished } : one;
  });
}

/** Pixels a mm in the middle of the chart, along its two sides. */
function resolutionOf({ widthMm, heightMm }: ChartLayout, map: ChartMap): readonly [acrossPx: number, downPx: number] {
  const middle = placeOnCapture(map, widthMm / 2, heightMm / 2);
  const right = placeOnCapture(map, widthMm / 2 + 1, heightMm / 2);
  const below = placeOnCapture(map, widthMm / 2, heightMm / 2 + 1);
  return [
    Math.hypot(right[0] - middle[0], right[1] - middle[1]),
    Math.hypot(below[0] - middle[0], below[1] - middle[1]),
  ];
}

/** Largest distance of a tag's corner from the map that is still a chart as it was drawn, px. */
function placeLimitPx(layout: ChartLayout, map: ChartMap): number {
  const [acrossPx, downPx] = resolutionOf(layout, map);
  return RESIDUAL_BORDERS * layout.borderMm * Math.sqrt(acrossPx * downPx) + RESIDUAL_PX;
}

/** Distance of a tag's corner from the map from which it is asked whether one tag is to blame, px. */
function dropLimitPx(layout: ChartLayout, map: ChartMap): number {
  const [acrossPx, downPx] = resolutionOf(layout, map);
  return DROP_BORDERS * layout.borderMm * Math.sqrt(acrossPx * downPx) + DROP_PX;
}

/**
 * Leaves out the one tag without which the others agree best, when they then agree well: a tag that was half hidden.
 */
function dropWorst(
  capture: CaptureImage,
  layout: ChartLayout,
  { seen, fitted }: { readonly seen: readonly Match[]; readonly fitted: FittedMap },
): { seen: readonly Match[]; fitted: FittedMap } {
  let best = { seen, fitted };
  for (const one of seen) {
    const rest = seen.filter((other) => other !== one);
    const without = fitMap(rest, layout, capture);
    if (without && without.worstPx < best.fitted.worstPx) best = { seen: rest, fitted: without };
  }
  const better = best.fitted.worstPx <= dropLimitPx(layout, best.fitted.map);
  return better && best.fitted.worstPx < DROP_GAIN * fitted.worstPx ? best : { seen, fitted };
}

function seeExpected(
  sample: GreySampler,
  expected: Corners,
  {
    polarity,
    id,
    mirrored,
  }: { readonly polarity: 'darker' | 'lighter'; readonly id: number; readonly mirrored: boolean },
): Corners | undefined {
  const cellPx = Math.sqrt(Math.abs(signedArea(expected))) / INK_CELLS;
  const sign = polarity === 'darker' ? 1 : -1;
  const refined = refineExpected(sample, expected, { polarity: sign, cellPx });
  if (!refined) return undefined;
  const clockwise = mirrored ? reverseCorners(refined) : refined;
  const read = readTag(sample, clockwise, { polarity: sign, mirrored });
  return read?.id === id && read.turn === 0 ? refined : undefined;
}

/**
 * Light at and above which a capture shows nothing more, 0 … 255, and share of a tag's cells that are so. Codes and a
 * share. Assumed: two codes below the top, since cameras round.
 */
const WHITE = 253;
const WHITE_SHARE = 0.8;

function isWhite(
  tag: ChartLayout['tags'][number],
  layout: ChartLayout,
  { map, sample }: { readonly map: ChartMap; readonly sample: GreySampler },
): boolean {
  const [[left, top], , [right, bottom]] = inkCorners(tag, layout);
  let white = 0;
  for (let cell = 0; cell < INK_CELLS ** 2; cell++) {
    const u = ((cell % INK_CELLS) + 0.5) / INK_CELLS;
    const v = (Math.floor(cell / INK_CELLS) + 0.5) / INK_CELLS;
    if (sample(...placeOnCapture(map, left + u * (right - left), top + v * (bottom - top))) >= WHITE) white++;
  }
  return white >= WHITE_SHARE * INK_CELLS ** 2;
}

function judgePlace(
  state: FinishOptions & {
    readonly layout: ChartLayout;
    readonly seen: readonly Match[];
    readonly fitted: FittedMap;
  },
): Located {
  const { layout, seen, fitted, sample, mirrored, byHand } = state;
  const { map } = fitted;
  const [acrossPx, downPx] = resolutionOf(layout, map);
  const pxPerMm = Math.sqrt(acrossPx * downPx);
  const leastPxPerMm = Math.min(acrossPx, downPx);

  const patch = layout.patches[0]!;
  const patchMm = Math.min(...layout.patches.map(({ widthMm, heightMm }) => Math.min(widthMm, heightMm)));
  const readPx = (patchMm - 2 * layout.borderMm) * leastPxPerMm;
  const cellPx = patch ? Math.min(...layout.tags.map((tag) => tag.cellDotsX)) * layout.grid.pitchMm * leastPxPerMm : 0;
  if (readPx < PATCH_MIN_PX || cellPx < CELL_MIN_PX) {
    throw new AppError(
      'capture-blurred',
      `found ${leastPxPerMm.toFixed(1)} pixels per mm, needed ${Math.max(PATCH_MIN_PX / (patchMm - 2 * layout.borderMm), (CELL_MIN_PX * leastPxPerMm) / cellPx).toFixed(1)}; take the chart larger in the frame`,
      { pxPerMm: leastPxPerMm },
    );
  }
  const blurMm = measureBlurPx(seen, sample) / pxPerMm;
  if (blurMm > BLUR_MAX_SHARE * patchMm) {
    throw new AppError(
      'capture-blurred',
      `found edges blurred over ${blurMm.toFixed(2)} mm (standard deviation), needed ${(BLUR_MAX_SHARE * patchMm).toFixed(2)} mm or less; focus again, or rest the camera`,
      { blurMm, limitMm: BLUR_MAX_SHARE * patchMm },
    );
  }
  const residualMm = fitted.rmsPx / pxPerMm;
  const worstMm = fitted.worstPx / pxPerMm;
  const limitMm = placeLimitPx(layout, map) / pxPerMm;
  if (worstMm > limitMm) {
    throw new AppError(
      'chart-wrong',
      `found tags up to ${worstMm.toFixed(2)} mm from where the layout has them, needed ${limitMm.toFixed(2)} mm or less; lay the piece flat and photograph it from farther away, or give the right layout`,
      { worstMm, limitMm },
    );
  }
  const missing = layout.tags.filter((tag) => !seen.some((one) => one.tag === tag)).map(({ position }) => position);
  let placeErrorPx = 0;
  for (const { xMm, yMm, widthMm, heightMm } of layout.patches) {
    placeErrorPx = Math.max(placeErrorPx, fitted.errorPxAt(xMm + widthMm / 2, yMm + heightMm / 2));
  }
  const placeErrorMm = placeErrorPx / pxPerMm;
  if (!byHand && placeErrorMm * 2 > layout.borderMm * 0.5) {
    const white = layout.tags.filter((tag) => missing.includes(tag.position) && isWhite(tag, layout, { map, sample }));
    if (white.length > 0) {
      throw new AppError(
        'capture-clipped',
        `found ${white.length} of ${missing.length} missing tags (${white.map(({ position }) => PLACE_NAMES[position]).join(', ')}) where the capture is white all over, needed to see their cells; expose less`,
        { missing, white: white.map(({ position }) => position) },
      );
    }
    throw new AppError(
      'chart-corner-missing',
      `found ${seen.length} of ${layout.tags.length} tags, which place a patch within ${(2 * placeErrorMm).toFixed(2)} mm, needed ${(layout.borderMm * 0.5).toFixed(2)} mm; ` +
        `uncover the missing ones (${missing.map((position) => PLACE_NAMES[position]).join(', ') || 'none'}) or take the chart larger`,
      { placeErrorMm, missing },
    );
  }
  return {
    layout,
    map,
    direction: seen[0]!.polarity,
    mirrored,
    byHand,
    tags: seen.map(({ tag, corners }) => ({ position: tag.position, corners })),
    missing,
    pxPerMm,
    residualMm,
    placeErrorMm,
    blurMm,
    growthMm: fitted.growthMm,
  };
}

/** Corners by hand are good to a few pixels: each tag is then looked for where they put it. */
function locateByHand(capture: CaptureImage, layout: ChartLayout, corners: Corners, sample: GreySampler): Located {
  const outer = outerCorners(layout);
  const there = fitHomography(outer, corners);
  if (!there) {
    throw new AppError('option-invalid', 'corners: found points on one line, needed four corners of the chart');
  }
  const mirrored = signedArea(corners) < 0;
  const expect = (tag: ChartLayout['tags'][number]) =>
    inkCorners(tag, layout).map(([x, y]): Point => applyHomography(there, x, y)) as unknown as Corners;
  const polarity = guessPolarity(sample, layout, there);
  const sign = polarity === 'darker' ? 1 : -1;
  const seen = layout.tags.flatMap((tag): Match[] => {
    const expected = expect(tag);
    const cellPx = Math.sqrt(Math.abs(signedArea(expected))) / INK_CELLS;
    const refined = refineExpected(sample, expected, { polarity: sign, cellPx });
    const near = refined?.every(([x, y], at) => Math.hypot(x - expected[at]![0], y - expected[at]![1]) < cellPx);
    return refined && near ? [{ tag, corners: refined, polarity }] : [];
  });
  const fitted = seen.length >= leastTags(layout) ? fitMap(seen, layout, capture) : undefined;
  const limitPx = (layout.borderMm * 0.5 + 0.1) * Math.sqrt(Math.abs(signedArea(corners) / signedArea(outer)));
  if (fitted && fitted.worstPx <= limitPx) {
    return judgePlace({ layout, seen, fitted, sample, mirrored, byHand: true });
  }
  const asGiven = layout.tags.map((tag) => ({ tag, corners: expect(tag), polarity }));
  return judgePlace({
    layout,
    seen: asGiven,
    fitted: fitMap(asGiven, layout, capture)!,
    sample,
    mirrored,
    byHand: true,
  });
}

/** Outermost ink corners of the corner tags, or of the end tags of a strip, in the chart's order. */
export function outerCorners(layout: ChartLayout): Corners {
  const boxes = layout.tags.flatMap((tag) => inkCorners(tag, layout));
  const corner = (sx: number, sy: number) =>
    boxes.reduce((best, point) => (sx * point[0] + sy * point[1] > sx * best[0] + sy * best[1] ? point : best));
  return [corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1)];
}

/** Whether the tags' borders are darker or lighter than the rings around them. */
function guessPolarity(sample: GreySampler, layout: ChartLayout, there: readonly number[]): 'darker' | 'lighter' {
  let difference = 0;
  for (const tag of layout.tags) {
    const [upperLeft, , lowerRight] = inkCorners(tag, layout);
    const cellX = (lowerRight[0] - upperLeft[0]) / INK_CELLS;
    const y = (upperLeft[1] + lowerRight[1]) / 2;
    for (const [inner, outer] of [
      [upperLeft[0] + cellX / 2, upperLeft[0] - cellX / 2],
      [lowerRight[0] - cellX / 2, lowerRight[0] + cellX / 2],
    ] as const) {
      const ink = sample(...applyHomography(there, inner, y));
      const bare = sample(...applyHomography(there, outer, y));
      if (Number.isFinite(ink) && Number.isFinite(bare)) difference += bare - ink;
    }
  }
  return difference >= 0 ? 'darker' : 'lighter';
}
