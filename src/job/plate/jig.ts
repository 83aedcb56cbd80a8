import { formatJson } from '../../json.ts';
import type { Machine } from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import { type DotGrid, encodeDots, type PictureFormat, sha256 } from '../../plane/index.ts';
import {
  type Aim,
  aimAt,
  type Correction,
  drawJig,
  type Jig,
  placeMarks,
  stopOfPocket,
  toControl,
  toControlPlace,
} from '../../plate/index.ts';
import type { JobFile } from '../prepare/types.ts';

import { drawMarks } from './dots.ts';
import { renderJigPage } from './jig-page.ts';
import { quoteCell } from './ticket.ts';

/**
 * Dots of the alignment marks where no job says better, mm. Assumed: half of a line's width, so that lines are even.
 */
const MARKS_STEP_MM = 0.05;
/**
 * A bitmap of lines needs no more dots than this; wider apart they are burned at a multiple of the job's. Assumed: 8
 * MB, written in a moment.
 */
const MOST_MARK_DOTS = 64e6;

export interface JigFacts {
  readonly machine: Machine;
  /** Dots of the first job; undefined before there is one. */
  readonly grid: DotGrid | undefined;
  readonly settings: BurnSettings;
  readonly correction: Correction;
  readonly format: PictureFormat;
  /** Name of the files, without ending. */
  readonly file: string;
  readonly version: string;
}

/** What tells a jig from others and is drawn on it: the first six digits of the hash of its data. */
export function markOfJig(jig: Jig): string {
  return sha256(JSON.stringify(jig)).slice(0, 6).toUpperCase();
}

/**
 * The jig as its files: drawing to cut, data, placement of the pockets, alignment marks, and the page that says how.
 */
export function makeJigFiles(
  jig: Jig,
  { machine, grid, settings, correction, format, file, version }: JigFacts,
): JobFile[] {
  const marks = placeMarks(jig);
  const aim = aimAt(jig, { fieldMm: machine.fieldMm, correction, pivot: marks[0]! });
  const step = coarsen(grid ?? { pitchMm: MARKS_STEP_MM, lineSpacingMm: MARKS_STEP_MM }, jig);
  const bitmap = drawMarks(marks, step);
  const place = {
    ...bitmap.corner,
    widthMm: bitmap.dots.width * step.pitchMm,
    heightMm: bitmap.dots.height * step.lineSpacingMm,
  };
  const mark = markOfJig(jig);
  const alignment = {
    file: `${file}.align.${format}`,
    dots: bitmap.dots,
    grid: step,
    control: toControlPlace(place, aim),
  };
  return [
    { name: `${file}.svg`, bytes: drawJig(jig, { mark }) },
    { name: `${file}.engrave.svg`, bytes: drawJig(jig, { mark, part: 'engrave' }) },
    { name: `${file}.cut.svg`, bytes: drawJig(jig, { mark, part: 'cut' }) },
    { name: `${file}.json`, bytes: formatJson(jig, 'jig') },
    { name: `${file}.csv`, bytes: writePocketTable(jig, aim) },
    { name: alignment.file, bytes: encodeDots(bitmap.dots, step, { format }) },
    {
      name: `${file}.html`,
      bytes: renderJigPage(jig, { machine, settings, aim, marks, mark, alignment, file, version }),
    },
  ];
}

/** Every second, third … dot of a grid, until the marks of the whole jig are a small bitmap. */
function coarsen({ pitchMm, lineSpacingMm }: DotGrid, { widthMm, heightMm }: Jig): DotGrid {
  let every = 1;
  while ((widthMm * heightMm) / (pitchMm * lineSpacingMm * every ** 2) > MOST_MARK_DOTS) every++;
  return { pitchMm: pitchMm * every, lineSpacingMm: lineSpacingMm * every };
}

/** The pockets as comma-separated values: the corner at the stop, and the corner that is upper left on the board. */
function writePocketTable(jig: Jig, aim: Aim): string {
  const head = [
    'pocket',
    'use',
    'stop',
    'stop_x_mm',
    'stop_y_mm',
    'corner_x_mm',
    'corner_y_mm',
    'centre_x_mm',
    'centre_y_mm',
    'turn_deg_clockwise',
    'width_mm',
    'height_mm',
    'jig_x_mm',
    'jig_y_mm',
  ];
  const rows = jig.pockets.map((pocket) => {
    const { corner, centre, angleDeg } = toControlPlace(pocket, aim);
    const stop = toControl(stopOfPocket(pocket), aim);
    return [
      pocket.name,
      pocket.use,
      pocket.stop,
      stop.xMm,
      stop.yMm,
      corner.xMm,
      corner.yMm,
      centre.xMm,
      centre.yMm,
      angleDeg,
      pocket.widthMm,
      pocket.heightMm,
      pocket.xMm,
      pocket.yMm,
    ];
  });
  return `${[head, ...rows].map((row) => row.map(quoteCell).join(',')).join('\r\n')}\r\n`;
}
