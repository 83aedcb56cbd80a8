export * from './artwork.ts';
export * from './draw.ts';
export { CAPTION_FONTS, type CaptionFont, titleOfFont } from './fonts.ts';
export * from './lay-out.ts';
export { CAPTION_DEFAULTS, shapeCaption, shapeWords } from './shape.ts';
export type {
  ArtworkRequest,
  Caption,
  CaptionPlace,
  CaptionRequest,
  Drawing,
  Ink,
  LineWidths,
  MarkWidths,
  WordsOutline,
} from './types.ts';
