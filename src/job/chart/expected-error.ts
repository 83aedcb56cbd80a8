import * as v from 'valibot';
import type { MarkDirection } from '../../material/index.ts';
import { parseRecord } from '../../schema.ts';
import { roundTo } from '../page/html.ts';

const delta = v.pipe(v.number(), v.minValue(0), v.maxValue(100));

const ERRORS_OF_SIMULATION = v.object({
  schema: v.literal('tonewright-simulation-errors/1'),
  unit: v.literal('ΔL*'),
  rows: v.array(
    v.object({
      /** Virtual material. */
      model: v.string(),
      /** Records of materials that behave like it. */
      materials: v.array(v.string()),
      direction: v.picklist(['lighter', 'darker']),
      camera: v.string(),
      meanDelta: delta,
      worstDelta: delta,
    }),
  ),
});

/** Errors of whole simulated loops, one for each virtual material and camera. */
export type SimulationErrors = v.InferOutput<typeof ERRORS_OF_SIMULATION>;

/** @throws AppError file-invalid naming the field */
export function parseSimulationErrors(json: unknown, where: string): SimulationErrors {
  return parseRecord(ERRORS_OF_SIMULATION, { json, what: where });
}

/** What to expect of a tone chart before it is burned, ΔL* of a verification chart in simulation. */
export interface ExpectedError {
  /** `class`: simulated on stock of this kind. `direction`: on all stock that marks in this direction. */
  readonly basis: 'class' | 'direction';
  readonly models: readonly string[];
  readonly flatbed: { readonly meanDelta: number; readonly worstDelta: number };
  readonly phone: { readonly meanDelta: number; readonly worstDelta: number };
}

/** The largest errors simulated on this class of material, else on all that mark in the same direction. */
export function expectError(
  { rows }: SimulationErrors,
  { material, direction }: { readonly material: string | undefined; readonly direction: MarkDirection },
): ExpectedError | undefined {
  const alike = rows.filter((row) => material !== undefined && row.materials.includes(material));
  const same = alike.filter((row) => row.direction === direction);
  const basis = same.length > 0 ? 'class' : 'direction';
  const used = same.length > 0 ? same : rows.filter((row) => row.direction === direction);
  const worstOf = (kind: 'flatbed' | 'phone') => {
    const some = used.filter(({ camera }) => camera.startsWith(kind));
    if (some.length === 0) return undefined;
    return {
      meanDelta: Math.max(...some.map((row) => row.meanDelta)),
      worstDelta: Math.max(...some.map((row) => row.worstDelta)),
    };
  };
  const flatbed = worstOf('flatbed');
  const phone = worstOf('phone');
  if (!flatbed || !phone) return undefined;
  return { basis, models: [...new Set(used.map(({ model }) => model))], flatbed, phone };
}

/** The same in words. */
export function sayExpectedError({ basis, models, flatbed, phone }: ExpectedError): string {
  const figures = ({ meanDelta, worstDelta }: ExpectedError['flatbed']) =>
    `mean ${roundTo(meanDelta, 1)}, worst patch ${roundTo(worstDelta, 1)}`;
  const stock =
    basis === 'class'
      ? `on virtual stock of this kind (${models.join(', ')})`
      : `on ${models.length} virtual materials`;
  return `Simulated ${stock}, tones burned through the profile were off by ${figures(flatbed)} ΔL* after one scan and ${figures(phone)} after one photo. Real stock adds its own unevenness; a verification chart tells the true error.`;
}
