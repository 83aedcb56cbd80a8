import { type Notice, notice } from '../notices.ts';

/** A text, and what a person should know of how its bytes were read. */
export interface DecodedText {
  readonly text: string;
  readonly notes: readonly Notice[];
}

/** Of so many bytes the zeros are counted. Assumed: a first line with names of columns is that long. */
const HEAD_BYTES = 64;

/**
 * Letters 128 to 159 of Windows-1252, whose others are those of Latin 1; five places are empty and stay as they are.
 * Published: WHATWG Encoding Standard, index windows-1252. By hand: some versions of Node decode it as Latin 1.
 */
const LETTERS_128 = '€\x81‚ƒ„…†‡ˆ‰Š‹Œ\x8dŽ\x8f\x90‘’“”•–—˜™š›œ\x9džŸ';

/**
 * Text of a table as spreadsheets save it: UTF-8; UTF-16 with its mark, or without, told by the zeros beside its
 * letters; and what is neither, read as Windows-1252, in which every byte is a letter: that may be the wrong one, so it
 * is told.
 * @param where what the text is called in messages
 */
export function decodeText(bytes: Uint8Array, where: string): DecodedText {
  const wide = findWide(bytes);
  if (wide) return { text: new TextDecoder(wide).decode(bytes), notes: [] };
  try {
    return { text: new TextDecoder('utf-8', { fatal: true, ignoreBOM: true }).decode(bytes), notes: [] };
  } catch {
    const text = Buffer.from(bytes)
      .toString('latin1')
      .replace(/[\x80-\x9f]/g, (letter) => LETTERS_128[letter.charCodeAt(0) - 128]!);
    return { text, notes: [notice('text-guessed', { file: where, guessed: 'Windows-1252' })] };
  }
}

function findWide(bytes: Uint8Array): 'utf-16le' | 'utf-16be' | undefined {
  if (bytes[0] === 0xff && bytes[1] === 0xfe) return 'utf-16le';
  if (bytes[0] === 0xfe && bytes[1] === 0xff) return 'utf-16be';
  const head = bytes.subarray(0, HEAD_BYTES);
  const zeros = [0, 1].map((side) => head.filter((byte, at) => byte === 0 && at % 2 === side).length);
  const most = head.length / 4;
  if (zeros[1]! > most && zeros[0]! === 0) return 'utf-16le';
  return zeros[0]! > most && zeros[1]! === 0 ? 'utf-16be' : undefined;
}
