import type { LetteringFacts } from '../../caption/index.ts';
import type { KnownControl, ProgramFacts, TimeEstimate, TimeInterval } from '../../machine/index.ts';
import type { CoverageTable, TonePoint } from '../../material/index.ts';
import type { KnownNotice, Notice } from '../../notices.ts';
import type { BurnSettings, OpticsReport } from '../../optics/index.ts';
import type { Meter, OutlineOptions, Rectangle, ToneOptions } from '../../photo/index.ts';
import type { DotFormat, DotGrid, DotOrientation, Dots, FileContent, Plane } from '../../plane/index.ts';
import type { Quote } from '../../price/index.ts';
import type { SearchFacts } from '../../screens/index.ts';
import type { TwoWayCorrection } from '../request/two-way.ts';
import type { KeptRequest, SideSpec } from '../request/types.ts';
import type { ToneUncertainty } from '../request/uncertainty.ts';
import type { PlaceCorrection, PlaceFacts } from './evenness.ts';
import type { HeatFacts, HeatPlan } from './heat.ts';
import type { StripFacts } from './strip.ts';

/** A caution with the key of its source. */
export interface Caution {
  readonly text: string;
  readonly source: string;
}

/** What a material wants done, each step with the key of its source. */
export interface Handling {
  readonly before: readonly Caution[];
  readonly after: readonly Caution[];
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
  /** What the customer or the shop wrote for whoever burns the piece. */
  readonly text?: string;
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
    readonly format: DotFormat;
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
    readonly focus: {
      readonly x: number;
      readonly y: number;
      /** `subject`: so that the subject is kept. `attention`: what draws the eye. */
      readonly origin: 'given' | 'subject' | 'attention' | 'middle';
    };
    /** By how many degrees the photo was turned clockwise, and who said so; absent where it was not. */
    readonly turn?: { readonly deg: number; readonly origin: 'given' | 'faces' };
    /** How many times larger than it must be to fill the piece; absent for once. */
    readonly zoom?: number;
    /** What became of the picture around its subject, where it was not kept. */
    readonly backdrop?: 'soften' | 'fade' | 'bare';
    /** Of the picture on the piece, where it is not all of the piece. */
    readonly outline?: OutlineOptions;
    /** Part of the photo that is used, source pixels. */
    readonly crop: Rectangle;
    /** Where it lies on the piece, dots. */
    readonly place: Rectangle;
  };
  /** Whom or what the photo is of; absent where nobody asked. */
  readonly subject?: {
    /** `eye`: nothing was found, or no models are installed, so that what draws the eye stands for it. */
    readonly by: 'faces' | 'shape' | 'contrast' | 'given' | 'eye';
    readonly faces: number;
    /** Share of the photo outside the crop, 0 … 1. */
    readonly photoLost: number;
    readonly note: string;
  };
  readonly machine: {
    readonly name: string;
    readonly title: string;
    readonly fieldMm: readonly [number, number];
    /** How its control software counts; absent where nothing is known of it. */
    readonly control?: KnownControl;
  };
  readonly material: { readonly name: string; readonly title: string };
  readonly profile: {
    readonly name: string;
    readonly title: string;
    readonly origin: 'measured' | 'simulated' | 'assumed';
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
  /** Which of them were given with the request; absent where none was. */
  readonly setByHand?: readonly (keyof BurnSettings)[];
  readonly optics: OpticsReport;
  readonly tone: {
    readonly mode: 'plain' | 'auto';
    readonly values: ToneOptions;
    readonly range: 'scale' | 'absolute';
    /** How the photo's lightness is laid onto the work: the wanted L* at both ends, and whose range it is. */
    readonly aim: {
      readonly scale: 'lightness' | 'density';
      readonly darkestL: number;
      readonly lightestL: number;
      readonly follows: readonly string[];
      /** Mean |ΔL*| over the picture between the aim and what is left of it at the ends of the material's range. */
      readonly lostDeltaL: number;
    };
    /** By what light an automatic tone is set; absent for a plain one. */
    readonly metered?: { readonly by: Meter['by']; readonly note: string };
    /** Shares of the picture that are cut off at the dark and the light end, 0 … 1, see `countClipped`. */
    readonly clippedDark: number;
    readonly clippedLight: number;
  };
  readonly screen: {
    readonly name: string;
    readonly options: Readonly<Record<string, string | number>>;
    /** Why, where the program chose the screen or its runs. */
    readonly reason?: string;
    /** What runs save in time and cost in looks, for a machine that is slow at switching: none, and the job's. */
    readonly runs?: readonly RunCost[];
    /** What a search did: dots toggled, pairs swapped, most sweeps over a band of rows. */
    readonly search?: SearchFacts;
  };
  /** Power per dot: which road of the profile was taken; absent where dots fire or not. */
  readonly power?: PowerFacts;
  readonly coverage: {
    /** Mean wanted coverage of the whole piece, 0 … 1. */
    readonly mean: number;
    /** Shares of the dots in ten equal bins of coverage. */
    readonly histogram: readonly number[];
  };
  /** |ΔL*| of the predicted against the wanted tone, after the eye's filter. */
  readonly prediction: {
    readonly meanDeltaL: number;
    readonly p95DeltaL: number;
    readonly worstDeltaL: number;
    readonly filter: string;
  };
  /** How well the profile knows the tones of this picture; absent when nothing was measured. */
  readonly uncertainty?: ToneUncertainty;
  readonly time: TimeEstimate & { readonly interval: TimeInterval };
  /** What one piece costs as an order of its own; absent where no price list is in force. */
  readonly price?: Quote;
  /** Top left corner of the bitmap from the field's top left corner, mm; x right, y down. */
  readonly placement: { readonly xMm: number; readonly yMm: number; readonly note: string };
  /** How the piece is corrected for where it lies; absent where nothing was said of that. */
  readonly evenness?: PlaceFacts & {
    /** Of which machine's field, the charts that told it, and the hash of the map. */
    readonly machine: string;
    readonly charts: readonly string[];
    readonly sha256: string;
    /** The middle of the piece in the field, mm from its upper left corner; and the pocket of a jig that it is. */
    readonly xMm: number;
    readonly yMm: number;
    readonly pocket?: { readonly jig: string; readonly name: string };
    readonly note: string;
  };
  /** Heat of earlier dots that was taken into account; absent where the profile tells of none. */
  readonly heat?: HeatFacts;
  /** How lines there and back are brought together; absent where they run one way, or nothing is measured. */
  readonly twoWay?: TwoWayCorrection & {
    /** How much sooner the job is done than with lines one way, s. */
    readonly savedS: number;
    readonly note: string;
  };
  /** How the dots go into the bitmap, where it is not as the piece is looked at: mirrored first, then turned. */
  readonly orientation?: DotOrientation;
  /** How it is looked at: at the burned face, or through the stock; absent for stock that nobody looks through. */
  readonly seen?: Pick<SideSpec, 'seen' | 'beneath'> & { readonly note: string };
  /** What the file holds where it is no picture but a program of the machine's controller. */
  readonly program?: ProgramFacts;
  /** A round piece that lies still: widths along its surface, and what the edge meets. */
  readonly round?: RoundFacts;
  /** A piece that a rotary turns. */
  readonly around?: AroundFacts;
  /** The control strip beside the piece, where one was asked for. */
  readonly strip?: StripFacts;
  /** Words and drawings on the piece, where there are any. */
  readonly lettering?: LetteringFacts;
  /** What is done to the piece before and after the burn; absent where nothing is known of the material. */
  readonly handling?: Handling;
  /** What was asked for: made again by it, the bitmap is the same. */
  readonly request: KeptRequest;
  readonly cautions: readonly Caution[];
  readonly warnings: readonly string[];
  /** What tells each of them from others, in their sequence; absent without any. */
  readonly warned?: readonly KnownNotice[];
  /** What the shop has put to rest and would be said here; absent without any. */
  readonly atRest?: readonly KnownNotice[];
  /** Values that rest on no measurement. */
  readonly assumptions: readonly string[];
}

/** What a ticket says of dots that have levels of power. */
export interface PowerFacts {
  readonly levels: number;
  /** `measured`: by a chart with levels. `proportion`: nobody measured what becomes of them. */
  readonly by: 'measured' | 'proportion';
  /** Levels of that chart, and half the 95 % band of its curve, mean over it, ΔL*. */
  readonly chartLevels?: number;
  readonly bandL?: number;
  readonly note: string;
}

/** What a ticket says of a round piece. Widths are along the surface; the bitmap's is that in the plane of focus. */
export interface RoundFacts {
  readonly diameterMm: number;
  readonly arcMm: number;
  readonly usableArcMm: number;
  readonly featherMm: number;
  readonly toneErrorL: number;
  readonly boundBy?: 'focus' | 'slant';
  /** Whether tones are corrected for the wider spot out of focus, too. */
  readonly spread: 'corrected' | 'uncorrected';
  readonly depthOfFocusMm: number;
  /** Hash of the focus chart that told the depth; absent where the optics did. */
  readonly focusChart?: string;
  /** At the edge: its slant, how far it lies out of focus, spot diameter and dose over those of the top. */
  readonly edgeSlantDeg: number;
  readonly edgeDepthMm: number;
  readonly edgeSpotGrowth: number;
  readonly edgeDoseShare: number;
  readonly note: string;
}

/** What a ticket says of a piece that a rotary turns. Widths are around it, half-way between both diameters. */
export interface AroundFacts {
  readonly diametersMm: readonly [upper: number, lower: number];
  readonly turnMm: number;
  readonly gapMm: number;
  readonly isClosed: boolean;
  readonly overlapMm: number;
  readonly steps?: { readonly turn: number; readonly line: number };
  readonly degreesPerLine: number;
  /** On the surface, at the upper and the lower edge of the picture. */
  readonly lineSpacingsMm: readonly [upper: number, lower: number];
  /** By how much the axis is to be tilted for the highest line to be level, degrees. */
  readonly tiltDeg: number;
  readonly note: string;
}

/** What runs of at least so many dots cost in looks and save in time. */
export interface RunCost {
  /** Fewest dots along a scan line for which the beam stays on, or off. */
  readonly run: number;
  /** The highest speed at which the beam follows such runs, within the machine's range, mm/s. */
  readonly speedMmPerS: number;
  /** Time of the picture at that speed, s. */
  readonly seconds: number;
  /** |ΔL*| of the predicted against the wanted tone, after the eye's filter. */
  readonly meanDeltaL: number;
  readonly p95DeltaL: number;
}

/** Pictures as data URIs, and the tone curve as points, for the printed ticket. */
export interface TicketPictures {
  readonly photo: string;
  readonly proof: string;
  readonly detail: string;
  /** What the detail shows, in words. */
  readonly detailCaption: string;
  readonly curve: readonly { readonly coverage: number; readonly lightness: number }[];
  /** The profile's measured points. */
  readonly points: readonly { readonly coverage: number; readonly lightness: number; readonly spread: number }[];
}

export interface JobFile {
  readonly name: string;
  readonly bytes: FileContent;
}

/** What the road makes of a picture on its way to the dots. */
export interface HalftoneResult {
  readonly tone: ToneOptions;
  /** The toned picture at `frame.place`. */
  readonly toned: Plane<'luminance'>;
  readonly points: readonly TonePoint[];
  readonly table: CoverageTable;
  readonly mask: Plane<'mask'> | undefined;
  /**
   * What of the piece its tones are judged by, where that is less than may be marked: words and drawings are no tones.
   */
  readonly judged?: Plane<'mask'>;
  readonly coverage: Plane<'coverage'>;
  readonly dots: Dots;
  /** How the piece is corrected for where it lies; absent where nothing is said of that. */
  readonly correction?: PlaceCorrection;
  /** What heat makes of its tones, where the profile tells of it. */
  readonly heat?: HeatPlan;
  /** What a search did, for a screen that searches. */
  readonly search?: SearchFacts;
  readonly time: TimeEstimate;
  /** Of the request, and of the photo's own pixels. */
  readonly warnings: readonly Notice[];
}
