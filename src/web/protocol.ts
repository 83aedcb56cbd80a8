import type { Fit, Frame, ToneField, ToneOptions } from '../photo/index.ts';

/** What page and server say to each other: JSON bodies and events, types only, so that the page carries no code of the server. */

export interface Named {
  readonly name: string;
  readonly title: string;
}

export interface MachineFacts extends Named {
  readonly fieldMm: readonly [width: number, height: number];
  readonly wavelengthNm: number;
  readonly settings: SettingsFacts;
}

export interface SettingsFacts {
  readonly powerW: number;
  readonly speedMmPerS: number;
  readonly rateKHz?: number;
  readonly pulseNs?: number;
  readonly passes: number;
  readonly scan: 'one-way' | 'two-way';
}

export interface ProfileFacts extends Named {
  readonly material: string;
  readonly machine: string;
  readonly direction: 'lighter' | 'darker';
  readonly origin: 'measured' | 'rehearsed' | 'assumed';
  readonly date: string;
  readonly from: 'shop' | 'built-in';
  readonly bareL: number;
  readonly fullL: number;
  readonly pitchMm: number;
  readonly lineSpacingMm: number;
  readonly screen: string;
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
  readonly profiles: readonly ProfileFacts[];
  readonly materials: readonly Named[];
  readonly pieces: readonly PieceFacts[];
  readonly screens: readonly string[];
  readonly samples: readonly SampleFacts[];
  readonly toneFields: Readonly<Record<keyof ToneOptions, ToneField>>;
  readonly limits: { readonly uploadBytes: number; readonly megapixels: number };
}

/** What a person asks of one photo; the server turns it into a job's request. */
export interface Wish {
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
  readonly safeMarginMm: number;
  readonly screen?: string;
  readonly tone: 'auto' | 'plain';
  readonly toneValues: Partial<ToneOptions>;
  readonly range: 'scale' | 'absolute';
}

export interface JobCard {
  readonly id: string;
  /** Name of the job and of its files. */
  readonly name: string;
  readonly photo: { readonly file: string; readonly width: number; readonly height: number };
  readonly wish: Wish;
  /** `open`: being looked at; `making`: its files are made; `kept`: its files are in the shop folder. */
  readonly state: 'open' | 'making' | 'kept';
  /** ISO date and time of the last change. */
  readonly changed: string;
  /** Files of a kept job, in the order in which they were written. */
  readonly files: readonly string[];
  /** Whether the wish has changed since the files were made. */
  readonly stale: boolean;
}

export interface Notice {
  readonly text: string;
  readonly source?: string;
}

/** What the exact look says. */
export interface LookFactsJson {
  /** Names the pictures of this look. */
  readonly look: string;
  readonly frame: Frame;
  readonly focus: { readonly x: number; readonly y: number; readonly origin: 'given' | 'attention' | 'middle' };
  readonly tone: ToneOptions;
  readonly dots: { readonly width: number; readonly height: number; readonly firing: number };
  readonly seconds: number;
  readonly prediction: { readonly meanDeltaL: number; readonly p95DeltaL: number; readonly worstDeltaL: number };
  readonly clippedDark: number;
  readonly clippedLight: number;
  readonly profile: { readonly title: string; readonly bareL: number; readonly fullL: number; readonly origin: string };
  readonly screen: string;
  readonly settings: SettingsFacts;
  readonly warnings: readonly string[];
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
  | { readonly type: 'shop' };
