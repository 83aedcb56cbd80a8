export { type CameraCurve, estimateCameraCurve, SRGB_CURVE, shapeCurve } from './camera.ts';
export { type DetectOptions, type FoundTag, locateTags } from './detect.ts';
export * from './draw.ts';
export { layoutChart } from './layout.ts';
export type { LightSurface, ReferenceField } from './light.ts';
export { type Located, type LocateOptions, locateChart, outerCorners } from './locate.ts';
export { type ChartMap, placeOnCapture } from './map.ts';
export { type AimedTone, CHART_DEFAULTS, type ChartOptions, type DoseAxis, type ExpectedTone } from './options.ts';
export { type OverlayPicture, overlayFindings } from './overlay.ts';
export { spaceCoverages } from './plan.ts';
export {
  type Reading,
  type Readings,
  type ReadOptions,
  type RejectedPatch,
  type RejectReason,
  readPatches,
} from './read.ts';
export { type FoundReference, type NeutralReference, type PixelBox, WHITE_PAPER } from './reference.ts';
export { type FieldSamples, type PatchSamples, samplePatches } from './samples.ts';
export { readTagCells, TAG_COUNT } from './tag-codes.ts';
export { identifyTag, identifyTags, layoutHash, type TagIdentity, type TagsIdentity, tagIdOf } from './tags.ts';
export * from './types.ts';
