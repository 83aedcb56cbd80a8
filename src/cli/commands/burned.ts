import { resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import { type BurnedList, listBurned, recordBurn, writeBurnedCsv } from '../../tasks/index.ts';
import type { CommandContext, OptionValues, Outcome, Run } from '../command.ts';
import { numberOf, textOf } from '../options.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatSeconds } from '../text.ts';

/** Most pieces of one entry, a count. Assumed: far above a shop's day. */
const MOST_PIECES = 100_000;

export const run: Run = async ([ticket], options, commandContext) => {
  if (ticket === undefined) return list(options, commandContext);
  for (const name of ['month', 'out'] as const) {
    if (options[name] !== undefined) {
      throw new AppError('option-invalid', `${name}: found it beside a ticket, needed one of the two`);
    }
  }
  const { cwd } = commandContext.io;
  const [count, scrap] = ['count', 'scrap'].map((name) => {
    return numberOf(options, name, { min: 0, max: MOST_PIECES, whole: true });
  });
  const [note, picture, date] = ['note', 'photo', 'date'].map((name) => textOf(options, name));
  const { entry, path } = await recordBurn(
    {
      ticket: resolve(cwd, ticket),
      ...(count === undefined ? {} : { count }),
      ...(scrap === undefined ? {} : { scrap }),
      ...(note === undefined ? {} : { note }),
      ...(picture === undefined ? {} : { picture: resolve(cwd, picture) }),
      ...(date === undefined ? {} : { date }),
    },
    taskContext(commandContext),
  );
  return {
    json: { entry, path },
    text: alignColumns([
      ['kept', path],
      ['burned', `${entry.count} good, ${entry.scrap} spoiled, ${entry.date}`],
      [
        'again',
        `tonewright prepare --again ${/^[\w.-]+$/.test(entry.name) ? entry.name : `"${entry.name}"`} --out again`,
      ],
    ]),
  };
};

async function list(options: OptionValues, { io, shop, warn }: CommandContext): Promise<Outcome> {
  for (const name of ['count', 'scrap', 'note', 'photo', 'date'] as const) {
    if (options[name] !== undefined) {
      throw new AppError('option-invalid', `${name}: found it without a ticket, needed the path of one`);
    }
  }
  const month = textOf(options, 'month');
  const burned = listBurned(shop, { month });
  for (const { text } of burned.notices) warn(text);
  const out = textOf(options, 'out');
  const path = out === undefined ? undefined : resolve(io.cwd, out);
  if (path !== undefined) await writeBurnedCsv(path, burned, { force: options.force === true });
  const { entries, totals } = burned;
  return { json: { entries, totals, file: path ?? null }, text: write(burned, path) };
}

function write({ entries, totals }: BurnedList, path: string | undefined): string {
  const rows = entries.map(({ date, name, machine, profile, count, scrap, note }) => [
    ...[date, name, machine, profile.name, String(count), String(scrap), note ?? ''],
  ]);
  const money = totals.money.map(
    ({ currency, amountMinor, minorDigits }) => `${(amountMinor / 10 ** minorDigits).toFixed(minorDigits)} ${currency}`,
  );
  return [
    alignColumns([['DATE', 'NAME', 'MACHINE', 'PROFILE', 'GOOD', 'SPOILED', 'NOTE'], ...rows]),
    alignColumns([
      ...(path === undefined ? [] : [['wrote', path]]),
      ['burned', `${totals.count} good, ${totals.scrap} spoiled, ${formatSeconds(totals.seconds)} of machine time`],
      ...(money.length > 0 ? [['money', money.join(', ')]] : []),
    ]),
  ].join('\n\n');
}
