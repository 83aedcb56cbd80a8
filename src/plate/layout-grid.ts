import { AppError } from '../errors.ts';
import { type FrameOptions, frameJig, namePocket } from './frame-jig.ts';
import { type FieldMm, type Jig, type Pocket, roundMm } from './types.ts';

/** Room for a strip of scrap: the strip and an edge of 2 mm around it. */
export interface StripRoom {
  readonly lengthMm: number;
  readonly breadthMm: number;
}

export interface GridOptions extends FrameOptions {
  readonly columns: number;
  readonly rows: number;
  readonly pocketWidthMm: number;
  readonly pocketHeightMm: number;
  /** Round pockets of that diameter. */
  readonly isRound?: boolean;
  readonly fieldMm: FieldMm;
  /** What messages call the machine. */
  readonly machineTitle: string;
  /** A pocket for the control strip below the grid, else upright to its right. */
  readonly strip?: StripRoom;
}

/**
 * A jig of equal pockets in rows and columns, centred in the field of the machine. Pockets are named A1, A2 … by row
 * and column, from the upper left.
 * @throws AppError jig-exceeds-field, with how much is missing and what would fit; option-invalid for a gap without web
 */
export function layoutGrid(options: GridOptions): Jig {
  const { columns, rows, pocketWidthMm, pocketHeightMm, gapMm, marginMm, fieldMm, strip, stop } = options;
  const room = { width: fieldMm[0] - 2 * marginMm, height: fieldMm[1] - 2 * marginMm };
  const width = spanOf(columns, pocketWidthMm, gapMm);
  const height = spanOf(rows, pocketHeightMm, gapMm);
  refuseTooLarge({ width, height, room, options });
  const pockets: Pocket[] = [];
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      pockets.push({
        name: namePocket(row, column),
        xMm: roundMm(column * (pocketWidthMm + gapMm)),
        yMm: roundMm(row * (pocketHeightMm + gapMm)),
        widthMm: pocketWidthMm,
        heightMm: pocketHeightMm,
        stop,
        use: 'piece',
        ...(options.isRound ? { round: true } : {}),
      });
    }
  }
  if (strip) pockets.push(placeStrip({ width, height, room, strip, options }));
  return frameJig(pockets, options);
}

interface Block {
  readonly width: number;
  readonly height: number;
  readonly room: { readonly width: number; readonly height: number };
  readonly options: GridOptions;
}

function refuseTooLarge({ width, height, room, options }: Block): void {
  const missing = [
    ...(width > room.width + 1e-6 ? [`${roundMm(width - room.width)} mm in width`] : []),
    ...(height > room.height + 1e-6 ? [`${roundMm(height - room.height)} mm in height`] : []),
  ];
  if (missing.length === 0) return;
  const { columns, rows, pocketWidthMm, pocketHeightMm, gapMm, marginMm, fieldMm, machineTitle } = options;
  const most = {
    columns: countFitting(room.width, pocketWidthMm, gapMm),
    rows: countFitting(room.height, pocketHeightMm, gapMm),
  };
  const fits = most.columns > 0 && most.rows > 0 ? `; ${most.columns}x${most.rows} fits` : '';
  throw new AppError(
    'jig-exceeds-field',
    `found ${columns}x${rows} pockets of ${pocketWidthMm} × ${pocketHeightMm} mm with gaps of ${gapMm} mm, which take ${width} × ${height} mm, but the field of ${machineTitle} is ${fieldMm[0]} × ${fieldMm[1]} mm with a margin of ${marginMm} mm; missing ${missing.join(' and ')}${fits}`,
    { widthMm: width, heightMm: height, fieldMm, marginMm, fits: most },
  );
}

function placeStrip({ width, height, room, strip, options }: Block & { readonly strip: StripRoom }): Pocket {
  const { gapMm, stop, machineTitle } = options;
  const { lengthMm, breadthMm } = strip;
  const pocket = { name: 'STRIP', stop, use: 'strip' } as const;
  const short = {
    below: Math.max(height + gapMm + breadthMm - room.height, lengthMm - room.width),
    right: Math.max(width + gapMm + breadthMm - room.width, lengthMm - room.height),
  };
  if (short.below <= 1e-6)
    return { ...pocket, xMm: 0, yMm: roundMm(height + gapMm), widthMm: lengthMm, heightMm: breadthMm };
  if (short.right <= 1e-6)
    return { ...pocket, xMm: roundMm(width + gapMm), yMm: 0, widthMm: breadthMm, heightMm: lengthMm };
  throw new AppError(
    'jig-exceeds-field',
    `found no room for a control strip of ${lengthMm} × ${breadthMm} mm beside the pockets in the field of ${machineTitle}; missing ${roundMm(Math.min(short.below, short.right))} mm`,
    { below: roundMm(short.below), right: roundMm(short.right) },
  );
}

const spanOf = (count: number, sizeMm: number, gapMm: number) => roundMm(count * sizeMm + (count - 1) * gapMm);
const countFitting = (roomMm: number, sizeMm: number, gapMm: number) =>
  Math.max(0, Math.floor((roomMm + gapMm + 1e-6) / (sizeMm + gapMm)));
