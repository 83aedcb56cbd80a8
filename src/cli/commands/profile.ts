import { AppError } from '../../errors.ts';
import { readProfile } from '../../job/index.ts';
import type { Profile } from '../../material/index.ts';
import type { Outcome, Run, Surroundings } from '../command.ts';
import { alignColumns, formatNumber } from '../text.ts';

export const run: Run = async ([action, name], _options, { shop }) => {
  if (action === 'list') return listProfiles(shop);
  if (action === 'show' && name !== undefined) return showProfile(readProfile(name, shop));
  throw new AppError(
    'option-invalid',
    `found "profile ${[action, name].filter(Boolean).join(' ')}", needed "profile list" or "profile show NAME"`,
  );
};

function listProfiles(shop: Surroundings['shop']): Outcome {
  const found = shop.list('profiles').map(({ name, path, from }) => ({ profile: readProfile(name, shop), path, from }));
  const json = found.map(({ profile, path, from }) => ({
    name: profile.name,
    title: profile.title,
    material: profile.material,
    machine: profile.machine,
    origin: profile.origin,
    date: profile.date,
    from,
    path,
  }));
  const rows = json.map(({ name, title, machine, origin, from }) => [name, title, machine, origin, from]);
  return { json, text: alignColumns([['NAME', 'TITLE', 'MACHINE', 'ORIGIN', 'FROM'], ...rows]) };
}

function showProfile(profile: Profile): Outcome {
  const { grid, settings, bare, full, response } = profile;
  const facts = [
    ['name', profile.name],
    ['title', profile.title],
    ['material', profile.material],
    ['machine', profile.machine],
    ['origin', `${profile.origin}, ${profile.date}`],
    ['pitch × line spacing', `${grid.pitchMm} × ${grid.lineSpacingMm} mm`],
    [
      'settings',
      `${settings.powerW} W, ${settings.speedMmPerS} mm/s${settings.rateKHz ? `, ${settings.rateKHz} kHz` : ''}, ${settings.passes} pass(es), ${settings.scan}`,
    ],
    [
      'screen',
      [profile.screen.name, ...Object.entries(profile.screen.options).map(([key, value]) => `${key} ${value}`)].join(
        ', ',
      ),
    ],
    ['marks', `${profile.direction}: L* ${formatNumber(bare[0])} bare … ${formatNumber(full[0])} full`],
    [
      'dose of one dot',
      `${formatNumber(response.doseDiameterXUm, 3)} × ${formatNumber(response.doseDiameterYUm, 3)} µm, half strength at ${formatNumber(response.halfDose, 3)} of the solid’s dose, steepness ${formatNumber(response.steepness, 3)}`,
    ],
    ['light spread', `Yule-Nielsen n ${formatNumber(response.yuleNielsenN, 3)}`],
    ['repeatability', `${formatNumber(profile.repeatability, 2)} ΔL*`],
    ['note', profile.note],
  ];
  const points = profile.points.map(({ coverage, lightness, spread }) => [
    `${formatNumber(100 * coverage, 4)} %`,
    formatNumber(lightness, 4),
    spread > 0 ? `± ${formatNumber(spread, 2)}` : '',
  ]);
  return { json: profile, text: `${alignColumns(facts)}\n\n${alignColumns([['COVERAGE', 'L*', ''], ...points])}` };
}
