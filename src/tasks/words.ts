// How the figures of records are said in words and numbers, for both faces alike.
export {
  filesOfPiece,
  formatMoney,
  listKnown,
  meanBandHalf,
  nextAfterDose,
  nextAfterFocus,
  nextAfterTone,
  sayExpectedError,
  sayExposure,
  sayHeadroom,
  sayLevelRoad,
  sayPrediction,
  sayReason,
  saySpacing,
} from '../job/index.ts';

/** A number with so many significant digits, without trailing zeros. */
export function formatNumber(value: number, digits = 4): string {
  if (!Number.isFinite(value)) return String(value);
  if (Math.abs(value) >= 10 ** digits) return String(Math.round(value));
  return String(Number(value.toPrecision(digits)));
}

/** Seconds as `45 s`, `3 min 20 s` or `1 h 05 min`. */
export function formatSeconds(seconds: number): string {
  if (seconds < 59.5) return `${formatNumber(seconds, 3)} s`;
  const whole = Math.round(seconds);
  const minutes = Math.floor(whole / 60);
  if (minutes < 60) return `${minutes} min ${String(whole % 60).padStart(2, '0')} s`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
}
