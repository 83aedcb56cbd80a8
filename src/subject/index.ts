export type { Box, Face, Point } from './faces.ts';
export * from './find-subject.ts';
export { hasModels, loadModels, type SubjectModels } from './models.ts';
export { agreeOf, describeShare, readShare, type Share } from './share.ts';
export type { QuarterTurn } from './turn.ts';
