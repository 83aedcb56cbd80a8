import { sizeTurned, splitTurn } from '../numeric/index.ts';
import type { Photo } from './decode.ts';

type Samples = Uint8Array | Uint16Array;

/**
 * A photo turned clockwise about its middle, degrees. Quarters are exact; what is left turns every pixel (straight
 * between its neighbours) and keeps the largest part of the photo's shape that has no empty corner.
 */
export function turnPhoto(photo: Photo, clockwiseDeg: number): Photo {
  const { quarters, restDeg } = splitTurn(clockwiseDeg);
  const upright = quarters === 0 ? photo : turnQuarters(photo, quarters);
  return restDeg === 0 ? upright : straighten(upright, restDeg);
}

function turnQuarters(photo: Photo, quarters: number): Photo {
  const { width, height } = photo;
  const size = quarters === 2 ? { width, height } : { width: height, height: width };
  // Index of the pixel that comes to the result's first place, and the steps along its rows and columns.
  const [start, right, down] =
    quarters === 1
      ? [(height - 1) * width, -width, 1]
      : quarters === 2
        ? [width * height - 1, -1, -width]
        : [width - 1, width, -1];
  const turn = <T extends Samples>(samples: T, channels: number): T => {
    const out = samples.slice() as T;
    for (let y = 0, to = 0; y < size.height; y++) {
      for (let x = 0, from = (start + y * down) * channels; x < size.width; x++, from += right * channels) {
        for (let c = 0; c < channels; c++) out[to++] = samples[from + c];
      }
    }
    return out;
  };
  return {
    ...photo,
    ...size,
    rgb: turn(photo.rgb, photo.channels),
    ...(photo.alpha ? { alpha: turn(photo.alpha, 1) } : {}),
  };
}

function straighten(photo: Photo, clockwiseDeg: number): Photo {
  const angle = (clockwiseDeg * Math.PI) / 180;
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  const { width, height } = photo;
  const size = sizeTurned(photo, clockwiseDeg);
  const turn = <T extends Samples>(samples: T, channels: number): T => {
    const out = new (samples.constructor as new (length: number) => T)(size.width * size.height * channels);
    for (let y = 0, to = 0; y < size.height; y++) {
      const v = y + 0.5 - size.height / 2;
      for (let x = 0; x < size.width; x++) {
        const u = x + 0.5 - size.width / 2;
        const px = Math.min(Math.max(0, u * cos + v * sin + width / 2 - 0.5), width - 1);
        const py = Math.min(Math.max(0, v * cos - u * sin + height / 2 - 0.5), height - 1);
        const left = Math.floor(px);
        const top = Math.floor(py);
        const [fx, fy] = [px - left, py - top];
        const upper = (top * width + left) * channels;
        const lower = top < height - 1 ? upper + width * channels : upper;
        const aside = left < width - 1 ? channels : 0;
        for (let k = 0; k < channels; k++) {
          const high = samples[upper + k] * (1 - fx) + samples[upper + aside + k] * fx;
          const low = samples[lower + k] * (1 - fx) + samples[lower + aside + k] * fx;
          out[to++] = Math.round(high * (1 - fy) + low * fy);
        }
      }
    }
    return out;
  };
  return {
    ...photo,
    ...size,
    rgb: turn(photo.rgb, photo.channels),
    ...(photo.alpha ? { alpha: turn(photo.alpha, 1) } : {}),
  };
}
