/** A place of a picture, as shares of its width and height. */
export interface Point {
  readonly x: number;
  readonly y: number;
}

export interface Box extends Point {
  readonly width: number;
  readonly height: number;
}

/** A square of a picture, pixels. */
export interface Square {
  readonly x: number;
  readonly y: number;
  readonly side: number;
}
