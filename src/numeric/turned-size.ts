interface Size {
  readonly width: number;
  readonly height: number;
}

/** A turn as quarters of a circle, 0 … 3 clockwise, and what is left of it, −45 … 45 degrees. */
export function splitTurn(clockwiseDeg: number): { readonly quarters: number; readonly restDeg: number } {
  const nearest = Math.round(clockwiseDeg / 90);
  const restDeg = clockwiseDeg - 90 * nearest;
  return { quarters: ((nearest % 4) + 4) % 4, restDeg: Math.abs(restDeg) < 1e-9 ? 0 : restDeg };
}

/**
 * Whole pixels of a picture that is turned about its middle and keeps the largest part of its shape that has no empty
 * corner: a part of the same shape, turned by the angle, touches the edges at one share of its size.
 */
export function sizeTurned(size: Size, clockwiseDeg: number): Size {
  const { quarters, restDeg } = splitTurn(clockwiseDeg);
  const { width, height } = quarters % 2 === 0 ? size : { width: size.height, height: size.width };
  if (restDeg === 0) return { width, height };
  const angle = (restDeg * Math.PI) / 180;
  const [c, s] = [Math.abs(Math.cos(angle)), Math.abs(Math.sin(angle))];
  const share = Math.min(width / (width * c + height * s), height / (width * s + height * c));
  return { width: Math.max(1, Math.floor(width * share)), height: Math.max(1, Math.floor(height * share)) };
}
