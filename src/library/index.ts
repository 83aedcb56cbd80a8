/**
 * What other programs take from this one: the road of a photo, stage by stage. Planes are `ndarray` views, row-major
 * unless turned, x right and y down, pixel centres at +0.5, lengths in mm on the work. No stage touches a file, a clock
 * or chance, and none changes what it is given; what a person can mend is thrown as `AppError`, what a programmer has
 * to mend as `RangeError` or `TypeError`.
 * @packageDocumentation
 */
export { parseChartLayout } from '../job/index.ts';
export type { TimeEstimate } from '../machine/index.ts';
export { fillDotTable, type Profile, parseProfile } from '../material/index.ts';
export type { BurnSettings } from '../optics/index.ts';
export type { Frame, FrameOptions, ToneOptions } from '../photo/index.ts';
export type { DotGrid, DotTable, PictureFormat as DotFormat } from '../plane/index.ts';
export { SCREEN_NAMES, type ScreenName, type ScreenOptions } from '../screens/index.ts';
export * from './chart.ts';
export { type AppError, isAppError } from './errors.ts';
export * from './halftone.ts';
export { type Machine, parseMachine } from './machine.ts';
export { type DecodedPhoto, decodePhoto, framePhoto, sampleLight } from './photo.ts';
export * from './proof.ts';
export * from './tone.ts';
export type { Coverage, DotPlane, Lightness, Luminance, Mask, Picture, Reflectance } from './views.ts';
