import { useEffect, useRef, useState } from 'preact/hooks';
import type { PhotoSettings, PredictionJson } from '../../protocol.ts';
import { drawMask, getMask, keepMask } from '../api.ts';
import type { Crop } from './crop.tsx';
import { turnOf, zoomOf } from './frame.ts';

/** A place on the photo as it came, shares of its width and height. */
export interface Spot {
  readonly x: number;
  readonly y: number;
}

/** Paints the subject onto the backdrop, or the backdrop onto the subject. */
export type Tool = 'add' | 'take';

/** The mask of a photo and the brush on it. */
export interface Mask {
  /** Whether the stage paints now. */
  readonly isOn: boolean;
  readonly turnOn: (on: boolean) => void;
  /** The mask is on the sheet, and strokes are taken. */
  readonly isReady: boolean;
  /** What is the subject's is clear, what is the backdrop's is tinted: what a hand paints on. */
  readonly sheet: HTMLCanvasElement;
  readonly tool: Tool;
  readonly chooseTool: (tool: Tool) => void;
  /** Its diameter on the piece. */
  readonly brushMm: number;
  readonly chooseBrush: (mm: number) => void;
  /** Begins with a dab. @param width of the brush, a share of the photo's width */
  readonly begin: (at: Spot, width: number) => void;
  readonly go: (to: Spot) => void;
  /** The stroke is done and goes to the shop. */
  readonly end: () => void;
  /** It was none: a second finger came, for another purpose. */
  readonly drop: () => void;
}

export interface MaskOptions {
  /** Where the mask is kept: the address of a job, or of a piece of an order. */
  readonly path: string;
  readonly wish: PhotoSettings;
  readonly onPainted: (mask: string) => void;
  readonly onProblem: (error: unknown) => void;
}

/** Tint of the backdrop, sRGB codes. Assumed: no photo on a piece is of that colour, and none is as light or dark. */
const TINT = [214, 0, 108] as const;
/** First brush, a share of the piece's short side. Assumed: a head in two or three strokes. */
const FIRST_BRUSH = 0.12;

/**
 * What is the subject of a photo, painted by hand: it begins with what was found, and every stroke makes another mask,
 * which the shop keeps beside the photo and the wish names. So a stroke is taken back as every other change is.
 */
export function useMask({ path, wish, onPainted, onProblem }: MaskOptions): Mask {
  const [isOn, turnOn] = useState(false);
  const [isReady, setReady] = useState(false);
  const [tool, chooseTool] = useState<Tool>('add');
  const [brush, setBrush] = useState<number>();
  const state = useRef(createState()).current;
  const told = useRef({ wish, onPainted, onProblem });
  told.current = { wish, onPainted, onProblem };
  const { subject } = wish;
  const painted = typeof subject === 'object' ? subject.mask : undefined;

  useEffect(() => {
    if (!isOn) return setReady(false);
    // A stroke of this very window is on the sheet already.
    if (painted !== undefined && painted === state.shown) return setReady(true);
    let left = false;
    state.stroke = undefined;
    setReady(false);
    const { subject: _found, ...rest } = told.current.wish;
    const picture = painted === undefined ? drawMask(path, rest) : getMask(path, painted);
    picture.then(
      async (blob) => {
        const read = await readMask(blob);
        if (left) return;
        showMask(state.sheet, read);
        state.shown = painted;
        setReady(true);
      },
      (error) => {
        if (!left) told.current.onProblem(error);
      },
    );
    return () => {
      left = true;
    };
  }, [path, isOn, painted]);

  const context = () => state.sheet.getContext('2d')!;
  const draw = (from: Spot, to: Spot) => {
    const { width, height } = state.sheet;
    const pen = context();
    pen.globalCompositeOperation = tool === 'add' ? 'destination-out' : 'source-over';
    pen.strokeStyle = `rgb(${TINT.join(' ')})`;
    pen.lineWidth = Math.max(1, state.stroke!.width * width);
    pen.lineCap = 'round';
    pen.beginPath();
    pen.moveTo(from.x * width, from.y * height);
    pen.lineTo(to.x * width, to.y * height);
    pen.stroke();
  };
  const shortMm = Math.min(wish.widthMm, wish.heightMm);
  return {
    isOn,
    turnOn,
    isReady,
    sheet: state.sheet,
    tool,
    chooseTool,
    brushMm: Math.min(brush ?? Math.round(10 * FIRST_BRUSH * shortMm) / 10, shortMm),
    chooseBrush: setBrush,
    begin(at, width) {
      if (!isReady) return;
      const { sheet } = state;
      state.stroke = { before: context().getImageData(0, 0, sheet.width, sheet.height), last: at, width };
      draw(at, at);
    },
    go(to) {
      if (!state.stroke) return;
      draw(state.stroke.last, to);
      state.stroke.last = to;
    },
    end() {
      if (!state.stroke) return;
      state.stroke = undefined;
      const turn = ++state.strokes;
      // One after the other, so that the newest is the last to arrive; of those that wait, only the newest goes.
      state.sending = state.sending.then(async () => {
        if (turn !== state.strokes) return;
        try {
          const { name } = await keepMask(path, await writeMask(state.sheet));
          state.shown = name;
          told.current.onPainted(name);
        } catch (error) {
          told.current.onProblem(error);
        }
      });
    },
    drop() {
      if (!state.stroke) return;
      context().putImageData(state.stroke.before, 0, 0);
      state.stroke = undefined;
    },
  };
}

interface MaskState {
  readonly sheet: HTMLCanvasElement;
  /** Name of the mask on the sheet; undefined: what was found. */
  shown: string | undefined;
  stroke: { readonly before: ImageData; readonly width: number; last: Spot } | undefined;
  strokes: number;
  sending: Promise<void>;
}

function createState(): MaskState {
  const sheet = document.createElement('canvas');
  // Strokes are read back: a canvas in memory is faster at that than one of the graphics card.
  sheet.getContext('2d', { willReadFrequently: true });
  return { sheet, shown: undefined, stroke: undefined, strokes: 0, sending: Promise.resolve() };
}

/**
 * A wish with a painted subject. The photo stays where it lies under the brush: its crop and its turn, which followed
 * the subject as it was found, are what they are from now on.
 */
export function withMask<W extends Pick<PhotoSettings, 'subject' | 'focus' | 'turnDeg' | 'zoom'>>(
  wish: W,
  mask: string,
  facts: Pick<PredictionJson, 'focus' | 'turnDeg' | 'zoom'> | undefined,
): W {
  const turnDeg = turnOf(wish, facts);
  const focus: Crop['focus'] | undefined = wish.focus ?? (facts && { x: facts.focus.x, y: facts.focus.y });
  const zoom = zoomOf(wish, facts);
  return {
    ...wish,
    subject: { mask },
    ...(focus ? { focus } : {}),
    ...(zoom > 1 ? { zoom } : {}),
    ...(turnDeg === 0 ? {} : { turnDeg }),
  };
}

async function readMask(blob: Blob): Promise<ImageData> {
  const image = await createImageBitmap(blob, { colorSpaceConversion: 'none' });
  const canvas = document.createElement('canvas');
  Object.assign(canvas, { width: image.width, height: image.height });
  const pen = canvas.getContext('2d', { willReadFrequently: true })!;
  pen.drawImage(image, 0, 0);
  image.close();
  return pen.getImageData(0, 0, canvas.width, canvas.height);
}

/** White is clear and black is the tint. */
function showMask(sheet: HTMLCanvasElement, mask: ImageData): void {
  Object.assign(sheet, { width: mask.width, height: mask.height });
  const { data } = mask;
  for (let at = 0; at < data.length; at += 4) {
    const share = data[at]!;
    data.set([...TINT, 255 - share], at);
  }
  sheet.getContext('2d')!.putImageData(mask, 0, 0);
}

function writeMask(sheet: HTMLCanvasElement): Promise<Blob> {
  const { width, height } = sheet;
  const mask = sheet.getContext('2d')!.getImageData(0, 0, width, height);
  const { data } = mask;
  for (let at = 0; at < data.length; at += 4) {
    const share = 255 - data[at + 3]!;
    data.set([share, share, share, 255], at);
  }
  const canvas = document.createElement('canvas');
  Object.assign(canvas, { width, height });
  canvas.getContext('2d', { alpha: false })!.putImageData(mask, 0, 0);
  return new Promise((resolve, reject) => {
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error('the browser drew no mask'))), 'image/png');
  });
}
