/**
 * Capital letters, digits and a few signs as 5 × 7 points: seven rows a letter, each a base-32 digit whose highest bit
 * is the left point. Drawn for this project; engraved text needs whole dots, which no font file gives.
 */
const LETTERS: Readonly<Record<string, string>> = {
  A: '4ahhvhh',
  B: 'uhhuhhu',
  C: 'ehggghe',
  D: 'uhhhhhu',
  E: 'vggsggv',
  F: 'vggsggg',
  G: 'ehgnhhe',
  H: 'hhhvhhh',
  I: 'e44444e',
  J: '72222ic',
  K: 'hikoikh',
  L: 'ggggggv',
  M: 'hrllhhh',
  N: 'hhpljhh',
  O: 'ehhhhhe',
  P: 'uhhuggg',
  Q: 'ehhhlid',
  R: 'uhhukih',
  S: 'fgge11u',
  T: 'v444444',
  U: 'hhhhhhe',
  V: 'hhhhha4',
  W: 'hhhllla',
  X: 'hha4ahh',
  Y: 'hha4444',
  Z: 'v1248gv',
  '0': 'ehjlphe',
  '1': '4c4444e',
  '2': 'eh1248v',
  '3': 'v2421he',
  '4': '26aiv22',
  '5': 'vgu11he',
  '6': '68guhhe',
  '7': 'v124888',
  '8': 'ehhehhe',
  '9': 'ehhf12c',
  '.': '00000cc',
  ',': '00000c4',
  ':': '0cc0cc0',
  '-': '000v000',
  '+': '044v440',
  '/': '11248gg',
  '%': 'oo248j3',
  '=': '00v0v00',
  '(': '2488842',
  ')': '8422248',
};

/** Points of one letter with the bare column on its right. Exact: by definition of this font, 5 × 7 points. */
export const LETTER_WIDTH = 6;
export const LETTER_HEIGHT = 7;

/**
 * Points of a text, row-major, 1 where the beam fires; width is 6 a letter. Small letters are drawn as capitals; signs
 * that the font lacks leave a space.
 */
export function drawText(text: string): { readonly width: number; readonly points: Uint8Array } {
  const letters = [...text.toUpperCase()];
  const width = letters.length * LETTER_WIDTH;
  const points = new Uint8Array(width * LETTER_HEIGHT);
  letters.forEach((letter, at) => {
    const rows = LETTERS[letter];
    if (!rows) return;
    for (let y = 0; y < LETTER_HEIGHT; y++) {
      const row = Number.parseInt(rows[y]!, 32);
      for (let x = 0; x < 5; x++) points[y * width + at * LETTER_WIDTH + x] = (row >> (4 - x)) & 1;
    }
  });
  return { width, points };
}
