import { resolve } from 'node:path';
import { proofDots, readProfile, refuseMaterial } from '../../job/index.ts';
import { decodeDots, writeFilesAtomic } from '../../plane/index.ts';
import { readRefused } from '../../tasks/index.ts';
import { parseLengthMm } from '../../units.ts';
import type { Run } from '../command.ts';
import { textOf } from '../options.ts';
import { formatNumber } from '../text.ts';

export const run: Run = async ([bitmap], options, { io, shop, warn, progress }) => {
  const profile = readProfile(textOf(options, 'profile')!, shop);
  refuseMaterial(profile.material, readRefused(shop));
  progress('reading the bitmap');
  const { dots, grid: own } = await decodeDots(resolve(io.cwd, bitmap!));
  const length = (name: string) => {
    const text = textOf(options, name);
    return text === undefined ? undefined : parseLengthMm(text, `--${name}`);
  };
  const grid = {
    pitchMm: length('pitch') ?? own?.pitchMm ?? profile.grid.pitchMm,
    lineSpacingMm: length('spacing') ?? own?.lineSpacingMm ?? profile.grid.lineSpacingMm,
  };
  const differs =
    Math.abs(grid.pitchMm / profile.grid.pitchMm - 1) > 0.001 ||
    Math.abs(grid.lineSpacingMm / profile.grid.lineSpacingMm - 1) > 0.001;
  if (differs) {
    warn(
      `The profile "${profile.name}" was learned at ${profile.grid.pitchMm} × ${profile.grid.lineSpacingMm} mm; the bitmap has ${formatNumber(grid.pitchMm)} × ${formatNumber(grid.lineSpacingMm)} mm.`,
    );
  }
  if (profile.origin !== 'measured')
    warn(`The profile "${profile.name}" is ${profile.origin}, not measured: the proof is a guess.`);
  progress('proofing');
  const corner = length('corner');
  const { png, meanLightness } = await proofDots(dots, { profile, grid, cornerRadiusMm: corner ?? 0 });
  const out = resolve(io.cwd, textOf(options, 'out')!);
  await writeFilesAtomic([{ path: out, bytes: png }], { force: options.force === true });
  const size = { widthMm: dots.width * grid.pitchMm, heightMm: dots.height * grid.lineSpacingMm };
  return {
    json: { file: out, profile: profile.name, ...size, dots: [dots.width, dots.height], meanLightness },
    text: `wrote  ${out}\npiece  ${formatNumber(size.widthMm)} × ${formatNumber(size.heightMm)} mm, mean L* ${formatNumber(meanLightness, 3)}`,
  };
};
