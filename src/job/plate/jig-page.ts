import { controlOf, estimateTime, type Machine } from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import type { DotGrid, Dots } from '../../plane/index.ts';
import {
  type Aim,
  type AlignmentMark,
  type ControlPlace,
  type Jig,
  sketchJig,
  toControlPlace,
} from '../../plate/index.ts';
import { escapeHtml, renderCautions, roundTo, sayDuration, wrapPage } from '../page/html.ts';
import { listSettings, renderTyped } from '../page/typed-rows.ts';
import { drawList, PLATE_STYLE, sayCorner, sayCorrection, sayOrigin } from './words.ts';

export interface JigPageFacts {
  readonly machine: Machine;
  readonly settings: BurnSettings;
  readonly aim: Aim;
  readonly marks: readonly AlignmentMark[];
  /** What tells this jig from others. */
  readonly mark: string;
  readonly alignment: {
    readonly file: string;
    readonly dots: Dots;
    readonly grid: DotGrid;
    readonly control: ControlPlace;
  };
  /** Name of the jig's files, without ending. */
  readonly file: string;
  readonly version: string;
}

/** What to do with a jig, in plain words: cut it, align it, and where its pockets are. */
export function renderJigPage(jig: Jig, facts: JigPageFacts): string {
  const { machine, settings, aim, marks, mark, alignment, file } = facts;
  const sketch = sketchJig(jig, { fieldMm: machine.fieldMm, pieces: [], marks });
  const { seconds } = estimateTime(alignment.dots, { motion: machine.motion, settings, grid: alignment.grid });
  const [one, two] = marks;
  const span = two!.xMm - one!.xMm;
  const corrected = sayCorrection(aim.correction, alignment.control.offIfNotTurnedMm);
  const body = `
<header>
  <div><h1>${escapeHtml(jig.title)}</h1>
  <p class="soft">${escapeHtml(`${jig.name} ${mark}`)} · board ${roundTo(jig.widthMm, 3)} × ${roundTo(jig.heightMm, 3)} mm · ${jig.pockets.length} pockets · ${escapeHtml(machine.title)}</p></div>
</header>
<section class="whole">${sketch}
  <p class="soft">To scale. Thick rust corner: where the jig meets the machine’s stop; thin rust corners: where each piece is pushed to; crosses: alignment marks; dashed: the field of ${machine.fieldMm[0]} × ${machine.fieldMm[1]} mm.</p>
</section>
<section class="columns">
  <div>
    <h2>1. Cut it</h2>
    <ol>
      <li><b>${escapeHtml(file)}.svg</b> is in mm and has two groups: <b>engrave</b>, teal, the text and the stop lines, each a single line; then <b>cut</b>, rust, holes and pockets, the outline last. For software that takes one kind of work from a file, <b>${escapeHtml(file)}.engrave.svg</b> and <b>${escapeHtml(file)}.cut.svg</b> hold the same two apart, in the same place.</li>
      <li>${jig.kerfMm > 0 ? `The lines allow for a kerf of ${jig.kerfMm} mm.` : 'The lines are the edges themselves: let the cutting software allow for its kerf, or put <code>kerfMm</code> into the jig.'} A pocket is ${jig.clearanceMm} mm larger than its piece, away from its stop.</li>
      ${listLacks(jig)
        .map((text) => `<li>${escapeHtml(text)}</li>`)
        .join('')}
      <li>Use a flat board that the beam does not harm, and never one that must not be lasered. Measure the first pocket with a caliper before you trust the rest.</li>
    </ol>
  </div>
  <div>
    <h2>2. Align it once, and whenever the stop was moved</h2>
    <ol>
      <li>Push the jig into the stop, and lay scrap of a customer’s size into the pockets ${pocketsOfMarks(jig, marks)}.</li>
      <li>Import <b>${escapeHtml(alignment.file)}</b> at its own size (${roundTo(25.4 / alignment.grid.pitchMm, 1)} × ${roundTo(25.4 / alignment.grid.lineSpacingMm, 1)} per inch), set its upper left corner to <b>${roundTo(alignment.control.corner.xMm, 4)}, ${roundTo(alignment.control.corner.yMm, 4)}</b> mm (or its centre to ${roundTo(alignment.control.centre.xMm, 4)}, ${roundTo(alignment.control.centre.yMm, 4)}), burn: about ${sayDuration(seconds)}.</li>
      <li>Measure cross 1, the one with the small square, from the two nearest edges of its scrap: it should be ${one!.insetMm} mm from both. What it lies too far right is <i>x</i>, too far down <i>y</i> (too far left or up: below 0).</li>
      <li>Measure how much lower cross 2 lies than cross 1, each from the upper edge of its scrap: <i>d</i> (higher: below 0).</li>
      <li>Type in <code>--offset x,y --turn d/${roundTo(span, 3)}</code>: every place is then corrected exactly. Burn the marks again on new scrap: they should be right now; add what is left.</li>
    </ol>
  </div>
</section>
<section class="columns">
  <div>
    <h2>Where 0, 0 is</h2>
    <p>${escapeHtml(sayOrigin(jig.origin, jig.stop))}</p>
    ${corrected.map((line) => `<p>${escapeHtml(line)}</p>`).join('')}
  </div>
  <div><h2>For the marks</h2><table class="settings">${renderTyped(listSettings(settings, alignment.grid, controlOf(machine)))}</table></div>
</section>
<section>
  <h2>Pockets, as typed into the control software</h2>
  ${drawList(
    ['pocket', 'takes, mm', 'stop', 'upper left x, mm', 'y, mm', 'centre x, mm', 'y, mm'],
    jig.pockets.map((pocket) => {
      const { corner, centre } = toControlPlace(pocket, aim);
      return [
        `${escapeHtml(pocket.name)}${pocket.use === 'strip' ? ' (control strip)' : ''}`,
        pocket.round
          ? `⌀ ${roundTo(pocket.widthMm, 3)}`
          : `${roundTo(pocket.widthMm, 3)} × ${roundTo(pocket.heightMm, 3)}`,
        sayCorner(pocket.stop),
        Number(roundTo(corner.xMm, 4)),
        Number(roundTo(corner.yMm, 4)),
        Number(roundTo(centre.xMm, 4)),
        Number(roundTo(centre.yMm, 4)),
      ];
    }),
  )}
  <p class="soft">${escapeHtml(file)}.csv and ${escapeHtml(file)}.json hold the same for machines.</p>
</section>
<section class="whole"><h2>Cautions</h2>${renderCautions(machine.cautions)}</section>
<section class="fine"><p>Alignment marks: ${alignment.dots.width} × ${alignment.dots.height} dots · Tonewright ${escapeHtml(facts.version)}</p></section>`;
  return wrapPage({ title: `Jig ${jig.name} ${mark}`, style: PLATE_STYLE, body });
}

/** What a jig does without, and what that asks of its maker. */
function listLacks({ notch, reliefDiameterMm }: Jig): string[] {
  return [
    ...(notch
      ? []
      : [
          'No finger notches, for want of room between the pockets: cut them through and push the pieces out from below.',
        ]),
    ...(reliefDiameterMm > 0
      ? []
      : [
          'No relief at the corners, for want of room: clear the corners of the pockets of burrs, or square pieces will not reach the stop.',
        ]),
  ];
}

function pocketsOfMarks(jig: Jig, marks: readonly AlignmentMark[]): string {
  const used = jig.pockets.filter(({ name }) => marks.some(({ pocket }) => pocket === name));
  return used.map(({ name }) => escapeHtml(name)).join(', ');
}
