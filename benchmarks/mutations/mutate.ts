import { createRandom, type Random } from '../../src/numeric/index.ts';

/** Bytes that readers trip over: ends of ranges, signs of formats, and numbers that are none. */
const PIECES = [
  ...['0', '-1', '1e308', '1e-320', '-0', '9007199254740993', 'NaN', 'Infinity', 'null', 'true', '""', '[]', '{}'],
  ...['"__proto__"', '"constructor"', '\\u0000', '\ud800', '\uFEFF', ',', ';', '\t', '"', "'", '<', '&', '%00', '../'],
  ...[
    '[[[[[[[[[[[[[[[[',
    '{"a":'.repeat(20),
    'a'.repeat(300),
    '9'.repeat(400),
    '\r',
    '\n',
    '\r\n',
    'ﬀ',
    '٣',
    '−5',
    '½',
  ],
].map((text) => Buffer.from(text));

const EDGES = [0, 1, 0x7f, 0x80, 0xfe, 0xff];

/** One change of some bytes; the same stream of chance makes the same change. */
function changeOnce(bytes: Buffer, random: Random): Buffer {
  const at = random.nextBelow(bytes.length + 1);
  const length = Math.min(bytes.length - at, 1 + random.nextBelow(random.nextBelow(4) === 0 ? 200 : 8));
  const put = (piece: Uint8Array, skip: number) =>
    Buffer.concat([bytes.subarray(0, at), piece, bytes.subarray(at + skip)]);
  switch (random.nextBelow(9)) {
    case 0: {
      const flipped = Buffer.from(bytes);
      if (at < bytes.length) flipped[at]! ^= 1 << random.nextBelow(8);
      return flipped;
    }
    case 1:
      return put(Buffer.of(EDGES[random.nextBelow(EDGES.length)]!), Math.min(1, bytes.length - at));
    case 2:
      return put(Buffer.alloc(0), length);
    case 3:
      return put(bytes.subarray(at, at + length), 0);
    case 4:
      return bytes.subarray(0, at);
    case 5: {
      const from = random.nextBelow(bytes.length + 1);
      return put(bytes.subarray(from, from + length), length);
    }
    case 6:
      return put(PIECES[random.nextBelow(PIECES.length)]!, random.nextBelow(2) * length);
    case 7:
      return put(Buffer.from(Array.from({ length: 4 }, () => random.nextBelow(256))), Math.min(4, bytes.length - at));
    default:
      return changeNumber(bytes, random);
  }
}

/** Another number in the place of one that is written in the text; the same bytes where there is none. */
function changeNumber(bytes: Buffer, random: Random): Buffer {
  const text = bytes.toString('latin1');
  const numbers = [...text.slice(0, 20_000).matchAll(/-?\d+(?:\.\d+)?/g)];
  if (numbers.length === 0) return bytes;
  const { index, 0: found } = numbers[random.nextBelow(numbers.length)]!;
  const value = Number(found);
  const others = [0, -value, value * 1e6, value / 1e6, value + 1, 1e15, 1e-12, 1e300, value * 1.0001];
  const other = String(others[random.nextBelow(others.length)]!);
  return Buffer.from(text.slice(0, index) + other + text.slice(index + found.length), 'latin1');
}

/** A sample changed once to eight times. The same seed gives the same bytes. */
export function mutate(sample: Uint8Array, seed: number): Buffer {
  const random = createRandom(seed);
  let bytes = Buffer.from(sample);
  for (let left = 1 + random.nextBelow(random.nextBelow(3) === 0 ? 8 : 2); left > 0; left--) {
    bytes = Buffer.from(changeOnce(bytes, random));
  }
  return bytes;
}

/** Values of the wrong kind, at an end of every range, or beyond it. */
const ODD_VALUES: readonly unknown[] = [
  ...[
    null,
    true,
    '',
    'a',
    '../../a',
    'CON',
    'a'.repeat(5000),
    [],
    {},
    [[]],
    0,
    -1,
    1e-12,
    1e6,
    1e15,
    1e300,
    0.5,
    2 ** 53,
  ],
  ...[{ length: 3 }, '2026-13-45', '0', ' 1', 'toString'],
];

/** A JSON sample with one to three of its values changed, left out, repeated or given another name. */
export function mutateJson(sample: Uint8Array, seed: number): Buffer {
  const random = createRandom(seed);
  const json = JSON.parse(Buffer.from(sample).toString('utf8')) as unknown;
  for (let left = 1 + random.nextBelow(3); left > 0; left--) {
    const places: { readonly holder: Record<string, unknown>; readonly key: string }[] = [];
    const walk = (value: unknown): void => {
      if (value === null || typeof value !== 'object') return;
      for (const key of Object.keys(value)) {
        places.push({ holder: value as Record<string, unknown>, key });
        walk((value as Record<string, unknown>)[key]);
      }
    };
    walk(json);
    if (places.length === 0) break;
    const { holder, key } = places[random.nextBelow(places.length)]!;
    const value = holder[key];
    const way = random.nextBelow(6);
    if (way === 0) {
      if (Array.isArray(holder)) holder.splice(Number(key), 1);
      else delete holder[key];
    } else if (way === 1 && typeof value === 'number')
      holder[key] = value * [-1, 0, 1e3, 1e-3, 1e9, 1.01][random.nextBelow(6)]!;
    else if (way === 2 && Array.isArray(holder)) holder.push(structuredClone(value));
    else if (way === 3) holder[`${key}x`] = value;
    else if (way === 4) holder[key] = structuredClone(places[random.nextBelow(places.length)]!.holder);
    else holder[key] = structuredClone(ODD_VALUES[random.nextBelow(ODD_VALUES.length)]);
  }
  return Buffer.from(JSON.stringify(json));
}

/**
 * The shortest bytes found that still fail: parts are left out, halves first, as long as it fails the same way.
 * @param fails tells the way in which bytes fail; undefined where they do not
 */
export async function shrink(bytes: Buffer, fails: (bytes: Buffer) => Promise<string | undefined>): Promise<Buffer> {
  const way = await fails(bytes);
  let least = bytes;
  let tries = 0;
  for (let size = least.length >> 1; size >= 1 && tries < 3000; size = size >> 1) {
    for (let at = 0; at + size <= least.length && tries < 3000; ) {
      const shorter = Buffer.concat([least.subarray(0, at), least.subarray(at + size)]);
      tries++;
      if ((await fails(shorter)) === way) least = shorter;
      else at += size;
    }
  }
  return least;
}
