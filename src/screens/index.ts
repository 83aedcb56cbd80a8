export * from './choose-screen.ts';
export * from './direct-search.ts';
export * from './facts.ts';
export { findLoneStrength, type MarkTable } from './mark-steps.ts';
export * from './options.ts';
export * from './registry.ts';
export { type BandResult, searchBand } from './search-band.ts';
export type { Band, SearchPlan } from './search-plan.ts';
export * from './types.ts';
