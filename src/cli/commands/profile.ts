import { AppError } from '../../errors.ts';
import type { VerifiedScreen } from '../../job/index.ts';
import type { AimCurve } from '../../material/index.ts';
import {
  type ComparisonRecord,
  compareShopProfiles,
  listKnown,
  listProfiles,
  meanBandHalf,
  type ShownProfile,
  sayHeadroom,
  sayLevelRoad,
  sayPrediction,
  showProfile,
} from '../../tasks/index.ts';
import type { CommandContext, Outcome, Run } from '../command.ts';
import { alignColumns, formatNumber } from '../text.ts';

export const run: Run = async ([action, name, other, ...more], _options, { shop, warn }) => {
  const count = [name, other, ...more].filter((word) => word !== undefined).length;
  if (action === 'list' && count === 0) return writeList({ shop, warn });
  if (action === 'show' && count === 1) return writeProfile(showProfile(name!, shop));
  if (action === 'compare' && count === 2)
    return writeComparison(compareShopProfiles({ a: name!, b: other! }, { shop }));
  throw new AppError(
    'option-invalid',
    `found "profile ${[action, name, other, ...more].filter(Boolean).join(' ')}", needed "profile list", "profile show NAME" or "profile compare NAME NAME"`,
  );
};

function writeComparison({ comparison, facts, notes }: ComparisonRecord): Outcome {
  const { a, b, rows } = comparison;
  const table = rows.map(({ coverage, lightnessA, lightnessB, delta, coverageInB }) => [
    `${formatNumber(100 * coverage, 3)} %`,
    lightnessA.toFixed(1),
    lightnessB.toFixed(1),
    `${delta < 0 ? '' : '+'}${delta.toFixed(2)}`,
    coverageInB === null ? 'out of range' : `${(100 * coverageInB).toFixed(1)} %`,
  ]);
  return {
    json: comparison,
    text: [
      `${b} less ${a}`,
      alignColumns(facts.map(({ label, value }) => [label, value])),
      alignColumns([['COVERAGE', 'L* A', 'L* B', 'ΔL*', 'SAME L* IN B AT'], ...table]),
      ...(notes.length > 0 ? [notes.join('\n')] : []),
    ].join('\n\n'),
  };
}

function writeList({ shop, warn }: Pick<CommandContext, 'shop' | 'warn'>): Outcome {
  const { records, notices } = listProfiles(shop);
  for (const { text } of notices) warn(text);
  const json = records.map(({ value: profile, path, from }) => ({
    name: profile.name,
    title: profile.title,
    material: profile.material,
    machine: profile.machine,
    origin: profile.origin,
    date: profile.date,
    captures: profile.captures ?? null,
    bandL: meanBandHalf(profile) ?? null,
    from,
    path,
  }));
  const rows = json.map(({ name, title, machine, origin, date, captures, bandL, from }) => [
    name,
    title,
    machine,
    origin,
    origin === 'assumed' ? '' : date,
    captures === null ? '' : `${captures.count}, camera ${captures.camera}`,
    bandL === null ? '' : `± ${bandL.toFixed(1)} L*`,
    from,
  ]);
  const head = ['NAME', 'TITLE', 'MACHINE', 'ORIGIN', 'DATE', 'CAPTURES', 'BAND', 'FROM'];
  return { json, text: alignColumns([head, ...rows]) };
}

function writeProfile({ profile, verified, verifiedLevels }: ShownProfile): Outcome {
  const { grid, settings, bare, full, response } = profile;
  const facts = [
    ['name', profile.name],
    ['title', profile.title],
    ['material', profile.material],
    ['machine', profile.machine],
    ['origin', `${profile.origin}, ${profile.date}`],
    ...(profile.seen || profile.beneath
      ? [
          [
            'looked at',
            `${profile.seen ? 'through the stock' : 'at the burned face'}${profile.beneath ? `, over a ${profile.beneath} ground` : ''}`,
          ],
        ]
      : []),
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
    ['light scatter', `Yule-Nielsen n ${formatNumber(response.yuleNielsenN, 3)}`],
    ['repeatability', `${formatNumber(profile.repeatability, 2)} ΔL*`],
    ...(profile.aim ? [['aim', sayAim(profile.aim)]] : []),
    ...(profile.levels ? [['power per dot', sayLevelRoad(profile)!]] : []),
    ...listKnown(profile).flatMap(({ name, value }) => (name === 'heat' ? [['heat', value]] : [])),
    ['headroom', sayHeadroom(profile)],
    ...(profile.fit
      ? [['fit error', `${formatNumber(profile.fit.leaveOneOut, 2)} ΔL* of a tone left out of its own chart`]]
      : []),
    [
      'print error',
      verified.own ? sayPrintError(verified.own) : 'not known: burn a chart of kind "verify" and check it',
    ],
    ...(profile.levels
      ? [
          [
            'print error, levels',
            verifiedLevels.own
              ? sayPrintError(verifiedLevels.own)
              : 'not known: burn a chart of kind "verify" with these levels and check it',
          ],
        ]
      : []),
    ...(verified.others.length > 0 ? [['prediction', sayPrediction(verified, profile).join(' ')]] : []),
    ['note', profile.note],
  ];
  const points = profile.points.map(({ coverage, lightness, spread }) => [
    `${formatNumber(100 * coverage, 4)} %`,
    formatNumber(lightness, 4),
    spread > 0 ? `± ${formatNumber(spread, 2)}` : '',
  ]);
  return {
    json: profile,
    text: [
      alignColumns(facts),
      alignColumns([['COVERAGE', 'L*', ''], ...points]),
      ...(profile.levels ? [alignColumns([['POWER', 'L*', 'DOSE'], ...listLevels(profile.levels)])] : []),
    ].join('\n\n'),
  };
}

/** The curve of levels, with the dose that each share of the power gives where it was read. */
function listLevels({ points, doseByLevel }: NonNullable<ShownProfile['profile']['levels']>): string[][] {
  return points.map(({ coverage, lightness }) => {
    const dose = doseByLevel.find(([level]) => Math.abs(level - coverage) < 1e-4)?.[1];
    return [
      `${formatNumber(100 * coverage, 4)} %`,
      formatNumber(lightness, 4),
      dose === undefined ? '' : `${formatNumber(100 * dose, 3)} %`,
    ];
  });
}

function sayPrintError({ meanDelta, worstDelta, result, date }: VerifiedScreen): string {
  return `mean ${formatNumber(meanDelta, 2)}, worst ${formatNumber(worstDelta, 2)} ΔL*: ${result} (${date})`;
}

function sayAim({ scale, darkest, lightest, follows = [] }: AimCurve): string {
  const steps = `equal steps of ${scale === 'density' ? 'density' : 'L*'}`;
  if (darkest === undefined || lightest === undefined) return steps;
  return `${steps} from L* ${formatNumber(darkest, 1)} to ${formatNumber(lightest, 1)} as in ${follows.join(', ')}`;
}
