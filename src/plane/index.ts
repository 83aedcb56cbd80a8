export * from './apply-mask.ts';
export * from './attention.ts';
export * from './average.ts';
export { sniffFormat } from './container.ts';
export * from './counts.ts';
export * from './decode.ts';
export * from './decode-dots.ts';
export {
  DOT_FORMAT_NAMES,
  DOT_FORMATS,
  type DotFormat,
  isProgramFormat,
  PICTURE_FORMAT_NAMES,
  type PictureFormat,
  PROGRAM_FORMAT,
  type ProgramFormat,
} from './dot-formats.ts';
export * from './dot-table.ts';
export * from './encode.ts';
export { averageField, EVEN_FIELDS, evenPlane, type FieldRect } from './even-field.ts';
export * from './exif.ts';
export * from './files.ts';
export {
  type DotProgram,
  PROGRAM_CHOICES,
  type ProgramCounts,
  type ProgramPart,
  type ProgramWords,
  roundPower,
  stepMmOf,
} from './gcode.ts';
export * from './inputs.ts';
export {
  findPackageRoot,
  giveBackKernels,
  type Kernels,
  limitLoaders,
  loadKernels,
  reserveBuffers,
} from './kernels.ts';
export * from './lightness.ts';
export { mapSamples } from './map-samples.ts';
export { releaseMemory, tuneForOnePhoto } from './memory.ts';
export type { ChannelWeights, PhotoColour } from './photo-colour.ts';
export * from './plane.ts';
export * from './read-input.ts';
export { drawSvg } from './render-svg.ts';
export { type ResampleOptions, resampleAlpha, resampleLuminance } from './resample.ts';
export * from './shrink.ts';
export { convertToSrgb } from './to-srgb.ts';
export { type DotOrientation, isQuarterTurn, mirrorDots, orientDots, turnQuarter } from './turn-dots.ts';
export { turnPhoto } from './turn-photo.ts';
