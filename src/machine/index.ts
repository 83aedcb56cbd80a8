export * from './extents.ts';
export * from './parameters.ts';
export * from './parse-machine.ts';
export * from './scan-path.ts';
export * from './time.ts';
export * from './trapezoid.ts';
export * from './types.ts';
