import { resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import {
  askOfJig,
  askOfMaterial,
  askOfPrices,
  checkJigAnswer,
  checkMaterialAnswer,
  checkPriceAnswer,
  listJigs,
  listMaterials,
  listPalettes,
  listRestable,
  listScreens,
  newJig,
  newMaterial,
  newPrices,
  readPrices,
  restNotice,
  showJig,
  showMaterial,
  showPalette,
  showScreen,
  wakeNotice,
  writeScreensPage,
} from '../../tasks/index.ts';
import type { CommandContext, OptionValues, Outcome, Run } from '../command.ts';
import { textOf } from '../options.ts';
import { askRest } from '../questions.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatNumber } from '../text.ts';

type Action = (
  args: readonly string[],
  options: OptionValues,
  commandContext: CommandContext,
  kind: string,
) => Promise<Outcome> | Outcome;

/** Options of screens that `prepare` calls otherwise than the library does. */
const SCREEN_FLAGS: Readonly<Record<string, string>> = {
  scan: '--serpentine, --raster',
  errorOf: '--model-based',
  dotSize: '--dot-size',
  size: '--matrix',
  viewingDistanceMm: '--viewed-from',
  linesPerCm: '--lines-per-cm',
  angleDeg: '--angle',
};

/** By the name of the command: its last word comes as the first argument. */
const ACTIONS: Readonly<Record<string, Action>> = {
  'material list': (_, __, { shop, warn }) => {
    const { materials, notices } = listMaterials(shop);
    for (const { text } of notices) warn(text);
    const json = materials.map(({ material: { name, title }, markedBy, from, path }) => {
      return { name, title, markedBy, from, path };
    });
    const rows = json.map(({ name, title, markedBy, from }) => [
      name,
      title,
      markedBy.map(({ machine, direction }) => `${machine} ${direction}`).join(', ') || 'no known mark',
      from,
    ]);
    return { json: { materials: json }, text: alignColumns([['NAME', 'TITLE', 'MARKED BY', 'FROM'], ...rows]) };
  },
  'material show': ([name], _, { shop }) => {
    const shown = showMaterial(name!, shop);
    const { material, before, after, cautions } = shown;
    const list = (title: string, steps: readonly { text: string }[]) =>
      steps.length === 0 ? [] : [`${title}\n${steps.map(({ text }) => `  ${text}`).join('\n')}`];
    const text = [
      `${material.title} (${material.name})`,
      alignColumns(
        material.marks.map(({ wavelengthNm: [min, max], direction, full }) => [
          min === max ? `${min} nm` : `${min} … ${max} nm`,
          direction,
          `L* ${formatNumber(material.bare[0], 3)} → ${formatNumber(full[0], 3)}`,
        ]),
        '  ',
      ),
      ...list('Before the burn', before),
      ...list('After the burn', after),
      ...list('Cautions', cautions),
    ].join('\n\n');
    return { json: shown, text };
  },
  'material new': async (_, options, commandContext) => {
    const { io, shop } = commandContext;
    const answers = await askRest(options, {
      io,
      next: (known) => askOfMaterial(known, shop),
      check: checkMaterialAnswer,
    });
    const context = taskContext(commandContext);
    const { material, path } = await newMaterial(answers, { ...context, force: options.force === true });
    const next = `tonewright chart dose --material ${material.name} --machine ${textOf(answers, 'machine')} --out dose`;
    return {
      json: { material, path, next },
      text: alignColumns([
        ['wrote', path],
        ['next', `${next}   (which settings; with known ones: chart tone)`],
      ]),
    };
  },
  'palette list': (_, __, { shop, warn }) => {
    const { records, notices } = listPalettes(shop);
    for (const { text } of notices) warn(text);
    const json = records.map(({ value: { name, title, material, machine, marks, origin }, from, path }) => {
      return { name, title, material, machine, marks: marks.length, origin, from, path };
    });
    const rows = json.map(({ name, title, material, machine, marks, from }) => [
      name,
      title,
      material,
      machine,
      String(marks),
      from,
    ]);
    return {
      json: { palettes: json },
      text: alignColumns([['NAME', 'TITLE', 'MATERIAL', 'MACHINE', 'MARKS', 'FROM'], ...rows]),
    };
  },
  'palette show': ([name], _, { shop }) => {
    const palette = showPalette(name!, shop);
    const rows = palette.marks.map(({ name: mark, title, colour, settings }) => [
      mark,
      title,
      `L* ${formatNumber(colour[0], 3)}`,
      `${formatNumber(settings.powerW, 3)} W, ${formatNumber(settings.speedMmPerS)} mm/s`,
    ]);
    return { json: palette, text: `${palette.title} (${palette.name})\n\n${alignColumns(rows, '  ')}` };
  },
  'jig list': (_, __, { shop, warn }) => {
    const { records, notices } = listJigs(shop);
    for (const { text } of notices) warn(text);
    const json = records.map(({ value, from, path }) => ({ ...value, from, path }));
    const rows = json.map(({ name, title, widthMm, heightMm, pockets, from }) => [
      name,
      title,
      `${formatNumber(widthMm)} × ${formatNumber(heightMm)} mm`,
      pockets
        .map(({ count, widthMm: w, heightMm: h, round }) =>
          round ? `${count} of ⌀ ${formatNumber(w)}` : `${count} of ${formatNumber(w)} × ${formatNumber(h)}`,
        )
        .join(', '),
      from,
    ]);
    return { json: { jigs: json }, text: alignColumns([['NAME', 'TITLE', 'BOARD', 'POCKETS, MM', 'FROM'], ...rows]) };
  },
  'jig show': ([name], _, { shop }) => {
    const { jig, from, path } = showJig(name!, shop);
    const { title, widthMm, heightMm, machine, stop, origin, clearanceMm, kerfMm, marginMm, pockets } = jig;
    const facts = [
      ['board', `${formatNumber(widthMm)} × ${formatNumber(heightMm)} mm, pushed into the ${stop.replace('-', ' ')}`],
      ['machine', machine ?? 'any'],
      ['0, 0', `${origin.at.replace('-', ' ')}, y counts ${origin.yAxis}`],
      ['margin', `nothing nearer than ${formatNumber(marginMm)} mm to the edge of the field`],
      ['cut', `pockets ${formatNumber(clearanceMm)} mm larger, ${formatNumber(kerfMm)} mm kerf`],
      ['from', `${from}, ${path}`],
    ];
    const rows = pockets.map((pocket) => [
      pocket.name,
      `${formatNumber(pocket.xMm)}, ${formatNumber(pocket.yMm)}`,
      pocket.round
        ? `⌀ ${formatNumber(pocket.widthMm)}`
        : `${formatNumber(pocket.widthMm)} × ${formatNumber(pocket.heightMm)}`,
      pocket.stop.replace('-', ' '),
      pocket.use,
    ]);
    return {
      json: { jig, from, path },
      text: [
        `${title} (${jig.name})`,
        alignColumns(facts, '  '),
        alignColumns([['POCKET', 'AT, MM', 'SIZE, MM', 'STOP', 'FOR'], ...rows], '  '),
      ].join('\n\n'),
    };
  },
  'jig new': async (_, options, { io, shop }) => {
    const answers = await askRest(options, { io, next: (known) => askOfJig(known, shop), check: checkJigAnswer });
    const { jig, path } = await newJig(answers, { shop, force: options.force === true });
    const next = `tonewright plate ${jig.name} --out jig`;
    const count = jig.pockets.length;
    return {
      json: { jig, path, next },
      text: alignColumns([
        ['wrote', path],
        ['jig', `${count} ${count === 1 ? 'pocket' : 'pockets'}, ${jig.widthMm} × ${jig.heightMm} mm`],
        ['next', `${next}   (the drawing to cut, and how to align it)`],
      ]),
    };
  },
  'screen list': async (_, options, { io }) => {
    const screens = listScreens();
    const out = textOf(options, 'out');
    const path = out === undefined ? undefined : resolve(io.cwd, out);
    if (path !== undefined) await writeScreensPage(path, { force: options.force === true });
    const rows = [
      ['auto', 'chooses by the profile and the machine: what to take without a reason for another'],
      ...screens.map(({ name, goodFor }) => [name, goodFor]),
    ];
    return {
      json: { screens, page: path ?? null },
      text: alignColumns([...(path === undefined ? [] : [['wrote', path]]), ['NAME', 'GOOD FOR'], ...rows]),
    };
  },
  'screen show': ([name]) => {
    const shown = showScreen(name!);
    const { title, family, goodFor, options, weightSum, source } = shown;
    const kept = weightSum === 1 ? 'keeps the tone' : `passes on ${formatNumber(100 * weightSum)} % of a tone’s error`;
    return {
      json: shown,
      text: [
        `${title} (${shown.name})`,
        alignColumns(
          [
            ['good for', goodFor],
            ['family', `${family}; ${kept}`],
            ['source', source],
          ],
          '  ',
        ),
        alignColumns(
          [
            ['OPTION', 'DEFAULT'],
            ...options.map(({ name: option, value }) => [SCREEN_FLAGS[option] ?? `--${option}`, String(value)]),
          ],
          '  ',
        ),
      ].join('\n\n'),
    };
  },
  'warning list': (_, __, { shop }) => {
    const warnings = listRestable(shop);
    const rows = warnings.map(({ code, title, rested }) => [
      code,
      title,
      rested ? `at rest since ${rested.date}${rested.causes ? ` (${rested.causes.join('; ')})` : ''}` : 'speaks',
      rested?.note ?? '',
    ]);
    return { json: { warnings }, text: alignColumns([['CODE', 'WARNING', 'HERE', 'NOTE'], ...rows]) };
  },
  'warning rest': async ([code], options, commandContext) => {
    const [ticket, note] = [textOf(options, 'ticket'), textOf(options, 'note')];
    const { record, path } = await restNotice(
      {
        code: code!,
        ...(ticket === undefined ? {} : { ticket: resolve(commandContext.io.cwd, ticket) }),
        ...(note === undefined ? {} : { note }),
      },
      taskContext(commandContext),
    );
    return {
      json: { record, path },
      text: alignColumns([
        ['kept', path],
        ['again', `tonewright warning wake ${record.code}   (lets it speak)`],
      ]),
    };
  },
  'warning wake': async ([code], _, { shop }) => {
    const record = await wakeNotice(code!, { shop });
    return { json: { woken: record }, text: `${record.code} speaks again.` };
  },
  'price show': (_, __, { shop }) => {
    const prices = readPrices(undefined, shop);
    if (!prices) {
      throw new AppError(
        'path-missing',
        'found no prices.json in the shop folder, needed one; write it with price new',
      );
    }
    return { json: prices, text: JSON.stringify(prices, null, 2) };
  },
  'price new': async (_, options, { io, shop }) => {
    const answers = await askRest(options, { io, next: askOfPrices, check: checkPriceAnswer });
    const { prices, path } = await newPrices(answers, { shop, force: options.force === true });
    return {
      json: { prices, path },
      text: alignColumns([
        ['wrote', path],
        ['next', 'tickets and orders now carry a price; blanks and steps of quantity go into that file'],
      ]),
    };
  },
};

export const run: Run = async ([kind, action, ...args], options, commandContext) => {
  const known = ACTIONS[`${kind} ${action}`];
  if (!known)
    throw new AppError('option-invalid', `found "${kind} ${action}", needed ${Object.keys(ACTIONS).join(', ')}`);
  return known(args, options, commandContext, kind!);
};
