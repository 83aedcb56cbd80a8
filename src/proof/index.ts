export * from './average.ts';
export * from './colour.ts';
export * from './error.ts';
export * from './eye.ts';
export * from './predict.ts';
export * from './render.ts';
export * from './strength.ts';
export * from './types.ts';
