import { BENEATH, SEEN } from '../material/index.ts';
import { BACKDROPS, OUTLINES, TONE_FIELDS } from '../photo/index.ts';
import { DOT_FORMAT_NAMES } from '../plane/index.ts';

/** An option that a line of a list may give for its piece alone. */
export interface ListOption {
  /** As `readRequest` takes it: `lines-per-cm` is `linesPerCm`. */
  readonly key: string;
  readonly takesValue: boolean;
  readonly choices?: readonly string[];
}

/** Columns of a list that are no options of a single photo. */
export const ORDER_COLUMNS = ['photo', 'name', 'count', 'text', 'blank'] as const;

const CHOICES: Readonly<Record<string, readonly string[]>> = {
  direction: ['lighter', 'darker'],
  fit: ['cover', 'contain'],
  backdrop: BACKDROPS,
  outline: OUTLINES,
  tone: ['auto', 'plain'],
  range: ['scale', 'absolute'],
  shape: ['round', 'ellipse', 'square', 'diamond'],
  response: ['table', 'linear'],
  format: DOT_FORMAT_NAMES,
  'caption-place': ['below', 'band', 'picture', 'edge'],
  'caption-font': ['sans', 'serif', 'script'],
  'caption-ink': ['solid', 'bare'],
  'artwork-ink': ['solid', 'bare'],
  scan: ['one-way', 'two-way'],
  rotate: ['0', '90', '180', '270'],
  seen: SEEN,
  beneath: BENEATH,
};
const FLAGS = ['upright', 'lengthwise', 'serpentine', 'raster', 'model-based', 'strip', 'strip-joined', 'mirror'];
const VALUES = [
  ...[
    'size',
    'profile',
    'material',
    'direction',
    'machine',
    'spacing',
    'pitch',
    'fit',
    'keep',
    'zoom',
    'turn',
    'subject',
    'backdrop',
    'outline',
    'vignette',
    'corner',
    'margin',
    'viewed-from',
  ],
  'tone',
  ...Object.keys(TONE_FIELDS).map((name) => name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)),
  ...['range', 'aim', 'weights', 'screen', 'edges', 'run', 'dot-size', 'cluster', 'lines-per-cm', 'angle', 'shape'],
  ...['matrix', 'seed', 'response', 'levels', 'format'],
  ...['round', 'round-error', 'focus-reading', 'around', 'steps-per-turn', 'overlap'],
  ...['caption', 'caption2', 'caption-place', 'caption-height', 'caption-font', 'caption-ink'],
  ...['settings', 'power', 'speed', 'rate', 'pulse', 'passes', 'scan', 'rotate', 'at', 'evenness', 'seen', 'beneath'],
  ...['artwork', 'artwork-width', 'artwork-at', 'artwork-ink'],
];

/** By the name of the column. What `prepare` takes and an order does, too; a test holds the two alike. */
export const LIST_OPTIONS: ReadonlyMap<string, ListOption> = new Map(
  [...VALUES, ...FLAGS].map((name) => [
    name,
    {
      key: name.replace(/-([a-z])/g, (_, letter: string) => letter.toUpperCase()),
      takesValue: !FLAGS.includes(name),
      ...(CHOICES[name] ? { choices: CHOICES[name] } : {}),
    },
  ]),
);
