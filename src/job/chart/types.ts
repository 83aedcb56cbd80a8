import type { ChartKind, ChartOptions } from '../../chart/index.ts';
import type { Machine } from '../../machine/index.ts';
import type { Beneath, MarkDirection, Material, Profile, Seen } from '../../material/index.ts';
import type { Notice } from '../../notices.ts';
import type { ScreenOptions } from '../../screens/index.ts';
import type { GivenSettings, SideSpec } from '../request/types.ts';
import type { ExpectedError } from './expected-error.ts';

/** What a person asks of a chart, by name; the rest comes from the profile, the material or the defaults. */
export interface ChartRequest {
  readonly kind: ChartKind;
  readonly machine?: string;
  readonly material?: string;
  /** For a material that the shop has no record of. */
  readonly direction?: MarkDirection;
  /** Burned through it (`verify`, `check`), or only to space the steps (`tone`). */
  readonly profile?: string;
  /** Tone charts: a profile whose curve says where more patches help most; everything else is as with `profile`. */
  readonly after?: string;
  readonly size?: string;
  readonly pitchMm?: number;
  readonly lineSpacingMm?: number;
  readonly screen?: string;
  readonly screenOptions?: Partial<ScreenOptions>;
  readonly seed?: number;
  readonly steps?: number;
  readonly replicates?: number;
  /** Settings that replace the profile's or the machine's. */
  readonly settings?: GivenSettings;
  /** Power levels per dot: of `tone` measured beside dots that fire or not, of others what they are burned with. */
  readonly levels?: number;
  /** Dose charts: two swept settings, such as `power=0.5:3:6`. */
  readonly vary?: readonly string[];
  /** Dose charts: an empty field instead of cells, into which another software burns its own grid. */
  readonly cells?: 'empty';
  /** Field charts: where the chart's middle lies, mm from the field's upper left corner; in its middle when absent. */
  readonly at?: { readonly xMm: number; readonly yMm: number };
  /** Focus charts: how far the upper edge of the piece stands above its lower edge, mm; by the optics when absent. */
  readonly riseMm?: number;
  /** Tones: from which side the burned chart is looked at; as learned, or as the material usually is, when absent. */
  readonly seen?: Seen;
  /** What lies beneath clear stock where its picture is taken; as for `seen` when absent. */
  readonly beneath?: Beneath;
}

/** A request with every name turned into its record. */
export interface ChartSpec {
  readonly kind: ChartKind;
  readonly machine: Machine;
  /** Absent when only the direction is known. */
  readonly material?: Material;
  readonly profile?: Profile;
  readonly options: ChartOptions;
  readonly gridOrigin: 'profile' | 'given' | 'recommended';
  /**
   * Dose charts that one bitmap says whole, since the machine takes a power for every dot: what tags, letters and
   * references burn with, and what black means, W.
   */
  readonly powerPerDot?: { readonly ownW: number; readonly topW: number };
  /** Mean dose of its solids, and the one that the profile was learned with or the machine starts with, J/cm². */
  readonly doseJPerCm2: number;
  readonly usualDoseJPerCm2: number;
  /** Tone charts: what a simulation on this class of material leaves of error. */
  readonly expectedError?: ExpectedError;
  /** From which side it is looked at, and over what; absent for stock that nobody looks through. */
  readonly side?: SideSpec;
  readonly warnings: readonly string[];
  /** The same, with what they speak of. */
  readonly speaking: readonly Notice[];
  readonly assumptions: readonly string[];
}

/** What a chart costs before it is burned. */
export interface ChartCost {
  readonly areaCm2: number;
  /** As its bitmaps are burned. */
  readonly seconds: number;
  /** As its program burns it, each cell by itself; absent where that takes as long. */
  readonly programSeconds?: number;
  /** Dots that fire. */
  readonly firing: number;
  readonly formula: string;
}
