import { join } from 'node:path';
import {
  makePlates,
  type PlateJob,
  parseJobTicket,
  parseOrderForPlates,
  readMachine,
  readProfile,
  type Ticket,
} from '../job/index.ts';
import { readJson } from '../material/index.ts';
import { decodeDots, writeFilesAtomic } from '../plane/index.ts';
import { JIG_DEFAULTS, layoutGrid, parseJig } from '../plate/index.ts';
import type { PlateView } from './protocol.ts';
import { answering, facts, openContext } from './worker-facts.ts';

export interface PlatesInput {
  /** Folder with the order's results. */
  readonly done: string;
  readonly out: string;
  /** Absent: packed freely. */
  readonly grid?: {
    readonly columns: number;
    readonly rows: number;
    readonly widthMm: number;
    readonly heightMm: number;
  };
  readonly machine: string;
}

export interface LaidPlates {
  readonly plates: readonly PlateView[];
  readonly notes: readonly string[];
  readonly files: readonly string[];
}

/** Plates of what an order has made, with jigs to cut: the same as the command `plate --jobs`. */
export const layPlates = answering(async ({ done, out, grid, machine }: PlatesInput): Promise<LaidPlates> => {
  const { shop } = openContext();
  const orderPath = join(done, 'order.json');
  const { jobs } = parseOrderForPlates(readJson(orderPath), orderPath);
  const ready = jobs.map(({ ticketFile, count, text, price }): PlateJob => {
    const path = join(done, ticketFile);
    const ticket = parseJobTicket(readJson(path), path);
    const bitmap = join(done, ticket.bitmap.file);
    return {
      ticket,
      count,
      text,
      price,
      load: async () => (await decodeDots(bitmap)).dots,
    };
  });
  const frame = {
    gapMm: JIG_DEFAULTS.gapMm,
    marginMm: JIG_DEFAULTS.marginMm,
    rimMm: JIG_DEFAULTS.rimMm,
    clearanceMm: JIG_DEFAULTS.clearanceMm,
    kerfMm: JIG_DEFAULTS.kerfMm,
    stop: JIG_DEFAULTS.stop,
    origin: JIG_DEFAULTS.origin,
  };
  const { fieldMm } = readMachine(machine, shop);
  const made = await makePlates(ready, {
    bed: grid
      ? {
          kind: 'jig',
          jig: layoutGrid({
            ...frame,
            name: `grid-${grid.columns}x${grid.rows}`,
            title: `${grid.columns} × ${grid.rows} pockets of ${grid.widthMm} × ${grid.heightMm} mm`,
            machine,
            columns: grid.columns,
            rows: grid.rows,
            pocketWidthMm: grid.widthMm,
            pocketHeightMm: grid.heightMm,
            fieldMm,
            machineTitle: machine,
          }),
        }
      : { kind: 'packed', frame: { ...frame, name: 'packed', title: 'Packed plate' } },
    bitmaps: 'plate',
    quarterTurns: false,
    correction: { offsetXMm: 0, offsetYMm: 0, turnDeg: 0 },
    strip: false,
    format: 'png',
    version: facts.version,
    readMachine: (name) => readMachine(name, shop),
    readProfile: (name) => readProfile(name, shop),
  });
  await writeFilesAtomic(
    made.files.map(({ name, bytes }) => ({ path: join(out, name), bytes })),
    { force: true },
  );
  const plates = made.record.plates.map((plate): PlateView => {
    const path = join(out, plate.jig.file);
    const { widthMm, heightMm, pockets } = parseJig(readJson(path), path);
    return {
      name: plate.name,
      widthMm,
      heightMm,
      pockets: pockets.map(({ name, xMm, yMm, widthMm: width, heightMm: height }) => ({
        name,
        xMm,
        yMm,
        widthMm: width,
        heightMm: height,
      })),
      pieces: plate.pieces.map(({ name, pocket, turned, place }) => {
        const { frame, photo } = readJson(join(done, `${name}.ticket.json`)) as Pick<Ticket, 'frame' | 'photo'>;
        const shown = { crop: frame.crop, width: photo.width, height: photo.height };
        return { name, pocket, turned, photo: shown, ...place };
      }),
      seconds: plate.time.seconds,
      material: plate.material.title,
      machine: plate.machine.title,
    };
  });
  const notes = [...made.record.lots.map(({ explanation }) => explanation), ...made.record.notes];
  return { plates, notes, files: made.files.map(({ name }) => name) };
});
