export * from './artwork.ts';
export * from './draw.ts';
export * from './lay-out.ts';
export { shapeCaption, shapeWords } from './shape.ts';
export type { ArtworkRequest, Caption, CaptionRequest, Drawing, MarkWidths } from './types.ts';
