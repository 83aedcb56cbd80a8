export * from './facts.ts';
export * from './options.ts';
export * from './registry.ts';
export * from './types.ts';
