import * as v from 'valibot';
import {
  compareShopProfiles,
  deleteProfile,
  listKnown,
  offerProfile,
  renameProfile,
  type ShownProfile,
  sampleCurve,
  sayLevelRoad,
  showProfile,
} from '../../tasks/index.ts';
import type { ComparisonView, ProfileView } from '../protocol.ts';
import { factsOfProfile } from '../server-shop.ts';
import type { Calibration } from './context.ts';
import { toDriftPoint } from './drift-point.ts';

/** Title of a profile: a line of text. */
export const PROFILE_TITLE = v.pipe(v.string(), v.trim(), v.minLength(1), v.maxLength(80));

/** @throws AppError name-unknown, file-invalid */
export const viewProfile = ({ shop }: Calibration, name: string): ProfileView => viewOf(showProfile(name, shop), shop);

/** How two profiles differ. @throws AppError name-unknown, file-invalid */
export function viewComparison(calibration: Calibration, a: string, b: string): ComparisonView {
  const { comparison, facts, notes } = compareShopProfiles({ a, b }, calibration);
  return { a: viewProfile(calibration, a), b: viewProfile(calibration, b), facts, notes, rows: comparison.rows };
}

/** Another title; the name stays. @throws AppError those of `renameProfile` */
export async function retitleProfile(calibration: Calibration, name: string, title: string): Promise<ProfileView> {
  await renameProfile({ name, title }, calibration);
  calibration.events.send({ type: 'shop' });
  return viewProfile(calibration, name);
}

/** @throws AppError those of `deleteProfile` */
export async function removeProfile(calibration: Calibration, name: string): Promise<void> {
  await deleteProfile(name, calibration);
  calibration.events.send({ type: 'shop' });
}

function viewOf({ profile, from, history, marksUm }: ShownProfile, shop: Calibration['shop']): ProfileView {
  const { bare, full, grid, screen, fit, repeatability } = profile;
  return {
    ...factsOfProfile(offerProfile(profile, from, shop)),
    points: sampleCurve(profile.points),
    band: fit ? fit.band.map(({ coverage, low, high }) => ({ coverage, lightness: (low + high) / 2, low, high })) : [],
    facts: [
      { label: 'Lightness, bare to marked', value: `L* ${bare[0].toFixed(1)} to ${full[0].toFixed(1)}` },
      { label: 'Equal patches differ by', value: `± ${repeatability.toFixed(2)} L*` },
      ...listKnown(profile),
      { label: 'Mark width', value: `${marksUm.x.toFixed(1)} × ${marksUm.y.toFixed(1)} µm` },
      { label: 'Pitch and line spacing', value: `${grid.pitchMm} × ${grid.lineSpacingMm} mm` },
      { label: 'Screen', value: screen.name },
      ...(profile.levels ? [{ label: 'Power per dot', value: sayLevelRoad(profile)! }] : []),
    ],
    warnings: fit?.warnings ?? [],
    history: (history?.entries ?? []).map(toDriftPoint),
  };
}
