import { join, resolve } from 'node:path';
import { resolveJob } from '../../job/index.ts';
import { findPackageRoot } from '../../plane/index.ts';
import type { Run } from '../command.ts';
import { textOf } from '../options.ts';
import { readRefused } from '../refused.ts';
import { prepareFile } from './prepare.ts';

/** What the demo makes: a customer's portrait on a black anodised card of the demo shop. */
const DEMO = { photo: 'images/photos/cat.png', size: 'ID-1', profile: 'anodised-black', name: 'cat-card' } as const;

export const run: Run = async (_args, options, surroundings) => {
  const { io, shop, warn } = surroundings;
  const spec = resolveJob({ size: DEMO.size, profile: DEMO.profile }, { shop, refused: readRefused(shop) });
  for (const text of spec.warnings) warn(text);
  const out = resolve(io.cwd, textOf(options, 'out') ?? join('out', 'demo'));
  const path = join(findPackageRoot() ?? '.', DEMO.photo);
  const made = await prepareFile({ path, out, name: DEMO.name, spec, only: 'everything', force: true }, surroundings);
  return {
    ...made,
    text: `${made.text}\n\nLook at ${DEMO.name}.proof.png first, then at the bitmap ${DEMO.name}.png (black burns), then print ${DEMO.name}.ticket.html.`,
  };
};
