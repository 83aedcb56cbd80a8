export * from './cameras.ts';
export * from './capture.ts';
export { encodeSrgb, luminanceOf } from './colour.ts';
export * from './engrave.ts';
export * from './faults.ts';
export * from './geometry.ts';
export * from './material-model.ts';
export * from './npy.ts';
export * from './surface.ts';
