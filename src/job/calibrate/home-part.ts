import type { FieldPart } from '../../machine/index.ts';

/** Width and height of the chart that a profile is learned from, mm. Assumed: a card in the middle of the field. */
const HOME_MM = [85.6, 54] as const;

/** Where the profile's own chart is taken to lie: a card in the middle, as much of it as the field has. */
export function homeIn([width, height]: readonly [number, number]): FieldPart {
  const [widthMm, heightMm] = [Math.min(width, HOME_MM[0]), Math.min(height, HOME_MM[1])];
  return { xMm: (width - widthMm) / 2, yMm: (height - heightMm) / 2, widthMm, heightMm };
}
