import { proofDots, readProfile, refuseMaterial } from '../job/index.ts';
import { knowsLevels, type Profile, takeRoad } from '../material/index.ts';
import { type DotGrid, decodeDots, writeFilesAtomic } from '../plane/index.ts';
import type { TaskContext } from './context.ts';

export interface ProveBitmapRequest {
  readonly path: string;
  readonly profile: string;
  /** As the file says where absent, else as the profile was learned. */
  readonly pitchMm?: number;
  readonly lineSpacingMm?: number;
  /** Corners of the piece; square when absent. */
  readonly cornerRadiusMm?: number;
  readonly out: string;
  readonly force?: boolean;
}

export interface ProvenRecord {
  readonly file: string;
  readonly profile: Profile;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly dots: readonly [width: number, height: number];
  readonly meanLightness: number;
}

/** Share by which grids may differ and be one grid. Assumed: files round their resolution to whole pixels a metre. */
const SAME_GRID_SHARE = 0.001;

/**
 * The picture of what a bitmap will look like on the material of a profile.
 * @throws AppError name-unknown, material-refused, path-*, image-*, file-invalid, result-exists
 */
export async function proveBitmap(
  { path, profile: asked, pitchMm, lineSpacingMm, cornerRadiusMm = 0, out, force = false }: ProveBitmapRequest,
  { shop, refused, warn, progress }: TaskContext,
): Promise<ProvenRecord> {
  const whole = readProfile(asked, shop);
  refuseMaterial(whole.material, refused());
  progress('reading the bitmap');
  const { dots, grid: own } = await decodeDots(path);
  const profile = takeRoad(whole, dots.levels);
  const grid = {
    pitchMm: pitchMm ?? own?.pitchMm ?? profile.grid.pitchMm,
    lineSpacingMm: lineSpacingMm ?? own?.lineSpacingMm ?? profile.grid.lineSpacingMm,
  };
  if (differs(grid, profile.grid)) {
    warn(
      `The profile "${profile.name}" was learned at ${sayGrid(profile.grid)} mm; the bitmap has ${sayGrid(grid)} mm.`,
    );
  }
  if (profile.origin !== 'measured') {
    warn(`The profile "${profile.name}" is ${profile.origin}, not measured: the proof is a guess.`);
  }
  if (dots.levels > 2 && !knowsLevels(profile)) {
    warn(
      `The bitmap has levels of power, and the profile "${profile.name}" knows dots that fire or not: levels are taken in proportion.`,
    );
  }
  progress('proofing');
  const { png, meanLightness } = await proofDots(dots, { profile, grid, cornerRadiusMm });
  await writeFilesAtomic([{ path: out, bytes: png }], { force });
  const size = { widthMm: dots.width * grid.pitchMm, heightMm: dots.height * grid.lineSpacingMm };
  return { file: out, profile, ...size, dots: [dots.width, dots.height], meanLightness };
}

function differs(a: DotGrid, b: DotGrid): boolean {
  const pairs = [
    [a.pitchMm, b.pitchMm],
    [a.lineSpacingMm, b.lineSpacingMm],
  ] as const;
  return pairs.some(([one, other]) => Math.abs(one / other - 1) > SAME_GRID_SHARE);
}

/** Four digits: more than a file's resolution holds. */
const sayGrid = ({ pitchMm, lineSpacingMm }: DotGrid) =>
  `${Number(pitchMm.toPrecision(4))} × ${Number(lineSpacingMm.toPrecision(4))}`;
