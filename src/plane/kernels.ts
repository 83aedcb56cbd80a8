import { existsSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { getEnvironmentData, setEnvironmentData } from 'node:worker_threads';
import { AppError } from '../errors.ts';

/**
 * The machine code that Tonewright uses, both loaded at first use: the image library, and the WebAssembly kernels.
 * `tonewright --help` then pays for neither.
 */

type Sharp = typeof import('sharp')['default'];

let sharp: Sharp | undefined;

/**
 * The only formats that the library may open, by its own names of what loads them: whatever a file says of itself, no
 * drawing, document or film is ever interpreted.
 */
const LOADERS = [
  'VipsForeignLoadJpeg',
  'VipsForeignLoadPng',
  'VipsForeignLoadTiff',
  'VipsForeignLoadWebp',
  'VipsForeignLoadHeif',
] as const;

/** What a thread passes on to those that it starts: that the library's loaders are limited. */
const ARE_LIMITED = 'tonewright-loaders-limited';

/**
 * Which formats the library may open holds for the whole process, and for a moment while it is set none are: a thread
 * that set it again would take a photo from under another that is being opened. So it is set before there are threads.
 */
export function limitLoaders(): void {
  loadSharp();
}

/**
 * The image library. By `require`, since its ES module costs 80 ms more to load; without its cache, which would keep
 * decoded photographs in memory; on one thread, since a worker pool above is the better use of the cores.
 */
export function loadSharp(): Sharp {
  if (sharp === undefined) {
    const loaded = requireSharp(createRequire(import.meta.url));
    loaded.cache(false);
    loaded.concurrency(1);
    if (getEnvironmentData(ARE_LIMITED) !== true) {
      loaded.block({ operation: ['VipsForeignLoad'] });
      loaded.unblock({ operation: [...LOADERS] });
      setEnvironmentData(ARE_LIMITED, true);
    }
    sharp = loaded;
  }
  return sharp;
}

/**
 * Lets the library draw SVG from now on. Only drawings that were looked through come to it as such: a photo is told by
 * its first bytes before it is opened, and by what the library says of it afterwards.
 */
export function unblockDrawings(): void {
  loadSharp().unblock({ operation: ['VipsForeignLoadSvg'] });
}

/** From the one file that the build makes of it, which loads 15 ms sooner; as it is where that file cannot be used. */
function requireSharp(require: NodeJS.Require): Sharp {
  const root = findPackageRoot();
  const bundle = root === undefined ? '' : join(root, 'dist', 'image-library.cjs');
  if (existsSync(bundle)) {
    try {
      return require(bundle) as Sharp;
    } catch {
      // Its machine code lies elsewhere: the library itself knows where, or says what is missing.
    }
  }
  try {
    return require('sharp') as Sharp;
  } catch (error) {
    const reason = error instanceof Error ? error.message.split('\n', 1)[0]! : String(error);
    throw new AppError(
      'image-library-missing',
      `found no image library for this computer (${process.platform}-${process.arch}), needed the one that is installed along with Tonewright: ${reason}`,
    );
  }
}

/** What src/plane/assembly/kernels.ts and search.ts there export; all arguments are bytes addresses or counts. */
export interface Kernels {
  readonly memory: WebAssembly.Memory;
  heapStart(): number;
  luminanceRgb8(rgb: number, tables: number, out: number, count: number): void;
  luminanceGrey8(grey: number, table: number, out: number, count: number): void;
  luminanceRgb16(
    rgb: number,
    table: number,
    out: number,
    count: number,
    red: number,
    green: number,
    blue: number,
  ): void;
  luminanceGrey16(grey: number, table: number, out: number, count: number): void;
  premultiply(row: number, alpha: number, shares: number, count: number): void;
  filterRows(pairs: number, taps: number, pairCount: number, out: number, count: number): void;
  filterColumns(
    row: number,
    starts: number,
    taps: number,
    groups: number,
    out: number,
    count: number,
    overshoot: number,
  ): void;
  boundRow(above: number, below: number, row: number, count: number): void;
  boundColumns(row: number, lefts: number, rights: number, out: number, count: number, overshoot: number): void;
  packRows(dots: number, bits: number, count: number, rows: number, lead: number, flip: number): void;
  countSamples(samples: number, counts: number, count: number): void;
  scanDots(dots: number, found: number, count: number): void;
  mapSamples(from: number, table: number, out: number, count: number): void;
  addMapped(row: number, table: number, target: number, count: number): void;
  addStrength(
    next: number,
    column: number,
    strength: number,
    target: number,
    count: number,
    columns: number,
    rows: number,
  ): void;
  addStrength9(next: number, column: number, strength: number, target: number, count: number): void;
  floydSteinbergRow(
    asked: number,
    fires: number,
    errors: number,
    count: number,
    step: number,
    behindShare: number,
  ): void;
  markRow(
    asked: number,
    fires: number,
    errors: number,
    columns: number,
    table: number,
    count: number,
    step: number,
    behindShare: number,
    rowsAbove: number,
    sides: number,
    behindBits: number,
    most: number,
    levels: number,
  ): void;
  variableRow(
    asked: number,
    fires: number,
    incoming: number,
    outgoing: number,
    columns: number,
    table: number,
    rows: number,
    weights: number,
    count: number,
    step: number,
    rowsAbove: number,
    sides: number,
    behindBits: number,
    most: number,
    mostHeld: number,
    levels: number,
  ): void;
  toneRow(
    samples: number,
    out: number,
    fields: number,
    stride: number,
    cells: number,
    count: number,
    dotsPerCell: number,
    way: number,
    lines: number,
    tables: number,
    details: number,
    middle: number,
    detailSteps: number,
    codesPerL: number,
    places: number,
  ): void;
  addCells(samples: number, table: number, sums: number, count: number, dotsPerCell: number): void;
  endCells(sums: number, out: number, count: number, dotsPerCell: number, rows: number): void;
  countNumbers(from: number, counts: number, count: number, steps: number): void;
  coarsenRows(from: number, stride: number, count: number, rows: number, by: number, out: number): void;
  refineRow(
    upper: number,
    lower: number,
    way: number,
    row: number,
    coarse: number,
    lefts: number,
    ways: number,
    out: number,
    count: number,
  ): void;
  respondBlocks(from: number, stride: number, gap: number, count: number, out: number): void;
  alongLines(values: number, gain: number, offset: number, count: number): void;
  chainLines(offset: number, gain: number, firstOffset: number, firstGain: number, count: number): void;
  multiplyNumbers(a: number, b: number, count: number): void;
  calmWindows(squares: number, means: number, table: number, mostShare: number, count: number): void;
  blurAlong(row: number, taps: number, radius: number, out: number, count: number): void;
  blurAcross(rows: number, taps: number, rowCount: number, out: number, count: number): void;
  windowAlong(row: number, radius: number, out: number, count: number): void;
  windowAcross(below: number, above: number, sums: number, rows: number, out: number, count: number): void;
  blurPairs(rows: number, taps: number, radius: number, out: number, count: number): void;
  blurWholes(row: number, taps: number, radius: number, out: number, count: number): void;
  blurWholeRows(rows: number, taps: number, radius: number, out: number, count: number): void;
  addChange(
    seen: number,
    stride: number,
    change: number,
    changeStride: number,
    bytes: number,
    rows: number,
    taps: number,
    radius: number,
  ): void;
  openBand(
    width: number,
    height: number,
    first: number,
    last: number,
    top: number,
    stride: number,
    pad: number,
    dots: number,
    index: number,
    near: number,
    strength: number,
  ): void;
  openNearEye(
    tapsX: number,
    reachX: number,
    tapsY: number,
    reachY: number,
    boxX: number,
    boxY: number,
    change: number,
    changeBytes: number,
  ): void;
  openFarEye(
    cellsAcross: number,
    cellTop: number,
    cellRows: number,
    firstX: number,
    sharesX: number,
    firstY: number,
    sharesY: number,
    tapsX: number,
    reachX: number,
    tapsY: number,
    reachY: number,
    sums: number,
    far: number,
    spread: number,
  ): void;
  openMoves(moves: number, blocksAcross: number, due: number, dueNext: number, counts: number): void;
  searchBlocks(blockY: number): void;
  multiplyWindows(
    rows: number,
    weights: number,
    bias: number,
    out: number,
    count: number,
    down: number,
    long: number,
    step: number,
    wide: number,
    stride: number,
  ): void;
  weighWindows(
    rows: number,
    weights: number,
    bias: number,
    out: number,
    pixels: number,
    across: number,
    down: number,
    stride: number,
    step: number,
  ): void;
  addNumbers(a: number, b: number, out: number, count: number): void;
  boundNumbers(at: number, count: number, most: number): void;
  addWeighted(target: number, values: number, weight: number, count: number): void;
  colourDoses(
    doses: number,
    answers: number,
    shades: number,
    table: number,
    out: number,
    cells: number,
    perDot: number,
    entries: number,
  ): void;
  averageRuns(row: number, ends: number, shares: number, length: number, out: number, pixels: number): void;
  blurStrided(row: number, weights: number, taps: number, stride: number, out: number, count: number): void;
  takeGreatest(
    rows: number,
    out: number,
    count: number,
    across: number,
    down: number,
    stride: number,
    step: number,
  ): void;
  findRows(
    from: number,
    rows: number,
    room: number,
    height: number,
    count: number,
    down: number,
    dy: number,
    top: number,
  ): void;
  moveRows(rows: number, down: number, by: number): void;
  padRows(from: number, out: number, height: number, long: number, left: number, room: number): void;
  spreadRow(
    from: number,
    out: number,
    pixels: number,
    across: number,
    down: number,
    channels: number,
    line: number,
  ): void;
  addPixels(from: number, sums: number, pixels: number, stride: number): void;
  scalePixels(from: number, factors: number, out: number, pixels: number, stride: number): void;
  bendNumbers(from: number, out: number, count: number): void;
  spacePixels(from: number, out: number, pixels: number, long: number, wide: number): void;
  mixRow(
    upper: number,
    lower: number,
    columns: number,
    out: number,
    count: number,
    stride: number,
    high: number,
    low: number,
  ): void;
  widenHalves(from: number, out: number, count: number): void;
  spreadWeights(from: number, out: number, length: number, stride: number): void;
  cutRow(
    rgb: number,
    rows: number,
    columns: number,
    out: number,
    count: number,
    points: number,
    scale: number,
    offset: number,
  ): void;
  mixCodes(
    rgb: number,
    upper: number,
    lower: number,
    columns: number,
    out: number,
    count: number,
    above: number,
    below: number,
    scale: number,
    offset: number,
  ): void;
}

let compiled: WebAssembly.Module | null | undefined;

/**
 * Instances that were given back, for whoever needs one next: a new one takes half a millisecond and 10 GiB of
 * addresses, and a process has addresses for 12 800 of them, all its threads together, until garbage is collected.
 */
const idle: Kernels[] = [];
/** So many are kept, a count, of so many bytes each at most. Assumed: what one step of a job has at a time. */
const MOST_IDLE = 4;
const MOST_IDLE_BYTES = 4 * 2 ** 20;
/** Those whose memory is no longer all zeros. */
const used = new WeakSet<Kernels>();

/**
 * An instance of the kernels, with a memory of its own that goes when the instance goes; undefined when they were
 * not built or when the engine lacks SIMD, and then the plain versions serve, with the same bits.
 */
export function loadKernels(): Kernels | undefined {
  const again = idle.pop();
  if (again) return again;
  if (compiled === undefined) compiled = compileKernels();
  if (compiled === null) return undefined;
  const { exports } = new WebAssembly.Instance(compiled, { env: { abort: refuse } });
  return exports as unknown as Kernels;
}

/** Lets go of an instance whose memory nobody looks at any more; one that is not given back goes as garbage does. */
export function giveBackKernels(kernels: Kernels | undefined): void {
  if (!kernels || idle.length >= MOST_IDLE || kernels.memory.buffer.byteLength > MOST_IDLE_BYTES) return;
  used.add(kernels);
  idle.push(kernels);
}

/**
 * Room for buffers of so many bytes each in the memory of the kernels, which grows as needed: their addresses,
 * multiples of 16; all zeros. Each call lays out the whole memory anew, so a view is taken after it and one instance
 * serves one purpose at a time.
 */
export function reserveBuffers(kernels: Kernels, bytes: readonly number[]): number[] {
  let end = kernels.heapStart();
  const addresses = bytes.map((size) => {
    const at = end;
    end = (end + size + 15) & ~15;
    return at;
  });
  const pages = Math.ceil(end / 65536) - kernels.memory.buffer.byteLength / 65536;
  if (used.has(kernels)) new Uint8Array(kernels.memory.buffer, kernels.heapStart()).fill(0);
  if (pages > 0) kernels.memory.grow(pages);
  return addresses;
}

function compileKernels(): WebAssembly.Module | null {
  const root = findPackageRoot();
  const path = root === undefined ? undefined : join(root, 'dist', 'kernels.wasm');
  if (path === undefined || !existsSync(path)) return null;
  const bytes = readFileSync(path);
  return WebAssembly.validate(bytes) ? new WebAssembly.Module(bytes) : null;
}

function refuse(): never {
  throw new RangeError('a kernel was called with impossible arguments');
}

/** The folder of Tonewright's own package.json, seen from the source tree and from the built bundle alike. */
export function findPackageRoot(): string | undefined {
  let folder = dirname(fileURLToPath(import.meta.url));
  for (;;) {
    const manifest = join(folder, 'package.json');
    if (existsSync(manifest) && /"name": *"tonewright"/.test(readFileSync(manifest, 'utf8'))) return folder;
    const above = dirname(folder);
    if (above === folder) return undefined;
    folder = above;
  }
}
