/** Every value of the tone stage. All of them are on the ticket; the same values give the same bits. */
export interface ToneOptions {
  /** Light times 2 to the power of this, before everything else. */
  readonly brightnessEv: number;
  /** Lightness of the photo that becomes black, L*. */
  readonly blackPointL: number;
  /** Lightness of the photo that becomes white, L*. */
  readonly whitePointL: number;
  /** How far middle grey is moved, L*; black and white stay. */
  readonly midtoneL: number;
  /** Steepness about middle grey, −1 … 1; black and white stay. */
  readonly contrast: number;
  /** Gain of what differs from its surroundings, edges excepted, 0 … 1. */
  readonly localContrast: number;
  /** Size of these surroundings on the work, mm. */
  readonly localRadiusMm: number;
  /** Standard deviation of the noise to smooth away, L*. */
  readonly noiseL: number;
  /** How far noise hangs together on the work, mm: the surroundings by which it is told from detail. */
  readonly noiseRadiusMm: number;
  /** Gain of fine detail, 0 … 2. */
  readonly sharpenAmount: number;
  /** Standard deviation of the blur that defines fine detail, mm on the work. */
  readonly sharpenRadiusMm: number;
}

/**
 * `plain`: nothing is done to the photo. The radii only matter once their amounts are above 0. Exact: the values at
 * which each step changes nothing. The three radii (mm) are assumed: a usual setting's, so that an amount alone does
 * something.
 */
export const TONE_DEFAULTS: ToneOptions = {
  brightnessEv: 0,
  blackPointL: 0,
  whitePointL: 100,
  midtoneL: 0,
  contrast: 0,
  localContrast: 0,
  localRadiusMm: 2,
  noiseL: 0,
  noiseRadiusMm: 0.25,
  sharpenAmount: 0,
  sharpenRadiusMm: 0.1,
};

export interface ToneField {
  readonly label: string;
  /** Unit to print after the value; empty for a pure number. */
  readonly unit: string;
  readonly min: number;
  readonly max: number;
  /** Step of a control on a page. */
  readonly step: number;
  readonly help: string;
}

/**
 * Labels and ranges of every tone value: serves the function, `--help` and the page. Units are in each `unit`. Assumed:
 * the ends are where a photo is spoilt, the steps what the eye just sees.
 */
export const TONE_FIELDS: Readonly<Record<keyof ToneOptions, ToneField>> = {
  brightnessEv: {
    label: 'Brightness',
    unit: 'EV',
    min: -3,
    max: 3,
    step: 0.05,
    help: 'More or less light all over, as an exposure: 1 doubles it.',
  },
  blackPointL: {
    label: 'Black point',
    unit: 'L*',
    min: 0,
    max: 45,
    step: 0.5,
    help: 'What is this dark in the photo, or darker, becomes black.',
  },
  whitePointL: {
    label: 'White point',
    unit: 'L*',
    min: 46,
    max: 100,
    step: 0.5,
    help: 'What is this light in the photo, or lighter, becomes white.',
  },
  midtoneL: {
    label: 'Midtones',
    unit: 'L*',
    min: -25,
    max: 25,
    step: 0.5,
    help: 'Lightens or darkens the middle; black, white and the far end keep their steps.',
  },
  contrast: {
    label: 'Contrast',
    unit: '',
    min: -1,
    max: 1,
    step: 0.05,
    help: 'Steeper or flatter middle tones; black and white stay.',
  },
  localContrast: {
    label: 'Local contrast',
    unit: '',
    min: 0,
    max: 1,
    step: 0.05,
    help: 'Brings out modelling and texture without touching strong edges or flat skies.',
  },
  localRadiusMm: {
    label: 'Local contrast radius',
    unit: 'mm',
    min: 0.3,
    max: 20,
    step: 0.1,
    help: 'How wide the surroundings are that local contrast compares with.',
  },
  noiseL: {
    label: 'Noise',
    unit: 'L*',
    min: 0,
    max: 6,
    step: 0.1,
    help: 'Unevenness up to about this much is smoothed; stronger texture stays.',
  },
  noiseRadiusMm: {
    label: 'Noise radius',
    unit: 'mm',
    min: 0.05,
    max: 2,
    step: 0.05,
    help: 'How far unevenness hangs together: about three pixels of the photo on the work.',
  },
  sharpenAmount: {
    label: 'Sharpening',
    unit: '',
    min: 0,
    max: 2,
    step: 0.05,
    help: 'Makes up for what the mark and the eye blur; held back on noise and at strong edges.',
  },
  sharpenRadiusMm: {
    label: 'Sharpening radius',
    unit: 'mm',
    min: 0.01,
    max: 2,
    step: 0.01,
    help: 'About the smallest detail that is seen on the work.',
  },
};
