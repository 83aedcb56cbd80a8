import type { TimeEstimate } from '../machine/index.ts';
import type { BurnSettings, OpticsReport } from '../optics/index.ts';
import type { Rectangle, ToneOptions } from '../photo/index.ts';
import type { DotGrid } from '../plane/index.ts';

/** A caution with the key of its source. */
export interface Caution {
  readonly text: string;
  readonly source: string;
}

/**
 * Everything about one job, machine-readable. The ticket holds no date and no path, so that the same input and settings
 * give the same bytes.
 */
export interface Ticket {
  readonly schema: 'tonewright-ticket/1';
  /** Version of the program whose arithmetic made the dots. */
  readonly version: string;
  readonly name: string;
  readonly photo: {
    readonly file: string;
    readonly sha256: string;
    readonly format: string;
    readonly width: number;
    readonly height: number;
    readonly iccProfile: string | null;
    readonly orientation: number;
    /** Weights of red, green and blue in the conversion to one channel. */
    readonly weights: readonly [number, number, number];
  };
  readonly bitmap: {
    readonly file: string;
    readonly sha256: string;
    readonly format: 'png' | 'tiff' | 'bmp';
    readonly width: number;
    readonly height: number;
    readonly levels: number;
    /** Share of the piece's dots that fire, 0 … 1. */
    readonly firing: number;
  };
  readonly piece: {
    readonly widthMm: number;
    readonly heightMm: number;
    readonly cornerRadiusMm: number;
    readonly safeMarginMm: number;
    readonly viewingDistanceMm: number;
  };
  readonly grid: DotGrid & { readonly origin: 'profile' | 'given' | 'recommended' };
  readonly frame: {
    readonly fit: 'cover' | 'contain';
    readonly focus: { readonly x: number; readonly y: number; readonly origin: 'given' | 'attention' | 'middle' };
    /** Part of the photo that is used, source pixels. */
    readonly crop: Rectangle;
    /** Where it lies on the piece, dots. */
    readonly place: Rectangle;
  };
  readonly machine: { readonly name: string; readonly title: string; readonly fieldMm: readonly [number, number] };
  readonly material: { readonly name: string; readonly title: string };
  readonly profile: {
    readonly name: string;
    readonly title: string;
    readonly origin: 'measured' | 'rehearsed' | 'assumed';
    readonly date: string;
    readonly direction: 'lighter' | 'darker';
    /** L* of the bare surface and of the full mark. */
    readonly bareL: number;
    readonly fullL: number;
    readonly sha256: string;
    /** `measured`: the curve of the profile. `predicted`: of another screen or grid, from the response model. */
    readonly curve: 'measured' | 'predicted';
  };
  readonly settings: BurnSettings;
  readonly optics: OpticsReport;
  readonly tone: {
    readonly mode: 'plain' | 'auto';
    readonly values: ToneOptions;
    readonly range: 'scale' | 'absolute';
    /** Shares of the picture at the ends of the material's range, 0 … 1. */
    readonly clippedDark: number;
    readonly clippedLight: number;
  };
  readonly screen: { readonly name: string; readonly options: Readonly<Record<string, string | number>> };
  readonly coverage: {
    /** Mean wanted coverage of the whole piece, 0 … 1. */
    readonly mean: number;
    /** Shares of the dots in ten equal bins of coverage. */
    readonly histogram: readonly number[];
  };
  /** |ΔL*| of the predicted against the wanted tone, after the eye's filter; null when only the bitmap was asked for. */
  readonly prediction: {
    readonly meanDeltaL: number;
    readonly p95DeltaL: number;
    readonly worstDeltaL: number;
    readonly filter: string;
  } | null;
  readonly time: TimeEstimate;
  /** Top left corner of the bitmap from the field's top left corner, mm; x right, y down. */
  readonly placement: { readonly xMm: number; readonly yMm: number; readonly note: string };
  readonly cautions: readonly Caution[];
  readonly warnings: readonly string[];
  /** Values that rest on no measurement. */
  readonly assumptions: readonly string[];
}
