/**
 * Width, mm, within which the surface of a lying cylinder is no more than `depthMm` below its highest line:
 * w = 2√(h(D−h)), the chord of a circle at the sagitta h. From h = D/2 on it is the whole diameter.
 * The piece does not turn and is seen from straight above (a scan lens with parallel rays, or a gantry).
 */
export function computeCylinderWidthMm({
  diameterMm,
  depthMm,
}: {
  readonly diameterMm: number;
  readonly depthMm: number;
}): number {
  const h = Math.min(depthMm, diameterMm / 2);
  return 2 * Math.sqrt(h * (diameterMm - h));
}

/** Slope of a cylinder's surface at the edge of a centred width, degrees: asin(w/D). */
export function computeCylinderEdgeAngleDeg({
  diameterMm,
  widthMm,
}: {
  readonly diameterMm: number;
  readonly widthMm: number;
}): number {
  return (Math.asin(Math.min(1, widthMm / diameterMm)) * 180) / Math.PI;
}

/** A cylinder that lies still below the beam, its highest line in focus. */
export interface LyingRound {
  readonly diameterMm: number;
  /**
   * How far above the highest line the rays of a scan lens come from, as from one point; absent: they are parallel (a
   * gantry's, or those of a telecentric lens).
   */
  readonly pupilMm?: number;
}

/** A place on a lying cylinder. */
export interface RoundPlace {
  /** Along the surface from its highest line, mm. */
  readonly arcMm: number;
  /** How far it lies below the highest line, mm: R·(1 − cos φ). */
  readonly depthMm: number;
  /** Slant of the surface, degrees. */
  readonly slantDeg: number;
  /** Dose there over that on the highest line: as much as a dot's part of the surface is larger. */
  readonly dose: number;
}

/**
 * Where on a lying cylinder a ray ends that is aimed so far from the highest line in the plane of focus.
 *
 * With parallel rays sin φ = x/R, and the dose falls by cos φ. From a pupil at height L the ray meets the circle at t
 * times its way to the plane, the smaller root of (x² + L²)t² − 2L(L + R)t + L(L + 2R) = 0; dots lie on the surface
 * as far apart as on the plane, times t·cos β/cos(φ + β) across the axis and t along it, β the ray's own slant.
 * @param offMm such that the ray meets the cylinder
 */
export function placeOnRound(offMm: number, { diameterMm, pupilMm }: LyingRound): RoundPlace {
  const radiusMm = diameterMm / 2;
  const share = pupilMm === undefined ? 1 : meetRound(offMm, { radiusMm, pupilMm });
  const angle = Math.asin((offMm * share) / radiusMm);
  const ray = pupilMm === undefined ? 0 : Math.atan(offMm / pupilMm);
  return {
    arcMm: radiusMm * angle,
    depthMm: radiusMm * (1 - Math.cos(angle)),
    slantDeg: (angle * 180) / Math.PI,
    dose: Math.cos(angle + ray) / (Math.cos(ray) * share * share),
  };
}

function meetRound(
  offMm: number,
  { radiusMm, pupilMm }: { readonly radiusMm: number; readonly pupilMm: number },
): number {
  const a = offMm * offMm + pupilMm * pupilMm;
  const b = pupilMm * (pupilMm + radiusMm);
  const c = pupilMm * (pupilMm + 2 * radiusMm);
  return (b - Math.sqrt(b * b - a * c)) / a;
}

/**
 * How wide so much of a cylinder's surface is in the plane of focus, both about its highest line, mm: 2R·sin φ, and
 * less by L/(L + depth) where the rays come from a pupil.
 */
export function computeChordMm(arcMm: number, { diameterMm, pupilMm }: LyingRound): number {
  const angle = arcMm / diameterMm;
  const chordMm = diameterMm * Math.sin(angle);
  if (pupilMm === undefined) return chordMm;
  return (chordMm * pupilMm) / (pupilMm + (diameterMm / 2) * (1 - Math.cos(angle)));
}

/** A cone's surface, unrolled: a part of a ring about the place where its tip would be. */
export interface UnrolledCone {
  /** From the tip to the line around half-way between both diameters, along the surface, mm; endless for a tube. */
  readonly middleRadiusMm: number;
  /** Whether the tip lies below: the upper end is the wider one. */
  readonly isTipBelow: boolean;
  /** By how much the axis leans from the surface, degrees: sin α = (D₁ − D₂)/(2·H). */
  readonly slantDeg: number;
}

/**
 * A cone between two diameters, as far apart along the surface as the height: sin α = |D₁ − D₂|/(2H), and a line around
 * of radius r lies r/sin α from the tip.
 */
export function unrollCone([upperMm, lowerMm]: readonly [number, number], heightMm: number): UnrolledCone {
  const sine = (upperMm - lowerMm) / (2 * heightMm);
  return {
    middleRadiusMm: (upperMm + lowerMm) / 4 / Math.abs(sine),
    isTipBelow: sine > 0,
    slantDeg: (Math.asin(Math.abs(sine)) * 180) / Math.PI,
  };
}

/**
 * A place of the surface on paper that is wrapped around the cone: mm right of and below the middle of the piece.
 * @param aroundMm along the line around half-way between both diameters
 * @param downMm along the surface, from that line
 */
export function placeOnPaper(
  { middleRadiusMm, isTipBelow }: UnrolledCone,
  { aroundMm, downMm }: { readonly aroundMm: number; readonly downMm: number },
): { readonly xMm: number; readonly yMm: number } {
  if (!Number.isFinite(middleRadiusMm)) return { xMm: aroundMm, yMm: downMm };
  const angle = aroundMm / middleRadiusMm;
  const sign = isTipBelow ? -1 : 1;
  const radiusMm = middleRadiusMm + sign * downMm;
  return { xMm: radiusMm * Math.sin(angle), yMm: sign * (radiusMm * Math.cos(angle) - middleRadiusMm) };
}
