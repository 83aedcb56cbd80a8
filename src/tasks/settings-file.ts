import * as v from 'valibot';
import type { GivenSettings } from '../job/index.ts';
import { readJson } from '../material/index.ts';
import { GRID_FIELDS, SETTINGS_FIELDS } from '../quantities.ts';
import { parseRecord } from '../schema.ts';

/** What is taken of a read dose chart: the cell that it recommends, and what was burned on what where it says so. */
export const DOSE = v.object({
  schema: v.literal('tonewright-dose/1', '"tonewright-dose/1", as a read dose chart is written'),
  recommended: v.object({
    settings: v.object({ ...SETTINGS_FIELDS, lineSpacingMm: GRID_FIELDS.lineSpacingMm }),
  }),
  machine: v.exactOptional(v.string()),
  material: v.exactOptional(v.string()),
});

export interface ReadSettings {
  readonly settings: GivenSettings;
  /** Line spacing of that cell, mm: its dose holds for no other. */
  readonly lineSpacingMm: number;
}

/** The settings that a dose chart recommends, from what its reading wrote. @throws AppError path-*, file-invalid */
export function readSettingsFile(path: string): ReadSettings {
  const { recommended } = parseRecord(DOSE, { json: readJson(path), what: `settings ${path}` });
  const { lineSpacingMm, ...settings } = recommended.settings;
  return { settings, lineSpacingMm };
}
