export * from './lab.ts';
export * from './lightness.ts';
export * from './opponent.ts';
export * from './srgb.ts';
