export * from './compare.ts';
export * from './curve.ts';
export * from './derive.ts';
export * from './dot-table.ts';
export * from './fit.ts';
export {
  type BandPoint,
  type FittedCurve,
  fitToneCurve,
  longestRange,
  type MeasuredTone,
  type PredictedTone,
} from './fit-curve.ts';
export {
  type FitPattern,
  type FitResponseOptions,
  type FitTone,
  type FittedNumber,
  type FittedResponse,
  fitResponse,
} from './fit-response.ts';
export * from './line-widths.ts';
export { PALETTE_LIMITS, type Palette, type PaletteMark, parsePalette } from './palette.ts';
export { parseMaterial, parseProfile, parseRefused } from './parse.ts';
export * from './refused.ts';
export * from './response.ts';
export * from './simulate.ts';
export * from './solid.ts';
export * from './steady.ts';
export * from './store.ts';
export * from './straight.ts';
export * from './types.ts';
