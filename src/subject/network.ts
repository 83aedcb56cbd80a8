import { AppError } from '../errors.ts';
import { activate, LAYERS, type Layer } from './layers.ts';
import { type Arithmetic, groupWeights, openWorkspace, roomOfGroups } from './products.ts';
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
  readonly constants: ReadonlyMap<number, Tensor>;
  /** Where its numbers lie, laid out at the first pass: fresh memory costs as much time as the sums. */
  readonly rooms: Map<'simd' | 'scalar', Room>;
}

/** All numbers of a network in one memory. */
interface Room {
  readonly arithmetic: Arithmetic;
  readonly tensors: ReadonlyMap<number, Tensor>;
  readonly scratch: Float32Array;
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
  const table = openTables(view);
  const root = table.at(view.getUint32(0, true));
  const codes = root.tables(1).map((code) => {
    const builtin = Math.max(code.byte(0), code.word(3));
    return builtin === CUSTOM ? code.text(1) : String(builtin);
  });
  const buffers = root.tables(4);
  const [graph] = root.tables(2);
  if (!graph) throw fail('no graph');
  const tensors = graph.tables(0).map((tensor) => ({
    shape: tensor.words(0),
    type: tensor.byte(1),
    buffer: tensor.word(2),
    name: tensor.text(3),
  }));
  const constants = new Map<number, Tensor>();
  const wideOf = new Map<number, number>();
  tensors.forEach(({ shape, type, buffer }, index) => {
    const bytes = buffers[buffer]?.bytes(0);
    if (!bytes || bytes.byteLength === 0) return;
    if (type !== FLOAT32 && type !== FLOAT16 && type !== INT32) throw fail(`numbers of kind ${type}`);
    constants.set(index, { ...spread(shape), data: readNumbers(bytes, type) });
  });
  const steps: Omit<Step, 'done'>[] = [];
  for (const operator of graph.tables(3)) {
    const code = codes[operator.word(0)]!;
    const from = operator.words(1);
    const to = operator.words(2)[0]!;
    if (code === String(DEQUANTIZE)) {
      const constant = constants.get(from[0]!);
      if (!constant) throw fail('16-bit numbers that are computed');
      constants.set(to, constant);
      wideOf.set(to, from[0]!);
      continue;
    }
    const layer = LAYERS[code];
    if (!layer) throw fail(`a step of kind ${code}`);
    const options = operator.table(4);
    const option: Step['option'] = (place, kind) =>
      options === undefined ? 0 : kind === 'byte' ? options.byte(place) : options.word(place);
    steps.push({ layer, from, to, shape: tensors[to]!.shape, option });
  }
  for (const index of wideOf.values()) constants.delete(index);
  const [index] = graph.words(1);
  if (index === undefined) throw fail('no input');
  const { width, height, channels } = spread(tensors[index]!.shape);
  const outputs = graph.words(2).map((at) => ({ index: at, name: tensors[at]!.name }));
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
 * @returns its outputs by name; all of them cost one pass
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
  const { tensors, scratch } = room;
  tensors.get(network.input.index)!.data.set(input);
  for (const { layer, from, to, option } of network.steps) {
    const out = tensors.get(to)!;
    const inputs = from.filter((index) => index >= 0).map((index) => tensors.get(index)!);
    const activation = layer.run(inputs, out, { option, arithmetic: room.arithmetic, scratch });
    if (activation !== undefined) activate(out.data, activation, room.arithmetic);
  }
  // The next pass writes over what this one leaves.
  return new Map(
    network.outputs.map(({ index, name }) => {
      const { data, ...shape } = tensors.get(index)!;
      return [name, { ...shape, data: data.slice() }];
    }),
  );
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
    if (layer.isProduct) {
      const [weights, count] = [from[1]!, out.channels];
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
    if (constant) data.set(constant.data);
    const group = grouped.get(index);
    if (group) groupWeights(constant!, { count: group.count, out: blocks[group.place]! });
    tensors.set(index, { width, height, channels, data, ...(group ? { grouped: blocks[group.place]! } : {}) });
  }
  return { arithmetic, tensors, scratch: blocks[scratch]! };
}

const sizeOf = ({ width, height, channels }: Shape): number => width * height * channels;

/** Lists as rows of one picture: [1, 896, 16] has 896 columns of 16 channels. */
function spread(shape: readonly number[]): Shape {
  const [channels = 1, width = 1, height = 1, more = 1] = [...shape].reverse();
  return { channels, width, height: height * more };
}

function readNumbers(bytes: DataView, type: number): Float32Array {
  if (type === FLOAT16) return widen(bytes);
  const length = bytes.byteLength / 4;
  const out = new Float32Array(length);
  for (let i = 0; i < length; i++) {
    out[i] = type === FLOAT32 ? bytes.getFloat32(4 * i, true) : bytes.getInt32(4 * i, true);
  }
  return out;
}

/**
 * Numbers of 16 bits (`ieee754`, binary16: 1 sign, 5 exponent, 10 fraction) as those of 32 (1, 8, 23), exactly. Format:
 * the exponents are biased by 15 and by 127.
 */
function widen(halves: DataView): Float32Array {
  const length = halves.byteLength / 2;
  const out = new Float32Array(length);
  const bits = new Uint32Array(out.buffer);
  for (let i = 0; i < length; i++) {
    const half = halves.getUint16(2 * i, true);
    const exponent = (half >> 10) & 0x1f;
    // The smallest numbers have no exponent of their own.
    if (exponent === 0) out[i] = (half & 0x8000 ? -1 : 1) * (half & 0x3ff) * 2 ** -24;
    else {
      const wide = exponent === 31 ? 255 : exponent + 112;
      bits[i] = (((half & 0x8000) << 16) | (wide << 23) | ((half & 0x3ff) << 13)) >>> 0;
    }
  }
  return out;
}

interface Table {
  readonly byte: (field: number) => number;
  readonly word: (field: number) => number;
  readonly words: (field: number) => readonly number[];
  readonly text: (field: number) => string;
  readonly bytes: (field: number) => DataView;
  readonly table: (field: number) => Table | undefined;
  readonly tables: (field: number) => readonly Table[];
}

/** Tables, lists and texts of a FlatBuffer: all offsets are 32-bit, little-endian, from where they stand. */
function openTables(view: DataView): { readonly at: (start: number) => Table } {
  const at = (start: number): Table => {
    const fields = start - view.getInt32(start, true);
    const length = view.getUint16(fields, true);
    // The first two words of a table of fields are its own length and the table's: the fields' places follow.
    const place = (field: number) => {
      const entry = 4 + 2 * field;
      const offset = entry < length ? view.getUint16(fields + entry, true) : 0;
      return offset === 0 ? 0 : start + offset;
    };
    const follow = (from: number) => from + view.getUint32(from, true);
    const list = (field: number) => {
      const found = place(field);
      if (found === 0) return { from: 0, count: 0 };
      const from = follow(found);
      return { from: from + 4, count: view.getUint32(from, true) };
    };
    const bytes = (field: number) => {
      const { from, count } = list(field);
      return new DataView(view.buffer, view.byteOffset + from, count);
    };
    return {
      byte: (field) => (place(field) === 0 ? 0 : view.getInt8(place(field))),
      word: (field) => (place(field) === 0 ? 0 : view.getInt32(place(field), true)),
      words: (field) => {
        const { from, count } = list(field);
        return Array.from({ length: count }, (_, i) => view.getInt32(from + 4 * i, true));
      },
      bytes,
      text: (field) => new TextDecoder().decode(bytes(field)),
      table: (field) => (place(field) === 0 ? undefined : at(follow(place(field)))),
      tables: (field) => {
        const { from, count } = list(field);
        return Array.from({ length: count }, (_, i) => at(follow(from + 4 * i)));
      },
    };
  };
  return { at };
}
