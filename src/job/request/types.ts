import type { ArtworkRequest, Caption, CaptionRequest, Drawing } from '../../caption/index.ts';
import type { Machine } from '../../machine/index.ts';
import type { AimCurve, Beneath, MarkDirection, Material, Profile, ScreenChoice, Seen } from '../../material/index.ts';
import type { Notice, RestedNotice } from '../../notices.ts';
import type { BurnSettings, LyingRound } from '../../optics/index.ts';
import {
  type Backdrop,
  type Fit,
  FRAME_DEFAULTS,
  type Outline,
  type OutlineOptions,
  type ToneOptions,
} from '../../photo/index.ts';
import type { ChannelWeights, DotFormat, DotGrid, DotOrientation } from '../../plane/index.ts';
import type { ScreenName, ScreenOptions } from '../../screens/index.ts';
import type { SizeMm } from '../../units.ts';
import type { PieceInField } from './place.ts';
import type { TwoWayCorrection } from './two-way.ts';

/** Settings that a request gives; power may be a share of what the machine calls full. */
export interface GivenSettings extends Partial<BurnSettings> {
  readonly powerPercent?: number;
}

/** What a person asks for, by name; everything but the size may be left to the profile or to the defaults. */
export interface JobRequest {
  /** `85.6x54`, `3.37x2.13in` or a named size such as `ID-1`. */
  readonly size: string;
  readonly profile?: string;
  readonly material?: string;
  readonly machine?: string;
  /** How a material marks that the shop has no record of. */
  readonly direction?: MarkDirection;
  /** mm; absent: the profile's, else the recommended. */
  readonly pitchMm?: number;
  readonly lineSpacingMm?: number;
  readonly screen?: string;
  readonly screenOptions?: Partial<ScreenOptions>;
  readonly fit?: Fit;
  readonly focus?: { readonly x: number; readonly y: number };
  /** How many times larger than it must be to fill the piece. */
  readonly zoom?: number;
  /** How far the photo is turned, degrees clockwise; by its faces, where they leave no doubt, when absent. */
  readonly turnDeg?: number;
  readonly subject?: SubjectRequest;
  /** How a piece of a named size lies; as suits the photo when absent. */
  readonly lay?: PieceLay;
  readonly backdrop?: Backdrop;
  /** Absent: all of the piece. */
  readonly outline?: Outline;
  /** Width over which the picture fades out towards its outline, mm. */
  readonly vignetteMm?: number;
  readonly cornerRadiusMm?: number;
  readonly safeMarginMm?: number;
  readonly viewingDistanceMm?: number;
  readonly tone?: 'auto' | 'plain';
  /** Values set by hand; they go over what `tone` gives. */
  readonly toneValues?: Partial<ToneOptions>;
  readonly range?: 'scale' | 'absolute';
  /** `lightness`, `density`, or names of profiles whose range is aimed at; the profile's own aim when absent. */
  readonly aim?: string;
  readonly weights?: ChannelWeights;
  readonly format?: DotFormat;
  readonly levels?: number;
  /** A round piece that lies still; its size is then the one around its surface. */
  readonly round?: RoundRequest;
  /** A piece that a rotary turns; its size is then the one around its surface. */
  readonly around?: AroundRequest;
  /** Settings that replace the profile's or the machine's. */
  readonly settings?: GivenSettings;
  /**
   * From which side it is looked at; `through` mirrors the bitmap. As the profile was learned, or the material usually
   * is, when absent.
   */
  readonly seen?: Seen;
  /** What lies beneath clear stock where it is looked at; as for `seen` when absent. */
  readonly beneath?: Beneath;
  /** Left and right change places in the bitmap. Of clear stock the same as `seen: 'through'`. */
  readonly mirror?: boolean;
  /** How the piece lies in the machine, clockwise against how it is looked at, degrees; 0 when absent. */
  readonly rotateDeg?: 0 | 90 | 180 | 270;
  /**
   * Where the piece's middle lies in the field, `x,y` in mm from its upper left corner, or a pocket as `jig/pocket`:
   * it is corrected for how even the field is there. In the middle and uncorrected when absent.
   */
  readonly at?: string;
  /** Map of the field, by name or path; the shop's of this machine when absent. */
  readonly evenness?: string;
  /** A control strip beside the piece: a bitmap of its own, or joined with the picture in one. */
  readonly strip?: 'apart' | 'joined';
  /** What the ticket should tell whoever burns the piece. */
  readonly text?: string;
  /** Words on the piece itself. */
  readonly caption?: CaptionRequest;
  /** A drawing on the piece. */
  readonly artwork?: ArtworkRequest;
}

/** A round piece whose axis lies down the bitmap. */
export interface RoundRequest {
  readonly diameterMm: number;
  /** Tone error up to which a width counts as usable, L*; see `ROUND_ERROR_L`. */
  readonly toneErrorL?: number;
  /**
   * A reading of a focus chart, by name or path; `none` goes by the optics alone; the shop's for this machine and
   * material when absent.
   */
  readonly focusReading?: string;
}

/** A piece that a rotary turns under the beam, its axis along the scan lines. */
export interface AroundRequest {
  /** At the upper and the lower edge of the picture, mm. */
  readonly diametersMm: readonly [upper: number, lower: number];
  /** Steps that the rotary makes for one turn of the piece; lines then lie whole steps apart. */
  readonly stepsPerTurn?: number;
  /** So much of the picture's end is blended into its beginning, mm, where it goes all around. */
  readonly overlapMm?: number;
}

/**
 * Whom or what the photo is of: looked for, nothing in particular, a part of the photo (shares of its width and height
 * as it stands on the piece), or a picture of the photo, as that is before any turn, white where the subject is (bytes
 * of its file, base64).
 */
export type SubjectRequest =
  | 'auto'
  | 'none'
  | { readonly x: number; readonly y: number; readonly width: number; readonly height: number }
  | { readonly mask: string };

/** A request as a ticket keeps it, to be made again. */
export type KeptRequest = Omit<JobRequest, 'subject'> & {
  readonly subject?: Exclude<SubjectRequest, { readonly mask: string }> | { readonly maskSha256: string };
};

/** The long side down, or across. */
export type PieceLay = 'upright' | 'lengthwise';

/**
 * One labelled set of defaults for the command, its help and the page. Counts of levels. Exact: 2, a dot fires or not.
 */
export const JOB_DEFAULTS = {
  tone: 'auto',
  range: 'scale',
  format: 'png',
  fit: FRAME_DEFAULTS.fit,
  subject: 'auto',
  backdrop: 'keep',
  safeMarginMm: FRAME_DEFAULTS.safeMarginMm,
  viewingDistanceMm: FRAME_DEFAULTS.viewingDistanceMm,
  levels: 2,
  /** For a photo and for a chart; see `defaultScreen`. */
  screen: 'auto',
} as const;

/** How deep the focus is: two Rayleigh ranges, mm. */
export type FocusDepth =
  | { readonly origin: 'optics'; readonly depthMm: number }
  | {
      readonly origin: 'chart';
      readonly chart: string;
      readonly depthMm: number;
      /** 95 % interval. */
      readonly lowMm: number;
      readonly highMm: number;
    };

/** A piece that lies still, round about an axis that lies down the bitmap, focused on its highest line. */
export interface RoundSpec extends LyingRound {
  readonly toneErrorL: number;
  /** Along the surface; the piece's own width is that in the plane of focus. */
  readonly arcMm: number;
  /** Along the surface: within it every tone is right to the error; beyond it the picture fades out. */
  readonly usableArcMm: number;
  readonly featherMm: number;
  /** What bounds the usable width; absent where all is usable. */
  readonly boundBy?: 'focus' | 'slant';
  readonly focus: FocusDepth;
  /** Whether tones are corrected for the wider spot: its depth is measured, and the material's answer tells it. */
  readonly spread: 'corrected' | 'uncorrected';
}

/** A piece that a rotary turns under the beam, line by line. Widths are around it, half-way between both diameters. */
export interface AroundSpec {
  readonly diametersMm: readonly [upper: number, lower: number];
  /** Along the surface. */
  readonly heightMm: number;
  /** Once around, mm. */
  readonly turnMm: number;
  /** What lies bare between end and beginning; of a whole turn, what its lines miss, mm. */
  readonly gapMm: number;
  /** Whether the picture goes all around. */
  readonly isClosed: boolean;
  /** So much of the picture's end is blended into its beginning, mm. */
  readonly overlapMm: number;
  /** Of the rotary: steps of a turn, and from line to line; absent where they were not said. */
  readonly steps?: { readonly turn: number; readonly line: number };
}

/** How a piece of stock that is looked through is looked at. */
export interface SideSpec {
  readonly seen: Seen;
  /** Absent where nobody said. */
  readonly beneath?: Beneath;
  /** From which side its tones are known, and the proof is. */
  readonly told: Seen;
  /** Whether most of the beam comes out on its other side. */
  readonly passesBeam: boolean;
}

/** A request with every name turned into its record: all that the road of a photo needs. */
export interface JobSpec {
  readonly size: SizeMm;
  readonly safeMarginMm: number;
  readonly viewingDistanceMm: number;
  readonly machine: Machine;
  readonly material: Pick<Material, 'name' | 'title' | 'cautions' | 'before' | 'after'>;
  readonly profile: Profile;
  /** Whether the profile's own screen and grid are used; else its curve is predicted for this job's. */
  readonly curve: 'measured' | 'predicted';
  readonly grid: DotGrid;
  readonly gridOrigin: 'profile' | 'given' | 'recommended';
  /** Line spacing that the solid of the profile supports, mm; absent where none was learned for this machine. */
  readonly supportedLineSpacingMm?: number;
  readonly settings: BurnSettings;
  /** Which of them were given with the request; absent where none was. */
  readonly setByHand?: readonly (keyof BurnSettings)[];
  /** What was asked for, as the ticket keeps it. */
  readonly request: KeptRequest;
  /** How the dots go into the bitmap; as the piece is looked at when absent. */
  readonly orientation?: DotOrientation;
  /** With the reason where the program chose it, or a part of it. */
  readonly screen: ScreenChoice & { readonly name: ScreenName; readonly reason?: string };
  readonly fit: Fit;
  readonly focus?: { readonly x: number; readonly y: number };
  readonly zoom?: number;
  readonly turnDeg?: number;
  readonly subject: SubjectRequest;
  /** A piece whose long side may lie either way: as suits the photo. */
  readonly lay?: 'free';
  /** What becomes of the picture around its subject; kept as it is when absent. */
  readonly backdrop?: Exclude<Backdrop, 'keep'>;
  /** Of the picture on the piece; all of the piece, with an edge as sharp as the dots, when absent. */
  readonly outline?: OutlineOptions;
  readonly tone: 'auto' | 'plain';
  readonly toneValues: Partial<ToneOptions>;
  readonly range: 'scale' | 'absolute';
  /** With `scale`; straight in L* over the profile's own range when absent. */
  readonly aim?: AimCurve;
  readonly weights?: ChannelWeights;
  readonly format: DotFormat;
  readonly levels: number;
  /** Where the piece lies, and how even the field is; in the middle and uncorrected when absent. */
  readonly place?: PieceInField;
  /** How a round piece lies that does not turn; flat when absent. */
  readonly round?: RoundSpec;
  /** How a rotary turns it. */
  readonly around?: AroundSpec;
  /** How lines there and back are brought together; absent where they run one way, or nothing is measured. */
  readonly twoWay?: TwoWayCorrection;
  /** From which side it is looked at, and over what; absent for stock that nobody looks through. */
  readonly side?: SideSpec;
  readonly strip?: 'apart' | 'joined';
  readonly text?: string;
  readonly caption?: Caption;
  readonly artwork?: Drawing;
  readonly warnings: readonly Notice[];
  /** What the shop has put to rest; absent where nothing is. */
  readonly atRest?: readonly RestedNotice[];
  readonly assumptions: readonly string[];
}
