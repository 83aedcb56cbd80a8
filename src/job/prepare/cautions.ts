import type { Caution } from './types.ts';

/** Cautions of machine and material once each: one whose words another says, too, is left out. */
export function mergeCautions(cautions: readonly Caution[]): readonly Caution[] {
  const bodyOf = ({ text }: Caution) => text.replace(/[.\s]+$/, '').toLowerCase();
  const bodies = cautions.map(bodyOf);
  return cautions.filter((_, at) =>
    bodies.every(
      (other, i) => i === at || !other.includes(bodies[at]!) || (other.length === bodies[at]!.length && i > at),
    ),
  );
}
