import {
  estimateInterval,
  estimateTimeOfPath,
  findExtents,
  type TimeInterval,
  tracePath,
} from '../../machine/index.ts';
import { fillDotTable } from '../../material/index.ts';
import type { Dots, Photo } from '../../plane/index.ts';
import { type Picture, takePicture } from '../prepare/picture.ts';
import { assessProof, predictSeen, seeAsBurned } from '../prepare/proof.ts';
import { makeDots } from '../prepare/run.ts';
import type { Ticket } from '../prepare/types.ts';

import { timingOf } from '../request/around.ts';
import type { JobSpec } from '../request/types.ts';

/** One way to burn a photo: what it costs in time, and how right its tones will be. */
export interface ComparedWay {
  readonly screen: string;
  readonly pitchMm: number;
  readonly lineSpacingMm: number;
  readonly scan: 'one-way' | 'two-way';
  readonly seconds: number;
  readonly interval: TimeInterval;
  /** |ΔL*| of the predicted against the wanted tone, after the eye's filter. */
  readonly meanDeltaL: number;
  readonly worstDeltaL: number;
  /** From the bare surface to the darkest or lightest mark that this screen and spacing can make, ΔL*. */
  readonly rangeL: number;
  /** Whether the tone curve is the profile's own or predicted for this screen and spacing. */
  readonly curve: JobSpec['curve'];
  /** No other way is as quick, as right and as rich at once. */
  readonly best: boolean;
}

export interface CompareTimesOptions {
  /** One job for each screen and spacing; their scan directions do not matter. */
  readonly specs: readonly JobSpec[];
  readonly scans: readonly ('one-way' | 'two-way')[];
  readonly progress?: (stage: string, share: number) => void;
}

/** Send one photo down the road of every job as far as its dots, and time and judge them; in order of time. */
export async function compareWays(photo: Photo, options: CompareTimesOptions): Promise<readonly ComparedWay[]> {
  const { specs, scans, progress = () => undefined } = options;
  const pictures = new Map<string, Picture>();
  const ways: Omit<ComparedWay, 'best'>[] = [];
  for (const [i, spec] of specs.entries()) {
    progress('comparing', i / specs.length);
    const { grid, machine } = spec;
    const key = `${grid.pitchMm} ${grid.lineSpacingMm}`;
    const picture = pictures.get(key) ?? (await takePicture(async () => photo, { spec, withThumbnail: false }));
    pictures.set(key, picture);
    const { dots, prediction, rangeL } = judge(picture, spec);
    const extents = findExtents(dots);
    for (const scan of scans) {
      const settings = { ...spec.settings, scan };
      const path = tracePath(extents, { scan, bare: machine.motion.bare });
      const timed = { ...timingOf(spec), settings };
      ways.push({
        screen: spec.screen.name,
        pitchMm: grid.pitchMm,
        lineSpacingMm: grid.lineSpacingMm,
        scan,
        seconds: estimateTimeOfPath(path, timed).seconds,
        interval: estimateInterval(path, { ...timed, uncertainty: machine.motionUncertainty }),
        meanDeltaL: prediction.meanDeltaL,
        worstDeltaL: prediction.worstDeltaL,
        rangeL,
        curve: spec.curve,
      });
    }
  }
  return markBest(ways).sort((a, b) => a.seconds - b.seconds || a.meanDeltaL - b.meanDeltaL);
}

function judge(
  picture: Picture,
  spec: JobSpec,
): Pick<ComparedWay, 'rangeL'> & { dots: Dots; prediction: Ticket['prediction'] } {
  const made = makeDots(picture, { spec });
  const dotTable = fillDotTable(spec.profile, spec.grid);
  const seen = seeAsBurned(predictSeen(made.dots, { dotTable, grid: spec.grid }), made);
  const { points, dots } = made;
  return {
    dots,
    prediction: assessProof(seen, { ...made, spec, picture, frame: picture.frame, dotTable }),
    rangeL: Math.abs(points.at(-1)!.lightness - points[0]!.lightness),
  };
}

/** Ranges that differ by less than this are one to the eye, ΔL*. Assumed: less is not seen side by side. */
const SAME_RANGE_L = 0.5;

/** A way is among the best when none is at least as quick, as right and as rich, and better in time or error. */
function markBest(ways: readonly Omit<ComparedWay, 'best'>[]): ComparedWay[] {
  return ways.map((way) => ({
    ...way,
    best: !ways.some(
      (other) =>
        other.seconds <= way.seconds &&
        other.meanDeltaL <= way.meanDeltaL &&
        other.rangeL >= way.rangeL - SAME_RANGE_L &&
        (other.seconds < way.seconds || other.meanDeltaL < way.meanDeltaL),
    ),
  }));
}
