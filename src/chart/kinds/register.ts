import type { ChartKind } from '../types.ts';
import { CHECK_CHART } from './check.ts';
import { DOSE_CHART } from './dose.ts';
import { FIELD_CHART } from './field.ts';
import { FOCUS_CHART } from './focus.ts';
import type { ChartKindRecord } from './kind.ts';
import { SPOT_CHART } from './spot.ts';
import { TONE_CHART } from './tone.ts';
import { VERIFY_CHART } from './verify.ts';

/** All kinds of charts, by the name that a person asks for. */
export const CHART_KINDS: Readonly<Record<ChartKind, ChartKindRecord>> = {
  spot: SPOT_CHART,
  focus: FOCUS_CHART,
  dose: DOSE_CHART,
  tone: TONE_CHART,
  field: FIELD_CHART,
  verify: VERIFY_CHART,
  check: CHECK_CHART,
};
