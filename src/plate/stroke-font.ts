/**
 * Letters as lines that a tool follows once, on points 0 … 4 across and 0 … 6 down, y down: two digits a point, strokes
 * with a space between. Drawn for this project: the outlines of a font file would be engraved twice.
 */
const GLYPHS: Readonly<Record<string, string>> = {
  A: '062046 1333',
  B: '00063645443303 3342413000',
  C: '4130100105163645',
  D: '00063645413000',
  E: '40000646 0333',
  F: '400006 0333',
  G: '41301001051636454323',
  H: '0006 4046 0343',
  I: '1030 2026 1636',
  J: '4045361605',
  K: '0006 400346',
  L: '000646',
  M: '0600234046',
  N: '06004640',
  O: '103041453616050110',
  P: '06003041423303',
  Q: '103041453616050110 2446',
  R: '06003041423303 2346',
  S: '413010010213334445361605',
  T: '0040 2026',
  U: '000516364540',
  V: '002640',
  W: '0016233640',
  X: '0046 4006',
  Y: '002340 2326',
  Z: '00400646',
  '0': '103041453616050110 3115',
  '1': '112026 1636',
  '2': '01103041420646',
  '3': '01103041423313 334445361605',
  '4': '36300444',
  '5': '400003334445361605',
  '6': '4130100105163645443303',
  '7': '004016',
  '8': '103041423313020110 3344453616050413',
  '9': '0516364541301001021343',
  '.': '2625',
  ',': '2516',
  ':': '2221 2625',
  '-': '1333',
  '+': '0343 2125',
  '=': '0242 0444',
  '/': '0640',
  '×': '1135 3115',
  '(': '30212536',
  ')': '10212516',
  _: '0646',
};

/** Height of a letter, and the way from one letter to the next, in points. Exact: by definition of this font's grid. */
const HEIGHT = 6;
const ADVANCE = 6;

/** Every sign that can be drawn, beside the space. */
export const STROKE_SIGNS: readonly string[] = Object.keys(GLYPHS);

export type Polyline = readonly (readonly [xMm: number, yMm: number])[];

/** Width of a text, mm. */
export function measureText(text: string, heightMm: number): number {
  return Math.max(0, [...text].length * ADVANCE - (ADVANCE - 4)) * (heightMm / HEIGHT);
}

/**
 * A text as lines, mm, from the upper left corner of its first letter. Small letters are drawn as capitals; signs that
 * the font lacks leave a space.
 */
export function strokeText(
  text: string,
  { xMm, yMm, heightMm }: { readonly xMm: number; readonly yMm: number; readonly heightMm: number },
): readonly Polyline[] {
  const scale = heightMm / HEIGHT;
  return [...text.toUpperCase()].flatMap((sign, at) =>
    (GLYPHS[sign] ?? '')
      .split(' ')
      .filter((stroke) => stroke !== '')
      .map((stroke) =>
        (stroke.match(/../g) ?? []).map(
          (point) =>
            [xMm + (at * ADVANCE + Number(point.charAt(0))) * scale, yMm + Number(point.charAt(1)) * scale] as const,
        ),
      ),
  );
}
