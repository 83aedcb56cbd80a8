export * from './draw.ts';
export {
  type AimedTone,
  CHART_DEFAULTS,
  type ChartOptions,
  type DoseAxis,
  layoutChart,
} from './layout.ts';
export { spaceCoverages } from './plan.ts';
export { readTagCells, TAG_COUNT } from './tag-codes.ts';
export { identifyTag, identifyTags, layoutHash, type TagIdentity, type TagsIdentity, tagIdOf } from './tags.ts';
export * from './types.ts';
