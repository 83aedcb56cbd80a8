import { AppError } from '../errors.ts';
import { loadSharp, unblockDrawings } from './kernels.ts';

/** Longest that a drawing may take, seconds. Assumed: many times what a traced photograph takes. */
const DRAWING_SECONDS = 60;

export interface DrawnSvg {
  readonly width: number;
  readonly height: number;
  /** 0 black … 255 white, the drawing on white. */
  readonly grey: Uint8Array;
  /** 0 nothing … 255 painted. */
  readonly painted: Uint8Array;
}

/**
 * Draws an SVG that has been looked through at so many pixels; its root says them as its width and height.
 * @throws AppError artwork-unusable
 */
export async function drawSvg(svg: string, name: string): Promise<DrawnSvg> {
  const sharp = loadSharp();
  unblockDrawings();
  const { data, info } = await sharp(Buffer.from(svg), { limitInputPixels: false })
    .timeout({ seconds: DRAWING_SECONDS })
    .ensureAlpha()
    .toColourspace('srgb')
    .raw()
    .toBuffer({ resolveWithObject: true })
    .catch((error: Error) => {
      const reason = /^timeout\b/m.test(error.message)
        ? `a drawing that takes longer than ${DRAWING_SECONDS} s`
        : `what is no whole SVG (${error.message.split('\n')[0]!.trim()})`;
      throw new AppError('artwork-unusable', `${name}: found ${reason}, needed a drawing of curves`, { name });
    });
  const pixels = info.width * info.height;
  const grey = new Uint8Array(pixels);
  const painted = new Uint8Array(pixels);
  for (let i = 0; i < pixels; i++) {
    const alpha = data[4 * i + 3]!;
    painted[i] = alpha;
    // The luma of Rec. 709 of the codes: what is painted half over white is half way between, as its coverage is.
    const luma = 0.2126 * data[4 * i]! + 0.7152 * data[4 * i + 1]! + 0.0722 * data[4 * i + 2]!;
    grey[i] = Math.round(255 - (alpha * (255 - luma)) / 255);
  }
  return { width: info.width, height: info.height, grey, painted };
}
