import type { Profile } from '../../material/index.ts';
import { sha256 } from '../../plane/index.ts';
import { parseSizeMm } from '../../units.ts';
import { JOB_DEFAULTS, type JobRequest, type KeptRequest } from './types.ts';

/** The order in which a ticket writes them. Of every field; the compiler holds that none is missing. */
const FIELDS: Readonly<Record<keyof JobRequest, true>> = {
  size: true,
  profile: true,
  material: true,
  machine: true,
  direction: true,
  pitchMm: true,
  lineSpacingMm: true,
  screen: true,
  screenOptions: true,
  fit: true,
  focus: true,
  zoom: true,
  turnDeg: true,
  subject: true,
  lay: true,
  backdrop: true,
  outline: true,
  vignetteMm: true,
  cornerRadiusMm: true,
  safeMarginMm: true,
  viewingDistanceMm: true,
  tone: true,
  toneValues: true,
  range: true,
  aim: true,
  weights: true,
  format: true,
  levels: true,
  settings: true,
  mirror: true,
  rotateDeg: true,
  at: true,
  evenness: true,
  strip: true,
  text: true,
  caption: true,
  artwork: true,
  round: true,
  around: true,
  seen: true,
  beneath: true,
};

/** What is so anyway; times and mm. Exact: a zoom of once and a vignette of no width change nothing. */
const PLAIN: Readonly<Record<string, unknown>> = {
  ...JOB_DEFAULTS,
  outline: 'rectangle',
  vignetteMm: 0,
  zoom: 1,
};

/** Nothing that would be so anyway, in one order: the same wish is the same text, whichever face it came through. */
export function keepRequest(request: JobRequest, learned: Pick<Profile, 'machine'> | undefined): KeptRequest {
  const entries = (Object.keys(FIELDS) as (keyof JobRequest)[]).flatMap((key): (readonly [string, unknown])[] => {
    const value = request[key];
    if (value === undefined || isPlain(key, request, learned)) return [];
    if (key === 'subject' && typeof value === 'object' && 'mask' in value) {
      return [[key, { maskSha256: sha256(value.mask) }]];
    }
    return [[key, value]];
  });
  return Object.fromEntries(entries) as KeptRequest;
}

function isPlain(key: keyof JobRequest, request: JobRequest, learned: Pick<Profile, 'machine'> | undefined): boolean {
  const value = request[key];
  if (key === 'size') return false;
  if (key === 'machine') return value === learned?.machine;
  if (key === 'cornerRadiusMm') return value === parseSizeMm(request.size, 'size').cornerRadiusMm;
  // The screen of a profile may be another than the default: a screen that was asked for is kept.
  if (key === 'screen') return false;
  if (typeof value === 'object' && !Array.isArray(value)) return Object.keys(value).length === 0;
  return value === PLAIN[key];
}
