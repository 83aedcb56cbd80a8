export * from './adjust-tone.ts';
export * from './blank.ts';
export * from './choose-tone.ts';
export * from './frame.ts';
export * from './mask.ts';
export * from './statistics.ts';
export * from './tone-options.ts';
export * from './tone-rows.ts';
