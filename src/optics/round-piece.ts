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
