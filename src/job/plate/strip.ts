import type { ChartLayout } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import type { Profile } from '../../material/index.ts';
import { type Pocket, roundMm } from '../../plate/index.ts';
import type { ScreenName } from '../../screens/index.ts';
import { drawStrip, layoutStrip, STRIP_DEFAULTS } from '../prepare/strip.ts';
import type { PlacedPlate } from './batches.ts';
import type { Part } from './burns.ts';
import { timeBitmap } from './time.ts';

/** Bare edge of the scrap around a control strip, mm. Assumed: what a person's placing by eye is off. */
const STRIP_EDGE_MM = 2;

/** What a pocket for the control strip measures: the strip with its edge. */
export const STRIP_ROOM = {
  lengthMm: STRIP_DEFAULTS.lengthMm + 2 * STRIP_EDGE_MM,
  breadthMm: STRIP_DEFAULTS.breadthMm + 2 * STRIP_EDGE_MM,
} as const;

export interface PlateStrip {
  readonly layout: ChartLayout;
  readonly pocket: Pocket;
  readonly part: Part;
}

/** The control strip of a plate, through the profile of its first piece and at its dots. */
export function makePlateStrip(
  { jig, machine, pieces }: PlacedPlate,
  { readProfile }: { readonly readProfile: (name: string) => Profile },
): PlateStrip {
  const pocket = jig.pockets.find(({ use }) => use === 'strip');
  if (!pocket) {
    throw new AppError(
      'option-invalid',
      `strip: found no pocket with "use": "strip" in the jig ${jig.name}, needed one of at least ${STRIP_ROOM.lengthMm} × ${STRIP_ROOM.breadthMm} mm`,
    );
  }
  const { ticket } = pieces[0]!.job;
  const upright = pocket.heightMm > pocket.widthMm;
  const [length, breadth] = upright ? [pocket.heightMm, pocket.widthMm] : [pocket.widthMm, pocket.heightMm];
  if (length < STRIP_ROOM.lengthMm - 1e-6 || breadth < STRIP_ROOM.breadthMm - 1e-6) {
    throw new AppError(
      'option-invalid',
      `strip: found a strip pocket of ${pocket.widthMm} × ${pocket.heightMm} mm in the jig ${jig.name}, needed ${STRIP_ROOM.lengthMm} × ${STRIP_ROOM.breadthMm} mm`,
    );
  }
  const { lengthMm, breadthMm } = STRIP_DEFAULTS;
  const spec = {
    profile: readProfile(ticket.profile.name),
    curve: ticket.profile.curve,
    grid: ticket.grid,
    screen: { name: ticket.screen.name as ScreenName, options: ticket.screen.options },
    settings: ticket.settings,
    machine,
  };
  const layout = layoutStrip(
    spec,
    upright ? { widthMm: breadthMm, heightMm: lengthMm } : { widthMm: lengthMm, heightMm: breadthMm },
  );
  const dots = drawStrip(layout, spec.profile);
  const time = timeBitmap(dots, { machine, settings: ticket.settings, grid: ticket.grid });
  const widthMm = roundMm(dots.width * ticket.grid.pitchMm);
  const heightMm = roundMm(dots.height * ticket.grid.lineSpacingMm);
  const place = {
    xMm: roundMm(
      pocket.stop.endsWith('left') ? pocket.xMm + STRIP_EDGE_MM : pocket.xMm + pocket.widthMm - STRIP_EDGE_MM - widthMm,
    ),
    yMm: roundMm(
      pocket.stop.startsWith('top')
        ? pocket.yMm + STRIP_EDGE_MM
        : pocket.yMm + pocket.heightMm - STRIP_EDGE_MM - heightMm,
    ),
    widthMm,
    heightMm,
  };
  return { layout, pocket, part: { place, dots, time } };
}
