// The inner loops of src/plane, src/photo, src/subject, src/screens, src/proof and src/simulation for WebAssembly, bit
// for bit the same as the plain ones there, which stay as the reference. Called row by row: an engine replaces slow
// first-tier code between calls, never in the middle of one.
//
// Samples are 15-bit luminance minus 16384 (CENTRE) in 16-bit lanes: a filter that overshoots white or black by up to
// half the range stays exact between the two passes. Taps have 14 fraction bits and sum to exactly 1 << 14, so the
// offset passes through unchanged. Source rows lie in pairs, column by column: [row 2k, row 2k+1] in one 32-bit word.

export * from './search';

/** First free byte of the memory; the caller lays its buffers out from here. */
export function heapStart(): usize {
  return (__heap_base + 15) & ~15;
}

/**
 * One row of interleaved 8-bit RGB through three 256-entry tables (15 extra fraction bits) into one lane of a row pair.
 */
export function luminanceRgb8(rgb: usize, tables: usize, out: usize, count: i32): void {
  const end = out + ((<usize>count) << 2);
  while (out < end) {
    const sum =
      load<i32>(tables + ((<usize>load<u8>(rgb)) << 2)) +
      load<i32>(tables + ((<usize>load<u8>(rgb, 1)) << 2), 1024) +
      load<i32>(tables + ((<usize>load<u8>(rgb, 2)) << 2), 2048);
    store<i16>(out, ((sum + 16384) >> 15) - 16384);
    rgb += 3;
    out += 4;
  }
}

/** One row of 8-bit grey (or alpha) through one 256-entry table with 15 extra fraction bits. */
export function luminanceGrey8(grey: usize, table: usize, out: usize, count: i32): void {
  const end = out + ((<usize>count) << 2);
  while (out < end) {
    store<i16>(out, ((load<i32>(table + ((<usize>load<u8>(grey)) << 2)) + 16384) >> 15) - 16384);
    grey += 1;
    out += 4;
  }
}

/** One row of interleaved 16-bit RGB: one 65536-entry table of 15-bit linear light, three 15-bit weights. */
export function luminanceRgb16(rgb: usize, table: usize, out: usize, count: i32, red: i32, green: i32, blue: i32): void {
  const end = out + ((<usize>count) << 2);
  while (out < end) {
    const sum =
      red * <i32>load<u16>(table + ((<usize>load<u16>(rgb)) << 1)) +
      green * <i32>load<u16>(table + ((<usize>load<u16>(rgb, 2)) << 1)) +
      blue * <i32>load<u16>(table + ((<usize>load<u16>(rgb, 4)) << 1));
    store<i16>(out, ((sum + 16384) >> 15) - 16384);
    rgb += 6;
    out += 4;
  }
}

/** One row of 16-bit grey through the 65536-entry table. */
export function luminanceGrey16(grey: usize, table: usize, out: usize, count: i32): void {
  const end = out + ((<usize>count) << 2);
  while (out < end) {
    store<i16>(out, <i32>load<u16>(table + ((<usize>load<u16>(grey)) << 1)) - 16384);
    grey += 2;
    out += 4;
  }
}

/** Multiply a converted row by its 8-bit alpha through a table of 15-bit shares: what is transparent gives no light. */
export function premultiply(row: usize, alpha: usize, shares: usize, count: i32): void {
  const end = row + ((<usize>count) << 2);
  while (row < end) {
    const light = <i32>load<i16>(row) + 16384;
    const share = <i32>load<u16>(shares + ((<usize>load<u8>(alpha)) << 1));
    store<i16>(row, (light * share + 16383) / 32767 - 16384);
    alpha += 1;
    row += 4;
  }
}

/** Weighted sum of row pairs, 16 columns a step: `pairs` holds addresses, `taps` one 32-bit word of two taps a pair. */
export function filterRows(pairs: usize, taps: usize, pairCount: i32, out: usize, count: i32): void {
  const half = i32x4.splat(8192);
  const last = (<usize>pairCount) << 2;
  for (let at: usize = 0, end = (<usize>count) << 1; at < end; at += 32) {
    let a = half;
    let b = half;
    let c = half;
    let d = half;
    for (let k: usize = 0; k < last; k += 4) {
      const tap = v128.load_splat<i32>(taps + k);
      const from = load<usize>(pairs + k) + (at << 1);
      a = i32x4.add(a, i32x4.dot_i16x8_s(v128.load(from), tap));
      b = i32x4.add(b, i32x4.dot_i16x8_s(v128.load(from, 16), tap));
      c = i32x4.add(c, i32x4.dot_i16x8_s(v128.load(from, 32), tap));
      d = i32x4.add(d, i32x4.dot_i16x8_s(v128.load(from, 48), tap));
    }
    v128.store(out + at, i16x8.narrow_i32x4_s(i32x4.shr_s(a, 14), i32x4.shr_s(b, 14)));
    v128.store(out + at, i16x8.narrow_i32x4_s(i32x4.shr_s(c, 14), i32x4.shr_s(d, 14)), 16);
  }
}

// @ts-ignore: decorator
@inline
function dotGroup(row: usize, taps: usize): v128 {
  return i32x4.dot_i16x8_s(v128.load(row), v128.load(taps));
}

// @ts-ignore: decorator
@inline
function dotGroups(row: usize, taps: usize, bytes: usize): v128 {
  let sum = dotGroup(row, taps);
  for (let k: usize = 16; k < bytes; k += 16) sum = i32x4.add(sum, dotGroup(row + k, taps + k));
  return sum;
}

/** Sums of the lanes of four vectors, rounded, cut to lowest … highest and moved by `centre`, as four 16-bit values. */
// @ts-ignore: decorator
@inline
function finish(a: v128, b: v128, c: v128, d: v128, lowest: v128, highest: v128, centre: v128): u64 {
  const ab = i32x4.add(v128.shuffle<i32>(a, b, 0, 1, 4, 5), v128.shuffle<i32>(a, b, 2, 3, 6, 7));
  const cd = i32x4.add(v128.shuffle<i32>(c, d, 0, 1, 4, 5), v128.shuffle<i32>(c, d, 2, 3, 6, 7));
  const sums = i32x4.add(v128.shuffle<i32>(ab, cd, 0, 2, 4, 6), v128.shuffle<i32>(ab, cd, 1, 3, 5, 7));
  const rounded = i32x4.shr_s(i32x4.add(sums, i32x4.splat(8192)), 14);
  const packed = i16x8.narrow_i32x4_s(rounded, rounded);
  const cut = i16x8.min_s(i16x8.max_s(packed, lowest), highest);
  return i64x2.extract_lane(i16x8.add(cut, centre), 0);
}

/**
 * Weighted sums along one row, 4 outputs a step: `starts` holds the byte offset of each output's first sample, `taps`
 * `groups` × 8 taps an output (padded with zeros). Writes 0 … 32767; with `overshoot` not 0, samples minus CENTRE and
 * uncut. Two groups, a large photo's case, are unrolled.
 */
export function filterColumns(
  row: usize,
  starts: usize,
  taps: usize,
  groups: i32,
  out: usize,
  count: i32,
  overshoot: i32,
): void {
  const lowest = overshoot ? i16x8.splat(-32768) : i16x8.splat(-16384);
  const highest = overshoot ? i16x8.splat(32767) : i16x8.splat(16383);
  const centre = overshoot ? i16x8.splat(0) : i16x8.splat(16384);
  const bytes = (<usize>groups) << 4;
  const end = starts + ((<usize>count) << 2);
  if (groups == 2) {
    while (starts < end) {
      const a = row + load<usize>(starts);
      const b = row + load<usize>(starts, 4);
      const c = row + load<usize>(starts, 8);
      const d = row + load<usize>(starts, 12);
      store<u64>(
        out,
        finish(
          i32x4.add(dotGroup(a, taps), dotGroup(a + 16, taps + 16)),
          i32x4.add(dotGroup(b, taps + 32), dotGroup(b + 16, taps + 48)),
          i32x4.add(dotGroup(c, taps + 64), dotGroup(c + 16, taps + 80)),
          i32x4.add(dotGroup(d, taps + 96), dotGroup(d + 16, taps + 112)),
          lowest,
          highest,
          centre,
        ),
      );
      taps += 128;
      starts += 16;
      out += 8;
    }
    return;
  }
  while (starts < end) {
    const a = dotGroups(row + load<usize>(starts), taps, bytes);
    const b = dotGroups(row + load<usize>(starts, 4), taps + bytes, bytes);
    const c = dotGroups(row + load<usize>(starts, 8), taps + 2 * bytes, bytes);
    const d = dotGroups(row + load<usize>(starts, 12), taps + 3 * bytes, bytes);
    store<u64>(out, finish(a, b, c, d, lowest, highest, centre));
    taps += 4 * bytes;
    starts += 16;
    out += 8;
  }
}

/**
 * Keeps each value of a filtered row between those of two source rows in its column; the source rows are lanes of row
 * pairs.
 */
export function boundRow(above: usize, below: usize, row: usize, count: i32): void {
  const end = row + ((<usize>count) << 1);
  while (row < end) {
    const a = <i32>load<i16>(above);
    const b = <i32>load<i16>(below);
    store<i16>(row, max(min(a, b), min(<i32>load<i16>(row), max(a, b))));
    above += 4;
    below += 4;
    row += 2;
  }
}

/**
 * Keeps each output of `filterColumns` between two samples of the row that it came from: `lefts` and `rights` hold
 * their byte offsets.
 */
export function boundColumns(
  row: usize,
  lefts: usize,
  rights: usize,
  out: usize,
  count: i32,
  overshoot: i32,
): void {
  const lowest: i32 = overshoot ? -32768 : 0;
  const highest: i32 = 32767;
  const centre: i32 = overshoot ? 0 : 16384;
  const end = out + ((<usize>count) << 1);
  while (out < end) {
    const a = <i32>load<i16>(row + load<usize>(lefts)) + centre;
    const b = <i32>load<i16>(row + load<usize>(rights)) + centre;
    const bounded = max(min(a, b), min(<i32>load<i16>(out), max(a, b)));
    store<i16>(out, max(lowest, min(highest, bounded)));
    lefts += 4;
    rights += 4;
    out += 2;
  }
}

/**
 * One row of 15-bit samples through a 32768-entry table of 16-bit values, four a step; `count` is rounded up to four.
 */
export function mapSamples(from: usize, table: usize, out: usize, count: i32): void {
  const end = out + ((<usize>count) << 1);
  while (out < end) {
    const four = load<u64>(from);
    const a = <u64>load<u16>(table + ((<usize>(four & 0x7fff)) << 1));
    const b = <u64>load<u16>(table + ((<usize>((four >> 16) & 0x7fff)) << 1));
    const c = <u64>load<u16>(table + ((<usize>((four >> 32) & 0x7fff)) << 1));
    const d = <u64>load<u16>(table + ((<usize>((four >> 48) & 0x7fff)) << 1));
    store<u64>(out, a | (b << 16) | (c << 32) | (d << 48));
    from += 8;
    out += 8;
  }
}

/**
 * Rows of dots, a byte of 0 or 1 each, to rows of bits, most significant first, with `flip` turned over: `count` dots
 * and `lead` bytes before each row. Reads up to 7 bytes past the end of the dots; spare bits at the end of a row are
 * bare.
 */
export function packRows(dots: usize, bits: usize, count: i32, rows: i32, lead: i32, flip: i32): void {
  const whole = <usize>(count & ~7);
  const spare = count & 7;
  for (let row = 0; row < rows; row++) {
    bits += <usize>lead;
    const end = dots + whole;
    while (dots < end) {
      store<u8>(bits, flip ^ <i32>gatherBits(load<u64>(dots)));
      dots += 8;
      bits += 1;
    }
    if (spare) {
      const bare = <u64>(8 - spare) << 3;
      store<u8>(bits, flip ^ <i32>gatherBits((load<u64>(dots) << bare) >> bare));
      dots += <usize>spare;
      bits += 1;
    }
  }
}

/** Eight bytes of 0 or 1 as the bits of one, the first byte highest. */
// @ts-ignore: decorator
@inline
function gatherBits(eight: u64): u64 {
  return (eight * 0x8040201008040201) >> 56;
}

/**
 * Counts how often each 15-bit sample occurs, in two tables of 32768 32-bit numbers that lie one behind the other:
 * equal neighbours, of which pictures are full, would wait for each other in one. `count` is even.
 */
export function countSamples(samples: usize, counts: usize, count: i32): void {
  const end = samples + ((<usize>count) << 1);
  while (samples < end) {
    const two = load<u32>(samples);
    const first = counts + ((<usize>(two & 0x7fff)) << 2);
    const second = counts + ((<usize>((two >> 16) & 0x7fff)) << 2);
    store<u32>(first, load<u32>(first) + 1);
    store<u32>(second, load<u32>(second, 131072) + 1, 131072);
    samples += 4;
  }
}

/** Largest sixteenfold sum at which the dot stays bare. Exact: one below sixteen halves of the 15-bit range. */
const BARE_LIMIT: i32 = 16 * 16384 - 1;

/**
 * First and last dot of a row that fires (−1 where none does), how many fire, and in how many runs: four 32-bit words
 * at `found`, as `scanPlainRow` in src/plane/counts.ts tells them. The row has bare dots to a whole number of 16.
 */
export function scanDots(dots: usize, found: usize, count: i32): void {
  let first = -1;
  let last = -1;
  let firing = 0;
  let runs = 0;
  let before = 0;
  for (let x = 0; x < count; x += 16) {
    const fires = i8x16.bitmask(i8x16.ne(v128.load(dots + <usize>x), i8x16.splat(0)));
    if (fires) {
      if (first < 0) first = x + ctz(fires);
      last = x + 31 - clz(fires);
      firing += popcnt(fires);
      runs += popcnt(fires & ~((fires << 1) | before));
    }
    before = fires >>> 15;
  }
  store<i32>(found, first);
  store<i32>(found, last, 4);
  store<i32>(found, firing, 8);
  store<i32>(found, runs, 12);
}

/**
 * One row of Floyd and Steinberg's diffusion to two levels, the same steps as src/screens/floyd-steinberg.ts: `asked`
 * holds 15-bit coverage, `fires` takes a byte a dot, `errors` the 32-bit errors of the row above with one bare dot
 * before and after. `step` is 1 or −1; `behindShare` is 1 when the row above ran the same way and 3 when it ran the
 * other way.
 */
export function floydSteinbergRow(
  asked: usize,
  fires: usize,
  errors: usize,
  count: i32,
  step: i32,
  behindShare: i32,
): void {
  const aheadShare = 4 - behindShare;
  if (step < 0) {
    asked += (<usize>(count - 1)) << 1;
    fires += <usize>(count - 1);
    errors += (<usize>(count - 1)) << 2;
  }
  const askedStep = <usize>(step << 1);
  const firesStep = <usize>step;
  const errorsStep = <usize>(step << 2);
  let behind: i32 = 0;
  let above = load<i32>(errors, 4);
  let carried: i32 = 0;
  for (let left = count; left > 0; left--) {
    const ahead = load<i32>(errors + errorsStep, 4);
    const sum =
      ((<i32>load<u16>(asked)) << 4) + behind * behindShare + above * 5 + ahead * aheadShare + 8 + carried;
    const mask = (BARE_LIMIT - sum) >> 31;
    const input = sum >> 4;
    store<u8>(fires, mask & 1);
    store<i32>(errors, input - (mask & 32767), 4);
    carried = (input << 3) - input - (mask & (7 * 32767));
    behind = above;
    above = ahead;
    asked += askedStep;
    fires += firesStep;
    errors += errorsStep;
  }
}

/** Adds what a 32768-entry table of 32-bit floats says of each 15-bit sample of a row to the target. */
export function addMapped(row: usize, table: usize, target: usize, count: i32): void {
  const end = target + ((<usize>count) << 2);
  while (target < end) {
    store<f32>(target, load<f32>(target) + load<f32>(table + ((<usize>load<u16>(row)) << 2)));
    row += 2;
    target += 4;
  }
}

/**
 * Adds the mean strength of each cell of a row of dots to the target, the same steps as src/proof/strength.ts: `column`
 * holds each column's bits in a byte, `next` the row of dots that comes into reach, `strength` a 32-bit float for each
 * neighbourhood of `columns` × `rows` dots. The first `ahead` columns are shifted already.
 */
export function addStrength(
  next: usize,
  column: usize,
  strength: usize,
  target: usize,
  count: i32,
  columns: i32,
  rows: i32,
): void {
  const ahead = columns >> 1;
  const columnMask = (1 << rows) - 1;
  const indexMask = (1 << (columns * rows)) - 1;
  let index = 0;
  for (let x = 0; x < ahead; x++) index = (index << rows) | load<u8>(column + x);
  const inner = count - ahead;
  for (let x = 0; x < inner; x++) {
    const place = <usize>(x + ahead);
    const bits = (((<i32>load<u8>(column + place)) << 1) | load<u8>(next + place)) & columnMask;
    store<u8>(column + place, <u8>bits);
    index = ((index << rows) | bits) & indexMask;
    const at = target + ((<usize>x) << 2);
    store<f32>(at, load<f32>(at) + load<f32>(strength + ((<usize>index) << 2)));
  }
  for (let x = max(0, inner); x < count; x++) {
    index = (index << rows) & indexMask;
    const at = target + ((<usize>x) << 2);
    store<f32>(at, load<f32>(at) + load<f32>(strength + ((<usize>index) << 2)));
  }
}

/**
 * One row of the same diffusion with the error of the marks, the same steps as `chooseByFourShares` in
 * src/screens/mark-diffusion.ts. `errors` and `columns` point at the first dot and have three bare ones before and
 * after; `columns` holds the dots of `rowsAbove` rows, and takes this row at the end. `table` holds the steps for this
 * direction, `levels` what to ask for where a strength is wanted, or is 0.
 */
export function markRow(
  asked: usize,
  fires: usize,
  errors: usize,
  columns: usize,
  table: usize,
  count: i32,
  step: i32,
  behindShare: i32,
  rowsAbove: i32,
  sides: i32,
  behindBits: i32,
  most: i32,
  levels: usize,
): void {
  const aheadShare = 4 - behindShare;
  const aboveMask = (1 << (rowsAbove * (2 * sides + 1))) - 1;
  const earlierMask = (1 << (behindBits - 1)) - 1;
  const last = step > 0 ? 0 : count - 1;
  let askedAt = asked + ((<usize>last) << 1);
  let firesAt = fires + <usize>last;
  let errorsAt = errors + ((<usize>last) << 2);
  let newest = columns + <usize>(last + sides * step);
  const askedStep = <usize>(step << 1);
  const firesStep = <usize>step;
  const errorsStep = <usize>(step << 2);
  let pattern = 0;
  for (let i = -sides; i < sides; i++) {
    pattern = (pattern << rowsAbove) | load<u8>(columns + <usize>(last + i * step));
  }
  let earlier = 0;
  let mask = 0;
  let behind = 0;
  let above = load<i32>(errorsAt);
  let carried = 0;
  for (let left = count; left > 0; left--) {
    pattern = ((pattern << rowsAbove) | load<u8>(newest)) & aboveMask;
    const ahead = load<i32>(errorsAt + errorsStep);
    let wanted = <i32>load<u16>(askedAt);
    if (levels !== 0) wanted = <i32>load<u16>(levels + ((<usize>wanted) << 1));
    const sum = (wanted << 4) + behind * behindShare + above * 5 + ahead * aheadShare + 8 + carried;
    const at = table + ((<usize>((pattern << behindBits) | (earlier << 1))) << 2);
    const afterBare = load<i32>(at);
    const gain = afterBare + (mask & (load<i32>(at, 4) - afterBare));
    earlier = ((earlier << 1) | (mask & 1)) & earlierMask;
    const input = sum >> 4;
    mask = ((((gain + 1) >> 1) << 4) - 1 - sum) >> 31;
    let limit = most;
    if (wanted === 0 || wanted === 32767) {
      mask = -(wanted & 1);
      limit = 16384;
    }
    const rest = max(-limit, min(limit, input - (mask & gain)));
    carried = (rest << 3) - rest;
    store<u8>(firesAt, mask & 1);
    store<i32>(errorsAt, rest);
    behind = above;
    above = ahead;
    askedAt += askedStep;
    firesAt += firesStep;
    errorsAt += errorsStep;
    newest += firesStep;
  }
  const top = rowsAbove - 1;
  for (let x = 0; x < count; x++) {
    const column = columns + <usize>x;
    const newer = (<i32>load<u8>(fires + <usize>x)) << top;
    store<u8>(column, <u8>(((<i32>load<u8>(column)) >> 1) | newer));
  }
}

/**
 * Entries of the table of the tone stage's curve (32-bit floats), after which the table of light (16-bit) lies. A
 * count. Exact: every 15-bit value.
 */
const LEVELS: usize = 32768;

/** Two neighbouring 32-bit floats of a table, each at its own entry, as 64-bit floats. */
// @ts-ignore: decorator
@inline
function lookUpPair(table: usize, first: usize, second: usize): v128 {
  return f64x2.promote_low_f32x4(v128.load_lane<f32>(table + (second << 2), v128.load_zero<f32>(table + (first << 2)), 1));
}

/**
 * Blends two rows of 32-bit floats, a way from the upper to the lower; rounded as such, but stored as 64-bit floats.
 */
// @ts-ignore: decorator
@inline
function blendLines(upper: usize, lower: usize, way: v128, out: usize, count: i32): void {
  const end = upper + ((<usize>count) << 2);
  while (upper < end) {
    const a = f64x2.promote_low_f32x4(v128.load_zero<u64>(upper));
    const b = f64x2.promote_low_f32x4(v128.load_zero<u64>(lower));
    const blend = f32x4.demote_f64x2_zero(f64x2.add(a, f64x2.mul(way, f64x2.sub(b, a))));
    v128.store(out, f64x2.promote_low_f32x4(blend));
    upper += 8;
    lower += 8;
    out += 16;
  }
}

/**
 * One row of diffusion whose weights follow the tone, to two levels, on the marks: see src/screens/variable-marks.ts.
 * `rows` holds the row of weights for each wanted strength, `weights` two 32-bit numbers a row: ahead and below behind.
 * `incoming` and `outgoing` have one number before the first dot and one after the last. Errors go no further than
 * `most` either way, and `mostHeld` where the plane is exactly bare or solid.
 */
export function variableRow(
  asked: usize,
  fires: usize,
  incoming: usize,
  outgoing: usize,
  columns: usize,
  table: usize,
  rows: usize,
  weights: usize,
  count: i32,
  step: i32,
  rowsAbove: i32,
  sides: i32,
  behindBits: i32,
  most: i32,
  mostHeld: i32,
  levels: usize,
): void {
  const aboveMask = (1 << (rowsAbove * (2 * sides + 1))) - 1;
  const earlierMask = (1 << (behindBits - 1)) - 1;
  const last = step > 0 ? 0 : count - 1;
  let askedAt = asked + ((<usize>last) << 1);
  let firesAt = fires + <usize>last;
  let incomingAt = incoming + ((<usize>(last + 1)) << 2);
  let behindAt = outgoing + ((<usize>(last + 1 - step)) << 2);
  let newest = columns + <usize>(last + sides * step);
  const askedStep = <usize>(step << 1);
  const firesStep = <usize>step;
  const errorsStep = <usize>(step << 2);
  let pattern = 0;
  for (let i = -sides; i < sides; i++) {
    pattern = (pattern << rowsAbove) | load<u8>(columns + <usize>(last + i * step));
  }
  let earlier = 0;
  let mask = 0;
  let carried = 0;
  let pending = 0;
  for (let left = count; left > 0; left--) {
    pattern = ((pattern << rowsAbove) | load<u8>(newest)) & aboveMask;
    let wanted = <i32>load<u16>(askedAt);
    if (levels !== 0) wanted = <i32>load<u16>(levels + ((<usize>wanted) << 1));
    const row = weights + ((<usize>load<u8>(rows + <usize>wanted)) << 3);
    const at = table + ((<usize>((pattern << behindBits) | (earlier << 1))) << 2);
    const afterBare = load<i32>(at);
    const gain = afterBare + (mask & (load<i32>(at, 4) - afterBare));
    earlier = ((earlier << 1) | (mask & 1)) & earlierMask;
    const input = wanted + load<i32>(incomingAt) + carried;
    mask = (gain - 1 - (input << 1)) >> 31;
    let limit = most;
    if (wanted === 0 || wanted === 32767) {
      mask = -(wanted & 1);
      limit = mostHeld;
    }
    const error = max(-limit, min(limit, input - (mask & gain)));
    carried = <i32>(((<i64>error) * (<i64>load<i32>(row)) + 8192) >> 14);
    const below = <i32>(((<i64>error) * (<i64>load<i32>(row, 4)) + 8192) >> 14);
    store<u8>(firesAt, mask & 1);
    store<i32>(behindAt, pending + below);
    pending = error - carried - below;
    askedAt += askedStep;
    firesAt += firesStep;
    incomingAt += errorsStep;
    behindAt += errorsStep;
    newest += firesStep;
  }
  store<i32>(behindAt, pending);
  const top = rowsAbove - 1;
  for (let x = 0; x < count; x++) {
    const column = columns + <usize>x;
    const newer = (<i32>load<u8>(fires + <usize>x)) << top;
    store<u8>(column, <u8>(((<i32>load<u8>(column)) >> 1) | newer));
  }
}

/**
 * One row of the tone stage, the same steps as `tonePlainRow` in src/photo/tone-rows.ts. `fields` holds six rows of
 * `cells` 32-bit floats, `stride` bytes apart: gain, offset and blur of the cells above, then of those below, `way`
 * between them. `lines` has room for three rows of 64-bit floats, twice `stride` apart. `tables` holds the curve, the
 * light, and `details` floats; `places` where each dot of a stretch lies between two centres.
 */
export function toneRow(
  samples: usize,
  out: usize,
  fields: usize,
  stride: usize,
  cells: i32,
  count: i32,
  dotsPerCell: i32,
  way: f64,
  lines: usize,
  tables: usize,
  details: i32,
  middle: f64,
  detailSteps: f64,
  codesPerL: f64,
  places: usize,
): void {
  const ways = f64x2.splat(way);
  for (let field: usize = 0; field < 3; field++) {
    const upper = fields + field * stride;
    blendLines(upper, upper + 3 * stride, ways, lines + 2 * field * stride, cells);
  }
  const light = tables + (LEVELS << 2);
  const detail = light + (LEVELS << 1);
  const steps = f64x2.splat(detailSteps);
  const middles = f64x2.splat(middle);
  const codes = f64x2.splat(codesPerL);
  const half = f64x2.splat(0.5);
  const zero = i32x4.splat(0);
  const one = i32x4.splat(32767);
  const lastDetail = i32x4.splat(details - 1);
  const offsets = stride << 1;
  const blurs = stride << 2;
  const end = samples + ((<usize>count) << 1);
  let left = lines;
  let right = lines;
  let stop = samples + (<usize>(dotsPerCell >> 1) << 1);
  for (let stretch = 0; stretch <= cells; stretch++) {
    if (stretch == cells) {
      right = left;
      stop = end;
    }
    const gain = v128.load_splat<f64>(left);
    const offset = v128.load_splat<f64>(left + offsets);
    const blur = v128.load_splat<f64>(left + blurs);
    const gainBy = f64x2.sub(v128.load_splat<f64>(right), gain);
    const offsetBy = f64x2.sub(v128.load_splat<f64>(right + offsets), offset);
    const blurBy = f64x2.sub(v128.load_splat<f64>(right + blurs), blur);
    let placeAt = places;
    stop = min(stop, end);
    while (samples < stop) {
      const place = v128.load(placeAt);
      const lightness = lookUpPair(tables, <usize>load<u16>(samples), <usize>load<u16>(samples, 2));
      const gained = f64x2.mul(lightness, f64x2.add(gain, f64x2.mul(place, gainBy)));
      const even = f64x2.add(gained, f64x2.add(offset, f64x2.mul(place, offsetBy)));
      const difference = f64x2.sub(even, f64x2.add(blur, f64x2.mul(place, blurBy)));
      const entries = i32x4.trunc_sat_f64x2_s_zero(f64x2.add(f64x2.mul(difference, steps), middles));
      const entry = i32x4.min_s(lastDetail, i32x4.max_s(zero, entries));
      const sharpened = lookUpPair(
        detail,
        <usize>i32x4.extract_lane(entry, 0),
        <usize>i32x4.extract_lane(entry, 1),
      );
      const rounded = i32x4.trunc_sat_f64x2_s_zero(f64x2.add(f64x2.mul(f64x2.add(even, sharpened), codes), half));
      const code = i32x4.min_s(one, i32x4.max_s(zero, rounded));
      store<u16>(out, load<u16>(light + ((<usize>i32x4.extract_lane(code, 0)) << 1)));
      store<u16>(out, load<u16>(light + ((<usize>i32x4.extract_lane(code, 1)) << 1)), 2);
      samples += 4;
      out += 4;
      placeAt += 16;
    }
    // A stretch of an odd number of dots has done one too many, which the next one does again.
    out -= samples - stop;
    samples = stop;
    left = right;
    right += 8;
    stop += (<usize>dotsPerCell) << 1;
  }
}

/**
 * Adds what a table of 32-bit floats says of the dots of a row to the sums of their cells, 64-bit floats, the same
 * steps as `addPlainCells` in src/photo/cells.ts. Two cells a step; the last cell of a row may be cut.
 */
export function addCells(samples: usize, table: usize, sums: usize, count: i32, dotsPerCell: i32): void {
  const cellBytes = (<usize>dotsPerCell) << 1;
  const whole = count / dotsPerCell;
  const end = samples + ((<usize>count) << 1);
  let cell = 0;
  for (; cell + 2 <= whole; cell += 2) {
    let sum = f64x2.splat(0);
    for (const stop = samples + cellBytes; samples < stop; samples += 2) {
      sum = f64x2.add(sum, lookUpPair(table, <usize>load<u16>(samples), <usize>load<u16>(samples + cellBytes)));
    }
    samples += cellBytes;
    v128.store(sums, f64x2.add(v128.load(sums), sum));
    sums += 16;
  }
  for (; samples < end; cell++) {
    let sum: f64 = 0;
    for (const stop = min(end, samples + cellBytes); samples < stop; samples += 2) {
      sum += <f64>load<f32>(table + ((<usize>load<u16>(samples)) << 2));
    }
    store<f64>(sums, load<f64>(sums) + sum);
    sums += 8;
  }
}

/** Means of the cells of a row from their sums, 64-bit floats, which are 0 afterwards; the last cell may be cut. */
export function endCells(sums: usize, out: usize, count: i32, dotsPerCell: i32, rows: i32): void {
  while (count > 0) {
    store<f32>(out, <f32>(load<f64>(sums) / <f64>(rows * min(dotsPerCell, count))));
    store<f64>(sums, 0);
    sums += 8;
    out += 4;
    count -= dotsPerCell;
  }
}

/** Counts numbers by the nearest whole multiple of 1 / `steps`, from 0 on, 32-bit words at `counts`. */
export function countNumbers(from: usize, counts: usize, count: i32, steps: f64): void {
  for (const end = from + ((<usize>count) << 2); from < end; from += 4) {
    const at = counts + ((<usize>(<i32>(<f64>load<f32>(from) * steps + 0.5))) << 2);
    store<i32>(at, load<i32>(at) + 1);
  }
}

/** Means over blocks of `by` cells of `rows` rows, `stride` bytes apart; the last block may be cut. */
export function coarsenRows(from: usize, stride: usize, count: i32, rows: i32, by: i32, out: usize): void {
  for (; count > 0; count -= by) {
    const wide = min(by, count);
    let sum: f64 = 0;
    for (let y = 0; y < rows; y++) {
      const row = from + stride * <usize>y;
      for (let x = 0; x < wide; x++) sum += <f64>load<f32>(row + ((<usize>x) << 2));
    }
    store<f32>(out, <f32>(sum / <f64>(rows * wide)));
    from += (<usize>by) << 2;
    out += 4;
  }
}

/**
 * A row of cells between two rows of coarse ones, `way` from the upper to the lower: these as one into `row`, then
 * between the coarse cell `lefts` says and the next one, `ways` from it; 64-bit arithmetic, as `refineRow` in
 * src/photo/cells.ts.
 */
export function refineRow(
  upper: usize,
  lower: usize,
  way: f64,
  row: usize,
  coarse: i32,
  lefts: usize,
  ways: usize,
  out: usize,
  count: i32,
): void {
  for (let x = 0; x < coarse; x++) {
    const at = (<usize>x) << 2;
    const from = <f64>load<f32>(upper + at);
    store<f32>(row + at, <f32>(from + way * (<f64>load<f32>(lower + at) - from)));
  }
  // One more, so that what lies right of the last has something to read.
  store<f32>(row + ((<usize>coarse) << 2), load<f32>(row + ((<usize>(coarse - 1)) << 2)));
  for (const end = out + ((<usize>count) << 2); out < end; out += 4) {
    const at = row + ((<usize>load<i32>(lefts)) << 2);
    const from = <f64>load<f32>(at);
    store<f32>(out, <f32>(from + load<f64>(ways) * (<f64>load<f32>(at, 4) - from)));
    lefts += 4;
    ways += 8;
  }
}

/**
 * For blocks of 16 × 16 cells with a rim of one, `gap` bytes apart along rows `stride` bytes apart: the summed
 * magnitude of the response to noise, and of the cells, two 64-bit floats each, as `respond` in
 * src/photo/statistics.ts.
 */
export function respondBlocks(from: usize, stride: usize, gap: usize, count: i32, out: usize): void {
  for (let block = 0; block < count; block++) {
    let sum: f64 = 0;
    let level: f64 = 0;
    let row = from;
    for (let y = 0; y < 16; y++) {
      let above = bendAt(row);
      let here = bendAt(row + stride);
      let below = bendAt(row + 2 * stride);
      let at = row;
      for (let x = 0; x < 16; x++) {
        sum += abs(above - 2 * here + below);
        level += <f64>load<f32>(at + stride, 4);
        at += 4;
        above = bendAt(at);
        here = bendAt(at + stride);
        below = bendAt(at + 2 * stride);
      }
      row += stride;
    }
    store<f64>(out, sum);
    store<f64>(out, level, 8);
    out += 16;
    from += gap;
  }
}

/** What the second of three numbers differs from its neighbours, doubled and negative. */
// @ts-ignore: decorator
@inline
function bendAt(at: usize): f64 {
  return <f64>load<f32>(at) - 2 * <f64>load<f32>(at, 4) + <f64>load<f32>(at, 8);
}

/** gain · value + offset, into the values; 64-bit arithmetic, as `alongLines` in src/photo/numbers.ts. */
export function alongLines(values: usize, gain: usize, offset: usize, count: i32): void {
  for (const end = values + ((<usize>count) << 2); values < end; values += 8) {
    const line = f64x2.add(f64x2.mul(widenPair(gain), widenPair(values)), widenPair(offset));
    v128.store_lane<u64>(values, f32x4.demote_f64x2_zero(line), 0);
    gain += 8;
    offset += 8;
  }
}

/** Lines after lines as one, into the later ones; as `chainLines` in src/photo/numbers.ts. */
export function chainLines(offset: usize, gain: usize, firstOffset: usize, firstGain: usize, count: i32): void {
  for (const end = offset + ((<usize>count) << 2); offset < end; offset += 8) {
    const factor = widenPair(gain);
    const moved = f64x2.add(widenPair(offset), f64x2.mul(factor, widenPair(firstOffset)));
    v128.store_lane<u64>(offset, f32x4.demote_f64x2_zero(moved), 0);
    v128.store_lane<u64>(gain, f32x4.demote_f64x2_zero(f64x2.mul(factor, widenPair(firstGain))), 0);
    gain += 8;
    firstOffset += 8;
    firstGain += 8;
  }
}

// @ts-ignore: decorator
@inline
function widenPair(at: usize): v128 {
  return f64x2.promote_low_f32x4(v128.load_zero<u64>(at));
}

/** Products, into the first. */
export function multiplyNumbers(a: usize, b: usize, count: i32): void {
  for (const end = a + ((<usize>count) << 2); a < end; a += 16) {
    v128.store(a, f32x4.mul(v128.load(a), v128.load(b)));
    b += 16;
  }
}

/** Lines toward the means of windows, as `calmWindows` in src/photo/numbers.ts; `table` has 64-bit floats. */
export function calmWindows(squares: usize, means: usize, table: usize, mostShare: f64, count: i32): void {
  for (const end = means + ((<usize>count) << 2); means < end; means += 4) {
    const mean = <f64>load<f32>(means);
    const variance = max<f64>(0, <f64>load<f32>(squares) - mean * mean);
    const noise = load<f64>(table + ((<usize>(<i32>(mean + 0.5))) << 3));
    const gain = <f32>(1 - (variance > 0 ? min<f64>(mostShare, noise / variance) : mostShare));
    store<f32>(squares, gain);
    store<f32>(means, <f32>(mean - <f64>gain * mean));
    squares += 4;
  }
}

/**
 * A symmetric blur along a row of 32-bit floats: `taps` holds `radius` + 1 weights, 64-bit floats, the middle first.
 * The row has `radius` floats more on both sides and one spare one. Two places a step; the result has room for an even
 * number.
 */
export function blurAlong(row: usize, taps: usize, radius: i32, out: usize, count: i32): void {
  const end = row + ((<usize>count) << 2);
  const last = (<usize>radius) << 2;
  const middle = v128.load_splat<f64>(taps);
  while (row < end) {
    let sum = f64x2.mul(middle, f64x2.promote_low_f32x4(v128.load_zero<u64>(row)));
    let tap = taps + 8;
    for (let off: usize = 4; off <= last; off += 4) {
      const before = f64x2.promote_low_f32x4(v128.load_zero<u64>(row - off));
      const after = f64x2.promote_low_f32x4(v128.load_zero<u64>(row + off));
      sum = f64x2.add(sum, f64x2.mul(v128.load_splat<f64>(tap), f64x2.add(before, after)));
      tap += 8;
    }
    v128.store_lane<u64>(out, f32x4.demote_f64x2_zero(sum), 0);
    row += 8;
    out += 8;
  }
}

/** Weighted sum of `count` rows of 32-bit floats, whose addresses lie at `rows`; `taps` are 64-bit floats. */
export function blurAcross(rows: usize, taps: usize, rowCount: i32, out: usize, count: i32): void {
  const end = (<usize>count) << 2;
  const last = (<usize>rowCount) << 2;
  for (let x: usize = 0; x < end; x += 8) {
    let sum = f64x2.splat(0);
    for (let row: usize = 0; row < last; row += 4) {
      const values = f64x2.promote_low_f32x4(v128.load_zero<u64>(load<usize>(rows + row) + x));
      sum = f64x2.add(sum, f64x2.mul(v128.load_splat<f64>(taps + (row << 1)), values));
    }
    v128.store_lane<u64>(out + x, f32x4.demote_f64x2_zero(sum), 0);
  }
}

/** Means of the places within `radius` to each side along a row of 32-bit floats, cut at the ends: a running sum. */
export function windowAlong(row: usize, radius: i32, out: usize, count: i32): void {
  let sum: f64 = 0;
  for (let x = 0; x < min(radius, count); x++) sum += <f64>load<f32>(row + ((<usize>x) << 2));
  for (let x = 0; x < count; x++) {
    if (x + radius < count) sum += <f64>load<f32>(row + ((<usize>(x + radius)) << 2));
    if (x - radius > 0) sum -= <f64>load<f32>(row + ((<usize>(x - radius - 1)) << 2));
    const places = min(x + radius, count - 1) - max(x - radius, 0) + 1;
    store<f32>(out + ((<usize>x) << 2), <f32>(sum / <f64>places));
  }
}

/**
 * Moves running sums of columns, 64-bit floats, on by a row: takes in the row at `below`, takes out the one at `above`,
 * each unless its address is 0, and writes the means over `rows` unless `out` is 0. `count` is even.
 */
export function windowAcross(below: usize, above: usize, sums: usize, rows: i32, out: usize, count: i32): void {
  const places = f64x2.splat(<f64>rows);
  for (let left = count; left > 0; left -= 2) {
    let sum = v128.load(sums);
    if (below) {
      sum = f64x2.add(sum, f64x2.promote_low_f32x4(v128.load_zero<u64>(below)));
      below += 8;
    }
    if (above) {
      sum = f64x2.sub(sum, f64x2.promote_low_f32x4(v128.load_zero<u64>(above)));
      above += 8;
    }
    v128.store(sums, sum);
    sums += 16;
    if (out) {
      v128.store_lane<u64>(out, f32x4.demote_f64x2_zero(f64x2.div(sum, places)), 0);
      out += 8;
    }
  }
}

/**
 * A symmetric blur across rows of 32-bit floats, rounded to such after each pair: `rows` holds the addresses of the
 * middle row and of each pair above and below it, `taps` the weights, 64-bit floats, the middle first.
 */
export function blurPairs(rows: usize, taps: usize, radius: i32, out: usize, count: i32): void {
  const end = (<usize>count) << 2;
  const last = (<usize>radius) << 3;
  const middle = load<usize>(rows);
  const weight = v128.load_splat<f64>(taps);
  for (let x: usize = 0; x < end; x += 8) {
    let sum = f32x4.demote_f64x2_zero(f64x2.mul(weight, f64x2.promote_low_f32x4(v128.load_zero<u64>(middle + x))));
    for (let at: usize = 8; at <= last; at += 8) {
      const above = f64x2.promote_low_f32x4(v128.load_zero<u64>(load<usize>(rows + at - 4) + x));
      const below = f64x2.promote_low_f32x4(v128.load_zero<u64>(load<usize>(rows + at) + x));
      const more = f64x2.mul(v128.load_splat<f64>(taps + at), f64x2.add(above, below));
      sum = f32x4.demote_f64x2_zero(f64x2.add(f64x2.promote_low_f32x4(sum), more));
    }
    v128.store_lane<u64>(out + x, sum, 0);
  }
}

/**
 * A symmetric blur along a row of 32-bit whole numbers: `taps` holds `radius` + 1 weights, the middle first. The row
 * has `radius` numbers more on both sides; row and result have room for a whole number of four.
 */
export function blurWholes(row: usize, taps: usize, radius: i32, out: usize, count: i32): void {
  const middle = v128.load_splat<i32>(taps);
  const last = (<usize>radius) << 2;
  for (const end = row + ((<usize>count) << 2); row < end; row += 16) {
    let sum = i32x4.mul(middle, v128.load(row));
    for (let k: usize = 4; k <= last; k += 4) {
      sum = i32x4.add(sum, i32x4.mul(v128.load_splat<i32>(taps + k), i32x4.add(v128.load(row - k), v128.load(row + k))));
    }
    v128.store(out, sum);
    out += 16;
  }
}

/** The same across rows: `rows` holds the addresses of the middle one and of each pair above and below it. */
export function blurWholeRows(rows: usize, taps: usize, radius: i32, out: usize, count: i32): void {
  const middle = v128.load_splat<i32>(taps);
  const last = (<usize>radius) << 3;
  const first = load<usize>(rows);
  const end = (<usize>count) << 2;
  for (let x: usize = 0; x < end; x += 16) {
    let sum = i32x4.mul(middle, v128.load(first + x));
    for (let k: usize = 8; k <= last; k += 8) {
      const pair = i32x4.add(v128.load(load<usize>(rows + k - 4) + x), v128.load(load<usize>(rows + k) + x));
      sum = i32x4.add(sum, i32x4.mul(v128.load_splat<i32>(taps + (k >> 1)), pair));
    }
    v128.store(out + x, sum);
  }
}

/**
 * Adds the mean strength of each cell of a row of dots to the target where 3 × 3 dots count, the same steps as
 * `addFullRow` in src/proof/strength.ts for any row: eight cells a step, and all columns are shifted here. `column` and
 * `next` have a bare byte before and 16 after their last; the target has room for a whole number of steps.
 */
export function addStrength9(next: usize, column: usize, strength: usize, target: usize, count: i32): void {
  const three = i8x16.splat(7);
  for (let x = 0; x < count + 1; x += 16) {
    const at = column + <usize>x;
    const shifted = i8x16.shl(v128.load(at), 1);
    v128.store(at, v128.and(three, v128.or(shifted, v128.load(next + <usize>x))));
  }
  const end = target + ((<usize>count) << 2);
  while (target < end) {
    const left = i16x8.extend_low_i8x16_u(v128.load_zero<u64>(column - 1));
    const middle = i16x8.extend_low_i8x16_u(v128.load_zero<u64>(column));
    const right = i16x8.extend_low_i8x16_u(v128.load_zero<u64>(column + 1));
    const entries = i16x8.shl(v128.or(v128.or(i16x8.shl(left, 6), i16x8.shl(middle, 3)), right), 2);
    let low = v128.load_zero<f32>(strength + <usize>i16x8.extract_lane_u(entries, 0));
    low = v128.load_lane<f32>(strength + <usize>i16x8.extract_lane_u(entries, 1), low, 1);
    low = v128.load_lane<f32>(strength + <usize>i16x8.extract_lane_u(entries, 2), low, 2);
    low = v128.load_lane<f32>(strength + <usize>i16x8.extract_lane_u(entries, 3), low, 3);
    let high = v128.load_zero<f32>(strength + <usize>i16x8.extract_lane_u(entries, 4));
    high = v128.load_lane<f32>(strength + <usize>i16x8.extract_lane_u(entries, 5), high, 1);
    high = v128.load_lane<f32>(strength + <usize>i16x8.extract_lane_u(entries, 6), high, 2);
    high = v128.load_lane<f32>(strength + <usize>i16x8.extract_lane_u(entries, 7), high, 3);
    v128.store(target, f32x4.add(v128.load(target), low));
    v128.store(target, f32x4.add(v128.load(target, 16), high), 16);
    column += 8;
    target += 32;
  }
}

/**
 * One step of a network for windows side by side: each output is its bias and the products of the window's numbers
 * with its weights, added one by one as 32-bit floats. `rows` holds the addresses of the `down` rows of the first
 * window, `long` the bytes of each, `step` those from one window to the next; the weights lie by number, then by
 * output, with room of `wide` bytes for whole groups of four. Of outputs that are no whole groups (`stride` bytes),
 * up to twelve bytes beyond the last are written, where the next window's come later.
 */
export function multiplyWindows(
  rows: usize,
  weights: usize,
  bias: usize,
  out: usize,
  count: i32,
  down: i32,
  long: i32,
  step: i32,
  wide: i32,
  stride: i32,
): void {
  let left = count;
  let offset: usize = 0;
  if (wide == stride) {
    for (; left >= 4; left -= 4) {
      multiplyFour(rows, weights, bias, out, down, <usize>long, <usize>step, offset, <usize>wide);
      offset += (<usize>step) << 2;
      out += (<usize>stride) << 2;
    }
  }
  for (; left > 0; left--) {
    for (let at: usize = 0; at < <usize>wide; at += 16) {
      let sum = v128.load(bias + at);
      let weight = weights + at;
      for (let y = 0; y < down; y++) {
        let number = load<usize>(rows + ((<usize>y) << 2)) + offset;
        const end = number + <usize>long;
        for (; number < end; number += 4) {
          sum = f32x4.add(sum, f32x4.mul(v128.load_splat<f32>(number), v128.load(weight)));
          weight += <usize>wide;
        }
      }
      v128.store(out + at, sum);
    }
    offset += <usize>step;
    out += <usize>stride;
  }
}

/** Four windows at once: sums that do not wait for one another. */
function multiplyFour(
  rows: usize,
  weights: usize,
  bias: usize,
  out: usize,
  down: i32,
  long: usize,
  step: usize,
  offset: usize,
  wide: usize,
): void {
  let at: usize = 0;
  for (; at + 16 < wide; at += 32) {
    const first = v128.load(bias + at);
    const second = v128.load(bias + at, 16);
    let a = first;
    let b = first;
    let c = first;
    let d = first;
    let e = second;
    let f = second;
    let g = second;
    let h = second;
    let weight = weights + at;
    for (let y = 0; y < down; y++) {
      let number = load<usize>(rows + ((<usize>y) << 2)) + offset;
      const end = number + long;
      let other = number + (step << 1);
      for (; number < end; number += 4) {
        const low = v128.load(weight);
        const high = v128.load(weight, 16);
        let value = v128.load_splat<f32>(number);
        a = f32x4.add(a, f32x4.mul(value, low));
        e = f32x4.add(e, f32x4.mul(value, high));
        value = v128.load_splat<f32>(number + step);
        b = f32x4.add(b, f32x4.mul(value, low));
        f = f32x4.add(f, f32x4.mul(value, high));
        value = v128.load_splat<f32>(other);
        c = f32x4.add(c, f32x4.mul(value, low));
        g = f32x4.add(g, f32x4.mul(value, high));
        value = v128.load_splat<f32>(other + step);
        d = f32x4.add(d, f32x4.mul(value, low));
        h = f32x4.add(h, f32x4.mul(value, high));
        other += 4;
        weight += wide;
      }
    }
    let to = out + at;
    v128.store(to, a);
    v128.store(to, e, 16);
    to += wide;
    v128.store(to, b);
    v128.store(to, f, 16);
    to += wide;
    v128.store(to, c);
    v128.store(to, g, 16);
    to += wide;
    v128.store(to, d);
    v128.store(to, h, 16);
  }
  if (at >= wide) return;
  let a = v128.load(bias + at);
  let b = a;
  let c = a;
  let d = a;
  let weight = weights + at;
  for (let y = 0; y < down; y++) {
    let number = load<usize>(rows + ((<usize>y) << 2)) + offset;
    const end = number + long;
    let other = number + (step << 1);
    for (; number < end; number += 4) {
      const low = v128.load(weight);
      a = f32x4.add(a, f32x4.mul(v128.load_splat<f32>(number), low));
      b = f32x4.add(b, f32x4.mul(v128.load_splat<f32>(number + step), low));
      c = f32x4.add(c, f32x4.mul(v128.load_splat<f32>(other), low));
      d = f32x4.add(d, f32x4.mul(v128.load_splat<f32>(other + step), low));
      other += 4;
      weight += wide;
    }
  }
  let to = out + at;
  v128.store(to, a);
  v128.store(to + wide, b);
  to += wide << 1;
  v128.store(to, c);
  v128.store(to + wide, d);
}

/**
 * The same for windows of which each channel is weighed for itself: `rows` holds the addresses of the window's rows,
 * `stride` the bytes of a pixel, `step` those from one window to the next. Reads and writes up to twelve bytes beyond
 * the last channel, where the next pixel's come later.
 */
export function weighWindows(
  rows: usize,
  weights: usize,
  bias: usize,
  out: usize,
  pixels: i32,
  across: i32,
  down: i32,
  stride: i32,
  step: i32,
): void {
  const wide = <usize>stride;
  let offset: usize = 0;
  for (let pixel = 0; pixel < pixels; pixel++) {
    for (let at: usize = 0; at < wide; at += 16) {
      let sum = v128.load(bias + at);
      let weight = weights + at;
      for (let y = 0; y < down; y++) {
        let number = load<usize>(rows + ((<usize>y) << 2)) + offset + at;
        for (let x = 0; x < across; x++) {
          sum = f32x4.add(sum, f32x4.mul(v128.load(number), v128.load(weight)));
          number += wide;
          weight += wide;
        }
      }
      v128.store(out + at, sum);
    }
    out += wide;
    offset += <usize>step;
  }
}

/** `count` numbers of 32 bits, each the sum of two, in groups of four; the result may lie where one of them does. */
export function addNumbers(a: usize, b: usize, out: usize, count: i32): void {
  const end = out + ((<usize>count) << 2);
  while (out < end) {
    v128.store(out, f32x4.add(v128.load(a), v128.load(b)));
    a += 16;
    b += 16;
    out += 16;
  }
}

/** `count` numbers of 32 bits between 0 and `most`, in place, in groups of four. */
export function boundNumbers(at: usize, count: i32, most: f32): void {
  const end = at + ((<usize>count) << 2);
  const least = f32x4.splat(0);
  const greatest = f32x4.splat(most);
  for (; at < end; at += 16) v128.store(at, f32x4.min(greatest, f32x4.max(least, v128.load(at))));
}

/** A row of 32-bit floats times a weight onto another one, summed with 64 bits and rounded to 32. */
export function addWeighted(target: usize, values: usize, weight: f64, count: i32): void {
  const factor = f64x2.splat(weight);
  const last = target + ((<usize>(count & ~3)) << 2);
  while (target < last) {
    const old = v128.load(target);
    const more = v128.load(values);
    const low = f64x2.add(f64x2.promote_low_f32x4(old), f64x2.mul(factor, f64x2.promote_low_f32x4(more)));
    const high = f64x2.add(
      f64x2.promote_low_f32x4(v128.shuffle<i64>(old, old, 1, 1)),
      f64x2.mul(factor, f64x2.promote_low_f32x4(v128.shuffle<i64>(more, more, 1, 1))),
    );
    v128.store(target, v128.shuffle<i64>(f32x4.demote_f64x2_zero(low), f32x4.demote_f64x2_zero(high), 0, 2));
    target += 16;
    values += 16;
  }
  const end = target + ((<usize>(count & 3)) << 2);
  while (target < end) {
    store<f32>(target, <f32>(<f64>load<f32>(target) + weight * <f64>load<f32>(values)));
    target += 4;
    values += 4;
  }
}

/**
 * Colours of a row of samples by dose: `perDot` samples for each of `cells` dots, whose `answers` turn a dose into an
 * entry of the table of `entries` colours (four 32-bit floats each, three used) and whose `shades` scale it, to 1 at
 * most. Writes three floats a sample, and one beyond the last.
 */
export function colourDoses(
  doses: usize,
  answers: usize,
  shades: usize,
  table: usize,
  out: usize,
  cells: i32,
  perDot: i32,
  entries: i32,
): void {
  const one = f32x4.splat(1);
  const most = entries - 1;
  for (let cell = 0; cell < cells; cell++) {
    const perDose = <f64>load<f32>(answers);
    const shade = v128.load_splat<f32>(shades);
    const end = doses + ((<usize>perDot) << 2);
    while (doses < end) {
      const entry = min(<i32>(<f64>load<f32>(doses) * perDose + 0.5), most);
      v128.store(out, f32x4.min(one, f32x4.mul(v128.load(table + ((<usize>entry) << 4)), shade)));
      doses += 4;
      out += 12;
    }
    answers += 4;
    shades += 4;
  }
}

/**
 * Means of three channels over runs of samples, one run a pixel: its first and last sample, 32-bit whole numbers, at
 * `ends`, what these two count at `shares`, 64-bit floats, `length` the samples a pixel in all. Reads one float beyond
 * the last sample and writes one beyond the last pixel.
 */
export function averageRuns(row: usize, ends: usize, shares: usize, length: f64, out: usize, pixels: i32): void {
  const whole = f64x2.splat(length);
  for (let pixel = 0; pixel < pixels; pixel++) {
    let at = row + <usize>load<i32>(ends) * 12;
    const last = row + <usize>load<i32>(ends, 4) * 12;
    let values = v128.load(at);
    let share = v128.load_splat<f64>(shares);
    let redGreen = f64x2.mul(share, f64x2.promote_low_f32x4(values));
    let blue = f64x2.mul(share, f64x2.promote_low_f32x4(v128.shuffle<i64>(values, values, 1, 1)));
    for (at += 12; at < last; at += 12) {
      values = v128.load(at);
      redGreen = f64x2.add(redGreen, f64x2.promote_low_f32x4(values));
      blue = f64x2.add(blue, f64x2.promote_low_f32x4(v128.shuffle<i64>(values, values, 1, 1)));
    }
    if (at == last) {
      values = v128.load(at);
      share = v128.load_splat<f64>(shares + 8);
      redGreen = f64x2.add(redGreen, f64x2.mul(share, f64x2.promote_low_f32x4(values)));
      blue = f64x2.add(blue, f64x2.mul(share, f64x2.promote_low_f32x4(v128.shuffle<i64>(values, values, 1, 1))));
    }
    redGreen = f32x4.demote_f64x2_zero(f64x2.div(redGreen, whole));
    blue = f32x4.demote_f64x2_zero(f64x2.div(blue, whole));
    v128.store(out, v128.shuffle<i64>(redGreen, blue, 0, 2));
    ends += 8;
    shares += 16;
    out += 12;
  }
}

/**
 * Weighted sums along a row of 32-bit floats whose neighbours lie `stride` floats apart, of `taps` 64-bit weights, the
 * row's first for the first float; two floats a step.
 */
export function blurStrided(row: usize, weights: usize, taps: i32, stride: i32, out: usize, count: i32): void {
  const end = out + ((<usize>count) << 2);
  const step = (<usize>stride) << 2;
  const last = weights + ((<usize>taps) << 3);
  while (out < end) {
    let sum = f64x2.splat(0);
    let from = row;
    for (let weight = weights; weight < last; weight += 8) {
      const values = f64x2.promote_low_f32x4(v128.load_zero<u64>(from));
      sum = f64x2.add(sum, f64x2.mul(v128.load_splat<f64>(weight), values));
      from += step;
    }
    v128.store_lane<u64>(out, f32x4.demote_f64x2_zero(sum), 0);
    row += 8;
    out += 8;
  }
}

/**
 * The greatest of each channel in windows side by side, laid out as for `weighWindows`. Reads and writes up to twelve
 * bytes beyond the last channel.
 */
export function takeGreatest(
  rows: usize,
  out: usize,
  count: i32,
  across: i32,
  down: i32,
  stride: i32,
  step: i32,
): void {
  const wide = <usize>stride;
  let offset: usize = 0;
  for (let window = 0; window < count; window++) {
    for (let at: usize = 0; at < wide; at += 16) {
      let most = f32x4.splat(-f32.MAX_VALUE);
      for (let y = 0; y < down; y++) {
        let number = load<usize>(rows + ((<usize>y) << 2)) + offset + at;
        for (let x = 0; x < across; x++) {
          most = f32x4.max(most, v128.load(number));
          number += wide;
        }
      }
      v128.store(out + at, most);
    }
    out += wide;
    offset += <usize>step;
  }
}

/**
 * The first rows of the windows of `count` rows of a result: `rows` gets their addresses, `down` each, `dy` rows
 * apart, the first `top` above the picture of `height` rows of `room` bytes at `from`, behind which one of zeros
 * lies.
 */
export function findRows(
  from: usize,
  rows: usize,
  room: i32,
  height: i32,
  count: i32,
  down: i32,
  dy: i32,
  top: i32,
): void {
  for (let y = 0; y < count; y++) {
    for (let ky = 0; ky < down; ky++) {
      const row = y * dy - top + ky;
      store<usize>(rows, from + <usize>(room * (row >= 0 && row < height ? row : height)));
      rows += 4;
    }
  }
}

/** Addresses of rows, moved by so many bytes. */
export function moveRows(rows: usize, down: i32, by: i32): void {
  for (let y = 0; y < down; y++) {
    store<usize>(rows, load<usize>(rows) + <usize>by);
    rows += 4;
  }
}

/**
 * Rows of `long` bytes laid out anew in rows of `room` bytes, `left` of zeros before each, and a row of zeros behind.
 */
export function padRows(from: usize, out: usize, height: i32, long: i32, left: i32, room: i32): void {
  for (let y = 0; y < height; y++) {
    memory.fill(out, 0, <usize>left);
    memory.copy(out + <usize>left, from, <usize>long);
    memory.fill(out + <usize>(left + long), 0, <usize>(room - left - long));
    from += <usize>long;
    out += <usize>room;
  }
  memory.fill(out, 0, <usize>room);
}

/**
 * Pixels in a row, each of which becomes `across` columns and `down` rows of `line` bytes: `from` holds their numbers
 * by channel, row and column.
 */
export function spreadRow(
  from: usize,
  out: usize,
  pixels: i32,
  across: i32,
  down: i32,
  channels: i32,
  line: i32,
): void {
  const wide = (<usize>channels) << 2;
  for (let pixel = 0; pixel < pixels; pixel++) {
    for (let channel: usize = 0; channel < wide; channel += 4) {
      for (let y = 0; y < down; y++) {
        let to = out + <usize>(y * line) + channel;
        for (let x = 0; x < across; x++) {
          store<u32>(to, load<u32>(from));
          from += 4;
          to += wide;
        }
      }
    }
    out += wide * <usize>across;
  }
}

/** Sums of each channel of pixels in a row, added to those that there are; whole groups of four. */
export function addPixels(from: usize, sums: usize, pixels: i32, stride: i32): void {
  for (let at: usize = 0; at < <usize>stride; at += 16) {
    let sum = v128.load(sums + at);
    let number = from + at;
    for (let pixel = 0; pixel < pixels; pixel++) {
      sum = f32x4.add(sum, v128.load(number));
      number += <usize>stride;
    }
    v128.store(sums + at, sum);
  }
}

/** Pixels in a row, each channel times a number of its own; whole groups of four. */
export function scalePixels(from: usize, factors: usize, out: usize, pixels: i32, stride: i32): void {
  for (let pixel = 0; pixel < pixels; pixel++) {
    for (let at: usize = 0; at < <usize>stride; at += 16) {
      v128.store(out + at, f32x4.mul(v128.load(from + at), v128.load(factors + at)));
    }
    from += <usize>stride;
    out += <usize>stride;
  }
}

/** `count` numbers x of 32 bits become x · min(6, max(0, x + 3)) / 6, in groups of four. */
export function bendNumbers(from: usize, out: usize, count: i32): void {
  const end = out + ((<usize>count) << 2);
  const zero = f32x4.splat(0);
  const three = f32x4.splat(3);
  const six = f32x4.splat(6);
  for (; out < end; out += 16) {
    const x = v128.load(from);
    v128.store(out, f32x4.div(f32x4.mul(x, f32x4.min(six, f32x4.max(zero, f32x4.add(x, three)))), six));
    from += 16;
  }
}

/** Pixels of `long` bytes laid out anew as pixels of `wide` bytes, with zeros behind. */
export function spacePixels(from: usize, out: usize, pixels: i32, long: i32, wide: i32): void {
  for (let pixel = 0; pixel < pixels; pixel++) {
    let at: usize = 0;
    for (; at < <usize>long; at += 4) store<u32>(out + at, load<u32>(from + at));
    for (; at < <usize>wide; at += 4) store<u32>(out + at, 0);
    from += <usize>long;
    out += <usize>wide;
  }
}

/**
 * One row between two rows of pixels, whole groups of four channels: for each pixel `columns` holds the bytes to its
 * left and right neighbour, and the shares of the left and of the right one; `high` and `low` are those of the rows.
 */
export function mixRow(
  upper: usize,
  lower: usize,
  columns: usize,
  out: usize,
  count: i32,
  stride: i32,
  high: f32,
  low: f32,
): void {
  const above = f32x4.splat(high);
  const below = f32x4.splat(low);
  for (let pixel = 0; pixel < count; pixel++) {
    const left = load<usize>(columns);
    const right = load<usize>(columns, 4);
    const first = v128.load_splat<f32>(columns, 8);
    const second = v128.load_splat<f32>(columns, 12);
    for (let at: usize = 0; at < <usize>stride; at += 16) {
      const top = f32x4.add(
        f32x4.mul(v128.load(upper + left + at), first),
        f32x4.mul(v128.load(upper + right + at), second),
      );
      const bottom = f32x4.add(
        f32x4.mul(v128.load(lower + left + at), first),
        f32x4.mul(v128.load(lower + right + at), second),
      );
      v128.store(out + at, f32x4.add(f32x4.mul(top, above), f32x4.mul(bottom, below)));
    }
    columns += 16;
    out += <usize>stride;
  }
}

/**
 * `count` numbers of 16 bits as numbers of 32 bits, exactly, in groups of four. May lie in the upper half of where the
 * result goes: each group is read before anything is written over it.
 */
export function widenHalves(from: usize, out: usize, count: i32): void {
  const end = out + ((<usize>count) << 2);
  // Exponents are biased by 15 and by 127: a product makes up for the difference, for the smallest numbers too.
  const scale = f32x4.splat(5.192296858534828e33);
  const beyond = f32x4.splat(65536);
  for (; out < end; out += 16) {
    const halves = v128.load_ext<u16>(from);
    from += 8;
    const sign = i32x4.shl(v128.and(halves, i32x4.splat(0x8000)), 16);
    const size = f32x4.mul(i32x4.shl(v128.and(halves, i32x4.splat(0x7fff)), 13), scale);
    const endless = v128.and(f32x4.ge(size, beyond), i32x4.splat(0x7f800000));
    v128.store(out, v128.or(v128.or(size, endless), sign));
  }
}

/** One output's `length` weights, each `stride` bytes behind the last. */
export function spreadWeights(from: usize, out: usize, length: i32, stride: i32): void {
  const end = from + ((<usize>length) << 2);
  for (; from < end; from += 4) {
    store<u32>(out, load<u32>(from));
    out += <usize>stride;
  }
}

/**
 * One row of a square of a picture, three numbers a pixel: `scale` times the sum of the codes at points × points
 * places, and `offset`. `rows` and `columns` hold the bytes to each line and to each place in it; below 0 lies
 * nothing.
 */
export function cutRow(
  rgb: usize,
  rows: usize,
  columns: usize,
  out: usize,
  count: i32,
  points: i32,
  scale: f32,
  offset: f32,
): void {
  const many = (<usize>points) << 2;
  for (let pixel = 0; pixel < count; pixel++) {
    let red = 0;
    let green = 0;
    let blue = 0;
    for (let y: usize = 0; y < many; y += 4) {
      const line = load<i32>(rows + y);
      if (line < 0) continue;
      for (let x: usize = 0; x < many; x += 4) {
        const place = load<i32>(columns + x);
        if (place < 0) continue;
        const at = rgb + <usize>(line + place);
        red += <i32>load<u8>(at);
        green += <i32>load<u8>(at, 1);
        blue += <i32>load<u8>(at, 2);
      }
    }
    store<f32>(out, <f32>red * scale + offset);
    store<f32>(out, <f32>green * scale + offset, 4);
    store<f32>(out, <f32>blue * scale + offset, 8);
    columns += many;
    out += 12;
  }
}

/**
 * The same straight between pixel centres: `columns` holds for each pixel the bytes to its left and right neighbour,
 * and the shares of both; `upper` and `lower` are the bytes to the two lines, `above` and `below` their shares. Where
 * a line or a place is below 0 lies nothing.
 */
export function mixCodes(
  rgb: usize,
  upper: i32,
  lower: i32,
  columns: usize,
  out: usize,
  count: i32,
  above: f32,
  below: f32,
  scale: f32,
  offset: f32,
): void {
  const end = out + 12 * <usize>count;
  for (; out < end; columns += 16) {
    const left = load<i32>(columns);
    const right = load<i32>(columns, 4);
    const first = load<f32>(columns, 8);
    const second = load<f32>(columns, 12);
    const isInside = upper >= 0 && left >= 0;
    for (let c = 0; c < 3; c++) {
      let sum: f32 = 0;
      if (isInside) {
        const top = rgb + <usize>(upper + c);
        const bottom = rgb + <usize>(lower + c);
        sum =
          (<f32>load<u8>(top + <usize>left) * first + <f32>load<u8>(top + <usize>right) * second) * above +
          (<f32>load<u8>(bottom + <usize>left) * first + <f32>load<u8>(bottom + <usize>right) * second) * below;
      }
      store<f32>(out, sum * scale + offset);
      out += 4;
    }
  }
}
