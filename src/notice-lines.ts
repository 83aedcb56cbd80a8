import type { NOTICES, Notice, NoticeCode } from './notices.ts';

type DataOf<C extends NoticeCode> = Parameters<(typeof NOTICES)[C]['say']>[0];

/**
 * The one table of what each notice is on one line, in the words of a shop: what is wrong and what comes of it. The
 * notice's own words, with all figures, stand behind it.
 */
const LINES: { readonly [C in NoticeCode]: (data: DataOf<C>) => string } = {
  'round-feathered': () => 'Wider than this round piece can take: the picture fades out at its sides.',
  'two-way-speed': () => 'The lines there and back were set for another speed: they may not meet.',
  'two-way-vague': () => 'How far lines there and back lie apart is known only roughly.',
  'program-too-dense': () => 'Too many short marks for the controller at this speed: lines would burn deeper.',
  'program-power-rounded': ({ share }) =>
    `The controller has no step for this power: the mark comes out a little ${share > 0 ? 'stronger' : 'weaker'}.`,
  'program-levels-merged': () => 'The controller cannot tell all power levels apart: some burn like their neighbours.',
  'camera-flash': () => 'The flash mirrors in the piece: take the picture again without it.',
  'camera-zoomed': () => 'The camera zoomed by computing: go nearer, and take the picture again.',
  'camera-processed': () => 'The camera put in an effect that moves tones: turn it off, or scan the chart.',
  'camera-sharpened': () => 'The camera sharpened the picture: fine dots may read too light. A scan is surer.',
  'smoke-taken': () => 'Dark rims around the strongest cells were taken for smoke: look whether it was a shadow.',
  'references-disagree': () => 'A soft shadow or reflection lies on the chart: take the picture again in even light.',
  'direction-read': ({ read }) => `The chart marks ${read} than bare, which is not what it was drawn for.`,
  'direction-doubt': ({ known }) => `This material is known to mark ${known}: the chart is drawn the other way.`,
  'patches-left-out': ({ patches }) =>
    patches.length === 1
      ? 'One patch could not be trusted and was left out.'
      : `${patches.length} patches could not be trusted and were left out.`,
  'patch-left-out': ({ id }) => `The patch ${id} could not be trusted and was left out.`,
  'clusters-missing': () => 'This chart does not show how the camera bends tones: a scan is surer.',
  'clusters-unexplained': () => 'The camera bends the tones in a way that cannot be taken back: scan the chart.',
  'curve-under-disturbance': () => 'A shadow or reflection lies over a part of the chart: take the picture again.',
  'curve-badly-known': () => 'How the camera bends tones is known only roughly: a scan is surer.',
  'capture-darkish': () => 'The picture is dark: expose more, or lay white paper beside the piece.',
  'capture-repeated': () => 'The same picture was given twice and counted once: scan the piece anew.',
  'exposures-unshared': () => 'These profiles share no white: pieces side by side may differ in lightness.',
  'text-guessed': () => 'The list is in an old encoding: look at names with accents.',
  'captures-disagree': ({ captures }) =>
    `The pictures disagree about some patches: dust or a reflection in one.${captures === 2 ? ' Take a third.' : ''}`,
  'direction-fitted': ({ read }) => `The mark is ${read} than bare, which is not what the chart was drawn for.`,
  'lightness-turns-back': () => 'Too much dose: the strongest steps turn back. Less would give a cleaner scale.',
  'range-small': () => 'Bare and marked are nearly alike: photographs will look flat.',
  'mark-width-unsure': () => 'How wide a dot marks is known only roughly: keep the screen and spacing of this chart.',
  'steepness-unsure': () => 'How suddenly the mark sets in is not known: keep the spacing of this chart.',
  'drive-unsure': () => 'How strongly one dot is burned is not known: keep the spacing of this chart.',
  'light-scatter-unsure': () => 'How far light spreads in the material is not known: keep the screen of this chart.',
  'mark-fades': () => 'More dose marks less here: the strongest tones fade.',
  'model-poor': () => 'The patches are explained only roughly: keep the screen and spacing of this chart.',
  'tone-left-out-poor': () => 'Tones between the steps are known only roughly: burn a chart with more steps.',
  'camera-contrast-unsure': () => 'Dark tones are known only roughly from a photo of this chart: scan the piece.',
  'patches-scatter': () => 'Equal patches came out unequal: check focus, clamping and flatness.',
  'fit-unsettled': () => 'The numbers behind this profile are a guess: burn the chart again.',
  'far-from-model': () => 'Some patches do not fit the others: look at the picture of what was found.',
  'caption-too-fine': () => 'Strokes are finer than the mark: they come out thicker than drawn.',
  'caption-shrunk': () => 'The words were made smaller to fit.',
  'artwork-pale': () => 'Pale parts of the drawing stay bare: only dark paint is burned.',
  'artwork-cut': () => 'A part of the drawing lies beyond the piece and is cut off.',
  'tone-guessed': () => 'Never measured on this machine: the tones are a guess.',
  'profile-assumed': () => 'A computed example, not your own measurement: the tones are a guess.',
  'profile-simulated': () => 'Measured on the virtual engraver, not on your machine: the tones are a guess.',
  'palette-assumed': () => 'These colours were computed, not measured: they are a guess.',
  'material-unrecorded': () => 'Nobody has written down what this material gives off: find out before you burn.',
  'profile-of-another': () => 'Learned on another material: burn a trial piece first.',
  'job-differs': ({ field }) => `Learned ${LEARNED[field] ?? 'otherwise'}: burn a trial piece first.`,
  'side-differs': ({ seen }) =>
    seen === 'through'
      ? 'Learned at the burned face: through the stock its tones come out otherwise.'
      : 'Learned through the stock: at the burned face its tones come out otherwise.',
  'beneath-differs': ({ learned }) => `Learned over a ${learned} ground: over another its tones come out otherwise.`,
  'chart-side': ({ seen }) =>
    seen === 'through' ? 'This picture was taken through the stock.' : 'This picture was taken at the burned face.',
  'curve-predicted': () => 'Other dots than it was learned with: the tones are computed, and a little less sure.',
  'screen-untested': () => 'Its tones were found true with its own dots only.',
  'screen-deaf': () => 'This screen does not know some of what was asked of it.',
  'runs-short': () => 'The dots are shorter than the beam can follow: they will smear.',
  'levels-unstated': () => 'More power levels than the machine is known to have.',
  'levels-unmeasured': () => 'What each power level leaves was never measured: the tones are a guess.',
  'levels-unlearned': () => 'The power levels could not be learned from this chart; full dots could.',
  'levels-steep': () => 'This material changes at one power: levels of power gain little on it.',
  'dose-strong': () => 'Much more dose than usual: burn a trial piece first, and watch it.',
  'dose-faint': () => 'Less dose than usual: the mark may stay faint.',
  'solid-uneven': () => 'The lines lie too far apart: dark areas come out uneven.',
  'aim-beyond': () => 'The tones that were aimed at go beyond this material: the ends are cut off.',
  'photo-small': () => 'Too small for this size: it will look soft.',
  'tones-unsure': () => 'Some tones of this picture are known only roughly.',
  'optics-doubt': ({ field }) => OPTICS[field] ?? 'Something about lens, beam or speed looks doubtful.',
  'setting-beyond': () => 'A setting lies beyond what this machine has.',
  'record-broken': () => 'A file of the shop cannot be read and was left out.',
  'chart-differs': () => 'The strip was burned otherwise than the profile was learned.',
  'photo-turned': () => 'The photo lay on its side and was turned upright by its faces.',
  'photo-maybe-turned': () => 'The photo may lie on its side.',
  'subject-cut': ({ cut }) => (cut === 1 ? 'A face is cut off.' : `${cut} faces are cut off.`),
  'subject-lost': () => 'A part of the subject is cut off.',
  'print-seen': () => 'A photo of a printed picture: what lies around it, or its slant, would be burned, too.',
  'print-glare': () => 'Light is mirrored in the printed picture: it burns as a white patch.',
  'bars-left-out': () => 'Bars of one colour around the picture were left out.',
  'bars-seen': () => 'Bars of one colour around the picture would be burned, too.',
  'backdrop-kept': () => 'No subject was found: the backdrop stays as it is.',
  'backdrop-unsure': () => 'The subject was told from its backdrop only roughly: look at the edges.',
  'piece-turned': ({ widthMm, heightMm }) =>
    `The piece was laid ${heightMm > widthMm ? 'upright' : 'lengthwise'}, which shows more of the photo.`,
};

/** With what a job differs from its profile. */
const LEARNED: Readonly<Record<string, string>> = {
  machine: 'on another machine',
  lens: 'with another lens',
  pitch: 'with another distance between dots',
  lineSpacing: 'with another distance between lines',
  screen: 'with another screen',
  settings: 'with other settings',
};

const OPTICS: Readonly<Record<string, string>> = {
  spotDiameterUm: 'How small the spot is, is known only roughly.',
  rateKHz: 'No pulse rate is given: nothing can be said about single pulses.',
  pulseOverlap: 'The pulses lie too far apart: a line falls apart into points.',
  pulsesPerDot: 'Pulses and dots do not go together: not all dots come out alike.',
  lineSpacingMm: 'The lines lie too far apart: they leave stripes in dark areas.',
  cylinderWidthMm: 'The surface slopes too much at its edges: the picture is stretched there.',
};

/** A notice on one line, in the words of a shop. */
export function sayLine({ code, data }: Pick<Notice, 'code' | 'data'>): string {
  return (LINES[code] as (data: unknown) => string)(data);
}
