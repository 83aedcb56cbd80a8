export type { Face } from './faces.ts';
export * from './find-subject.ts';
export { loadModels, type SubjectModels } from './models.ts';
export type { Point } from './place.ts';
export { describeShare, readShare, type Share } from './share.ts';
export type { QuarterTurn } from './turn.ts';
