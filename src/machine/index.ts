export * from './extents.ts';
export * from './parse-machine.ts';
export * from './time.ts';
export * from './trapezoid.ts';
export * from './types.ts';
