import type { ArtworkRequest, CaptionRequest } from '../caption/index.ts';
import type { ChartKind } from '../chart/index.ts';
import type { Beneath, Seen } from '../material/index.ts';
import type { KnownNotice, NoticeCode } from '../notices.ts';
import type { BurnSettings } from '../optics/index.ts';
import type { Backdrop, Fit, Frame, Outline, ToneField, ToneOptions } from '../photo/index.ts';
import type { DotFormat } from '../plane/index.ts';

/**
 * What page and server say to each other: JSON bodies and events, types only, so that the page carries no code of the
 * server.
 */

/** A kind of chart, as the page offers it. */
export interface ChartFacts {
  readonly kind: ChartKind;
  readonly question: string;
  readonly hint: string;
  readonly subject: string;
  readonly gives: 'profile' | 'drift' | 'measurement';
  readonly widthMm: number;
  readonly heightMm: number;
  readonly isStrip: boolean;
  readonly isTable: boolean;
  readonly aims: 'never' | 'with-profile' | 'always';
  /** As large as the machine's field. */
  readonly coversField?: boolean;
}

export interface Named {
  readonly name: string;
  readonly title: string;
}

export interface MachineFacts extends Named {
  readonly fieldMm: readonly [width: number, height: number];
  readonly wavelengthNm: number;
  /** Power levels per dot; 2 where the beam fires or not. */
  readonly levels: number;
  /** What can be set of the pulses. */
  readonly pulses: { readonly rate: boolean; readonly duration: boolean };
  /** Whether the shop knows how even its field is. */
  readonly isFieldMeasured: boolean;
  /** Units of its control software, and what one of each is in W and mm/s. */
  readonly units: {
    readonly power: { readonly unit: string; readonly factor: number };
    readonly speed: { readonly unit: string; readonly factor: number };
  };
  /** What a chart, or a photo without a profile, starts with on the recommended grid. */
  readonly settings: SettingsFacts;
  /** What dose charts found on it, by material. */
  readonly found: readonly {
    readonly material: string;
    readonly settings: SettingsFacts & { readonly lineSpacingMm: number };
  }[];
  /** Files that dots can be written to, the default first; none where there is nothing to choose. */
  readonly formats: readonly { readonly name: DotFormat; readonly title: string }[];
}

/** A stock material, and where it can be used. */
export interface MaterialFacts extends Named {
  /** Names of the machines that leave a known mark on it. */
  readonly markedBy: readonly string[];
  /** Of stock that is looked through: how it usually is, and over what its marks are known, the usual first. */
  readonly sides?: { readonly usual: Seen; readonly beneath: readonly Beneath[] };
}

export interface SettingsFacts {
  readonly powerW: number;
  readonly speedMmPerS: number;
  readonly rateKHz?: number;
  readonly pulseNs?: number;
  readonly passes: number;
  readonly scan: 'one-way' | 'two-way';
}

/** A board with pockets. */
export interface JigFacts extends Named {
  readonly widthMm: number;
  readonly heightMm: number;
  /** Pockets of one size, the most first. */
  readonly pockets: readonly {
    readonly count: number;
    readonly widthMm: number;
    readonly heightMm: number;
    /** Of that diameter. */
    readonly round?: true;
  }[];
}

export interface ProfileFacts extends Named {
  readonly material: string;
  readonly machine: string;
  readonly direction: 'lighter' | 'darker';
  readonly origin: 'measured' | 'simulated' | 'assumed';
  readonly date: string;
  readonly from: 'shop' | 'built-in';
  readonly bareL: number;
  readonly fullL: number;
  readonly pitchMm: number;
  readonly lineSpacingMm: number;
  readonly screen: string;
  /** Power levels per dot that its chart had; null where dots fire or not. */
  readonly levels: number | null;
  readonly settings: SettingsFacts;
  /** What it was learned from; null for one that was not, or of before it was kept. */
  readonly captures: { readonly count: number; readonly camera: 'known' | 'unknown' } | null;
  /**
   * Half the band in which 95 % of patches burned later should lie, ΔL*, mean over the curve; null without a measure.
   */
  readonly bandL: number | null;
  /** ISO date of the next check; null for one that no burned piece told. */
  readonly checkDue: string | null;
  /** Learned through the stock; at the burned face when absent. */
  readonly seen?: 'through';
  readonly beneath?: Beneath;
}

export interface PieceFacts extends Named {
  readonly widthMm: number;
  readonly heightMm: number;
  readonly cornerRadiusMm: number;
}

export interface SampleFacts {
  readonly id: string;
  readonly title: string;
}

/** Everything that the page offers for choosing. */
export interface ShopFacts {
  readonly version: string;
  /** Last part of the shop folder's path, for people. */
  readonly folder: string;
  readonly machines: readonly MachineFacts[];
  /** The one to offer first before the others. */
  readonly profiles: readonly ProfileFacts[];
  /** What of the shop folder cannot be read, in words. */
  readonly broken: readonly string[];
  readonly materials: readonly MaterialFacts[];
  readonly jigs: readonly JigFacts[];
  readonly pieces: readonly PieceFacts[];
  readonly screens: readonly Named[];
  readonly charts: readonly ChartFacts[];
  readonly samples: readonly SampleFacts[];
  readonly toneFields: Readonly<Record<keyof ToneOptions, ToneField>>;
  readonly limits: { readonly uploadBytes: number; readonly megapixels: number };
  /** What the shop has said of itself by now: the rest is the built-in examples'. */
  readonly own: { readonly machine: boolean; readonly profile: boolean; readonly prices: boolean };
}

/** Looked for, nothing, or painted: the name of a mask that is kept beside the photo. */
export type SubjectSettings = 'auto' | 'none' | { readonly mask: string };

/** What a person asks of one photo; the server turns it into a job's request. */
export interface PhotoSettings {
  readonly widthMm: number;
  readonly heightMm: number;
  readonly cornerRadiusMm: number;
  readonly machine: string;
  /** One of the two. */
  readonly profile?: string;
  readonly material?: string;
  readonly fit: Fit;
  /** Absent: what draws the eye. */
  readonly focus?: { readonly x: number; readonly y: number };
  /** How many times larger than it must be to fill the piece; absent: once. */
  readonly zoom?: number;
  /** How far the photo is turned, degrees clockwise; absent: upright by its faces, where they leave no doubt. */
  readonly turnDeg?: number;
  /** Absent: looked for. */
  readonly subject?: SubjectSettings;
  /** Absent: kept. */
  readonly backdrop?: Backdrop;
  /** Absent: all of the piece. */
  readonly outline?: Outline;
  /** Absent: 0. */
  readonly vignetteMm?: number;
  readonly safeMarginMm: number;
  readonly screen?: string;
  /** Power levels per dot; absent: dots fire or not. */
  readonly levels?: number;
  readonly tone: 'auto' | 'plain';
  readonly toneValues: Partial<ToneOptions>;
  readonly range: 'scale' | 'absolute';
  /** Settings by hand: they replace the profile's or the machine's. */
  readonly settings?: Partial<BurnSettings>;
  /** From which side clear stock is looked at, and over what; absent: as it was learned, or usually is. */
  readonly seen?: Seen;
  readonly beneath?: Beneath;
  /** Left and right change places in the bitmap. */
  readonly mirror?: true;
  /** How the piece lies in the machine, clockwise; absent: as it is looked at. */
  readonly rotateDeg?: 90 | 180 | 270;
  /** A round piece that lies still, its axis down; its width is then around it. Up to a tone error it is used, L*. */
  readonly round?: { readonly diameterMm: number; readonly toneErrorL?: number };
  /** A piece that a rotary turns: upper and lower diameter, steps of a turn, how far the ends are blended. */
  readonly around?: {
    readonly diametersMm: readonly [upper: number, lower: number];
    readonly stepsPerTurn?: number;
    readonly overlapMm?: number;
  };
  /** File of the dots; absent: the first that the machine offers. */
  readonly format?: DotFormat;
  /** Where the piece lies in the field: its middle, `x,y` in mm, or a pocket as `jig/pocket`; absent: the middle. */
  readonly at?: string;
  /** Words on the piece. */
  readonly caption?: CaptionRequest;
  /** A drawing on the piece, by its name in the shop. */
  readonly artwork?: ArtworkRequest;
}

/** What was kept of a burn. */
export interface BurnedCard {
  /** Name of its record. */
  readonly id: string;
  readonly date: string;
  /** Good pieces, and spoiled ones. */
  readonly count: number;
  readonly scrap: number;
}

/** One line of what was burned, as far as the page shows it. */
export interface BurnedLine extends BurnedCard {
  readonly name: string;
  readonly machine: string;
  readonly material: string;
  readonly profile: { readonly name: string };
  readonly secondsEach: number;
  readonly note?: string;
  readonly picture?: string;
}

export interface BurnedMonth {
  /** Oldest first. */
  readonly entries: readonly BurnedLine[];
  readonly totals: {
    readonly count: number;
    readonly scrap: number;
    readonly seconds: number;
    readonly money: readonly {
      readonly currency: string;
      readonly amountMinor: number;
      readonly minorDigits: number;
    }[];
  };
}

/** What came of making a burned job once more. */
export interface BurnedAgain {
  readonly files: readonly string[];
  /** In what it differs, where it was asked for even so; empty for the same bytes. */
  readonly changes: readonly string[];
}

/** What a shop describes by answers. */
export type FormKindJson = 'machine' | 'material' | 'jig' | 'price';

/** One line of a form. */
export interface FormFieldJson {
  readonly key: string;
  readonly ask: string;
  readonly choices?: readonly string[];
  readonly value: string;
  readonly rests?: 'published' | 'measured' | 'assumed';
  readonly measuredBy?: string;
}

export interface FormAskJson {
  readonly answers: Readonly<Record<string, string>>;
  /** The record that is changed or copied. */
  readonly from?: string;
}

/** A warning that may rest, and how it stands in this shop. */
export interface RestableLine {
  readonly code: string;
  readonly title: string;
  readonly rested: { readonly date: string; readonly causes?: readonly string[]; readonly note?: string } | null;
}

/** Asks for a draft or a proof. */
export interface PreviewRequestJson {
  readonly wish: PhotoSettings;
  /** Paint over what the material cannot show. */
  readonly showClipped: boolean;
  /** Tells the windows apart that look at one job. */
  readonly window: string;
  /** Pixels of the screen that the long side of the piece takes: a draft needs no more. */
  readonly longSidePx: number;
}

export interface JobCard {
  readonly id: string;
  /** Name of the job and of its files. */
  readonly name: string;
  readonly photo: { readonly file: string; readonly width: number; readonly height: number };
  readonly wish: PhotoSettings;
  /** `open`: being looked at; `making`: its files are made; `kept`: its files are in the shop folder. */
  readonly state: 'open' | 'making' | 'kept';
  /** ISO date and time of the last change. */
  readonly changed: string;
  /** Files of a kept job, in the order in which they were written. */
  readonly files: readonly string[];
  /** Whether the wish has changed since the files were made. */
  readonly stale: boolean;
  readonly agreed: Agreement | null;
  /** The day on which it will be ready, as ISO has it. */
  readonly ready: string | null;
}

/** What a customer has said yes to. */
export interface Agreement {
  /** ISO date and time. */
  readonly at: string;
  /** Whether it is still what is wished. */
  readonly holds: boolean;
}

export interface Notice {
  readonly text: string;
  readonly source?: string;
}

/** Something that a person should know. */
export interface NoticeJson {
  readonly code: NoticeCode;
  /** In one line, in the words of a shop. */
  readonly line: string;
  /** All of it, with its figures. */
  readonly text: string;
  /** Numbers and names behind the words. */
  readonly data: Readonly<Record<string, unknown>>;
  /** What puts it to rest in the shop; null for one that always speaks. */
  readonly rest: KnownNotice | null;
}

/** What the exact look says. */
export interface PredictionJson {
  /** Names the pictures of this look. */
  readonly look: string;
  readonly frame: Frame;
  readonly focus: {
    readonly x: number;
    readonly y: number;
    readonly origin: 'given' | 'subject' | 'attention' | 'middle';
  };
  /** How many times nearer the photo is than it must be: as asked, or so that bars at its edges are left out. */
  readonly zoom: number;
  /** The crop without the bars that are in this one; absent without any. */
  readonly alone?: { readonly focus: { readonly x: number; readonly y: number }; readonly zoom: number };
  /** How far the photo was turned, degrees clockwise: as asked, or upright by its faces. */
  readonly turnDeg: number;
  readonly tone: ToneOptions;
  /** By what light an automatic tone is set, in words; absent for a plain one. */
  readonly metered?: string;
  readonly dots: { readonly width: number; readonly height: number; readonly firing: number };
  readonly seconds: number;
  readonly prediction: { readonly meanDeltaL: number; readonly p95DeltaL: number; readonly worstDeltaL: number };
  readonly clippedDark: number;
  readonly clippedLight: number;
  readonly profile: { readonly title: string; readonly bareL: number; readonly fullL: number; readonly origin: string };
  /** How clear stock is looked at, in words for whoever burns it; absent for other stock. */
  readonly seen?: { readonly seen: Seen; readonly beneath?: Beneath; readonly note: string };
  readonly screen: string;
  readonly settings: SettingsFacts;
  /** The same as they are typed into the control software. */
  readonly typed: string;
  readonly notices: readonly NoticeJson[];
  /** What the shop has put to rest, in one line; absent without any. */
  readonly atRest?: string;
  readonly cautions: readonly Notice[];
  readonly assumptions: readonly string[];
  /** Price as the shop's list has it, ready to read; absent without a list. */
  readonly price?: { readonly total: string; readonly lines: readonly (readonly [what: string, amount: string])[] };
}

export interface ErrorJson {
  readonly error: { readonly code: string; readonly message: string; readonly hint: string };
}

/** Told to every open page as it happens. */
export type PageEvent =
  | { readonly type: 'job'; readonly job: JobCard }
  | { readonly type: 'job-gone'; readonly id: string }
  | { readonly type: 'order'; readonly order: OrderView }
  | { readonly type: 'order-gone'; readonly id: string }
  /** `profile` names one that says something else now. */
  | { readonly type: 'shop'; readonly profile?: string };

/** A chart that the shop knows. */
export interface ChartCard {
  readonly hash: string;
  readonly kind: ChartKind;
  readonly material: string;
  readonly machine: string;
  readonly direction: 'lighter' | 'darker';
  readonly widthMm: number;
  readonly heightMm: number;
  /** Files at hand; none for a layout that came from elsewhere. */
  readonly files: readonly string[];
  /** ISO date and time when its files were written; absent without files. */
  readonly drawn?: string;
  /** It has an empty field, into which another software burns its grid. */
  readonly hasField?: boolean;
  /** Its picture is taken through the stock. */
  readonly seen?: 'through';
}

export interface ChartRequestJson {
  readonly kind: ChartCard['kind'];
  readonly machine: string;
  readonly material?: string;
  readonly profile?: string;
  readonly direction?: 'lighter' | 'darker';
  /** Absent: as the kind of chart has it. */
  readonly widthMm?: number;
  readonly heightMm?: number;
  readonly powerW?: number;
  readonly speedMmPerS?: number;
  /** Pitch and line spacing, mm; absent: as recommended. */
  readonly spacingMm?: number;
  /** Power levels per dot: a tone chart measures them, strips and verification charts are burned with them. */
  readonly levels?: number;
  /** Dose charts: what is swept, such as `power=10%:60%:8`; absent: as suits the machine. */
  readonly vary?: readonly string[];
  /** An empty field instead. */
  readonly cells?: 'empty';
  /** How its lines run; absent: as the machine starts. */
  readonly scan?: 'one-way' | 'two-way';
  /** Clear stock: from which side its picture will be taken, and over what; absent: as the material usually is. */
  readonly seen?: Seen;
  readonly beneath?: Beneath;
}

export interface ChartMade extends ChartCard {
  readonly seconds: number;
  /** As its program burns it, where that takes longer. */
  readonly programSeconds?: number;
  readonly areaCm2: number;
  readonly patches: number;
  readonly settings: SettingsFacts;
  /** The same in the units of the control software. */
  readonly typed: string;
  readonly notices: readonly NoticeJson[];
  readonly expected: string | null;
}

/** A scan or a phone photo of a burned chart. */
export interface CaptureCard {
  readonly id: string;
  readonly file: string;
  readonly width: number;
  readonly height: number;
  /** Of a piece that no laser has burned. */
  readonly isVirtual?: true;
  /** The file says how it was exposed: a phone or camera took it. */
  readonly isExposed?: true;
}

export interface ReadingRequest {
  readonly captures: readonly string[];
  /** Absent: all charts that the shop knows; the tags say which. */
  readonly chart?: string;
  /** The profile that a strip is compared with; absent: the one that it was drawn through. */
  readonly profile?: string;
  readonly camera: 'known' | 'unknown';
  readonly mirrored: boolean;
  /** What tells how light the whole is; absent: nothing does. */
  readonly reference?: 'paper' | 'scanner' | { readonly lightness: number; readonly tolerance?: number | undefined };
  /** Where the paper or card lies, pixels of the one capture; absent: looked for around the chart. */
  readonly referenceAt?: { readonly x: number; readonly y: number; readonly width: number; readonly height: number };
  /** How the material really marks; absent: as the chart was drawn for. */
  readonly direction?: 'lighter' | 'darker';
  /** Corners by hand, pixels of the one capture, from the chart's upper left clockwise. */
  readonly corners?: readonly (readonly [number, number])[];
  /** What another software burned into an empty field. */
  readonly grid?: { readonly columns: string; readonly rows: string; readonly gapMm: number };
  /** Title of the profile that is learned, as a person typed it. */
  readonly title?: string;
}

export interface CurvePoint {
  readonly coverage: number;
  readonly lightness: number;
}

export interface BandPointJson extends CurvePoint {
  readonly low: number;
  readonly high: number;
}

export interface TonePatch extends CurvePoint {
  readonly group: string;
  readonly role: 'bare' | 'solid' | 'step' | 'pattern';
  readonly spread: number;
  readonly predicted: number;
}

export interface NumberFact {
  readonly label: string;
  readonly value: string;
  /** What it means to whoever burns by it. */
  readonly meaning?: string;
}

export interface DriftPoint {
  readonly date: string;
  readonly meanDelta: number;
  readonly worstDelta: number;
  readonly unit: number;
  readonly verdict: 'holds' | 'drifting' | 'learn-again';
}

/** Whether what was learned is in the shop now: itself, under whatever name, or another reading under its name. */
export type SavedState =
  | { readonly state: 'no' }
  | { readonly state: 'this'; readonly name: string; readonly title: string }
  | { readonly state: 'another'; readonly name: string; readonly title: string; readonly date: string };

interface ReadingBase {
  readonly id: string;
  readonly date: string;
  readonly chart: string;
  readonly ask: ReadingRequest;
  /** How many pictures of the captures with what was found on them. */
  readonly found: number;
  /** No laser has burned the piece. */
  readonly isVirtual?: true;
  readonly warnings: readonly string[];
  /** The same, each with one line of its own; absent in readings of earlier versions. */
  readonly notices?: readonly NoticeJson[];
}

export type Reading = ReadingBase &
  (
    | {
        readonly kind: 'learned';
        readonly name: string;
        readonly title: string;
        readonly material: string;
        readonly machine: string;
        readonly points: readonly CurvePoint[];
        readonly band: readonly BandPointJson[];
        readonly patches: readonly TonePatch[];
        readonly facts: readonly NumberFact[];
        /** Whether photos may go through the profile, in a sentence; absent in readings of earlier versions. */
        readonly verdict?: string;
        readonly saved: SavedState;
      }
    | {
        readonly kind: 'checked';
        readonly profile: string;
        readonly title: string;
        /** The print error, in words; empty but for a verification chart. */
        readonly ofPrint: readonly string[];
        readonly verdict: DriftPoint['verdict'];
        readonly sentences: readonly string[];
        readonly patches: readonly {
          readonly label: string;
          readonly coverage: number;
          readonly expected: number;
          readonly lightness: number;
          readonly delta: number;
        }[];
        readonly points: readonly CurvePoint[];
        readonly unit: number;
        readonly history: readonly DriftPoint[];
        /** The profile of the day by this strip, or why there is none. */
        readonly adjustment?: {
          readonly name: string;
          readonly title: string;
          readonly machine: string;
          readonly sentences: readonly string[];
          readonly saved: SavedState;
        };
        readonly notAdjusted?: string;
      }
    | { readonly kind: 'measured'; readonly sentences: readonly string[] }
  );

export interface ProfileView extends ProfileFacts {
  readonly points: readonly CurvePoint[];
  readonly band: readonly BandPointJson[];
  readonly facts: readonly NumberFact[];
  readonly warnings: readonly string[];
  readonly history: readonly DriftPoint[];
}

/** Work of the shop that goes through a profile, by its name or title. */
export interface ProfileUses {
  readonly jobs: readonly string[];
  readonly orders: readonly string[];
}

export interface ComparisonView {
  readonly a: ProfileView;
  readonly b: ProfileView;
  readonly facts: readonly NumberFact[];
  readonly notes: readonly string[];
  readonly rows: readonly {
    readonly coverage: number;
    readonly lightnessA: number;
    readonly lightnessB: number;
    readonly delta: number;
    readonly coverageInB: number | null;
  }[];
}

/** What one piece of an order wants differently from the order: any choice of a photo. */
export interface PieceSettings extends Partial<PhotoSettings> {
  /** The long sides the other way round. */
  readonly turned?: boolean;
}

export interface OrderPiece {
  readonly id: string;
  /** The photo's file, as it lies in the order's folder. */
  readonly photo: string;
  readonly width: number;
  readonly height: number;
  /** A line of a list names this photo, and it is not there. */
  readonly missing: boolean;
  readonly count: number;
  readonly text: string;
  readonly excluded: boolean;
  readonly agreed: Agreement | null;
  /** It is left out until it is agreed, since the order burns only what is. */
  readonly awaitsYes: boolean;
  readonly own: PieceSettings;
  /** `changed`: made, but something was asked differently since. */
  readonly status: 'waiting' | 'making' | 'done' | 'changed' | 'failed';
  /** Why it failed. */
  readonly reason: string | null;
  /** What to do about it; absent where nothing is known. */
  readonly hint?: string;
  /** Name of its files. */
  readonly name: string;
  readonly seconds: number | null;
  readonly worstDeltaL: number | null;
}

/** What an order would take and cost, of the pieces whose times are known. */
export interface OrderAhead {
  /** Pieces that were counted, by their ids. */
  readonly counted: readonly string[];
  readonly seconds: number;
  readonly price: string | null;
}

export interface OrderTotals {
  readonly pieces: number;
  readonly copies: number;
  readonly failed: number;
  readonly seconds: number;
  readonly price: string | null;
}

export interface PlateView {
  readonly name: string;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly pockets: readonly {
    readonly name: string;
    readonly xMm: number;
    readonly yMm: number;
    readonly widthMm: number;
    readonly heightMm: number;
    readonly round?: true;
  }[];
  readonly pieces: readonly {
    readonly name: string;
    readonly pocket: string;
    readonly turned: boolean;
    /** The part of the photo that lies there, and the photo's size, pixels. */
    readonly photo: {
      readonly crop: { readonly x: number; readonly y: number; readonly width: number; readonly height: number };
      readonly width: number;
      readonly height: number;
    };
    readonly xMm: number;
    readonly yMm: number;
    readonly widthMm: number;
    readonly heightMm: number;
  }[];
  /** Pieces that were screened again for where they lie in the machine's field, with what was corrected there. */
  readonly corrected: readonly { readonly name: string; readonly pocket: string; readonly note: string }[];
  /** What the plate warns of itself, beside what its pieces do. */
  readonly warnings: readonly string[];
  readonly seconds: number;
  readonly material: string;
  readonly machine: string;
}

export interface OrderView {
  readonly id: string;
  readonly title: string;
  readonly wish: PhotoSettings;
  readonly pieces: readonly OrderPiece[];
  readonly running: boolean;
  /** Makes nothing but what its customer has said yes to, as it is now. */
  readonly onlyAgreed: boolean;
  /** The day on which it will be ready, as ISO has it. */
  readonly ready: string | null;
  readonly changed: string;
  /** Problem that ended the last run. */
  readonly problem: string | null;
  /** Of the last run that went to its end, while nothing has changed since. */
  readonly totals: OrderTotals | null;
  readonly plates: readonly PlateView[];
  readonly plateNotes: readonly string[];
}

/** An order that has read a list. */
export interface ReadListView extends OrderView {
  /** What a person should know of how the list was read. */
  readonly notes: readonly string[];
}

/** All that a page begins with, in one answer. */
export interface StartView {
  /** How far the stream of events is: one that begins at the same revision has missed nothing since. */
  readonly revision: string;
  readonly shop: ShopFacts;
  readonly jobs: readonly JobCard[];
  readonly orders: readonly OrderView[];
}
