/** What people call things, and the option that does it here. Words of the trade and of picture editors. */
const POINTERS: readonly (readonly [words: string, text: string])[] = [
  [
    'dpi ppi lpi resolution line-interval interval hatch line-step scan-gap',
    'dots are told by --pitch (along a line) and --spacing (between lines), mm: 25.4 divided by dots per inch',
  ],
  [
    'invert negative inverse white-fires',
    'in every bitmap black fires; whether a mark is lighter or darker is the material’s own (--direction for one without a record), and a control software that burns white is told once: machine new --fires white',
  ],
  ['brightness exposure lighten darken', 'brightness is --brightness-ev, in stops'],
  ['gamma midtones midtone mid', 'the mid-tone is --midtone-l'],
  ['sharpen sharpness unsharp', 'sharpening is --sharpen-amount and --sharpen-radius-mm'],
  ['clarity structure detail', 'that is --local-contrast'],
  ['denoise noise-reduction', 'noise is --noise-l'],
  ['black-point black shadows', 'that is --black-point-l'],
  ['white-point white highlights', 'that is --white-point-l'],
  ['dither dithering halftone algorithm', 'the way of making dots is --screen; see screen list'],
  ['flip reverse mirrored', 'left and right change places with --mirror, for clear stock with --seen through'],
  [
    'orientation landscape portrait',
    'the piece lies --upright or --lengthwise; --turn turns the photo, --rotate the piece in the machine',
  ],
  ['crop focus center centre focal-point', 'the crop follows --keep X,Y, --zoom and --fit'],
  ['width height dimensions', 'both sides are one option: --size 85.6x54'],
  [
    'diameter',
    'a flat round piece is --size ⌀80, a tumbler --round 73 or on a rotary --around 73; a round picture is --outline circle',
  ],
  ['frequency freq pulse-rate hz khz', 'the pulse rate is --rate, kHz'],
  ['pulse-width pulse-duration q-pulse', 'the pulse duration is --pulse, ns'],
  ['repeat repeats times loops', 'how often it is burned over itself is --passes'],
  ['bidirectional unidirectional two-way one-way', 'that is --scan two-way or --scan one-way'],
  ['output o output-dir dest destination', 'results go to --out'],
  ['overwrite yes y', 'existing results are replaced with --force'],
  ['background remove-background', 'what is around the subject is --backdrop'],
  ['font', 'that is --caption-font'],
  ['engrave-text title caption-text', 'words on the piece are --caption; words for whoever burns it --text'],
  ['logo svg', 'a drawing on the piece is --artwork'],
  ['price', 'a price list is --prices'],
  ['jobs parallel', 'pieces at a time are --workers; threads of a search --threads'],
  ['lens', 'a laser with one lens is one machine: --machine; another lens is another record (machine new)'],
  ['dose energy fluence', 'the dose follows from --power, --speed, --passes and --spacing; optics says what it is'],
  ['distance viewing-distance', 'the distance from which the piece is looked at is --viewed-from'],
  ['border padding edge', 'a bare edge is --margin'],
  ['radius rounded', 'the corner radius of the piece is --corner'],
  ['watch stopwatch-csv fit-times', 'stopwatch readings are told with --stopwatch'],
];

const BY_WORD: ReadonlyMap<string, string> = new Map(
  POINTERS.flatMap(([words, text]) => words.split(' ').map((word) => [word, text] as const)),
);

/** Where the option is that an unknown one means, from what the parser says of it; undefined where nobody knows. */
export function pointTo(message: string): string | undefined {
  const word = /unknown option '-{1,2}([^'=]+)/.exec(message)?.[1]?.toLowerCase();
  const text = word === undefined ? undefined : BY_WORD.get(word);
  return text === undefined ? undefined : `${text.charAt(0).toUpperCase()}${text.slice(1)}.`;
}

/** All words with what they point to, for whoever tests that the options are there. */
export const listPointers = (): readonly (readonly [string, string])[] => [...BY_WORD];
