import { basename } from 'node:path';
import { layPlates as lay } from '../tasks/index.ts';
import type { PlateView } from './protocol.ts';
import { answering, openContext } from './worker-facts.ts';

export interface PlatesInput {
  /** Folder with the order's results. */
  readonly done: string;
  /** Folder with the order's photos: placed pieces are screened again for where they come to lie. */
  readonly photos: string;
  readonly out: string;
  /** Absent: packed freely. */
  readonly grid?: {
    readonly columns: number;
    readonly rows: number;
    readonly widthMm: number;
    readonly heightMm: number;
  };
}

export interface PlacedPlates {
  readonly plates: readonly PlateView[];
  readonly notes: readonly string[];
  readonly files: readonly string[];
}

/** Plates of what an order has made, with jigs to cut. */
export const layPlates = answering(async ({ done, photos, out, grid }: PlatesInput): Promise<PlacedPlates> => {
  const source = grid ? ({ kind: 'grid', ...grid } as const) : ({ kind: 'packed' } as const);
  const record = await lay({ jobs: [done], photos, source, out, force: true }, openContext());
  if (record.kind === 'jig') throw new RangeError('an order that is made has jobs');
  const { plates, batches, notes } = record.plates;
  return {
    plates: plates.map((plate): PlateView => {
      const { widthMm, heightMm, pockets } = record.jigs[plate.jig.file]!;
      return {
        name: plate.name,
        widthMm,
        heightMm,
        pockets: pockets.map(({ name, xMm, yMm, widthMm: width, heightMm: height, round }) => ({
          name,
          xMm,
          yMm,
          widthMm: width,
          heightMm: height,
          ...(round ? { round } : {}),
        })),
        pieces: plate.pieces.map(({ name, pocket, turned, place }) => {
          return { name, pocket, turned, photo: record.photos[name]!, ...place };
        }),
        corrected: plate.pieces.flatMap(({ name, pocket, corrected }) =>
          corrected ? [{ name, pocket, note: corrected.note }] : [],
        ),
        warnings: record.warnings[plate.name]!,
        seconds: plate.time.seconds,
        material: plate.material.title,
        machine: plate.machine.title,
      };
    }),
    notes: [...batches.map(({ explanation }) => explanation), ...notes],
    files: record.files.map((path) => basename(path)),
  };
});
