export * from './ablation.ts';
export * from './eye.ts';
export * from './gaussian-beam.ts';
export * from './hatch.ts';
export * from './pulses.ts';
export * from './report.ts';
export * from './round-piece.ts';
export * from './settings.ts';
