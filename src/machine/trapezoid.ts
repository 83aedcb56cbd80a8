/**
 * Time, s, of a move from rest to rest with bounded speed and acceleration. Long moves reach the speed: 2v/a +
 * (d−v²/a)/v; short ones, d < v²/a, turn round before: 2√(d/a). Source: firgelliTrapezoid. The drive is taken to follow
 * at once; jerk limits and settling come on top as delays.
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

/** Drive of a move: bounded speed and acceleration, and the time in which the acceleration builds up and dies away. */
export interface Drive {
  readonly speedMmPerS: number;
  readonly accelerationMmPerS2: number;
  /** s; 0: acceleration is there at once. */
  readonly riseS: number;
}

/**
 * Time and way from rest to a speed v. With acceleration a that rises in r: v/a + r and v/2 · (v/a + r); below v = a·r
 * the acceleration turns back before it is full: 2√(v·r/a) and v·√(v·r/a) (source: 'biagiottiMelchiorri2008', the
 * double-S profile of section 3.4, with a jerk of a/r; from memory).
 */
export function computeRamp({ speedMmPerS, accelerationMmPerS2, riseS }: Drive): {
  readonly seconds: number;
  readonly distanceMm: number;
} {
  const full = speedMmPerS >= accelerationMmPerS2 * riseS;
  const seconds = full
    ? speedMmPerS / accelerationMmPerS2 + riseS
    : 2 * Math.sqrt((speedMmPerS * riseS) / accelerationMmPerS2);
  return { seconds, distanceMm: (speedMmPerS * seconds) / 2 };
}

/**
 * Time, s, of a move from rest to rest: as `computeTrapezoidSeconds`, with an acceleration a that rises in r.
 * Moves that do not reach the speed: r + √(r² + 4d/a), or 4·∛(d·r/2a) below d = 2ar² (source and locator as above).
 */
export function computeMoveSeconds(distanceMm: number, drive: Drive): number {
  const { speedMmPerS, accelerationMmPerS2, riseS } = drive;
  if (riseS === 0) return computeTrapezoidSeconds({ distanceMm, speedMmPerS, accelerationMmPerS2 });
  const ramp = computeRamp(drive);
  if (distanceMm >= 2 * ramp.distanceMm) return 2 * ramp.seconds + (distanceMm - 2 * ramp.distanceMm) / speedMmPerS;
  if (distanceMm >= 2 * accelerationMmPerS2 * riseS ** 2) {
    return riseS + Math.sqrt(riseS ** 2 + (4 * distanceMm) / accelerationMmPerS2);
  }
  return 4 * Math.cbrt((distanceMm * riseS) / (2 * accelerationMmPerS2));
}
