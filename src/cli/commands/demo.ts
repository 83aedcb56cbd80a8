import { join, resolve } from 'node:path';
import { callSimulated, packageRoot } from '../../tasks/index.ts';
import type { OptionValues, Run } from '../command.ts';
import { textOf } from '../options.ts';
import { run as chart } from './chart.ts';
import { run as learn } from './learn.ts';
import { run as prepare } from './prepare.ts';
import { run as simulate } from './simulate.ts';

/** What the demo makes: a customer's dogs on a black anodised card, ISO/IEC 7810 ID-1 upright. */
const DEMO = {
  machine: 'galvo-355-f210',
  material: 'anodised-black',
  photo: 'images/photos/two-dogs.jpg',
  size: '53.98x85.6',
  corner: '3.18',
  camera: 'flatbed-600',
  /** L* of the white paper under the chart. Assumed: a usual office paper. */
  paper: '93',
} as const;

/** The whole loop on the virtual engraver, by the same commands that a shop would type. */
export const run: Run = async (_args, options, commandContext) => {
  const { io, shop, progress } = commandContext;
  const out = resolve(io.cwd, textOf(options, 'out') ?? join('out', 'demo'));
  const at = (...parts: string[]) => join(out, ...parts);
  // The demo's own folder is its to fill again.
  const given = (more: OptionValues): OptionValues => ({ force: true, ...more });

  progress('1 of 5: drawing the chart');
  await chart(['tone'], given({ machine: DEMO.machine, material: DEMO.material, out: at('1-chart') }), commandContext);

  progress('2 of 5: burning and scanning it on the virtual engraver');
  const scan = at('2-scan.png');
  await simulate(
    ['capture', at('1-chart', 'chart.png')],
    given({ materialModel: DEMO.material, camera: DEMO.camera, paper: DEMO.paper, out: scan }),
    commandContext,
  );

  progress('3 of 5: learning the material from the scan');
  const profilePath = at('3-profile.json');
  const learned = await learn(
    [scan],
    given({ chart: at('1-chart', 'chart.json'), reference: 'paper', name: 'demo-anodised', out: profilePath }),
    commandContext,
  );
  // Honest about where it comes from: no laser has burned this chart.
  await callSimulated(profilePath, shop);

  progress('4 of 5: preparing the photo through the profile');
  const photo = join(packageRoot(), DEMO.photo);
  const card = await prepare(
    [photo],
    given({ size: DEMO.size, corner: DEMO.corner, profile: profilePath, out: at('4-card') }),
    commandContext,
  );

  progress('5 of 5: burning the card on the virtual engraver');
  const burned = at('5-burned.png');
  await simulate(
    ['engrave', at('4-card', 'two-dogs.png')],
    given({ materialModel: DEMO.material, out: burned }),
    commandContext,
  );

  return {
    json: { folder: out, learn: learned.json, prepare: card.json, burned },
    text: [
      card.text,
      '',
      'Look at them in this order:',
      `  ${at('4-card', 'two-dogs.proof.png')}   the proof of the card`,
      `  ${burned}   what the virtual engraver made of it`,
      `  ${at('4-card', 'two-dogs.png')}   the bitmap that burns it: black fires`,
      `  ${at('4-card', 'two-dogs.ticket.html')}   the ticket to print`,
      `  ${at('1-chart', 'chart.html')}, ${scan}, ${at('3-profile.html')}   how the material was learned`,
    ].join('\n'),
  };
};
