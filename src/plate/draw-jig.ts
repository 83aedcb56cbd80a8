import { holeOfPocket, notchOfSide } from './cut-outs.ts';
import { placeField, placeOrigin } from './field.ts';
import { measureText, type Polyline, strokeText } from './stroke-font.ts';
import {
  type FieldMm,
  isLeft,
  isTop,
  type Jig,
  LEAST_WEB_MM,
  type Pocket,
  type PointMm,
  type RectangleMm,
  roundMm,
  type Side,
} from './types.ts';

/** Lines that mark a stop edge run beside it, mm: in the middle of the thinnest web. */
const STOP_LINE_MM = LEAST_WEB_MM / 2;
/** From letters to the nearest cut. Assumed: a cut's edge chars less than 1 mm of a board. */
const TEXT_CLEAR_MM = 1;
/**
 * Letters are between these heights. Assumed: 1.4 mm is just read at arm's length; 3.5 mm names a board without filling
 * it.
 */
const TEXT_MM = { least: 1.4, pocket: 2.5, name: 3.5 } as const;

/** What a drawing shows: what is engraved, what is cut, or both. */
export type JigPart = 'engrave' | 'cut';

/** Group, words and colour of each part, in the order of work. The colours are those of the printed sheets. */
const PARTS = [
  { part: 'engrave', words: 'Engrave first: text and stop edges, single lines', colour: '#14556b' },
  { part: 'cut', words: 'Then cut: holes and pockets, the outline last', colour: '#8c2a10' },
] as const satisfies readonly { readonly part: JigPart; readonly words: string; readonly colour: string }[];

export interface DrawJigOptions {
  /** What tells this jig from others, drawn after its name: the first digits of its hash. */
  readonly mark: string;
  /** One part alone, in the same place on the same page; absent: both, each a group of its own. */
  readonly part?: JigPart;
}

/**
 * The jig to cut, as SVG in mm: first what is engraved (text as single lines, stop edges), then what is cut (holes and
 * pockets first, the outline last, so that nothing moves before it is cut). Lines of cuts run half a kerf inside the
 * waste.
 */
export function drawJig(jig: Jig, { mark, part }: DrawJigOptions): string {
  const engraved = [
    ...jig.pockets.flatMap((pocket) => drawStopEdges(pocket, jig)),
    ...jig.pockets.flatMap((pocket) => namePocketOnBoard(pocket, jig)),
    ...drawBoardStop(jig),
    ...nameBoard(jig, mark),
  ].map((line) => `<path d="${pathOfLine(line)}"/>`);
  const inset = jig.kerfMm / 2;
  const cuts = [
    ...jig.holes.map(
      ({ xMm, yMm, diameterMm }) =>
        `<circle cx="${say(xMm)}" cy="${say(yMm)}" r="${say(Math.max(0.05, diameterMm / 2 - inset))}"/>`,
    ),
    ...jig.pockets.map((pocket) => `<path id="${escapeXml(pocket.name)}" d="${pathOfPocket(pocket, jig)}"/>`),
    `<rect id="outline" x="${say(-inset)}" y="${say(-inset)}" width="${say(jig.widthMm + 2 * inset)}" height="${say(jig.heightMm + 2 * inset)}"/>`,
  ];
  const lines: Readonly<Record<JigPart, readonly string[]>> = { engrave: engraved, cut: cuts };
  const groups = PARTS.filter((one) => part === undefined || one.part === part).map(
    ({
      part: id,
      words,
      colour,
    }) => `<g id="${id}" fill="none" stroke="${colour}" stroke-width="0.1" stroke-linecap="round" stroke-linejoin="round">
<title>${words}</title>
${lines[id].join('\n')}
</g>`,
  );
  // The page is the outline as drawn: the board itself where there is no kerf.
  const [width, height] = [jig.widthMm + jig.kerfMm, jig.heightMm + jig.kerfMm];
  return `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="${say(width)}mm" height="${say(height)}mm" viewBox="${say(-inset)} ${say(-inset)} ${say(width)} ${say(height)}">
<title>${escapeXml(`${jig.title} (${jig.name} ${mark})`)}</title>
${groups.join('\n')}
</svg>
`;
}

export interface SketchPiece extends RectangleMm {
  readonly label: string;
  /** Picture of what is burned, as a data URI. */
  readonly picture?: string;
}

export interface SketchOptions {
  readonly fieldMm: FieldMm;
  readonly pieces: readonly SketchPiece[];
  readonly marks: readonly (PointMm & { readonly number: number })[];
}

/** The jig as a picture for a printed page, to scale: board, pockets, pieces, field, stop and origin. No XML head. */
export function sketchJig(jig: Jig, { fieldMm, pieces, marks }: SketchOptions): string {
  const field = placeField(jig, fieldMm);
  const origin = placeOrigin(jig, fieldMm);
  const left = Math.min(0, field.xMm);
  const top = Math.min(0, field.yMm);
  const width = Math.max(jig.widthMm, field.xMm + field.widthMm) - left;
  const height = Math.max(jig.heightMm, field.yMm + field.heightMm) - top;
  const unit = Math.max(width, height) / 100;
  const rect = (box: RectangleMm, more: string) =>
    `<rect x="${say(box.xMm)}" y="${say(box.yMm)}" width="${say(box.widthMm)}" height="${say(box.heightMm)}" ${more}/>`;
  const shape = (box: RectangleMm & { readonly round?: true }, more: string) =>
    rect(box, box.round ? `rx="${say(box.widthMm / 2)}" ${more}` : more);
  const text = (x: number, y: number, words: string, more = '') =>
    `<text x="${say(x)}" y="${say(y)}" ${more}>${escapeXml(words)}</text>`;
  const named = (box: RectangleMm, words: string, small: boolean) => {
    const size = Math.min(unit * (small ? 2.6 : 3.2), box.heightMm * 0.3, (box.widthMm * 1.5) / words.length);
    return text(
      box.xMm + box.widthMm / 2,
      box.yMm + box.heightMm / 2 + size * 0.36,
      words,
      `text-anchor="middle" style="font-size:${say(size)}px;paint-order:stroke;stroke:#fff;stroke-width:${say(size * 0.25)}px"`,
    );
  };
  const { right, low } = { right: isLeft(jig.stop) ? 1 : -1, low: isTop(jig.stop) ? 1 : -1 };
  const [stopX, stopY] = [isLeft(jig.stop) ? 0 : jig.widthMm, isTop(jig.stop) ? 0 : jig.heightMm];
  const arm = 12 * unit;
  return `<svg class="layout" viewBox="${say(left - 2 * unit)} ${say(top - 2 * unit)} ${say(width + 4 * unit)} ${say(height + 4 * unit)}" role="img" aria-label="${escapeXml(`Layout of ${jig.name}, to scale`)}">
${rect({ xMm: 0, yMm: 0, widthMm: jig.widthMm, heightMm: jig.heightMm }, `fill="#eef1f2" stroke="#59636a" stroke-width="${say(unit / 3)}"`)}
${jig.holes.map(({ xMm, yMm, diameterMm }) => `<circle cx="${say(xMm)}" cy="${say(yMm)}" r="${say(diameterMm / 2)}" fill="#fff" stroke="#59636a" stroke-width="${say(unit / 4)}"/>`).join('')}
${jig.pockets.map((pocket) => shape(holeOfPocket(pocket, jig), `fill="#fff" stroke="#9aa5ab" stroke-width="${say(unit / 4)}"`)).join('')}
${pieces.map((piece) => (piece.picture ? `<image x="${say(piece.xMm)}" y="${say(piece.yMm)}" width="${say(piece.widthMm)}" height="${say(piece.heightMm)}" preserveAspectRatio="none" href="${piece.picture}"/>` : '') + shape({ ...piece, ...roundIn(jig, piece) }, `fill="${piece.picture ? 'none' : '#cfe0e6'}" stroke="#14556b" stroke-width="${say(unit / 3)}"`)).join('')}
${jig.pockets.map((pocket) => `<path d="${pathOfLine(cornerOf(pocket, unit * 4))}" fill="none" stroke="#8c2a10" stroke-width="${say(unit * 0.5)}"/>`).join('')}
${rect(field, `fill="none" stroke="#14556b" stroke-width="${say(unit / 3)}" stroke-dasharray="${say(2 * unit)} ${say(unit)}"`)}
<path d="M${say(stopX + right * arm)} ${say(stopY)}H${say(stopX)}V${say(stopY + low * arm)}" fill="none" stroke="#8c2a10" stroke-width="${say(unit)}"/>
${pieces.map((piece) => named(piece, piece.label, true)).join('')}
${pieces.length === 0 ? jig.pockets.map((pocket) => named(pocket, pocket.name, false)).join('') : ''}
${marks.map(({ xMm, yMm, number }) => `<path d="M${say(xMm - 2 * unit)} ${say(yMm)}H${say(xMm + 2 * unit)}M${say(xMm)} ${say(yMm - 2 * unit)}V${say(yMm + 2 * unit)}" stroke="#8c2a10" stroke-width="${say(unit / 3)}"/>${text(xMm + unit, yMm - unit, String(number), `style="font-size:${say(unit * 2.6)}px;fill:#8c2a10"`)}`).join('')}
<circle cx="${say(origin.xMm)}" cy="${say(origin.yMm)}" r="${say(1.4 * unit)}" fill="#8c2a10"/></svg>`;
}

/** Whether a piece lies in a round pocket, and so is round. */
function roundIn({ pockets }: Jig, { xMm, yMm, widthMm, heightMm }: RectangleMm): { readonly round?: true } {
  const [x, y] = [xMm + widthMm / 2, yMm + heightMm / 2];
  const isIn = pockets.some(
    (one) => one.round && x > one.xMm && x < one.xMm + one.widthMm && y > one.yMm && y < one.yMm + one.heightMm,
  );
  return isIn ? { round: true } : {};
}

/** Points along an arc that stands for one, a count. Assumed: no corner is seen on a board. */
const ARC_POINTS = 13;

/** An arc of a round pocket about the direction of its stop, so long, outside its edge. */
function arcAtStop({ xMm, yMm, widthMm, heightMm, stop }: Pocket, length: number, outsideMm = 0): Polyline {
  const radiusMm = widthMm / 2 + outsideMm;
  const towards = Math.atan2(isTop(stop) ? -1 : 1, isLeft(stop) ? -1 : 1);
  const half = Math.min(Math.PI / 4, length / radiusMm);
  return Array.from({ length: ARC_POINTS }, (_, at) => {
    const angle = towards + half * ((2 * at) / (ARC_POINTS - 1) - 1);
    return [xMm + widthMm / 2 + radiusMm * Math.cos(angle), yMm + heightMm / 2 + radiusMm * Math.sin(angle)] as const;
  });
}

/** The two edges at the stop of a pocket, as a corner of so much length; of a round one the arc there. */
function cornerOf(pocket: Pocket, length: number): Polyline {
  if (pocket.round) return arcAtStop(pocket, length);
  const { xMm, yMm, widthMm, heightMm, stop } = pocket;
  const [x, y] = [isLeft(stop) ? xMm : xMm + widthMm, isTop(stop) ? yMm : yMm + heightMm];
  const [right, low] = [isLeft(stop) ? 1 : -1, isTop(stop) ? 1 : -1];
  const [across, down] = [Math.min(length, widthMm / 2), Math.min(length, heightMm / 2)];
  return [
    [x + right * across, y],
    [x, y],
    [x, y + low * down],
  ];
}

/**
 * The hole of a pocket as one closed path, clockwise from its upper left corner: three quarters of a circle at each
 * corner when there is a relief, a notch with round ends where a side has one.
 */
function pathOfPocket(pocket: Pocket, jig: Jig): string {
  const hole = holeOfPocket(pocket, jig);
  if (pocket.round) return pathOfCircle(hole, jig);
  const half = jig.kerfMm / 2;
  const box = {
    xMm: hole.xMm + half,
    yMm: hole.yMm + half,
    widthMm: hole.widthMm - jig.kerfMm,
    heightMm: hole.heightMm - jig.kerfMm,
  };
  const relief = Math.max(0, jig.reliefDiameterMm / 2 - half);
  const [right, bottom] = [box.xMm + box.widthMm, box.yMm + box.heightMm];
  const sides = [
    { side: 'top', x: box.xMm, y: box.yMm, ux: 1, uy: 0, length: box.widthMm },
    { side: 'right', x: right, y: box.yMm, ux: 0, uy: 1, length: box.heightMm },
    { side: 'bottom', x: right, y: bottom, ux: -1, uy: 0, length: box.widthMm },
    { side: 'left', x: box.xMm, y: bottom, ux: 0, uy: -1, length: box.heightMm },
  ] as const;
  const parts = sides.flatMap(({ side, x, y, ux, uy, length }) => {
    // Outwards is to the left of the way along the side.
    const at = (along: number, out: number) => `${say(x + ux * along + uy * out)} ${say(y + uy * along - ux * out)}`;
    const arc = (radius: number, large: 0 | 1, to: string) => `A${say(radius)} ${say(radius)} 0 ${large} 1 ${to}`;
    const start = relief > 0 ? [arc(relief, 1, at(relief, 0))] : [`L${at(0, 0)}`];
    return [...start, ...drawNotch({ side, hole, jig, length, at, arc }), `L${at(length - relief, 0)}`];
  });
  return `M${say(box.xMm)} ${say(box.yMm + relief)}${parts.join('')}Z`;
}

/** A round hole as one closed path, clockwise from its highest point or from a notch there. */
function pathOfCircle(hole: RectangleMm, jig: Jig): string {
  const radius = (hole.widthMm - jig.kerfMm) / 2;
  const [x, y] = [hole.xMm + hole.widthMm / 2, hole.yMm + hole.heightMm / 2];
  const sides = [
    { side: 'top', ux: 0, uy: -1 },
    { side: 'right', ux: 1, uy: 0 },
    { side: 'bottom', ux: 0, uy: 1 },
    { side: 'left', ux: -1, uy: 0 },
  ] as const;
  const { notch, reliefDiameterMm, kerfMm } = jig;
  const parts = sides.flatMap(({ side, ux, uy }) => {
    // Outwards along the side's own direction, and along the edge to the right of it.
    const at = (along: number, out: number) => `${say(x + ux * out - uy * along)} ${say(y + uy * out + ux * along)}`;
    const to = (words: string) => `A${say(radius)} ${say(radius)} 0 0 1 ${words}`;
    const isCut =
      notch?.sides.includes(side) && notchOfSide({ ...hole, round: true }, { notch, reliefDiameterMm, side });
    if (!notch || !isCut) return [to(at(0, radius))];
    const half = (notch.widthMm - kerfMm) / 2;
    const edge = Math.sqrt(radius ** 2 - half ** 2);
    const far = radius + notch.depthMm;
    const round = Math.min(notch.depthMm, half);
    const arc = (words: string) => `A${say(round)} ${say(round)} 0 0 1 ${words}`;
    return [
      to(at(-half, edge)),
      `L${at(-half, far - round)}`,
      arc(at(-half + round, far)),
      `L${at(half - round, far)}`,
      arc(at(half, far - round)),
      `L${at(half, edge)}`,
    ];
  });
  // From the last side back to where it began.
  return `M${parts[0]!.replace(/^A.* 1 /, '')}${[...parts.slice(1), parts[0]!].join('')}Z`;
}

interface NotchSide {
  readonly side: Side;
  readonly hole: RectangleMm;
  readonly jig: Jig;
  readonly length: number;
  readonly at: (along: number, out: number) => string;
  readonly arc: (radius: number, large: 0 | 1, to: string) => string;
}

function drawNotch({ side, hole, jig, length, at, arc }: NotchSide): string[] {
  const { notch, reliefDiameterMm, kerfMm } = jig;
  if (!notch?.sides.includes(side) || !notchOfSide(hole, { notch, reliefDiameterMm, side })) return [];
  const half = (notch.widthMm - kerfMm) / 2;
  const from = length / 2 - half;
  const to = length / 2 + half;
  const depth = notch.depthMm;
  const radius = Math.min(depth, half);
  return [
    `L${at(from, 0)}`,
    `L${at(from, depth - radius)}`,
    arc(radius, 0, at(from + radius, depth)),
    `L${at(to - radius, depth)}`,
    arc(radius, 0, at(to, depth - radius)),
    `L${at(to, 0)}`,
  ];
}

/** Half of the line beside the stop of a round pocket, mm. Assumed: as long as the lines of a corner together. */
const STOP_ARC_MM = 12;

/** A line on the board beside each of the two edges that a piece is pushed against, clear of the corner's relief. */
function drawStopEdges(pocket: Pocket, { reliefDiameterMm }: Jig): Polyline[] {
  if (pocket.round) return [arcAtStop(pocket, STOP_ARC_MM, STOP_LINE_MM)];
  const { xMm, yMm, widthMm, heightMm, stop } = pocket;
  const [right, low] = [isLeft(stop) ? 1 : -1, isTop(stop) ? 1 : -1];
  const [x, y] = [isLeft(stop) ? xMm : xMm + widthMm, isTop(stop) ? yMm : yMm + heightMm];
  const from = reliefDiameterMm / 2 + TEXT_CLEAR_MM;
  const across = Math.min(from + 12, widthMm * 0.4);
  const down = Math.min(from + 12, heightMm * 0.4);
  return [
    [
      [x + right * from, y - low * STOP_LINE_MM],
      [x + right * across, y - low * STOP_LINE_MM],
    ],
    [
      [x - right * STOP_LINE_MM, y + low * from],
      [x - right * STOP_LINE_MM, y + low * down],
    ],
  ];
}

/** The name of a pocket on the web above it, or below it when its stop or neighbours leave more room there. */
function namePocketOnBoard(pocket: Pocket, jig: Jig): Polyline[] {
  const above = roomBeside(pocket, { jig, side: 'top' });
  const below = roomBeside(pocket, { jig, side: 'bottom' });
  const hole = holeOfPocket(pocket, jig);
  const atTop = above >= Math.min(below, TEXT_MM.pocket + 2 * TEXT_CLEAR_MM);
  const heightMm = Math.min(TEXT_MM.pocket, (atTop ? above : below) - 2 * TEXT_CLEAR_MM);
  if (heightMm < TEXT_MM.least) return [];
  return [
    ...strokeText(pocket.name, {
      xMm: hole.xMm + (hole.widthMm - measureText(pocket.name, heightMm)) / 2,
      yMm: atTop ? hole.yMm - TEXT_CLEAR_MM - heightMm : hole.yMm + hole.heightMm + TEXT_CLEAR_MM,
      heightMm,
    }),
  ];
}

/** Free board above or below a pocket, over its whole width: up to the next pocket or the edge of the board, mm. */
function roomBeside(pocket: Pocket, { jig, side }: { readonly jig: Jig; readonly side: 'top' | 'bottom' }): number {
  const hole = holeOfPocket(pocket, jig);
  if (jig.notch?.sides.includes(side)) return 0;
  const edge = side === 'top' ? hole.yMm : jig.heightMm - hole.yMm - hole.heightMm;
  const gaps = jig.pockets
    .filter((other) => other !== pocket)
    .map((other) => holeOfPocket(other, jig))
    .filter((other) => other.xMm < hole.xMm + hole.widthMm && other.xMm + other.widthMm > hole.xMm)
    .map((other) => (side === 'top' ? hole.yMm - other.yMm - other.heightMm : other.yMm - hole.yMm - hole.heightMm))
    .filter((gap) => gap >= 0);
  return Math.min(edge, ...gaps);
}

/** Lines along the two edges of the board that meet the machine's stop, with an arrow that points into it. */
function drawBoardStop({ stop, widthMm, heightMm }: Jig): Polyline[] {
  const [right, low] = [isLeft(stop) ? 1 : -1, isTop(stop) ? 1 : -1];
  const [x, y] = [isLeft(stop) ? 0 : widthMm, isTop(stop) ? 0 : heightMm];
  const at = (dx: number, dy: number) => [x + right * dx, y + low * dy] as const;
  const length = Math.min(25, widthMm * 0.4, heightMm * 0.4);
  return [
    [at(length, 1.5), at(1.5, 1.5), at(1.5, length)],
    [at(7, 7), at(2.5, 2.5)],
    [at(5, 2.5), at(2.5, 2.5), at(2.5, 5)],
  ];
}

/** Name and mark of the jig in its lower rim. */
function nameBoard(jig: Jig, mark: string): Polyline[] {
  const lowest = Math.max(
    ...jig.pockets.map((pocket) => {
      const hole = holeOfPocket(pocket, jig);
      const notch = jig.notch?.sides.includes('bottom') ? jig.notch.depthMm : 0;
      return hole.yMm + hole.heightMm + Math.max(notch, jig.reliefDiameterMm / 2);
    }),
  );
  const room = jig.heightMm - lowest - 2 * TEXT_CLEAR_MM;
  const margin = 12;
  const size = `${say(jig.widthMm)}×${say(jig.heightMm)}`;
  const fit = (words: string) => ({
    words,
    heightMm: Math.min(TEXT_MM.name, room, (jig.widthMm - 2 * margin) / measureText(words, 1)),
  });
  // A small board tells less, but always which one it is.
  const told = [[jig.name, mark, ...(jig.machine ? [jig.machine] : []), size], [jig.name, mark], [mark]].map((parts) =>
    fit(parts.join('  ')),
  );
  const { words, heightMm } = told.find((one) => one.heightMm >= TEXT_MM.pocket) ?? told.at(-1)!;
  if (heightMm < TEXT_MM.least) return [];
  const yMm = jig.heightMm - TEXT_CLEAR_MM - heightMm - (room - heightMm) / 2;
  return [...strokeText(words, { xMm: margin, yMm, heightMm })];
}

const pathOfLine = (line: Polyline) => line.map(([x, y], at) => `${at === 0 ? 'M' : 'L'}${say(x)} ${say(y)}`).join('');

/** To a ten-thousandth of a millimetre. */
const say = (value: number) => String(roundMm(Math.round(value * 1e4) / 1e4));

function escapeXml(text: string): string {
  return text.replace(/[&<>"]/g, (sign) => ({ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' })[sign]!);
}
