/**
 * The one table of what a person should know beside a result. `about` says which stage speaks, `say` words it from its
 * data; a stage whose numbers are its own hands over the words as `said`. Code that acts on a notice asks for its code;
 * nothing reads the words back.
 */
export const NOTICES = {
  'round-feathered': {
    about: 'job',
    say: ({ arcMm, usableArcMm, featherMm, toneErrorL, boundBy }: RoundWidths) =>
      `Of ${Number(arcMm.toFixed(1))} mm around the piece the middle ${usableArcMm.toFixed(1)} mm are right to ${toneErrorL} L*: beyond, ${boundBy === 'focus' ? 'the surface leaves the focus, and what the wider spot leaves there is not told closely enough' : 'the slant takes so much of the dose that more dots do not make up for it'}. The picture fades out over ${featherMm.toFixed(1)} mm and the rest stays bare. Make it narrower, allow a larger error, or turn the piece on a rotary.`,
  },
  'program-too-dense': {
    about: 'program',
    say: ({ needed, limit, speedMmPerS }: Density) =>
      `The program asks for up to ${Math.ceil(needed)} blocks a second, and the controller follows ${limit}: it would slow down within lines and burn them deeper. Burn at ${Math.floor(speedMmPerS * 10) / 10} mm/s or slower with a profile of that speed, or let the screen make longer runs.`,
  },
  'program-power-rounded': {
    about: 'program',
    say: ({ asked, told, share }: { readonly asked: number; readonly told: number; readonly share: number }) =>
      `The S word has no step for ${asked}: the program says ${told}, ${(100 * share).toFixed(1)} % ${share > 0 ? 'more' : 'less'} power than the profile was learned with.`,
  },
  'program-levels-merged': {
    about: 'program',
    say: ({ levels, told }: { readonly levels: number; readonly told: number }) =>
      `The S word tells ${told} of the ${levels} power levels apart at this power: the others burn like their neighbours.`,
  },
  'two-way-speed': {
    about: 'job',
    say: ({ speedMmPerS, measured }: { readonly speedMmPerS: number; readonly measured: readonly number[] }) =>
      `Lines there and back were measured at ${measured.join(' and ')} mm/s, and not at ${speedMmPerS}: how far apart they land here is not known, and nothing was taken back. Burn a spot chart at this speed, or at a second one near it.`,
  },
  'two-way-vague': {
    about: 'job',
    say: ({ speedMmPerS, reachUm, dotUm }: Record<'speedMmPerS' | 'reachUm' | 'dotUm', number>) =>
      `How far apart lines there and back land at ${speedMmPerS} mm/s is known to ± ${reachUm} µm only, with dots of ${dotUm} µm: nothing was taken back. Burn the spot chart again, or at this speed.`,
  },
  'camera-flash': {
    about: 'capture',
    say: () =>
      'The camera says that its flash fired: it mirrors in the piece. Take the picture again without, in even light from two sides.',
  },
  'camera-zoomed': {
    about: 'capture',
    say: ({ times }: { readonly times: number }) =>
      `The camera says that it zoomed by computing (${times.toFixed(1)} times), which invents detail. Go nearer instead.`,
  },
  'camera-processed': {
    about: 'capture',
    say: () =>
      'The camera says that it processed the picture in a way of its own (several exposures put together, an effect), which moves tones. Turn that off, or scan the chart.',
  },
  'camera-sharpened': {
    about: 'capture',
    say: ({ amount, radiusPx }: { readonly amount: number; readonly radiusPx: number }) =>
      `The camera sharpened this picture: along edges ${Math.round(100 * amount)} % of what differs within ${(2 * radiusPx).toFixed(0)} pixels was added, which makes patterns of dots too light. It was taken back as far as it can be; scan the chart, or turn sharpening off, to be sure.`,
  },
  'smoke-taken': {
    about: 'capture',
    say: ({ ids, share }: { readonly ids: readonly string[]; readonly share: number }) =>
      `The bare ways around ${ids.join(', ')} are up to ${Math.round(100 * share)} % darker, which was taken for smoke of these strongest cells: if a shadow lay there, take the picture again.`,
  },
  'references-disagree': {
    about: 'capture',
    say: ({ share, lightness }: { readonly share: number; readonly lightness: number }) =>
      `After levelling the references still differ by ${(100 * share).toFixed(1)} %, in the lightest tones ${lightness.toFixed(1)} L*: a soft reflection or shadow that was not told from tone, or coarse stock. Single patches may be off by several times that; if the stock is even, take the picture again in even light.`,
  },
  /** The reader's word on a mark that runs the other way than drawn; a fit says the same in its own words. */
  'direction-read': {
    about: 'capture',
    say: ({ drawn, read }: Directions) =>
      `The chart was drawn for a ${drawn} mark; it reads ${read}, and ${read} is what counts.`,
  },
  /** The chart is drawn for a mark that the material is not known to have. */
  'direction-doubt': {
    about: 'job',
    say: ({
      title,
      known,
      wavelengthNm,
      drawn,
    }: {
      readonly title: string;
      readonly known: string;
      readonly wavelengthNm: number;
      readonly drawn: string;
    }) =>
      `${title} is known to mark ${known} at ${wavelengthNm} nm; the chart is drawn for ${drawn}. The reading finds the direction itself.`,
  },
  'patches-left-out': {
    about: 'capture',
    say: ({ patches }: { readonly patches: readonly { readonly id: string; readonly reason: string }[] }) =>
      `Left out: ${patches.map(({ id, reason }) => `${id} (${reason})`).join(', ')}.`,
  },
  'patch-left-out': {
    about: 'capture',
    say: ({ id, detail }: { readonly id: string; readonly detail: string }) => `Patch ${id} was left out: ${detail}.`,
  },
  'clusters-missing': {
    about: 'capture',
    say: () => 'The chart has no coarse clusters to find the camera curve from; sRGB was assumed.',
  },
  'clusters-unexplained': {
    about: 'capture',
    say: ({ residual }: { readonly residual: number }) =>
      `No curve of a camera explains the coarse clusters (off by ${(100 * residual).toFixed(1)} % of the dots); sRGB was assumed. Scan the chart, or take a photo without the camera's own enhancements.`,
  },
  'curve-under-disturbance': {
    about: 'capture',
    say: () =>
      'A reflection or shadow lies over a part of the chart, whose rest may bend the curve of the camera that is estimated: take the picture again in even light.',
  },
  'curve-badly-known': {
    about: 'capture',
    say: ({ lightness }: { readonly lightness: number }) =>
      `The camera's curve is known to ±${lightness.toFixed(1)} L* only; a scan or a capture with known values is safer.`,
  },
  'capture-darkish': {
    about: 'capture',
    say: ({ chart, picture }: { readonly chart: number; readonly picture: number }) =>
      `The picture is dark (the lighter of bare and solid at L* ${chart.toFixed(0)}, nothing in the picture above L* ${picture.toFixed(0)}): noise is a larger part of the tones. Expose more, or lay a sheet of white paper beside the piece.`,
  },
  'capture-repeated': {
    about: 'captures',
    say: ({ name, sameAs }: { readonly name: string; readonly sameAs: readonly string[] }) =>
      `${sameAs.join(', ')}: the same picture as ${name}, counted once. A second capture tells something when the piece was scanned or photographed anew.`,
  },
  'exposures-unshared': {
    about: 'captures',
    say: ({ profiles }: { readonly profiles: readonly string[] }) =>
      `The aim joins ${profiles.join(', ')}, whose captures share no reference: side by side, pieces of one may be lighter or darker than the others by their exposure. Learn each with the same white paper beside its chart.`,
  },
  'text-guessed': {
    about: 'list',
    say: ({ file, guessed }: { readonly file: string; readonly guessed: string }) =>
      `${file}: the text is not UTF-8; it was read as ${guessed}. Look at names with accents: where they are wrong, save the table as CSV in UTF-8.`,
  },
  'captures-disagree': {
    about: 'captures',
    say: ({
      patches,
      captures,
    }: {
      readonly patches: readonly { readonly id: string; readonly deltaL: number }[];
      readonly captures: number;
    }) =>
      `The captures disagree about ${patches.map(({ id, deltaL }) => `${id} (by ${deltaL.toFixed(1)} L*)`).join(', ')}: a reflection or dust in one of them. ${captures === 2 ? 'Of two, the middle stands: take a third.' : 'The median stands.'}`,
  },
  'direction-fitted': {
    about: 'fit',
    say: ({ drawn, read }: Directions) =>
      `The chart was drawn for a mark ${drawn} than bare; the readings say ${read}. The profile follows the readings.`,
  },
  'lightness-turns-back': {
    about: 'fit',
    say: ({ from, to }: Interval) =>
      `The mark overburns: only coverage ${from.toFixed(2)} … ${to.toFixed(2)} is used, the longest stretch that goes one way. Less dose would give a cleaner scale.`,
  },
  'range-small': {
    about: 'fit',
    say: ({ range }: { readonly range: number }) =>
      `Bare and solid differ by only ${range.toFixed(1)} L*: photographs will look flat.`,
  },
  'mark-width-unsure': {
    about: 'fit',
    say: ({ x, y }: { readonly x: Interval; readonly y: Interval }) =>
      `The chart does not tell the mark width well (x ${sayInterval(x, 0)} µm, y ${sayInterval(y, 0)} µm): other screens and spacings are predicted less surely.`,
  },
  'steepness-unsure': {
    about: 'fit',
    say: (steepness: Interval) =>
      `Steepness is not determined by these readings (${sayInterval(steepness, 1)}); the tone curve does not need it, other spacings do.`,
  },
  'drive-unsure': {
    about: 'fit',
    say: (drive: Interval) =>
      `How far one dot is driven past the half dose is not determined (${sayInterval(drive, 1)}); predictions for another pitch or spacing lean on an assumption.`,
  },
  'light-scatter-unsure': {
    about: 'fit',
    say: (n: Interval) => `The scatter of light in the material is not determined (n ${sayInterval(n, 2)}).`,
  },
  'mark-fades': {
    about: 'fit',
    say: ({ share }: { readonly share: number }) =>
      `More dose marks less: about ${(100 * share).toFixed(0)} % of the strength is lost at the solid's dose.`,
  },
  'model-poor': {
    about: 'fit',
    say: ({ rmsL }: { readonly rmsL: number }) =>
      `The response model explains the patches to ${rmsL.toFixed(1)} L* only; use the chart's own screen and spacing.`,
  },
  'tone-left-out-poor': {
    about: 'fit',
    say: ({ errorL }: { readonly errorL: number }) =>
      `A tone left out is predicted to ${errorL.toFixed(1)} L* only: burn a chart with more steps or more replicates.`,
  },
  'camera-contrast-unsure': {
    about: 'fit',
    say: ({ lightness }: { readonly lightness: number }) =>
      `The camera’s own contrast cannot be told well from this chart: dark tones are known to ± ${lightness.toFixed(0)} L* only. Scan the piece, or take a camera whose files are plain sRGB and say that its curve is known.`,
  },
  'patches-scatter': {
    about: 'fit',
    say: ({ repeatability }: { readonly repeatability: number }) =>
      `Equal patches differ by ${repeatability.toFixed(1)} L* (standard deviation): check focus, clamping and the flatness of the piece.`,
  },
  'fit-unsettled': {
    about: 'fit',
    say: () => 'The fit of the response model did not settle; its numbers are a guess.',
  },
  'far-from-model': {
    about: 'fit',
    say: ({ groups }: { readonly groups: readonly string[] }) => `Far from the model: ${groups.join(', ')}.`,
  },
  'caption-too-fine': {
    about: 'caption',
    say: ({ what, finestMm, markMm }: { readonly what: string; readonly finestMm: number; readonly markMm: number }) =>
      `Too fine for this mark: strokes of ${what} measure ${finestMm.toFixed(2)} mm, and the finest line that is seen here is ${markMm.toFixed(2)} mm wide, so that they come out thicker than drawn. Make it larger, or take a plainer shape.`,
  },
  'caption-shrunk': {
    about: 'caption',
    say: ({ what, heightMm }: { readonly what: string; readonly heightMm: number }) =>
      `The caption ${what} was made smaller to fit: its capitals are ${heightMm.toFixed(2)} mm high.`,
  },
  'artwork-pale': {
    about: 'caption',
    say: ({ file, share }: { readonly file: string; readonly share: number }) =>
      `${Math.round(100 * share)} % of the drawing ${file} is painted lighter than middle grey and stays bare: only dark paint is drawn. Paint what should show in black.`,
  },
  'artwork-cut': {
    about: 'caption',
    say: ({ file, share }: { readonly file: string; readonly share: number }) =>
      `${Math.round(100 * share)} % of the drawing ${file} lies beyond the piece or its bare edge and is cut off: move it, or make it smaller.`,
  },
  'tone-guessed': {
    about: 'job',
    say: () =>
      'NOT CALIBRATED: no profile of this material, so coverage is a straight line from bare to solid and the tones are a guess. Expect muddy or washed-out faces; burn a tone chart and learn the material first.',
  },
  'profile-assumed': {
    about: 'job',
    say: ({ profile }: OfProfile) =>
      `NOT CALIBRATED: the profile "${profile}" is computed from assumed values, not measured on your machine. Good for a look; burn a tone chart and learn the material before you burn a customer’s piece.`,
  },
  'profile-simulated': {
    about: 'job',
    say: ({ profile }: OfProfile) =>
      `The profile "${profile}" was simulated on the virtual engraver, not measured on your machine: learn the material before you burn a customer's piece.`,
  },
  'palette-assumed': {
    about: 'job',
    say: ({ palette }: { readonly palette: string }) =>
      `NOT MEASURED: the palette "${palette}" holds assumed colours and settings. Good for a look; burn a dose chart and read a palette of your own before you burn a customer’s piece.`,
  },
  'material-unrecorded': {
    about: 'job',
    say: ({ material }: { readonly material: string }) =>
      `There is no record of the material (${material}), so no cautions about it stand here: find out what it gives off, and whether it may be put under a laser at all.`,
  },
  'profile-of-another': {
    about: 'job',
    say: ({ profile, learned, asked }: OfProfile & { readonly learned: string; readonly asked: string }) =>
      `The profile "${profile}" was learned on ${learned}; this job names ${asked}. Take the profile of that material, or burn a trial piece first.`,
  },
  'job-differs': {
    about: 'job',
    say: ({ difference }: OfProfile & { readonly field: string; readonly difference: string }) =>
      `${difference}. Burn a trial piece first, or learn a chart as this job is burned.`,
  },
  'side-differs': {
    about: 'job',
    say: ({ profile, learned, seen }: OfProfile & { readonly learned: SeenWord; readonly seen: SeenWord }) =>
      `The profile "${profile}" was learned ${SAY_SEEN[learned]}; this job is looked at ${SAY_SEEN[seen]}, where tones are others. Draw a tone chart that is looked at so and learn it, or burn a trial piece first.`,
  },
  'beneath-differs': {
    about: 'job',
    say: ({ profile, learned, beneath }: OfProfile & { readonly learned: string; readonly beneath: string }) =>
      `The profile "${profile}" was learned over a ${learned} ground; this job is looked at over a ${beneath} one, where tones are others. Lay a ${learned} ground beneath, or learn a chart over this one.`,
  },
  'chart-side': {
    about: 'capture',
    say: ({ seen }: { readonly seen: SeenWord }) =>
      `The marks show that the picture was taken ${SAY_SEEN[seen]}: what is learned holds for pieces that are looked at so.`,
  },
  'curve-predicted': {
    about: 'job',
    say: ({ differences }: OfProfile & { readonly differences: readonly string[] }) =>
      `${differences.join('. ')}. The tone curve of this job is predicted from the marks, and less sure than the profile's own: burn a trial piece first, or leave screen and spacing as the profile has them.`,
  },
  'screen-untested': {
    about: 'job',
    say: ({ profile, screen, grid }: OfProfile & { readonly screen: string; readonly grid: string }) =>
      `THIS SCREEN ONLY: ${profile} was tested on another screen or grid than its own and came out beyond its limits. Use ${screen} at ${grid} mm, or learn a chart with this screen.`,
  },
  'screen-deaf': {
    about: 'job',
    say: ({ screen, options }: { readonly screen: string; readonly options: readonly string[] }) =>
      `The screen ${screen} does not read: ${options.join(', ')}. Leave that out, or take a screen that does.`,
  },
  'runs-short': {
    about: 'job',
    say: ({ machine, run, screen }: { readonly machine: string; readonly run: number; readonly screen: string }) =>
      `${machine} needs ${run} dots for on or off at this speed; ${screen} makes shorter runs. Leave the screen to the program, ask for runs of ${run} dots, or lower the speed.`,
  },
  'levels-unstated': {
    about: 'job',
    say: ({
      levels,
      machine,
      stated,
    }: {
      readonly levels: number;
      readonly machine: string;
      readonly stated: number;
    }) =>
      `${levels} power levels per dot were asked for; ${machine} states ${stated}. Ask for as many, or mend the machine's record.`,
  },
  'levels-unmeasured': {
    about: 'job',
    say: ({ levels, profile }: OfProfile & { readonly levels: number }) =>
      `POWER PER DOT NOT MEASURED: what each of ${levels} levels leaves is taken in proportion to its power, since the profile "${profile}" knows dots that fire or not. Most software and tubes do not keep to that: burn a tone chart of ${levels} levels and learn it, or burn a trial piece first.`,
  },
  'levels-unlearned': {
    about: 'fit',
    say: (data: LevelsUnlearned) =>
      `The ${data.count} levels of power were not learned: ${sayUnlearned(data)} The profile knows dots that fire or not; with levels it takes them in proportion to their power.`,
  },
  'levels-steep': {
    about: 'fit',
    say: ({ count, share, level }: { readonly count: number; readonly share: number; readonly level: number }) =>
      `Nearly all tones lie between two of the ${count} levels of power: ${Math.round(100 * share)} % of the range between levels ${level} and ${level + 1}. This material changes at one power, so that levels gain little over dots that fire or not, and a little more or less power changes every tone.`,
  },
  'dose-strong': { about: 'job', say: ({ said }: SaidDose) => said },
  'dose-faint': { about: 'job', say: ({ said }: SaidDose) => said },
  'solid-uneven': { about: 'job', say: ({ said }: { readonly said: string; readonly lostL: number }) => said },
  'aim-beyond': {
    about: 'job',
    say: ({ said }: { readonly said: string; readonly follows: readonly string[] }) => said,
  },
  'photo-small': { about: 'job', say: ({ said }: { readonly said: string; readonly times: number }) => said },
  'tones-unsure': {
    about: 'job',
    say: ({ said }: OfProfile & { readonly said: string; readonly share: number }) => said,
  },
  'optics-doubt': { about: 'job', say: ({ said }: { readonly field: string; readonly said: string }) => said },
  'setting-beyond': { about: 'job', say: ({ said }: { readonly field: string; readonly said: string }) => said },
  'record-broken': {
    about: 'shop',
    say: ({ path, fault }: { readonly path: string; readonly fault: string }) =>
      fault.includes(path) ? `Left out: ${fault}.` : `Left out ${path}: ${fault}.`,
  },
  'chart-differs': {
    about: 'check',
    say: ({ difference }: { readonly field: string; readonly difference: string }) => `${difference}.`,
  },
  'photo-turned': {
    about: 'photo',
    say: ({ turnDeg, faces }: { readonly turnDeg: number; readonly faces: number }) =>
      `The photo lay on its side or upside down: it was turned by ${turnDeg}° clockwise, since ${sayFaces(faces)} upright then. If that is wrong, say by how much it is to be turned (0 keeps it).`,
  },
  'photo-maybe-turned': {
    about: 'photo',
    say: ({ turnDeg }: { readonly turnDeg: number }) =>
      `The photo may lie on its side or upside down: a face is clearer when it is turned by ${turnDeg}° clockwise. It was left as it is; turn it if it should stand the other way.`,
  },
  'subject-cut': {
    about: 'photo',
    say: ({ cut, faces, isFirstCut, photoLost }: FacesCut) =>
      `${isFirstCut ? 'The most important face does not fit into this crop' : `${cut} of ${faces} faces ${cut === 1 ? 'does' : 'do'} not fit into this crop`} (${percent(photoLost)} of the photo is cut off): take a piece of another shape, show the photo whole, or move the crop by hand.`,
  },
  'subject-lost': {
    about: 'photo',
    say: ({ lost, photoLost }: { readonly lost: number; readonly photoLost: number }) =>
      `${percent(lost)} of what seems to be the subject lies outside this crop (${percent(photoLost)} of the photo is cut off): look at it, and move the crop by hand, or take a piece of another shape.`,
  },
  'print-seen': {
    about: 'photo',
    say: ({
      focus,
      zoom,
      turnDeg,
      slant,
    }: Partial<PictureAlone> & { readonly turnDeg: number; readonly slant: number }) =>
      [
        'This looks like a photo of a printed picture that lies on something.',
        ...(turnDeg === 0 ? [] : [`It lies askew: turn the photo by ${turnDeg.toFixed(1)}°, and look again.`]),
        ...(focus
          ? [
              `To leave out what it lies on, let the photo fill the piece with ${focus.x},${focus.y} in sight at zoom ${zoom}.`,
            ]
          : []),
        ...(slant > 0
          ? [
              `It was taken aslant (one edge is ${percent(slant)} longer than the other): take it again from straight above.`,
            ]
          : []),
        'A scan of the print shows more.',
      ].join(' '),
  },
  'print-glare': {
    about: 'photo',
    say: ({ where, share }: { readonly where: string; readonly share: number }) =>
      `Light is mirrored in the printed picture ${where} (${(100 * share).toFixed(share < 0.02 ? 1 : 0)} % of it is blown out) and will be burned as a white patch: take the photo again without flash and with the light from the side, or scan the print.`,
  },
  'bars-left-out': {
    about: 'photo',
    say: (bars: BarShares) =>
      `The photo has bars of one colour around its picture (${sayBars(bars)}): the crop leaves them out. Move it by hand to keep them.`,
  },
  'bars-seen': {
    about: 'photo',
    say: ({ focus, zoom, ...bars }: BarShares & PictureAlone) =>
      `The photo has bars of one colour around its picture (${sayBars(bars)}), and this crop shows them: let the photo fill the piece with ${focus.x},${focus.y} in sight at zoom ${zoom} to take the picture alone.`,
  },
  'backdrop-kept': {
    about: 'photo',
    say: () =>
      'The backdrop was left as it is: no shape of a subject is known in this photo. Say where the subject is by a picture that is white there.',
  },
  'backdrop-unsure': {
    about: 'photo',
    say: () =>
      'The subject was told from the backdrop roughly, without a face to go by: look at the proof, and say where the subject is by a picture that is white there if it is wrong.',
  },
  'piece-turned': {
    about: 'photo',
    say: ({ widthMm, heightMm }: { readonly widthMm: number; readonly heightMm: number }) =>
      `The piece was laid ${heightMm > widthMm ? 'upright' : 'lengthwise'} (${widthMm} × ${heightMm} mm), which shows more of this photo.`,
  },
} as const satisfies Record<string, { readonly about: string; readonly say: (data: never) => string }>;

interface OfProfile {
  readonly profile: string;
}

type SeenWord = 'face' | 'through';
const SAY_SEEN = { face: 'at the burned face', through: 'through the stock' } as const;

interface SaidDose {
  readonly said: string;
  /** Against the learned or the start dose. */
  readonly times: number;
}

interface Directions {
  readonly drawn: string;
  readonly read: string;
}

interface Interval {
  readonly from: number;
  readonly to: number;
}

interface BarShares {
  readonly above: number;
  readonly below: number;
  readonly left: number;
  readonly right: number;
}

interface PictureAlone {
  readonly focus: { readonly x: number; readonly y: number };
  readonly zoom: number;
}

const sayBars = ({ above, below, left, right }: BarShares): string =>
  [
    [above, 'above'] as const,
    [below, 'below'] as const,
    [left, 'to the left'] as const,
    [right, 'to the right'] as const,
  ]
    .filter(([share]) => share > 0)
    .map(([share, where]) => `${Math.max(1, Math.round(100 * share))} % ${where}`)
    .join(', ');

/** Widths along a round surface, and the tone error that bounds the usable one. */
interface RoundWidths {
  readonly arcMm: number;
  readonly usableArcMm: number;
  readonly featherMm: number;
  readonly toneErrorL: number;
  readonly boundBy: 'focus' | 'slant';
}

/** Blocks a second that a program asks for at most, that the controller follows, and the speed at which it would. */
interface Density {
  readonly needed: number;
  readonly limit: number;
  readonly speedMmPerS: number;
}

interface FacesCut {
  readonly cut: number;
  readonly faces: number;
  readonly isFirstCut: boolean;
  /** Share of the photo outside the crop. */
  readonly photoLost: number;
}

const percent = (share: number) => `${Math.round(100 * share)} %`;
const sayFaces = (faces: number) => (faces === 1 ? 'a face stands' : `${faces} faces stand`);

const sayInterval = ({ from, to }: Interval, decimals: number) => `${from.toFixed(decimals)} … ${to.toFixed(decimals)}`;

type Rows = typeof NOTICES;
export type NoticeCode = keyof Rows;
type SaidOf<C extends NoticeCode> = Parameters<Rows[C]['say']>;

/** Something that a person should know: what kind of thing by its code, and the words for people. */
export interface Notice {
  readonly code: NoticeCode;
  readonly about: Rows[NoticeCode]['about'];
  readonly text: string;
  /** The numbers and names behind the words. Plain JSON. */
  readonly data: Readonly<Record<string, unknown>>;
}

/** A notice of the table, worded from its data. */
export function notice<C extends NoticeCode>(code: C, ...[data]: SaidOf<C>): Notice {
  const { about, say } = NOTICES[code] as { about: Notice['about']; say: (data: unknown) => string };
  return { code, about, text: say(data), data: (data ?? {}) as Readonly<Record<string, unknown>> };
}

/** The notices without those of some codes: what another stage says better. */
export function withoutCodes(notices: readonly Notice[], ...codes: readonly NoticeCode[]): readonly Notice[] {
  return notices.filter(({ code }) => !codes.includes(code));
}

/** Each thing once: the first of every notice that says the same. */
export function withoutRepeats(notices: readonly Notice[]): readonly Notice[] {
  return notices.filter(({ text }, at) => notices.findIndex((one) => one.text === text) === at);
}

/** What tells a notice from others of its code: what it is about, and how large it is. */
export interface KnownNotice {
  readonly code: NoticeCode;
  readonly cause?: string;
  readonly figure?: number;
}

/** A notice that a shop knows and accepts. */
export interface RestedNotice {
  readonly code: NoticeCode;
  /** What it may be about; anything when absent. */
  readonly causes?: readonly string[];
  /** How large it was at most when it was accepted; any size when absent. */
  readonly figure?: number;
}

interface Restable<C extends NoticeCode> {
  /** What it is called on one line. */
  readonly title: string;
  readonly cause?: (data: SaidOf<C>[0]) => string;
  /** Larger is worse. */
  readonly figure?: (data: SaidOf<C>[0]) => number;
}

const ofProfile = ({ profile }: OfProfile) => profile;

/** Why a chart with levels gave none: too few patches, a mark that turns back before full, or tones that leap about. */
export type LevelsUnlearned = { readonly count: number } & (
  | { readonly why: 'few'; readonly tones: number }
  | { readonly why: 'turning'; readonly share: number }
  | { readonly why: 'unsteady'; readonly errorL: number }
);

function sayUnlearned(data: LevelsUnlearned): string {
  switch (data.why) {
    case 'few':
      return `found ${data.tones} readable patches with levels, needed 3 or more.`;
    case 'turning':
      return `lightness goes one way over ${Math.round(100 * data.share)} % of the range only, needed 80 %: lower the power until full is the strongest mark, and burn the chart again.`;
    case 'unsteady':
      return `a tone foretold by the others is off by ${data.errorL.toFixed(1)} L*, needed 6 % of the range or less: the power of neighbouring dots does not stay what the bitmap says. Lower the speed, or let the beam settle, and burn the chart again.`;
  }
}

/**
 * The notices that a shop may get used to. One that is not here, above all what warns of harm (a material that nobody
 * has recorded, a dose far above the usual one, settings that the machine does not have), always speaks.
 */
export const RESTABLE: { readonly [C in NoticeCode]?: Restable<C> } = {
  'tone-guessed': { title: 'No profile of the material' },
  'profile-assumed': { title: 'Profile computed, not measured', cause: ofProfile },
  'profile-simulated': { title: 'Profile of the virtual engraver', cause: ofProfile },
  'palette-assumed': { title: 'Palette not measured', cause: ({ palette }) => palette },
  'profile-of-another': {
    title: 'Profile of another material',
    cause: ({ profile, asked }) => `${profile}, ${asked}`,
  },
  'job-differs': { title: 'Burned otherwise than learned', cause: ({ profile, field }) => `${profile}, ${field}` },
  'side-differs': { title: 'Looked at otherwise than learned', cause: ({ profile, seen }) => `${profile}, ${seen}` },
  'beneath-differs': {
    title: 'Another ground than learned over',
    cause: ({ profile, beneath }) => `${profile}, ${beneath}`,
  },
  'curve-predicted': { title: 'Tone curve predicted', cause: ofProfile },
  'screen-untested': { title: 'Profile for its own screen only', cause: ofProfile },
  'screen-deaf': { title: 'Option that the screen does not read', cause: ({ screen }) => screen },
  'runs-short': {
    title: 'Dots shorter than the beam follows',
    cause: ({ machine }) => machine,
    figure: ({ run }) => run,
  },
  'levels-unmeasured': { title: 'Power per dot not measured', cause: ofProfile },
  'levels-unstated': { title: 'More levels than the machine states', cause: ({ machine }) => machine },
  'dose-faint': { title: 'Dose below the usual one', figure: ({ times }) => 1 / times },
  'solid-uneven': { title: 'Solids short of the full tone', figure: ({ lostL }) => lostL },
  'aim-beyond': { title: 'Aim beyond the material', cause: ({ follows }) => follows.join(', ') },
  'exposures-unshared': {
    title: 'Profiles without a shared reference',
    cause: ({ profiles }) => [...profiles].sort().join(', '),
  },
  'photo-small': { title: 'Photo small for its size', figure: ({ times }) => times },
  'tones-unsure': { title: 'Tones badly known', cause: ofProfile, figure: ({ share }) => share },
  'optics-doubt': { title: 'Remarks of the optics', cause: ({ field }) => field },
  'photo-turned': { title: 'Photo turned upright' },
  'piece-turned': { title: 'Piece laid the other way' },
  'bars-left-out': { title: 'Bars of one colour left out' },
  'backdrop-unsure': { title: 'Subject told roughly' },
};

/** What tells this notice from others of its code. */
export function knowNotice({ code, data }: Notice): KnownNotice {
  const { cause, figure } = (RESTABLE[code] ?? {}) as Restable<never>;
  return {
    code,
    ...(cause ? { cause: cause(data as never) } : {}),
    ...(figure ? { figure: Number(figure(data as never).toPrecision(3)) } : {}),
  };
}

/** So many times the figure that was accepted is worse by much, a factor. Assumed: what nobody meant to accept. */
const WORSE = 1.5;

/** Whether what a shop has put to rest is this notice, and not one about something else or worse by much. */
export function isAtRest(known: KnownNotice, rested: readonly RestedNotice[]): boolean {
  if (!RESTABLE[known.code]) return false;
  return rested.some(
    ({ code, causes, figure }) =>
      code === known.code &&
      (causes === undefined || known.cause === undefined || causes.includes(known.cause)) &&
      (figure === undefined || known.figure === undefined || known.figure <= WORSE * figure),
  );
}

/** Notices that speak, and those that a shop has put to rest. */
export function settleNotices(
  notices: readonly Notice[],
  rested: readonly RestedNotice[] = [],
): { readonly speaking: readonly Notice[]; readonly resting: readonly Notice[] } {
  const resting = notices.filter((one) => isAtRest(knowNotice(one), rested));
  return { speaking: notices.filter((one) => !resting.includes(one)), resting };
}

/** The names of what is at rest, each once, for one quiet line. */
export function sayAtRest(resting: readonly KnownNotice[]): string {
  return [...new Set(resting.map(({ code }) => RESTABLE[code]?.title ?? code))].join(', ');
}
