import type { MaterialModel } from './material-model.ts';

/** How much a dirty lens takes and blurs; assumed. */
export const DIRTY_LENS = { power: 0.8, spot: 1.15, origin: 'assumed' } as const;

/** The same material under a lens that was not cleaned: less power at the work, in a wider spot. */
export function dirtyLens(model: MaterialModel): MaterialModel {
  return {
    ...model,
    settings: { ...model.settings, powerW: model.settings.powerW * DIRTY_LENS.power },
    beam: {
      ...model.beam,
      spotDiameterXUm: model.beam.spotDiameterXUm * DIRTY_LENS.spot,
      spotDiameterYUm: model.beam.spotDiameterYUm * DIRTY_LENS.spot,
    },
  };
}
