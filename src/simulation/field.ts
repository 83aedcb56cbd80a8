import * as v from 'valibot';
import { within } from '../quantities.ts';
import { parseRecord } from '../schema.ts';

/** How a virtual machine's beam differs over its field; absent, it is the same everywhere. */
export interface FieldModel {
  readonly schema: 'tonewright-simulation-field/1';
  readonly title: string;
  /** The field, mm; places in it run from its upper left corner, x right, y down. */
  readonly widthMm: number;
  readonly heightMm: number;
  /** Where a scan lens' axis meets the field; its middle when absent, mm. */
  readonly axisMm?: readonly [number, number];
  /** Share of the dose that is lost, and by which the spot is wider, as far from the axis as a corner of the field. */
  readonly cornerLoss: number;
  readonly cornerGrowth: number;
  /** Exponent of the distance from the axis; 2 is the first term of any round lens. */
  readonly order: number;
  /** The same for the longest way of the beam to a gantry's head: at the corner opposite to 0, 0, along both axes. */
  readonly travelLoss: number;
  readonly travelGrowth: number;
}

const share = within(0, 0.9);
const FIELD_MODEL = v.strictObject({
  schema: v.literal('tonewright-simulation-field/1'),
  title: v.pipe(v.string(), v.nonEmpty()),
  widthMm: within(1, 1e5, 'mm'),
  heightMm: within(1, 1e5, 'mm'),
  axisMm: v.exactOptional(v.strictTuple([within(0, 1e5, 'mm'), within(0, 1e5, 'mm')])),
  cornerLoss: share,
  cornerGrowth: share,
  order: within(0.5, 12),
  travelLoss: share,
  travelGrowth: share,
});

/** A field model from parsed JSON. @throws AppError file-invalid */
export function parseFieldModel(json: unknown): FieldModel {
  return parseRecord(FIELD_MODEL, { json, what: 'field model' });
}

/** Factors of a place against a beam that is the same everywhere. */
export interface BeamAt {
  readonly dose: number;
  readonly width: number;
}

/** The beam at a place of the field, mm from its upper left corner. */
export function beamAt(field: FieldModel, xMm: number, yMm: number): BeamAt {
  const { widthMm, heightMm, cornerLoss, cornerGrowth, order, travelLoss, travelGrowth } = field;
  const [axisX, axisY] = field.axisMm ?? [widthMm / 2, heightMm / 2];
  const away = (Math.hypot(xMm - axisX, yMm - axisY) / (Math.hypot(widthMm, heightMm) / 2)) ** order;
  const travel = (xMm / widthMm + yMm / heightMm) / 2;
  return {
    dose: Math.max(0, 1 - cornerLoss * away) * Math.max(0, 1 - travelLoss * travel),
    width: (1 + cornerGrowth * away) * (1 + travelGrowth * travel),
  };
}

/** A field, and where in it the upper left corner of a bitmap's first dot lies, mm. */
export interface PlacedField {
  readonly model: FieldModel;
  readonly xMm: number;
  readonly yMm: number;
}
