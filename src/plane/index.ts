export * from './decode.ts';
export * from './files.ts';
export * from './lightness.ts';
export type { ChannelWeights } from './luminance.ts';
export * from './plane.ts';
export { type Crop, type ResampleOptions, resampleAlpha, resampleLuminance } from './resample.ts';
export * from './srgb.ts';
