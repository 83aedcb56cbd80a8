import type { SourceKey } from '../sources.ts';
import type { LabColour } from './colour.ts';

/** From linear light to the coded picture. */
export interface ToneCurveOptions {
  /**
   * `srgb`: IEC 61966-2-1; `gamma`: light^(1/gamma); `s-curve`: sRGB, then a phone's contrast, a logistic curve of
   * slope `contrast` at mid grey, scaled to keep black and white.
   */
  readonly toneCurve: 'srgb' | 'gamma' | 's-curve';
  /** Only for `gamma`. */
  readonly gamma: number;
  /** Only for `s-curve`: 0 straight … about 8 harsh. */
  readonly contrast: number;
}

export interface PaperOptions {
  readonly colour: LabColour;
  /** All around the piece, or on one side of it. */
  readonly side: 'around' | 'left' | 'right' | 'above' | 'below';
  /** How much of it is seen beyond the piece, mm. */
  readonly widthMm: number;
}

/** What every virtual camera has. */
export interface SensorOptions extends ToneCurveOptions {
  /** Standard deviation of the blur, pixels. */
  readonly blurPx: number;
  /** Standard deviation of the noise at white, in linear light; it falls with the root of the light. */
  readonly noise: number;
  /** Linear factor before clipping; above 1 clips bright places. */
  readonly exposure: number;
  /** Linear factors of red, green and blue. */
  readonly whiteBalance: readonly [number, number, number];
  /** Table or lid around the piece. */
  readonly background: LabColour;
  /** Relative unevenness of the background's reflectance. */
  readonly backgroundGrain: number;
  /** A sheet of white paper that the piece lies on or beside, before the background; none when absent. */
  readonly paper?: PaperOptions;
  /** Depth of the shadow on the background at the piece's edge, 0 none … 1 black. */
  readonly edgeShadow: number;
}

export interface FlatbedOptions extends SensorOptions {
  readonly kind: 'flatbed';
  readonly dpi: number;
  /** Turn of the piece on the glass, clockwise as seen in the picture. */
  readonly rotationDeg: number;
  /** Background around the piece, mm. */
  readonly marginMm: number;
  /** Relative fall of the lamp from the middle to the left and right edge, 0 even. */
  readonly unevenness: number;
}

export interface PhoneOptions extends SensorOptions {
  readonly kind: 'phone';
  readonly megapixels: number;
  readonly rotationDeg: number;
  /** Tilt of the camera against the piece about the picture's x and y axis. */
  readonly tiltXDeg: number;
  readonly tiltYDeg: number;
  /** Angle of view along the longer side. */
  readonly viewDeg: number;
  /** Share of the picture's width or height, whichever is tighter, that the piece takes. */
  readonly fill: number;
  /** Relative rise of the light from the middle to the right edge, and to the lower edge. */
  readonly lightGradientX: number;
  readonly lightGradientY: number;
  /** Relative loss of light in the picture's corners. */
  readonly vignetting: number;
  /**
   * A shine on the piece: its middle as share of width and height, its standard deviation as share of the width, its
   * light (1 = white paper).
   */
  readonly glareX: number;
  readonly glareY: number;
  readonly glareSigma: number;
  readonly glareStrength: number;
  /** Radial distortion, see CaptureGeometry. */
  readonly k1: number;
}

export type CameraOptions = FlatbedOptions | PhoneOptions;

/** The virtual cameras; every number is assumed. */
export interface CameraPreset {
  readonly title: string;
  readonly options: CameraOptions;
  readonly origin: { readonly kind: 'assumed'; readonly source: SourceKey };
}

const ASSUMED = { kind: 'assumed', source: 'commonPractice' } as const;

/**
 * Units as in `FlatbedOptions`: dpi, degrees, mm, pixels and shares. Assumed: an office flatbed with its lid's shadow.
 */
const FLATBED_300: FlatbedOptions = {
  kind: 'flatbed',
  dpi: 300,
  rotationDeg: 0.7,
  marginMm: 6,
  unevenness: 0.03,
  blurPx: 0.6,
  noise: 0.006,
  exposure: 0.97,
  whiteBalance: [1, 1, 1],
  background: [94, 0, 1],
  backgroundGrain: 0.004,
  edgeShadow: 0.45,
  toneCurve: 'srgb',
  gamma: 2.2,
  contrast: 0,
};

/** Units as in `PhoneOptions`: megapixels, degrees, pixels and shares. Assumed: a hand above a table in room light. */
const PHONE_STRAIGHT: PhoneOptions = {
  kind: 'phone',
  megapixels: 12,
  rotationDeg: -1.5,
  tiltXDeg: 2,
  tiltYDeg: -1.5,
  viewDeg: 66,
  fill: 0.8,
  lightGradientX: 0.06,
  lightGradientY: -0.05,
  vignetting: 0.12,
  glareX: 0.5,
  glareY: 0.5,
  glareSigma: 0.2,
  glareStrength: 0,
  k1: 0.004,
  blurPx: 0.9,
  noise: 0.012,
  exposure: 0.85,
  whiteBalance: [1.02, 1, 0.97],
  background: [52, 9, 20],
  backgroundGrain: 0.08,
  edgeShadow: 0.5,
  toneCurve: 'srgb',
  gamma: 2.2,
  contrast: 0,
};

/** Units as in the options. Assumed, each with its faults: what the readers of charts must stand or refuse. */
export const CAMERAS: Readonly<Record<string, CameraPreset>> = {
  'flatbed-300': { title: 'office flatbed, 300 dpi', options: FLATBED_300, origin: ASSUMED },
  'flatbed-600': {
    title: 'photo flatbed, 600 dpi',
    options: { ...FLATBED_300, dpi: 600, rotationDeg: -1.2, unevenness: 0.02, blurPx: 0.8, noise: 0.008 },
    origin: ASSUMED,
  },
  'phone-straight': { title: 'phone held flat over the piece', options: PHONE_STRAIGHT, origin: ASSUMED },
  'phone-tilted': {
    title: 'phone held at a slant in window light',
    options: {
      ...PHONE_STRAIGHT,
      rotationDeg: 11,
      tiltXDeg: 24,
      tiltYDeg: -14,
      fill: 0.74,
      lightGradientX: 0.18,
      lightGradientY: -0.14,
      vignetting: 0.2,
      k1: -0.008,
      whiteBalance: [1.06, 1, 0.9],
    },
    origin: ASSUMED,
  },
  'phone-contrasty': {
    title: 'phone with its own contrast curve',
    options: {
      ...PHONE_STRAIGHT,
      rotationDeg: 4,
      tiltXDeg: -9,
      tiltYDeg: 6,
      lightGradientX: -0.12,
      lightGradientY: 0.08,
      toneCurve: 's-curve',
      contrast: 4,
      exposure: 0.9,
    },
    origin: ASSUMED,
  },
  'flatbed-clipped': {
    title: 'flatbed set too bright: light places are clipped',
    options: { ...FLATBED_300, exposure: 1.9 },
    origin: ASSUMED,
  },
  'phone-glare': {
    title: 'phone with a lamp mirrored in the piece',
    options: { ...PHONE_STRAIGHT, glareX: 0.3, glareY: 0.35, glareSigma: 0.12, glareStrength: 0.9 },
    origin: ASSUMED,
  },
};
