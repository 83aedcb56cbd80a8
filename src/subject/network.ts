import { AppError } from '../errors.ts';
import { activate, LAYERS, type Layer } from './layers.ts';
import { type Arithmetic, openWorkspace, roomOfGroups } from './products.ts';
import type { Shape, Tensor } from './tensor.ts';

interface Step {
  readonly layer: Layer;
  /** Places of the tensors; −1 for one that is left out. */
  readonly from: readonly number[];
  readonly to: number;
  readonly shape: readonly number[];
  /** Places whose numbers nobody asks for after this step. */
  readonly done: readonly number[];
  /** Number at a place of the step's options, the default where the file leaves it out. */
  readonly option: (place: number, kind: 'byte' | 'word') => number;
}

/** A small neural network, read from its file: what is computed, in sequence, and the numbers it was trained to. */
export interface Network {
  readonly input: {
    readonly index: number;
    readonly width: number;
    readonly height: number;
    readonly channels: number;
  };
  readonly outputs: readonly { readonly index: number; readonly name: string }[];
  readonly steps: readonly Step[];
  readonly constants: ReadonlyMap<number, Constant>;
  /** Where its numbers lie, laid out at the first pass: fresh memory costs as much time as the sums. */
  readonly rooms: Map<'simd' | 'scalar', Room>;
}

/** Numbers of the file, as they stand there. */
interface Constant extends Shape {
  readonly bytes: Uint8Array;
  readonly type: number;
}

/** All numbers of a network in one memory. */
interface Room {
  readonly arithmetic: Arithmetic;
  readonly tensors: ReadonlyMap<number, Tensor>;
  /** What is computed, in sequence. */
  readonly runs: readonly (() => void)[];
}

/** Kinds of numbers in a file, by their numbers. Format: `tensorflowLite`, enum TensorType. */
const FLOAT32 = 0;
const FLOAT16 = 1;
const INT32 = 2;
/**
 * Numbers of the step that turns 16-bit constants into 32-bit ones, done when the file is read, and of a step that has
 * a name instead. Format: enum BuiltinOperator.
 */
const DEQUANTIZE = 6;
const CUSTOM = 32;

/**
 * Reads a network in the TensorFlow Lite format (`tensorflowLite`, a FlatBuffer of schema version 3) as far as the
 * models of `models.ts` use it: 16 and 32-bit floats, one input, one picture at a time.
 * @throws AppError file-invalid for a step or a kind of numbers that is not known here
 */
export function readNetwork(bytes: Uint8Array, name: string): Network {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const fail = (found: string) =>
    new AppError('file-invalid', `${name}: found ${found}, needed a network that this version computes`, { name });
  try {
    return readGraph(view, fail);
  } catch (error) {
    if (error instanceof RangeError) throw fail('a file that is cut off');
    throw error;
  }
}

function readGraph(view: DataView, fail: (found: string) => AppError): Network {
  // Tables of the schema by the numbers of their fields: Model 1 operator_codes, 2 subgraphs, 4 buffers.
  const read = openTables(view);
  const root = view.getUint32(0, true);
  const codes = read.tables(root, 1).map((code) => {
    const builtin = Math.max(read.byte(code, 0), read.word(code, 3));
    return builtin === CUSTOM ? read.text(code, 1) : String(builtin);
  });
  const buffers = read.tables(root, 4);
  const [graph] = read.tables(root, 2);
  if (!graph) throw fail('no graph');
  const tensors = read.tables(graph, 0).map((tensor) => ({
    shape: read.words(tensor, 0),
    type: read.byte(tensor, 1),
    buffer: read.word(tensor, 2),
    name: () => read.text(tensor, 3),
  }));
  const constants = new Map<number, Constant>();
  const wideOf = new Map<number, number>();
  tensors.forEach(({ shape, type, buffer }, index) => {
    const bytes = read.bytes(buffers[buffer] ?? 0, 0);
    if (bytes.byteLength === 0) return;
    if (type !== FLOAT32 && type !== FLOAT16 && type !== INT32) throw fail(`numbers of kind ${type}`);
    constants.set(index, { ...spread(shape), bytes, type });
  });
  const steps: Omit<Step, 'done'>[] = [];
  for (const operator of read.tables(graph, 3)) {
    const code = codes[read.word(operator, 0)]!;
    const from = read.words(operator, 1);
    const to = read.words(operator, 2)[0]!;
    if (code === String(DEQUANTIZE)) {
      const constant = constants.get(from[0]!);
      if (!constant) throw fail('16-bit numbers that are computed');
      constants.set(to, constant);
      wideOf.set(to, from[0]!);
      continue;
    }
    const layer = LAYERS[code];
    if (!layer) throw fail(`a step of kind ${code}`);
    const options = read.table(operator, 4);
    const option: Step['option'] = (place, kind) => read[kind](options, place);
    steps.push({ layer, from, to, shape: tensors[to]!.shape, option });
  }
  for (const index of wideOf.values()) constants.delete(index);
  const [index] = read.words(graph, 1);
  if (index === undefined) throw fail('no input');
  const { width, height, channels } = spread(tensors[index]!.shape);
  const outputs = read.words(graph, 2).map((at) => ({ index: at, name: tensors[at]!.name() }));
  const asked = new Set(outputs.map((output) => output.index));
  // From the last step back: what no later step asks for is done with.
  const ended = [...steps].reverse().map((step) => {
    const done = [...new Set(step.from)].filter((from) => from >= 0 && !asked.has(from) && !constants.has(from));
    for (const from of step.from) asked.add(from);
    return { ...step, done };
  });
  return {
    input: { index, width, height, channels },
    outputs,
    steps: ended.reverse(),
    constants,
    rooms: new Map(),
  };
}

/**
 * One pass of a network over one picture.
 * @param input rows, columns, channels, of the size that the network takes
 * @returns its outputs by name, until the next pass writes over them
 */
export function runNetwork(
  network: Network,
  input: Float32Array,
  { arithmetic = 'simd' }: { readonly arithmetic?: 'simd' | 'scalar' } = {},
): ReadonlyMap<string, Tensor> {
  const { width, height, channels } = network.input;
  if (input.length !== width * height * channels) {
    throw new RangeError(`the network takes ${width} × ${height} × ${channels} numbers, got ${input.length}`);
  }
  const room = network.rooms.get(arithmetic) ?? layOut(network, arithmetic);
  network.rooms.set(arithmetic, room);
  const { tensors, runs } = room;
  tensors.get(network.input.index)!.data.set(input);
  for (const run of runs) run();
  return new Map(network.outputs.map(({ index, name }) => [name, tensors.get(index)!]));
}

/** A place in the one memory for each tensor: the input, the constants, and the results, which share where they can. */
function layOut({ input, steps, constants }: Network, way: 'simd' | 'scalar'): Room {
  const sizes: number[] = [];
  const take = (size: number): number => sizes.push(size) - 1;
  const shapes = new Map<number, Shape>([[input.index, input], ...constants]);
  const places = new Map([...shapes].map(([index, shape]) => [index, take(sizeOf(shape))]));
  const grouped = new Map<number, { readonly place: number; readonly count: number }>();
  const spare: number[] = [];
  let most = 0;
  for (const { layer, from, to, shape, option, done } of steps) {
    const out = spread(shape);
    const inputs = from.filter((index) => index >= 0).map((index) => shapes.get(index)!);
    const results = done.filter((index) => index !== input.index);
    if (layer.countOutputs) {
      // Each output has as many weights as it takes numbers: its own window, or one pixel of a transposed step.
      const weights = from[1]!;
      const count = layer.countOutputs(shapes.get(from[0]!)!, out);
      grouped.set(weights, {
        place: take(roomOfGroups({ count, length: sizeOf(shapes.get(weights)!) / count })),
        count,
      });
    }
    // What goes number by number may be written over what it is made of.
    const own = layer.isInPlace ? results.find((index) => sizeOf(shapes.get(index)!) === sizeOf(out)) : undefined;
    const known = spare.findIndex((place) => sizes[place] === sizeOf(out));
    const place = own !== undefined ? places.get(own)! : known >= 0 ? spare.splice(known, 1)[0]! : take(sizeOf(out));
    spare.push(...results.filter((index) => index !== own).map((index) => places.get(index)!));
    shapes.set(to, out);
    places.set(to, place);
    most = Math.max(most, layer.roomOf?.(inputs, out, option) ?? 0);
  }
  const scratch = take(most);
  const { arithmetic, blocks } = openWorkspace(sizes, way);
  const tensors = new Map<number, Tensor>();
  for (const [index, { width, height, channels }] of shapes) {
    const data = blocks[places.get(index)!]!;
    const constant = constants.get(index);
    if (constant) readNumbers(constant, { to: data, arithmetic });
    const group = grouped.get(index);
    if (group) arithmetic.group(data, { count: group.count, out: blocks[group.place]! });
    tensors.set(index, { width, height, channels, data, ...(group ? { grouped: blocks[group.place]! } : {}) });
  }
  const runs = steps.map(({ layer, from, to, option }) => {
    const inputs = from.filter((index) => index >= 0).map((index) => tensors.get(index)!);
    const out = tensors.get(to)!;
    const tools = { option, arithmetic, scratch: blocks[scratch]! };
    return () => {
      const activation = layer.run(inputs, out, tools);
      if (activation !== undefined) activate(out.data, activation, arithmetic);
    };
  });
  return { arithmetic, tensors, runs };
}

const sizeOf = ({ width, height, channels }: Shape): number => width * height * channels;

/** Lists as rows of one picture: [1, 896, 16] has 896 columns of 16 channels. */
function spread(shape: readonly number[]): Shape {
  const [channels = 1, width = 1, height = 1, more = 1] = [...shape].reverse();
  return { channels, width, height: height * more };
}

function readNumbers(
  { bytes, type }: Constant,
  { to, arithmetic }: { readonly to: Float32Array; readonly arithmetic: Arithmetic },
): void {
  if (type === FLOAT16) {
    arithmetic.widen(bytes, to);
    return;
  }
  if (type === FLOAT32) {
    new Uint8Array(to.buffer, to.byteOffset, bytes.length).set(bytes);
    return;
  }
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  for (let i = 0; i < to.length; i++) to[i] = view.getInt32(4 * i, true);
}

/** Fields of a FlatBuffer's tables, each told by where it begins; 0 for a table that is not there. */
interface Tables {
  readonly byte: (table: number, field: number) => number;
  readonly word: (table: number, field: number) => number;
  readonly words: (table: number, field: number) => readonly number[];
  readonly text: (table: number, field: number) => string;
  readonly bytes: (table: number, field: number) => Uint8Array;
  readonly table: (table: number, field: number) => number;
  readonly tables: (table: number, field: number) => readonly number[];
}

/** Tables, lists and texts of a FlatBuffer: all offsets are 32-bit, little-endian, from where they stand. */
function openTables(view: DataView): Tables {
  const place = (table: number, field: number): number => {
    if (table === 0) return 0;
    const fields = table - view.getInt32(table, true);
    // The first two words of a table of fields are its own length and the table's: the fields' places follow.
    const entry = 4 + 2 * field;
    const offset = entry < view.getUint16(fields, true) ? view.getUint16(fields + entry, true) : 0;
    return offset === 0 ? 0 : table + offset;
  };
  const follow = (from: number): number => from + view.getUint32(from, true);
  const word = (table: number, field: number): number => {
    const found = place(table, field);
    return found === 0 ? 0 : view.getInt32(found, true);
  };
  /** Where a list lies, its length in the four bytes before; 0 for none. */
  const listAt = (table: number, field: number): number => {
    const found = place(table, field);
    return found === 0 ? 0 : follow(found) + 4;
  };
  const lengthOf = (list: number): number => (list === 0 ? 0 : view.getUint32(list - 4, true));
  const bytes = (table: number, field: number): Uint8Array => {
    const list = listAt(table, field);
    return new Uint8Array(view.buffer, view.byteOffset + list, lengthOf(list));
  };
  const words = (table: number, field: number): number[] => {
    const list = listAt(table, field);
    const found: number[] = [];
    for (let i = 0; i < lengthOf(list); i++) found.push(view.getInt32(list + 4 * i, true));
    return found;
  };
  return {
    byte: (table, field) => {
      const found = place(table, field);
      return found === 0 ? 0 : view.getInt8(found);
    },
    word,
    words,
    bytes,
    text: (table, field) => new TextDecoder().decode(bytes(table, field)),
    table: (table, field) => {
      const found = place(table, field);
      return found === 0 ? 0 : follow(found);
    },
    tables: (table, field) => {
      const list = listAt(table, field);
      return words(table, field).map((offset, i) => list + 4 * i + offset);
    },
  };
}
