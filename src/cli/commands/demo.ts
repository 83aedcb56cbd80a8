import { join, resolve } from 'node:path';
import { resolveJob } from '../../job/index.ts';
import type { Run } from '../command.ts';
import { textOf } from '../options.ts';
import { readRefused } from '../refused.ts';
import { packageRoot } from '../shop.ts';
import { prepareFile } from './prepare.ts';

/** What the demo makes: a customer's dogs on a black anodised card, ISO/IEC 7810 ID-1 upright. */
const DEMO = {
  photo: 'images/photos/two-dogs.jpg',
  size: '53.98x85.6',
  cornerRadiusMm: 3.18,
  profile: 'anodised-black',
  name: 'dogs-card',
} as const;

export const run: Run = async (_args, options, surroundings) => {
  const { io, shop, warn } = surroundings;
  const spec = resolveJob(
    { size: DEMO.size, cornerRadiusMm: DEMO.cornerRadiusMm, profile: DEMO.profile },
    { shop, refused: readRefused(shop) },
  );
  for (const text of spec.warnings) warn(text);
  const out = resolve(io.cwd, textOf(options, 'out') ?? join('out', 'demo'));
  const path = join(packageRoot(), DEMO.photo);
  const made = await prepareFile({ path, out, name: DEMO.name, spec, only: 'everything', force: true }, surroundings);
  return {
    ...made,
    text: `${made.text}\n\nLook at ${DEMO.name}.proof.png first, then at the bitmap ${DEMO.name}.png (black burns), then print ${DEMO.name}.ticket.html.`,
  };
};
