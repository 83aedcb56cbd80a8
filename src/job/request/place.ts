import { AppError } from '../../errors.ts';
import { type EvennessMap, type Machine, parseEvenness } from '../../machine/index.ts';
import type { Shop } from '../../material/index.ts';
import { type Jig, parseJig, placeField, placeInPocket } from '../../plate/index.ts';
import { parsePlaceMm } from '../../units.ts';

/** Where a piece lies in the machine's field, and how even that is. */
export interface PieceInField {
  /** The middle of the piece as it lies, mm from the field's upper left corner; x right, y down. */
  readonly xMm: number;
  readonly yMm: number;
  /** Of which jig it is a pocket. */
  readonly pocket?: { readonly jig: string; readonly name: string };
  readonly map: EvennessMap;
}

interface PlaceNeeds {
  readonly shop: Shop;
  readonly machine: Machine;
  /** Width and height of the piece as it lies in the machine, mm. */
  readonly lying: readonly [number, number];
}

/**
 * The place that a request names, with the map of the machine's field; undefined where it names none.
 * @throws AppError option-invalid, name-unknown, file-invalid; size-exceeds-field
 */
export function resolvePlace(
  { at, evenness }: { readonly at?: string; readonly evenness?: string },
  { shop, machine, lying }: PlaceNeeds,
): PieceInField | undefined {
  if (at === undefined) {
    if (evenness === undefined) return undefined;
    throw new AppError('option-invalid', 'evenness: found it without a place, needed where the piece lies', {
      options: ['at'],
    });
  }
  const place =
    /^[^,;]+\/[^/]+$/.test(at) && !/^[\d.]+\//.test(at)
      ? pocketOf(at, { shop, machine, lying })
      : parsePlaceMm(at, 'at');
  refuseOutside(place, { machine, lying });
  return { ...place, map: readEvennessOf(evenness, { shop, machine }) };
}

/** `cards-2x3/B1`: a pocket of a jig, in whose corner the piece is pushed. */
function pocketOf(at: string, { shop, machine, lying }: PlaceNeeds): Omit<PieceInField, 'map'> {
  const cut = at.lastIndexOf('/');
  const { json, path } = shop.read('jigs', at.slice(0, cut));
  const jig: Jig = parseJig(json, path);
  const wanted = at.slice(cut + 1).trim();
  const pocket = jig.pockets.find(({ name }) => name.toLowerCase() === wanted.toLowerCase());
  if (!pocket) {
    throw new AppError(
      'option-invalid',
      `at: found no pocket "${wanted}" in ${jig.name}, needed one of ${jig.pockets.map(({ name }) => name).join(', ')}`,
    );
  }
  if (jig.machine !== undefined && jig.machine !== machine.name) {
    throw new AppError(
      'option-invalid',
      `at: found ${machine.name}, but the jig ${jig.name} lies under ${jig.machine}; needed the machine that the field was measured of`,
    );
  }
  const field = placeField(jig, machine.fieldMm);
  const [widthMm, heightMm] = lying;
  const lain = placeInPocket(pocket, { widthMm, heightMm });
  return {
    xMm: lain.xMm + widthMm / 2 - field.xMm,
    yMm: lain.yMm + heightMm / 2 - field.yMm,
    pocket: { jig: jig.name, name: pocket.name },
  };
}

/** How far a piece may reach beyond the field by rounding, mm. Assumed: a thousandth of a millimetre is no reach. */
const SLACK_MM = 1e-3;

function refuseOutside(
  { xMm, yMm }: { readonly xMm: number; readonly yMm: number },
  { machine, lying: [width, height] }: Omit<PlaceNeeds, 'shop'>,
): void {
  const [fieldWidth, fieldHeight] = machine.fieldMm;
  const beyond = Math.max(
    width / 2 - xMm,
    height / 2 - yMm,
    xMm + width / 2 - fieldWidth,
    yMm + height / 2 - fieldHeight,
  );
  if (beyond <= SLACK_MM) return;
  throw new AppError(
    'size-exceeds-field',
    `found a piece of ${width} × ${height} mm with its middle at ${round3(xMm)}, ${round3(yMm)} mm, which reaches ${round3(beyond)} mm beyond the ${fieldWidth} × ${fieldHeight} mm of ${machine.name}; needed it inside`,
    { at: [xMm, yMm], fieldMm: machine.fieldMm },
  );
}

const round3 = (value: number) => Math.round(value * 1000) / 1000;

/** The map that is named, else the shop's of this machine. */
function readEvennessOf(
  asked: string | undefined,
  { shop, machine }: { readonly shop: Shop; readonly machine: Machine },
): EvennessMap {
  if (asked === undefined && !shop.list('evenness').some(({ name }) => name === machine.name)) {
    throw new AppError(
      'name-unknown',
      `evenness: found no map of the field of ${machine.name}, needed one; burn a field chart and learn it, or leave the place out`,
      { asked: machine.name, options: ['evenness'] },
    );
  }
  const { json, path } = shop.read('evenness', asked ?? machine.name);
  const map = parseEvenness(json, path);
  const [width, height] = machine.fieldMm;
  if (map.machine === machine.name && map.fieldMm[0] === width && map.fieldMm[1] === height) return map;
  throw new AppError(
    'option-invalid',
    `evenness: found the field of ${map.machine}, ${map.fieldMm[0]} × ${map.fieldMm[1]} mm, needed that of ${machine.name} with its lens, ${width} × ${height} mm`,
  );
}
