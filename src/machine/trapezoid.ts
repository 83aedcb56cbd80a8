/**
 * Time, s, of a move from rest to rest with bounded speed and acceleration. Long moves reach the speed: 2v/a + (d−v²/a)/v;
 * short ones, d < v²/a, turn round before: 2√(d/a). Source: firgelliTrapezoid.
 * The drive is taken to follow at once; jerk limits and settling come on top as delays.
 * @throws RangeError when distance < 0, or speed or acceleration are not above 0.
 */
export function computeTrapezoidSeconds({
  distanceMm,
  speedMmPerS,
  accelerationMmPerS2,
}: {
  readonly distanceMm: number;
  readonly speedMmPerS: number;
  readonly accelerationMmPerS2: number;
}): number {
  if (!(distanceMm >= 0 && speedMmPerS > 0 && accelerationMmPerS2 > 0)) {
    throw new RangeError(
      `a move needs a distance ≥ 0, a speed and an acceleration > 0, got ${distanceMm} mm, ${speedMmPerS} mm/s, ${accelerationMmPerS2} mm/s²`,
    );
  }
  const rampMm = speedMmPerS ** 2 / accelerationMmPerS2;
  if (distanceMm < rampMm) return 2 * Math.sqrt(distanceMm / accelerationMmPerS2);
  return (2 * speedMmPerS) / accelerationMmPerS2 + (distanceMm - rampMm) / speedMmPerS;
}
