declare const BENEATH: readonly [
	"dark",
	"light"
];
declare const CHART_KIND_NAMES: readonly [
	"spot",
	"focus",
	"dose",
	"tone",
	"field",
	"verify",
	"check"
];
declare const PICTURE_FORMAT_NAMES: readonly [
	"png",
	"tiff",
	"bmp"
];
declare function ndarray<D extends ndarray.Data = ndarray.Data<number>>(data: D, shape?: number[], stride?: number[], offset?: number): ndarray.NdArray<D>;
declare namespace ndarray {
	interface NdArray<D extends Data = Data<number>> {
		data: D;
		shape: number[];
		stride: number[];
		offset: number;
		dtype: DataType<D>;
		size: number;
		order: number[];
		dimension: number;
		get(...args: number[]): Value<D>;
		set(...args: number[]): Value<D>;
		index(...args: number[]): Value<D>;
		lo(...args: number[]): NdArray<D>;
		hi(...args: number[]): NdArray<D>;
		step(...args: number[]): NdArray<D>;
		transpose(...args: number[]): NdArray<D>;
		pick(...args: Array<number | null>): NdArray<D>;
		T: NdArray<D>;
	}
	interface GenericArray<T> {
		get(idx: number): T;
		set(idx: number, value: T): void;
		length: number;
	}
	type MaybeBigInt64Array = InstanceType<typeof globalThis extends {
		BigInt64Array: infer T;
	} ? T : never>;
	type MaybeBigUint64Array = InstanceType<typeof globalThis extends {
		BigUint64Array: infer T;
	} ? T : never>;
	type MaybeFloat16Array = InstanceType<typeof globalThis extends {
		Float16Array: infer T;
	} ? T : never>;
	type Data<T = any> = T extends number ? GenericArray<T> | T[] | TypedArray : T extends bigint ? GenericArray<T> | T[] | MaybeBigInt64Array | MaybeBigUint64Array : GenericArray<T> | T[];
	type TypedArray = Int8Array | Int16Array | Int32Array | Uint8Array | Uint8ClampedArray | Uint16Array | Uint32Array | MaybeFloat16Array | Float32Array | Float64Array;
	type Value<D extends Data> = D extends GenericArray<infer T> | Record<number, infer T> ? T : never;
	type DataType<D extends Data = Data> = D extends Int8Array ? "int8" : D extends Int16Array ? "int16" : D extends Int32Array ? "int32" : D extends Uint8Array ? "uint8" : D extends Uint8ClampedArray ? "uint8_clamped" : D extends Uint16Array ? "uint16" : D extends Uint32Array ? "uint32" : D extends MaybeFloat16Array ? "float16" : D extends Float32Array ? "float32" : D extends Float64Array ? "float64" : D extends MaybeBigInt64Array ? "bigint64" : D extends MaybeBigUint64Array ? "biguint64" : D extends GenericArray<unknown> ? "generic" : "array";
}
/**
 * All screens, in the order in which the literature's families are told apart. Apart from the registry, so that a help
 * text that lists them does not load them.
 */
export declare const SCREEN_NAMES: readonly [
	"floyd-steinberg",
	"jarvis-judice-ninke",
	"stucki",
	"burkes",
	"sierra",
	"sierra-two-row",
	"sierra-lite",
	"atkinson",
	"ostromoukhov",
	"zhou-fang",
	"bayer",
	"blue-noise",
	"green-noise",
	"clustered-dot",
	"line",
	"direct-search"
];
/**
 * `plain`: nothing is done to the photo. The radii only matter once their amounts are above 0. Exact: the values at
 * which each step changes nothing. The three radii (mm) are assumed: a usual setting's, so that an amount alone does
 * something.
 */
export declare const TONE_DEFAULTS: ToneOptions;
/**
 * Labels and ranges of every tone value: serves the function, `--help` and the page. Units are in each `unit`. Assumed:
 * the ends are where a photo is spoilt, the steps what the eye just sees.
 */
export declare const TONE_FIELDS: Readonly<Record<keyof ToneOptions, ToneField>>;
/**
 * The picture's own tone: exposure, points, midtones, contrast, then noise (guided filter), local contrast and
 * sharpening. `TONE_DEFAULTS` changes nothing; ranges are in `TONE_FIELDS`.
 * @throws AppError option-invalid for a value out of its range
 */
export declare function adjustTone(light: Luminance, tone: ToneOptions, { grid }: {
	readonly grid: DotGrid;
}): Luminance;
/**
 * Dots of the size of the coverage, 0 … levels − 1. The same coverage and options give the same dots.
 * @throws AppError option-invalid for an option out of its range
 */
export declare function applyScreen(coverage: Coverage, { screen, grid, profile, levels }: ApplyScreenOptions): DotPlane;
/** How far the tones of the dots are off. @throws RangeError where sizes differ */
export declare function assessTone(dots: DotPlane, options: AssessOptions): ToneAssessment;
/** The screen for a material on a machine, or the one named, with the options that the command gives it. */
export declare function chooseScreen(profile: Profile, options: ChooseScreenOptions): Halftone;
/**
 * The automatic tone of a picture for what a material can show: black, white and middle by the picture's own
 * quantiles, noise, local contrast and sharpening by its noise and the eye. Light and `opaque` are those of
 * `sampleLight`. As the command has it with `--subject none`: no face is looked for.
 */
export declare function chooseTone(light: Luminance, options: ChooseToneOptions): ToneOptions;
/**
 * Decodes the bytes of a JPEG, PNG, TIFF, WebP, AVIF or HEIC file: 8 or 16 bits, colour, grey or CMYK, any embedded
 * ICC profile, turned upright as EXIF says. Profiles of primaries and curves are kept as `colour`; inks and profiles of
 * tables become sRGB. A process that decodes on several threads decodes one photo, any, before it starts them: the
 * first sets which formats are opened at all, for the whole process, and until it has, none is.
 * @param name what messages call it
 * @throws AppError image-empty, image-unknown, image-broken, image-too-small, image-too-long, image-too-large,
 * image-too-slow, image-profile-broken, image-library-missing
 */
export declare function decodePhoto(bytes: Uint8Array, name: string, limits?: DecodeLimits): Promise<DecodedPhoto>;
/**
 * The bytes of a bitmap file: 1 bit for two levels and 8 for more, black fires, pitch and line spacing as the
 * resolution of the two axes. A crop, turn or mirror image of the dots is written as it is seen.
 * @throws RangeError for a value that is no level, or a grid that is not above 0
 */
export declare function encodeDots(dots: DotPlane, grid: DotGrid, { format, levels }: EncodeOptions): Uint8Array;
/**
 * Seconds to burn the dots, by the kinematics of the machine's motion, with where they go.
 * @throws RangeError for speed, passes or a grid that is not above 0
 */
export declare function estimateTime(dots: DotPlane, { machine, settings, grid, levels }: TimeOptions): TimeEstimate;
/**
 * The dot table of a surface on a grid (its response's reference grid when absent): the tabular printer model of Pappas
 * and Neuhoff (source: 'pappasNeuhoff1995'), filled from the deposit of doses instead of from hard discs.
 *
 * The neighbourhood is the smallest of 3 × 3, 5 × 3, 3 × 5 and 5 × 5 without corners outside of which an axis' dots add
 * less than 2.5 % to a solid row's dose at the edge of the cell; that is so for dose diameters up to 2.3 and 4.3 steps.
 * What lies further out is taken as covered like the neighbourhood itself (a mean field), so that bare and solid are
 * exact and only the texture of distant dots is lost. Dose diameters above about 5 steps lose accuracy that way; a line
 * spacing so far below the spot gains nothing on the work either.
 */
export declare function fillDotTable(surface: Surface, grid?: DotGrid): DotTable;
/**
 * Where the photo and the dots meet: the piece in whole dots, the crop in pixels of the photo, its place on the piece.
 * Lengths are mm; the aspect is matched on the work, so that unequal pitch and line spacing stretch nothing. `cover`
 * fills the piece about `focus` (shares of the photo, its middle unless told), `contain` shows all of the photo.
 * @throws AppError option-invalid
 */
export declare function framePhoto({ pixels }: Pick<DecodedPhoto, "pixels">, options: FrameOptions): Frame;
/** Whether an error is one that a person can mend; what is none is a fault of this program or of its caller. */
export declare function isAppError(error: unknown): error is AppError;
/**
 * From one or several captures of one tone chart to a profile: read, median of each patch, response model and tone
 * curve fitted together. The same bytes of captures and the same options give the same profile.
 * @throws AppError those of `readChart`; chart-wrong for captures of two charts or of a chart without tones;
 * profile-unusable for tones that rise and fall
 */
export declare function learnProfile(captures: readonly Capture[], options: LearnOptions): LearnedProfile;
/**
 * Layout of a chart from parsed JSON.
 * @param where what is being read, for messages: a path or a name.
 * @throws AppError file-invalid when a field is missing or the layout is no longer the one that its hash names.
 */
export declare function parseChartLayout(json: unknown, where: string): ChartLayout;
/**
 * A machine's record from parsed JSON, schema `tonewright-machine/1`.
 * @param where what messages call it
 * @throws AppError file-invalid naming the field, what was found and what was needed
 */
export declare function parseMachine(json: unknown, where: string): Machine;
/**
 * Profile from parsed JSON.
 * @param where what is being read, for messages: a path or a name.
 * @throws AppError file-invalid naming the field, what was found and what was needed; profile-unusable when coverage or
 * lightness of the points are not strictly monotone.
 */
export declare function parseProfile(json: unknown, where: string): Profile;
/**
 * The profile's inverse: which coverage gives which lightness with this screen on this grid. With `scale`, unless told
 * otherwise, the photo's L* 0 … 100 goes onto the material's range along `aim` (the profile's, else straight in L*).
 */
export declare function planTones(learned: Profile, options: TonePlanOptions): TonePlan;
/**
 * What the dots will show, as reflectance: mean strength of the marks by the dot table, light scatter in the material
 * after Yule and Nielsen 1951, averaged to the size that is asked for.
 * @throws RangeError for a result larger than the dots
 */
export declare function predictReflectance(dots: DotPlane, options: PredictOptions): Reflectance;
/**
 * Finds a chart in a capture by its tags and reads every patch: the camera undone, the light levelled by the bare and
 * solid fields, what is scratched, clipped or under a reflection left out and named.
 * @throws AppError chart-not-found, chart-wrong, capture-*, contrast-too-low, reference-unusable: what cannot be
 * trusted is refused
 */
export declare function readChart(capture: Capture, options: ReadChartOptions): ChartReading;
/** A picture in the colours of the surface, 8-bit sRGB, one pixel for each value. */
export declare function renderReflectance(shown: Reflectance, { bare, full, response }: Profile): Picture;
/**
 * Linear light of the crop at the dots, and how opaque the photo is there: decoded, weighted to luminance (ITU-R
 * BT.709 unless `weights` of the photo's red, green and blue are given, which sum to 1), resized in linear light by an
 * antialiased Lanczos-3 filter. Both have the size of `frame.place`, height × width.
 * @throws RangeError for a frame of a larger photo, or weights that do not sum to 1
 */
export declare function sampleLight(photo: DecodedPhoto, frame: Frame, { weights }?: {
	readonly weights?: ChannelWeights | undefined;
}): {
	readonly light: Luminance;
	readonly opaque: Mask | undefined;
};
/**
 * Coverage of the whole piece, `frame.height` × `frame.width`: that which gives the wanted lightness at `frame.place`,
 * bare outside it, outside the piece's outline, and where the photo is transparent.
 * @throws RangeError for light or `opaque` of another size than the place
 */
export declare function wantCoverage(light: Luminance, { tones, frame, opaque }: WantCoverageOptions): Coverage;
/** What a person can mend: the message says what was found and what was needed. */
export interface AppError extends Error {
	/** A row of the table of errors in DEVELOPERS.md. */
	readonly code: string;
	/** The numbers and names behind the words. */
	readonly details: Readonly<Record<string, unknown>>;
	/** What to do, in one sentence. */
	readonly hint: string;
}
export interface ApplyScreenOptions {
	readonly screen: Halftone;
	readonly grid: DotGrid;
	/** What its marks are: screens that count marks and those that search need to know. */
	readonly profile: Profile;
	readonly levels?: number;
}
export interface AssessOptions {
	readonly profile: Profile;
	readonly tones: TonePlan;
	readonly frame: Frame;
	/** The toned picture that the coverage was wanted for. */
	readonly light: Luminance;
	readonly opaque?: Mask | undefined;
	readonly levels?: number;
}
/** What is typed into the control software for one burn. */
export interface BurnSettings {
	/** Mean power at the work, W. */
	readonly powerW: number;
	/** Speed of the spot along a scan line, mm/s. */
	readonly speedMmPerS: number;
	/** Pulse repetition rate, kHz; absent for a continuous beam. */
	readonly rateKHz?: number;
	/** Pulse duration, ns; absent for a continuous beam or where it cannot be set. */
	readonly pulseNs?: number;
	/** How often the whole bitmap is burned over itself: a whole number of at least 1. */
	readonly passes: number;
	/** Scan lines in one direction only, or there and back. */
	readonly scan: "one-way" | "two-way";
}
/** A scan or photo of a burned chart. */
export interface Capture {
	/** What messages call it. */
	readonly name: string;
	readonly photo: DecodedPhoto;
}
/** What was read of a chart. */
export interface ChartReading {
	/** All patches that can be trusted, every replicate of its own, in burn order; luminance relative to bare. */
	readonly readings: readonly Reading[];
	readonly rejected: readonly RejectedPatch[];
	/** Colour of the bare surface and of the solid, CIE L*a*b* under D65. */
	readonly bare: Lab;
	readonly solid: Lab;
	/** Luminance of solid relative to bare. */
	readonly solidRatio: number;
	readonly direction: "lighter" | "darker";
	/** Standard deviation between replicates of one tone, relative to bare. */
	readonly repeatability: number;
	readonly layout: ChartLayout;
	/** Resolution at the chart's middle, pixels per mm, and the largest standard error of a patch's place, mm. */
	readonly pxPerMm: number;
	readonly placeErrorMm: number;
	readonly warnings: readonly Warning[];
}
export interface ChooseScreenOptions {
	readonly machine: Machine;
	/** Those of the profile when absent. */
	readonly grid?: DotGrid;
	readonly settings?: BurnSettings;
	/** Power levels per dot, 2 … 256; 2 when absent: the beam fires or not. */
	readonly levels?: number;
	/** Another screen than the one for this material and machine. */
	readonly name?: ScreenName;
	readonly options?: Partial<ScreenOptions>;
}
export interface ChooseToneOptions extends Partial<RangeFit> {
	readonly frame: Frame;
	readonly profile: Profile;
	readonly opaque?: Mask | undefined;
}
/** A photograph as samples, turned upright. */
export interface DecodedPhoto {
	/**
	 * Codes as in the file, height × width × 3 (red, green, blue) or × 1 (grey), 0 … 255 or 0 … 65535. A crop, a quarter
	 * turn (`transpose(1, 0, 2)` and `step(-1, 1, 1)`) or a mirror image (`step(1, -1, 1)`) of it is a photo, too.
	 */
	readonly pixels: ndarray.NdArray<Uint8Array> | ndarray.NdArray<Uint16Array>;
	/** Height × width, 0 transparent (bare material) … 255 opaque; absent where the photo has none. */
	readonly alpha?: ndarray.NdArray<Uint8Array>;
	/** What the codes are where they are not sRGB's. */
	readonly colour?: PhotoColour;
	/** What the file says of itself. */
	readonly facts: PhotoFacts;
}
/** Where the dots lie on the work, mm. */
export interface DotGrid {
	/** Distance between dots along a scan line (x), mm. */
	readonly pitchMm: number;
	/** Distance between scan lines (y), mm. */
	readonly lineSpacingMm: number;
}
/** A strength table of a surface on a grid, and the light of its bare and its solid: what a proof needs to know. */
export interface DotTable extends StrengthTable {
	readonly grid: DotGrid;
	readonly strength: Float32Array;
	/** For dots of more than two levels: doses are added up instead of being looked up. */
	readonly dose: DoseSampling;
	/** Relative luminance Y of bare and solid, 0 … 1, and Yule-Nielsen n of the mixing between. */
	readonly bareLuminance: number;
	readonly fullLuminance: number;
	readonly yuleNielsenN: number;
}
export interface EncodeOptions {
	readonly format: PictureFormat;
	readonly levels?: number;
}
export interface Frame {
	/** Dots of the whole piece. */
	readonly width: number;
	readonly height: number;
	readonly grid: DotGrid;
	/** Size of the whole dots, mm: at most half a dot from what was asked. */
	readonly widthMm: number;
	readonly heightMm: number;
	readonly cornerRadiusMm: number;
	readonly safeMarginMm: number;
	readonly viewingDistanceMm: number;
	readonly fit: Fit;
	/** Strip along the lower edge that the picture leaves, mm; absent without one. */
	readonly bareBelowMm?: number;
	/** The part of the photo that is used, source pixels, not rounded. */
	readonly crop: Rectangle;
	/** Where it lies on the piece, whole dots. */
	readonly place: Rectangle;
	/** Pixels that the photo has in the crop. */
	readonly pixelsHave: {
		readonly width: number;
		readonly height: number;
	};
	/** Pixels that the size shows: one per visible cell, not rounded. */
	readonly pixelsNeeded: {
		readonly width: number;
		readonly height: number;
	};
	/** Side of a visible cell, mm: the eye's minute of arc or the dot, whichever is coarser. */
	readonly visibleCellMm: {
		readonly width: number;
		readonly height: number;
	};
}
export interface FrameOptions {
	readonly widthMm: number;
	readonly heightMm: number;
	/** Corner radius of the piece, mm; 0 when absent. */
	readonly cornerRadiusMm?: number;
	readonly grid: DotGrid;
	/**
	 * `cover` fills the piece and crops the photo; `contain` shows the whole photo inside the safe area, the rest stays
	 * bare.
	 */
	readonly fit?: Fit;
	/** What must stay in sight, as shares of the photo's width and height, 0…1; the middle when absent. */
	readonly focus?: {
		readonly x: number;
		readonly y: number;
	};
	/**
	 * How many times larger the photo is shown than it must be to fill the piece, 1 … 20; with `cover`, 1 when absent.
	 */
	readonly zoom?: number;
	/** Nothing is burned nearer than this to the piece's edge, mm; 0 when absent. */
	readonly safeMarginMm?: number;
	/** Distance from which the piece is looked at, mm. */
	readonly viewingDistanceMm?: number;
	/** A strip along the lower edge that the picture leaves to something else, mm; 0 when absent. */
	readonly bareBelowMm?: number;
	/** How many times wider, for its height, the picture is than its dots lie, as on a round piece; once when absent. */
	readonly stretchX?: number;
}
/** A halftone method with the options that differ from its defaults. */
export interface Halftone {
	readonly name: ScreenName;
	readonly options?: Partial<ScreenOptions>;
	/** Why, where it was chosen. */
	readonly reason?: string;
}
export interface LearnOptions extends ReadChartOptions {
	/** ISO date that the profile carries. */
	readonly date: string;
	/** Made from the material and the chart when absent. */
	readonly name?: string;
	readonly title?: string;
	readonly aim?: AimCurve;
}
export interface LearnedProfile {
	readonly profile: Profile;
	/** How well the model's numbers are known, with their 95 % intervals, and its misfit, ΔL*. */
	readonly fit: {
		readonly markX: FittedNumber;
		readonly markY: FittedNumber;
		readonly steepness: FittedNumber;
		readonly yuleNielsenN: FittedNumber;
		readonly modelRms: number;
		readonly widestBand: number;
	};
	readonly warnings: readonly Warning[];
}
/** A laser with one lens: what of its record the stages need. */
export interface Machine {
	readonly name: string;
	readonly title: string;
	/** Shortest time for which the beam can be on, or off, µs; absent: it follows every dot. */
	readonly switchingUs?: number;
	/** Power levels per dot that it can modulate, 2 … 256. */
	readonly levels: number;
	/** Where to start when no profile says better. */
	readonly defaults: BurnSettings;
	readonly motion: Motion;
}
export interface PredictOptions {
	readonly profile: Profile;
	/** The profile's when absent. */
	readonly grid?: DotGrid;
	readonly levels?: number;
	/** Size of the result, at most that of the dots; one value a dot when absent. */
	readonly width?: number;
	readonly height?: number;
}
/** What was learned about a material from captures, for one machine, lens, settings, pitch and screen. */
export interface Profile extends Surface {
	readonly schema: "tonewright-profile/1";
	readonly name: string;
	readonly title: string;
	/** Name of the material's record. */
	readonly material: string;
	/** Name of the machine's record: a laser with one lens. */
	readonly machine: string;
	readonly grid: DotGrid;
	readonly settings: BurnSettings;
	readonly screen: ScreenChoice;
	readonly direction: MarkDirection;
	/**
	 * At least two points, coverage strictly rising within 0 … 1, lightness strictly monotone in the mark's direction. A
	 * learned profile may end short of 1, to keep something in hand or because lightness turns back there.
	 */
	readonly points: readonly TonePoint[];
	/** Standard deviation of one patch between places of the same piece, ΔL*. */
	readonly repeatability: number;
	/** `measured` from captures, `simulated` on the virtual engraver, or `assumed` (no measurement behind it). */
	readonly origin: "measured" | "simulated" | "assumed";
	/** ISO date of learning. */
	readonly date: string;
	readonly note: string;
	/** What it was learned from: captures, and whether their tone curve was known; absent where it was not. */
	readonly captures?: {
		readonly count: number;
		readonly camera: "known" | "unknown";
	};
	/** Aim curve of every picture that goes through it; straight in L* over its own range when absent. */
	readonly aim?: AimCurve;
	/** What its verification charts are judged by. */
	readonly limits?: VerifyLimits;
	/** How well the shape of the curve is known; only profiles that were learned from captures have it. */
	readonly fit?: FitQuality;
	/**
	 * How well it is known how light the whole is. Absent where nothing was measured and in profiles of before it was
	 * asked; the last field, so that those keep their hash.
	 */
	readonly exposure?: ExposureBand;
	/** Made of another profile by a control strip of the day; after all others, for the same reason. */
	readonly adjusted?: ProfileAdjustment;
	/** Its captures were taken through the stock; at the burned face when absent. After all others, too. */
	readonly seen?: "through";
	/** What lay beneath clear stock while its captures were taken; absent where nobody said. */
	readonly beneath?: Beneath;
	/** Power per dot, where a chart has measured it; after all others, for the same reason. */
	readonly levels?: LevelRoad;
	/** Heat that dots leave to later ones, where a chart was asked for it; after all others, for the same reason. */
	readonly heat?: HeatFit;
}
export interface ReadChartOptions {
	/** Layouts that it may show; its tags say which. */
	readonly layouts: readonly ChartLayout[];
	/** `known`: its codes are sRGB's. `unknown`: the chart tells the camera's own curve. */
	readonly camera: "known" | "unknown";
	/** Seen from behind, as on glass. */
	readonly mirrored?: boolean;
	/** How the material really marks, where that is not what the chart was drawn for. */
	readonly direction?: "lighter" | "darker";
	/** A neutral field beside the chart, or a scan with the scanner's automatics off: how light the whole is. */
	readonly reference?: NeutralReference | "scanner";
	/** Corners by hand, pixels; of one capture. */
	readonly corners?: Corners;
}
/** Every option of every screen; which ones a screen reads is in its record's `uses`, the rest is ignored. */
export interface ScreenOptions {
	/** Scan of error diffusion: `serpentine` turns at each row's end. */
	readonly scan: "raster" | "serpentine";
	/** Dose levels per dot, 2 … 256. 2: the beam fires or not. */
	readonly levels: number;
	/** Random seed of a screen that uses chance, a whole number 0 … 2³² − 1. */
	readonly seed: number;
	/** Screen ruling of `clustered-dot` and `line`, lines per cm; `auto`: about eight dots, moved to whole ones. */
	readonly linesPerCm: number | "auto";
	/** Angle of `clustered-dot` and `line`, degrees from the scan line, clockwise on the work, −360 … 360. */
	readonly angleDeg: number;
	/** Dot shape of `clustered-dot`. */
	readonly shape: "round" | "ellipse" | "square" | "diamond";
	/** Side of the threshold matrix, dots, a power of two: `bayer` 2 … 256, `blue-noise` 32 … 256. */
	readonly size: number;
	/**
	 * What error diffusion passes on the error of: `dots`, as if each marked its own cell, or `marks`, as the dot table
	 * predicts them. With `marks` the plane is the wanted mean strength of the mark instead of the share of dots.
	 */
	readonly errorOf: "dots" | "marks";
	/** How far error diffusion's threshold follows local contrast, 0 not at all … 4. */
	readonly edges: number;
	/** Fewest dots along a scan line for which the beam stays on, and stays off, 1 … 32. */
	readonly run: number;
	/** Diameter of the marks that `blue-noise` is spread for, dots, 0 … 3; 0: a dot marks its own cell. */
	readonly dotSize: number;
	/** Dots of the smallest cluster of `green-noise`, 1 … 64. */
	readonly cluster: number;
	/**
	 * What `direct-search` takes dots to leave: `table`, by their neighbours as the dot table says, or `linear`, each the
	 * same wherever it lies. With `table` the plane is the wanted mean strength of the mark instead of the share of dots.
	 */
	readonly response: "table" | "linear";
	/** Distance from which the work is looked at, mm, 50 … 10000. */
	readonly viewingDistanceMm: number;
}
export interface TimeEstimate {
	readonly seconds: number;
	readonly parts: TimeParts;
	readonly passes: number;
	/** Lines that are run, a pass. */
	readonly scanLines: number;
	/** Lines that are skipped. */
	readonly emptyLines: number;
	/** Dots that fire times the pitch, one pass, mm. */
	readonly markedLengthMm: number;
	/** All that is run at scan speed but for the run-ups, one pass, mm. */
	readonly scannedLengthMm: number;
	/** Run before and after each line in which the spot gains and loses speed, mm. */
	readonly runUpMm: number;
	/** How it was computed, in plain words. */
	readonly formula: string;
	readonly inputs: Readonly<Record<string, string | number>>;
}
export interface TimeOptions {
	readonly machine: Machine;
	readonly settings: BurnSettings;
	readonly grid: DotGrid;
	readonly levels?: number;
}
/** |ΔL*| between what was wanted and what is predicted, both as the eye sees them from the frame's viewing distance. */
export interface ToneAssessment {
	readonly mean: number;
	/** 95 of 100 cells are nearer than this. */
	readonly p95: number;
	readonly worst: number;
	/** Cells that the eye cannot tell apart, a size of their own. */
	readonly wanted: Lightness;
	readonly predicted: Lightness;
}
/** Every value of the tone stage. All of them are on the ticket; the same values give the same bits. */
export interface ToneOptions {
	/** Light times 2 to the power of this, before everything else. */
	readonly brightnessEv: number;
	/** Lightness of the photo that becomes black, L*. */
	readonly blackPointL: number;
	/** Lightness of the photo that becomes white, L*. */
	readonly whitePointL: number;
	/** How far middle grey is moved, L*; black and white stay. */
	readonly midtoneL: number;
	/** Steepness about middle grey, −1 … 1; black and white stay. */
	readonly contrast: number;
	/** Gain of what differs from its surroundings, edges excepted, 0 … 1. */
	readonly localContrast: number;
	/** Size of these surroundings on the work, mm. */
	readonly localRadiusMm: number;
	/** Standard deviation of the noise to smooth away, L*. */
	readonly noiseL: number;
	/** How far noise hangs together on the work, mm: the surroundings by which it is told from detail. */
	readonly noiseRadiusMm: number;
	/** Gain of fine detail, 0 … 2. */
	readonly sharpenAmount: number;
	/** Standard deviation of the blur that defines fine detail, mm on the work. */
	readonly sharpenRadiusMm: number;
}
/** From a picture's light to coverage, for one profile, screen and grid. */
export interface TonePlan {
	/** The tone curve: the profile's own, or predicted where screen, grid or what the screen counts differ. */
	readonly points: readonly TonePoint[];
	readonly table: CoverageTable;
}
export interface TonePlanOptions extends Partial<RangeFit> {
	readonly screen: Halftone;
	/** The profile's when absent. */
	readonly grid?: DotGrid;
	/** `auto`, when absent, leaves coverage below 1 % bare: single dots there are dust. `plain` keeps all of it. */
	readonly tone?: "auto" | "plain";
	readonly levels?: number;
}
export interface WantCoverageOptions {
	readonly tones: TonePlan;
	readonly frame: Frame;
	readonly opaque?: Mask | undefined;
}
/** Something that a person should know. */
export interface Warning {
	/** Which kind of thing. */
	readonly code: string;
	readonly text: string;
	/** The numbers and names behind the words. Plain JSON. */
	readonly data: Readonly<Record<string, unknown>>;
}
/** Share of dots that fire, height × width, 0 bare … 32767 solid. */
export type Coverage = ndarray.NdArray<Uint16Array> & Marked<"coverage">;
/** Dots, height × width: 0 bare, 1 the beam fires; 0 … levels − 1 for modulated power. */
export type DotPlane = ndarray.NdArray<Uint8Array> & Marked<"dots">;
/** CIE L*, height × width, 0 … 100. */
export type Lightness = ndarray.NdArray<Float32Array> & Marked<"lightness">;
/** Linear light, height × width, 0 black … 32767 white. */
export type Luminance = ndarray.NdArray<Uint16Array> & Marked<"luminance">;
/** Share of each dot that may be marked, height × width, 0 none … 255 all of it. */
export type Mask = ndarray.NdArray<Uint8Array> & Marked<"mask">;
/** An 8-bit sRGB picture, height × width × 3. */
export type Picture = ndarray.NdArray<Uint8Array> & Marked<"picture">;
/** Relative luminance that a surface shows, height × width, 0 … 1. */
export type Reflectance = ndarray.NdArray<Float32Array> & Marked<"reflectance">;
export type ScreenName = (typeof SCREEN_NAMES)[number];
interface AimCurve {
	/** Equal steps of the photograph's L* become equal steps of L*, or of optical density −log₁₀ Y. */
	readonly scale: "lightness" | "density";
	/** CIE L* at the two ends; the material's own where absent. */
	readonly darkest?: number;
	readonly lightest?: number;
	/** Names of the profiles whose range it is. */
	readonly follows?: readonly string[];
}
interface CellSettings extends BurnSettings {
	readonly lineSpacingMm: number;
}
interface ChartLayout {
	readonly schema: "tonewright-chart/1";
	readonly kind: ChartKind;
	/** Ten hexadecimal digits over everything below but labels and tag ids; the tags carry it. */
	readonly hash: string;
	readonly machine: string;
	/** Name of the material; empty when only the direction was given. */
	readonly material: string;
	readonly direction: "lighter" | "darker";
	readonly settings: BurnSettings;
	readonly screen: {
		readonly name: string;
		readonly options: Readonly<Record<string, string | number>>;
	};
	readonly grid: DotGrid;
	readonly seed: number;
	readonly widthMm: number;
	readonly heightMm: number;
	readonly widthDots: number;
	readonly heightDots: number;
	/** Border of each patch that is not read, mm. */
	readonly borderMm: number;
	/** Bare gutter between two patches, mm. */
	readonly gapMm: number;
	readonly tags: readonly LayoutTag[];
	readonly labels: readonly LayoutLabel[];
	readonly patches: readonly Patch[];
	/** Dose charts with room for the grid of another software: where it lies, mm. After all older fields. */
	readonly field?: FieldPlace;
	/** Charts that are burned on a piece that leans. After all older fields. */
	readonly ramp?: Ramp;
	/** Charts that tell how even the machine's field is: where they are burned in it. After all older fields. */
	readonly inField?: PlaceInField;
	/** Charts that are burned from behind, mirrored: their tags read through the stock. After all older fields. */
	readonly seen?: "through";
	/** What lies beneath clear stock where its picture is taken. After all older fields. */
	readonly beneath?: "dark" | "light";
	/** Tone charts of dots that have levels of power, too. After all older fields. */
	readonly levels?: ChartLevels;
}
interface ChartLevels {
	readonly count: number;
	readonly screen: ChartLayout["screen"];
}
interface CoverageTable {
	/** Coverage 0 … ONE for luminance 0 … ONE. */
	readonly coverage: Uint16Array;
	/** Wanted CIE L* on the work, after clipping to the material's range. */
	readonly lightness: Float32Array;
	/**
	 * The same as relative luminance Y, 0 … 1; worked out when it is first asked for, which a bitmap alone never does.
	 */
	readonly reflectance: Float32Array;
	/** Luminance below and above which the material cannot follow: 0 and ONE where nothing is clipped. */
	readonly clipBelow: number;
	readonly clipAbove: number;
	readonly darkest: number;
	readonly lightest: number;
}
interface DecodeLimits {
	/** Most pixels, where memory is shared with others. */
	readonly maxPixels?: number;
	/** Longest that decoding may take, whole seconds. */
	readonly seconds?: number;
}
interface DoseSampling {
	readonly samplesX: number;
	readonly samplesY: number;
	readonly radiusX: number;
	readonly radiusY: number;
	/** Dose of a full dot dx cells away at sample i is kernelX[(dx + radiusX)·samplesX + i] · kernelY[…]. */
	readonly kernelX: Float32Array;
	readonly kernelY: Float32Array;
	/**
	 * Share of a full dot's dose that arrives from a dot of a share of the full level, at even steps of the level from 0
	 * to 1; in proportion when absent.
	 */
	readonly doseOfLevel?: Float32Array;
	/** Strength of dose d is strengthOf[floor(d · indexPerDose)]. */
	readonly strengthOf: Float32Array;
	readonly indexPerDose: number;
}
interface DotNeighbourhood {
	/** Dots along and across the scan: 1, 3 or 5. */
	readonly columns: number;
	readonly rows: number;
	/** Whether the four corners count; a 5 × 5 neighbourhood leaves them out and has 21 dots. */
	readonly corners: boolean;
}
interface ExifFacts {
	/** Bit 0 of Flash (tag 9209). */
	readonly flashFired: boolean;
	/** DigitalZoomRatio (tag A404); 1 where it was not used. */
	readonly digitalZoom: number;
	/** CustomRendered (tag A401) says other than normal: pictures put together of several, effects. */
	readonly customRendered: boolean;
	/** ExposureTime or FNumber (tags 829A, 829D) stand there, which cameras write and scanners do not. */
	readonly isExposed: boolean;
}
interface ExposureBand {
	/** `reference`: a neutral field of known L* in the captures; `scanner`: a scanner's own white; `none`: neither. */
	readonly basis: "reference" | "scanner" | "none";
	/** 95 %: true luminances lie, all together, between 1/factor and factor times those of the profile; at least 1. */
	readonly factor: number;
	/** The reference's L* and half the 95 % interval of it; only with `reference`. */
	readonly lightness?: number;
	readonly tolerance?: number;
}
interface FieldPlace {
	readonly xMm: number;
	readonly yMm: number;
	readonly widthMm: number;
	readonly heightMm: number;
}
interface FitQuality {
	/** Where 95 % of patches burned later should lie, CIE L*: the curve's own error and the scatter of one patch. */
	readonly band: readonly {
		readonly coverage: number;
		readonly low: number;
		readonly high: number;
	}[];
	/** 95 % intervals of the mark diameters of an isolated dot, µm. */
	readonly markDiameterXUm: readonly [
		low: number,
		high: number
	];
	readonly markDiameterYUm: readonly [
		low: number,
		high: number
	];
	/** Root mean square error of a tone predicted without its own readings, ΔL*. */
	readonly leaveOneOut: number;
	/** Root mean square of what the response model leaves over of all patches, ΔL*. */
	readonly modelRms: number;
	/** What to distrust, in sentences. */
	readonly warnings: readonly string[];
}
interface FittedNumber {
	readonly value: number;
	/** 95 % interval. */
	readonly low: number;
	readonly high: number;
	readonly determined: boolean;
}
interface GalvoMotion extends RotaryMotion {
	readonly kind: "galvo";
	/** Absent: `skipped`. */
	readonly bare?: BareHandling;
	/** Speed of jumps with the beam off, mm/s. */
	readonly jumpSpeedMmPerS: number;
	/** Acceleration of the spot on the work, mm/s²: of jumps, and of the run-up and run-out of a scan line. */
	readonly accelerationMmPerS2: number;
	/** Settling time after a jump of any length, µs. */
	readonly jumpDelayUs: number;
	/**
	 * Time constant with which the mirrors come to rest: longer jumps settle for longer, by so much for each e-fold, µs;
	 * absent: 0.
	 */
	readonly settlingUs?: number;
	/** Wait at the end of a scan line, µs. */
	readonly lineDelayUs: number;
	/** Time lost by switching the beam on, and off, once a scan line, µs. */
	readonly beamOnDelayUs: number;
	readonly beamOffDelayUs: number;
	/** Start and end of a job, s. */
	readonly jobOverheadS: number;
	/** Of machines that burn dot by dot alone: what a dot takes beside its pitch at scan speed, µs; absent: 0. */
	readonly dotDelayUs?: number;
	/** What each gap between the dots of a line takes whatever its length, µs; absent: 0. */
	readonly gapDelayUs?: number;
	/** Speed over the bare dots between, mm/s; absent: the jump speed. */
	readonly skipSpeedMmPerS?: number;
}
interface GantryMotion extends RotaryMotion {
	readonly kind: "gantry";
	/** Absent: `skipped`. */
	readonly bare?: Exclude<BareHandling, "dot-by-dot">;
	/** Acceleration of each axis, mm/s². */
	readonly accelerationMmPerS2: number;
	/** Time in which acceleration builds up, and dies away again, ms; absent: 0, at once. */
	readonly accelerationRiseMs?: number;
	/** Speed of each axis in travel with the beam off, mm/s. */
	readonly travelSpeedMmPerS: number;
	/** Extra run beyond the marks at each end of a scan line, mm, added to what acceleration needs. */
	readonly overtravelMm: number;
	/** Wait at the end of each scan line, ms. */
	readonly turnDelayMs: number;
	readonly jobOverheadS: number;
}
interface HeatFit {
	/** Share of dose that a dot of a solid gains by the dots before it on its line, and by the lines before; ≥ 0. */
	readonly along: number;
	readonly across: number;
	/** Distance over which it fades to 1/e, mm. */
	readonly lengthMm: number;
	/** Both gains together as fitted, with the 95 % interval; may lie below 0. */
	readonly total: readonly [
		value: number,
		low: number,
		high: number
	];
}
interface LayoutLabel {
	readonly text: string;
	/** Upper left dot of the text. */
	readonly xDots: number;
	readonly yDots: number;
	/** Dots along one of the 5 × 7 points of a letter. */
	readonly pointDotsX: number;
	readonly pointDotsY: number;
}
interface LayoutTag {
	readonly id: number;
	readonly position: TagPosition;
	/** Upper left dot of the tag with its bare ring. */
	readonly xDots: number;
	readonly yDots: number;
	/** Dots along one cell. A tag is TAG_CELLS cells wide and high. */
	readonly cellDotsX: number;
	readonly cellDotsY: number;
}
interface LevelRoad {
	/** Levels per dot with bare and full, 3 … 256, as the chart had them. */
	readonly count: number;
	/** Its screen; `levels` is among the options. */
	readonly screen: ScreenChoice;
	/** As those of the profile, over the mean level of the dots. */
	readonly points: readonly TonePoint[];
	/** Dose by level, see `ResponseModel`. */
	readonly doseByLevel: readonly LevelDose[];
	readonly fit: Pick<FitQuality, "band" | "leaveOneOut" | "modelRms">;
}
interface Marked<S extends string> {
	readonly "~scale"?: S;
}
interface NeutralReference {
	/** L* under D65, and half the 95 % interval of it. */
	readonly lightness: number;
	readonly tolerance: number;
	/** Where it lies, pixels of the capture; looked for around the chart when absent. */
	readonly box?: PixelBox;
}
interface Patch {
	/** Row letter and column number on the chart, such as `C7`; unique. */
	readonly id: string;
	readonly role: PatchRole;
	readonly pattern: PatchPattern;
	/** Share of dots asked for, 0 … 1. */
	readonly coverage: number;
	/** Patches with the same group are replicates of one another. */
	readonly group: string;
	readonly xDots: number;
	readonly yDots: number;
	readonly widthDots: number;
	readonly heightDots: number;
	readonly xMm: number;
	readonly yMm: number;
	readonly widthMm: number;
	readonly heightMm: number;
	/** Place in the burn order, top to bottom and left to right, from 0. */
	readonly order: number;
	/** Lightness aimed at, L*: `verify` and `check` charts burned through a profile. */
	readonly aimLightness?: number;
	/** Dose charts only. */
	readonly settings?: CellSettings;
}
interface PhotoColour {
	/** One for all channels, or one each for red, green and blue. */
	readonly curves: readonly [
		CodeCurve
	] | readonly [
		CodeCurve,
		CodeCurve,
		CodeCurve
	];
	/** Luminance of full red, green and blue under the space's own white; sum 1. */
	readonly luminance: ChannelWeights;
	/** Linear red, green and blue to those of sRGB, white to white; outside sRGB below 0 or above 1. */
	readonly toSrgb: Matrix3;
}
interface PhotoFacts {
	readonly format: PhotoFormat;
	/** Colour space of the file before conversion: `srgb`, `cmyk`, `b-w`, `rgb16`, `grey16`, … */
	readonly space: string;
	/** Name of the embedded ICC profile; undefined when there is none. */
	readonly iccProfile: string | undefined;
	/** EXIF orientation 1…8 as found; the pixels are already turned. */
	readonly orientation: number;
	readonly hasAlpha: boolean;
	readonly progressive: boolean;
	/** Size of the file, bytes. */
	readonly bytes: number;
	/** SHA-256 of the file, hexadecimal. */
	readonly sha256: string;
	/** What the camera says about the taking; undefined when it says nothing. */
	readonly exif?: ExifFacts;
}
interface PixelBox {
	readonly x: number;
	readonly y: number;
	readonly width: number;
	readonly height: number;
}
interface PlaceInField {
	readonly xMm: number;
	readonly yMm: number;
	/** Of the field. */
	readonly widthMm: number;
	readonly heightMm: number;
	/** Name of the profile through which the chart is read. */
	readonly profile: string;
}
interface ProfileAdjustment {
	/** Name of the profile that was learned. */
	readonly from: string;
	/** ISO date. */
	readonly date: string;
	/** Hash of the strip. */
	readonly chart: string;
	/** Dose of the same settings and width of a dot's dose, today over then, each with its 95 % interval. */
	readonly doseFactor: readonly [
		value: number,
		low: number,
		high: number
	];
	readonly widthFactor: readonly [
		value: number,
		low: number,
		high: number
	];
}
interface Ramp {
	/** How far the chart's upper edge stands above its lower edge, towards the lens, mm. */
	readonly riseMm: number;
}
interface RangeFit {
	/**
	 * `scale`: the photograph's L* 0 … 100 is drawn onto the material's range, nothing is clipped and every step keeps
	 * its share. `absolute`: the same L* on the work as in the photograph where the material can reach it, clipped
	 * elsewhere.
	 */
	readonly range: "scale" | "absolute";
	/** With `scale`: straight in L* over the material's own range when absent. */
	readonly aim?: AimCurve;
}
interface Reading {
	readonly id: string;
	readonly role: PatchRole;
	readonly group: string;
	readonly pattern: PatchPattern;
	readonly coverage: number;
	/** Linear luminance relative to the bare surface at the same place: bare 1. */
	readonly mean: number;
	/** Colour under the light that the bare surface's colour is given for, D65. */
	readonly colour: Lab;
	/** Standard deviation between blocks of the patch, in the same unit: graininess, not error. */
	readonly spread: number;
	/** Pixels that were read. */
	readonly pixels: number;
	/** Share of the patch left out as scratches or dust. */
	readonly rejectedShare: number;
	readonly xMm: number;
	readonly yMm: number;
	/** Place in the burn order. */
	readonly order: number;
}
interface Rectangle {
	readonly x: number;
	readonly y: number;
	readonly width: number;
	readonly height: number;
}
interface RejectedPatch {
	readonly id: string;
	readonly role: PatchRole;
	readonly reason: RejectReason;
	/** What was found and what was needed, in words. */
	readonly detail: string;
}
interface ResponseModel {
	/** 1/e² diameter of the dose of one dot, µm, along the scan (the smear over one pitch included) and across it. */
	readonly doseDiameterXUm: number;
	readonly doseDiameterYUm: number;
	/** Local dose h at which half the strength is reached; 1 = the mean dose of a solid fill on the reference grid. */
	readonly halfDose: number;
	/** Hill exponent m: steepness of strength against log dose. 1 … 3 gradual, above 10 threshold-like. */
	readonly steepness: number;
	/** Share of strength lost to fading or charring at the solid's mean dose, 0 … 0.9. */
	readonly fading: number;
	/** Yule-Nielsen n ≥ 1: 1 no light scatter in the material, 2 complete. */
	readonly yuleNielsenN: number;
	/** Pitch and line spacing on which the solid fill was burned, mm. */
	readonly reference: DotGrid;
	/**
	 * Dose of a dot by its level, both as shares of the full one: rising from [0, 0] to [1, 1]. Only where dots have
	 * levels of power and a chart has measured what becomes of them; in proportion when absent.
	 */
	readonly doseByLevel?: readonly LevelDose[];
}
interface RotaryMotion {
	/** Highest speed, degrees a second. */
	readonly rotarySpeedDegPerS?: number;
	/** Acceleration, degrees a second each second. */
	readonly rotaryAccelerationDegPerS2?: number;
	/** Wait after each turn until it stands still, ms. */
	readonly rotarySettleMs?: number;
}
interface ScreenChoice {
	readonly name: string;
	readonly options: Readonly<Record<string, string | number>>;
}
interface StrengthTable extends DotNeighbourhood {
	/** 0 bare … 1 solid; above 1 where fading makes the solid weaker than its best. */
	readonly strength: ArrayLike<number>;
}
interface Surface {
	readonly response: ResponseModel;
	readonly bare: Lab;
	readonly full: Lab;
}
interface TimeParts {
	/** Between the first and the last dot of each line, blanks between them included. */
	readonly markingS: number;
	/** Scanning over the bare ends of lines and over lines without dots, where the machine does not skip them. */
	readonly bareS: number;
	/** From line to line with the beam off. */
	readonly movingS: number;
	/** Gaining and losing speed before and after each line, with the extra run of a gantry. */
	readonly turningS: number;
	/** Delays. */
	readonly waitingS: number;
	/** Start and end of the job. */
	readonly overheadS: number;
}
interface ToneField {
	readonly label: string;
	/** Unit to print after the value; empty for a pure number. */
	readonly unit: string;
	readonly min: number;
	readonly max: number;
	/** Step of a control on a page. */
	readonly step: number;
	readonly help: string;
}
interface TonePoint {
	/** 0 bare … 1 solid. */
	readonly coverage: number;
	/** CIE L* of the patch. */
	readonly lightness: number;
	/** Standard deviation between replicates, ΔL*; 0 where the point was computed. */
	readonly spread: number;
}
interface VerifyLimits {
	readonly passMean: number;
	readonly passWorst: number;
	readonly warnMean: number;
	readonly warnWorst: number;
}
type BareHandling = "skipped" | "line-ends-scanned" | "all-scanned" | "dot-by-dot";
type Beneath = (typeof BENEATH)[number];
type ChannelWeights = readonly [
	red: number,
	green: number,
	blue: number
];
type ChartKind = (typeof CHART_KIND_NAMES)[number];
type CodeCurve = ({
	readonly kind: "formula";
	readonly g: number;
	readonly a: number;
	readonly b: number;
	readonly c: number;
} & {
	readonly d: number;
	readonly e: number;
	readonly f: number;
}) | {
	readonly kind: "table";
	readonly samples: Float32Array;
};
type Corners = readonly [
	Point,
	Point,
	Point,
	Point
];
type Fit = "cover" | "contain";
type Lab = readonly [
	lightness: number,
	a: number,
	b: number
];
type LevelDose = readonly [
	level: number,
	dose: number
];
type MarkDirection = "lighter" | "darker";
type Matrix3 = readonly [
	number,
	number,
	number,
	number,
	number,
	number,
	number,
	number,
	number
];
type Motion = GalvoMotion | GantryMotion;
type PatchPattern = {
	readonly kind: "bare";
} | {
	readonly kind: "solid";
} | {
	readonly kind: "screened";
} | {
	readonly kind: "checker";
	readonly dots: number;
} | {
	readonly kind: "squares";
	readonly dots: number;
	readonly period: number;
} | {
	readonly kind: "lines-x";
	readonly dots: number;
	readonly period: number;
} | {
	readonly kind: "lines-y";
	readonly dots: number;
	readonly period: number;
} | {
	readonly kind: "vernier";
	readonly dots: number;
	readonly period: number;
	readonly shift: number;
} | {
	readonly kind: "level";
	readonly level: number;
} | {
	readonly kind: "levels";
};
type PatchRole = "bare" | "solid" | "step" | "cluster" | "line-x" | "line-y" | "ladder" | "vernier" | "isolated" | "control" | "dose" | "level";
type PhotoFormat = "jpeg" | "png" | "tiff" | "webp" | "avif" | "heic";
type PictureFormat = (typeof PICTURE_FORMAT_NAMES)[number];
type Point = readonly [
	x: number,
	y: number
];
type RejectReason = "scratch" | "glare" | "shadow" | "clipped" | "outside" | "disagrees";
type TagPosition = 0 | 1 | 2 | 3 | 4 | 5;

export {
	PictureFormat as DotFormat,
};

export {};
