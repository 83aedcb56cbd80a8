import type { Lab } from '../../colour/index.ts';
import type { KnownControl, TimeEstimate } from '../../machine/index.ts';
import type { Palette, PaletteMark } from '../../material/index.ts';
import type { KnownNotice, Notice } from '../../notices.ts';
import type { ToneOptions } from '../../photo/index.ts';
import type { DotOrientation } from '../../plane/index.ts';
import type { Caution, Handling, Ticket } from '../prepare/types.ts';
import type { JobRequest, JobSpec } from '../request/types.ts';

/** What is separated: the photo's lightness alone, or its colours as far as the palette has them. */
export type SeparateBy = 'lightness' | 'colour';

export interface MarksRequest
  extends Omit<JobRequest, 'profile' | 'material' | 'machine' | 'pitchMm' | 'lineSpacingMm'> {
  /** Name or path of the palette. */
  readonly palette: string;
  readonly by?: SeparateBy;
}

export interface MarksSpec {
  readonly job: JobSpec;
  readonly palette: Palette;
  readonly by: SeparateBy;
  readonly warnings: readonly Notice[];
}

/** One burn of the job: a bitmap with the settings of its mark. */
export interface MarkBurn {
  /** 1 is burned first. */
  readonly order: number;
  readonly mark: string;
  readonly title: string;
  readonly colour: Lab;
  readonly settings: PaletteMark['settings'];
  readonly doseJPerCm2: number;
  readonly file: string;
  readonly sha256: string;
  /** Share of the dots that get this mark. */
  readonly firing: number;
  readonly time: TimeEstimate;
}

/** Everything about a job of several marks; no date and no path, so that the same input gives the same bytes. */
export interface MarksTicket {
  readonly schema: 'tonewright-marks/1';
  readonly version: string;
  readonly name: string;
  readonly photo: { readonly file: string; readonly sha256: string; readonly width: number; readonly height: number };
  readonly piece: { readonly widthMm: number; readonly heightMm: number; readonly cornerRadiusMm: number };
  readonly grid: {
    readonly pitchMm: number;
    readonly lineSpacingMm: number;
    readonly width: number;
    readonly height: number;
  };
  readonly machine: { readonly name: string; readonly title: string; readonly control?: KnownControl };
  readonly material: { readonly name: string; readonly title: string };
  readonly palette: {
    readonly name: string;
    readonly title: string;
    readonly origin: string;
    readonly date: string;
    readonly sha256: string;
  };
  readonly by: SeparateBy;
  readonly tone: {
    readonly mode: 'plain' | 'auto';
    readonly values: ToneOptions;
    readonly range: 'scale' | 'absolute';
  };
  /** Share of the dots that stay bare. */
  readonly bare: number;
  /** In the order of burning. */
  readonly burns: readonly MarkBurn[];
  /** All burns together; what a person does between them is not in it. */
  readonly seconds: number;
  /** ΔE between what the palette can show of the photo and what the dots will, as the eye sees both. */
  readonly prediction: { readonly meanDeltaE: number; readonly p95DeltaE: number };
  readonly placement: { readonly xMm: number; readonly yMm: number };
  /** How the dots go into the bitmaps, where it is not as the piece is looked at. */
  readonly orientation?: DotOrientation;
  /** From which side the piece is looked at, where it is said. */
  readonly seen?: NonNullable<Ticket['seen']>;
  readonly handling?: Handling;
  readonly cautions: readonly Caution[];
  readonly warnings: readonly string[];
  readonly warned?: readonly KnownNotice[];
  readonly atRest?: readonly KnownNotice[];
  readonly assumptions: readonly string[];
}
