import { resolve } from 'node:path';
import { proveBitmap } from '../../tasks/index.ts';
import { parseLengthMm } from '../../units.ts';
import type { OptionValues, Run } from '../command.ts';
import { textOf } from '../options.ts';
import { taskContext } from '../task-context.ts';
import { formatNumber } from '../text.ts';

export const run: Run = async ([bitmap], options, commandContext) => {
  const { cwd } = commandContext.io;
  const { profile, ...facts } = await proveBitmap(
    {
      path: resolve(cwd, bitmap!),
      profile: textOf(options, 'profile')!,
      ...lengthOf(options, 'pitch', (pitchMm) => ({ pitchMm })),
      ...lengthOf(options, 'spacing', (lineSpacingMm) => ({ lineSpacingMm })),
      ...lengthOf(options, 'corner', (cornerRadiusMm) => ({ cornerRadiusMm })),
      out: resolve(cwd, textOf(options, 'out')!),
      force: options.force === true,
    },
    taskContext(commandContext),
  );
  const { file, widthMm, heightMm, dots, meanLightness } = facts;
  return {
    json: { file, profile: profile.name, widthMm, heightMm, dots, meanLightness },
    text: `wrote  ${file}\npiece  ${formatNumber(widthMm)} × ${formatNumber(heightMm)} mm, mean L* ${formatNumber(meanLightness, 3)}`,
  };
};

function lengthOf<T extends object>(options: OptionValues, name: string, give: (mm: number) => T): Partial<T> {
  const text = textOf(options, name);
  return text === undefined ? {} : give(parseLengthMm(text, `--${name}`));
}
