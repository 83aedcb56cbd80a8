/**
 * Share of light that a smooth face reflects, 0 … 1: unpolarised, at an angle against its normal whose cosine is given,
 * on its way from a medium of index `from` into one of index `to`. Fresnel's equations; 1 beyond the critical angle.
 */
function reflectAtFace(cosine: number, { from, to }: { readonly from: number; readonly to: number }): number {
  const sineBeyond = (from / to) * Math.sqrt(1 - cosine * cosine);
  if (sineBeyond >= 1) return 1;
  const cosineBeyond = Math.sqrt(1 - sineBeyond * sineBeyond);
  const across = (from * cosine - to * cosineBeyond) / (from * cosine + to * cosineBeyond);
  const along = (to * cosine - from * cosineBeyond) / (to * cosine + from * cosineBeyond);
  return (across * across + along * along) / 2;
}

/** Steps of the integral over the half space, a count. Assumed: right to four digits, as many as are published. */
const STEPS = 4000;

/**
 * Share of diffuse light in a clear layer that its smooth face throws back inside: the mean of Fresnel's reflection
 * over the half space by Lambert's law.
 * source: 'judd1942', 0.596 for an index of 1.5.
 */
export function reflectInside(refractiveIndex: number): number {
  let sum = 0;
  for (let i = 0; i < STEPS; i++) {
    // Equal steps of sin² are equal shares of Lambert's light.
    const cosine = Math.sqrt(1 - (i + 0.5) / STEPS);
    sum += reflectAtFace(cosine, { from: refractiveIndex, to: 1 });
  }
  return sum / STEPS;
}

/**
 * Luminous reflectance, 0 … 1, of a diffusing mark that is looked at through clear stock in optical contact with it,
 * from that of the mark itself: light is lost at the smooth face on its way in and held back on its way out. What the
 * face itself mirrors is left out, as a scanner and an eye beside the glare leave it out.
 * source: 'saunderson1942', R = (1 − k₁)(1 − k₂)ρ/(1 − k₂ρ); changed: no k₁ added, since the glare is not looked at.
 */
export function seeThroughStock(reflectance: number, refractiveIndex: number): number {
  const mirrored = reflectAtFace(1, { from: 1, to: refractiveIndex });
  const held = reflectInside(refractiveIndex);
  return ((1 - mirrored) * (1 - held) * reflectance) / (1 - held * reflectance);
}
