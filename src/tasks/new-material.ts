import { AppError } from '../errors.ts';
import { findMaterial, readMachine, refuseMaterial } from '../job/index.ts';
import type { Machine } from '../machine/index.ts';
import {
  ASSUMED_LIGHTNESS,
  assumeMaterial,
  findMark,
  type MarkDirection,
  type Material,
  type MaterialMark,
  parseMaterial,
  type Shop,
} from '../material/index.ts';
import { numberOf, type OptionValues, textOf } from '../options.ts';
import type { TaskContext } from './context.ts';
import { refuseRecordName } from './names.ts';
import { checkChoice, fillAnswers, findUnanswered, type Question } from './questions.ts';

export interface NewMaterialRecord {
  readonly material: Material;
  readonly path: string;
}

/** The next thing to ask about a new material. */
export function askOfMaterial(known: OptionValues, shop: Shop): Question | undefined {
  const machines = shop.list('machines').map(({ name }) => name);
  const direction = textOf(known, 'direction') as MarkDirection | undefined;
  return findUnanswered(
    [
      { key: 'title', ask: 'What do you call the material', fallback: undefined },
      { key: 'machine', ask: 'Which machine marks it', choices: machines, fallback: undefined },
      {
        key: 'direction',
        ask: 'Is the mark lighter or darker than the bare surface',
        choices: ['lighter', 'darker'],
        fallback: undefined,
        decides: true,
      },
      ...(direction && Object.hasOwn(ASSUMED_LIGHTNESS, direction)
        ? [
            {
              key: 'bare',
              ask: 'Lightness of the bare surface, L* (0 black, 100 white)',
              fallback: String(ASSUMED_LIGHTNESS[direction].bare),
              rests: 'assumed' as const,
              measuredBy: 'any chart scanned beside white paper',
            },
            {
              key: 'full',
              ask: 'Lightness of the full mark, L*',
              fallback: String(ASSUMED_LIGHTNESS[direction].full),
              rests: 'assumed' as const,
              measuredBy: 'a dose chart, then a tone chart',
            },
          ]
        : []),
      {
        key: 'clear',
        ask: 'Is it looked through: no, or like glass or acrylic',
        choices: ['no', ...Object.keys(CLEAR_LIKE)],
        fallback: 'no',
      },
    ],
    known,
  );
}

/** Records whose clear stock stands for that of a new one. */
const CLEAR_LIKE = { glass: 'clear-glass', acrylic: 'acrylic-cast' } as const;

/** The answer that would give clear stock again; a record of its own is nearest to glass. */
function answerOfClear({ clear }: Material): string {
  if (!clear) return 'no';
  return clear.source === 'zhangEtAl2020' ? 'acrylic' : 'glass';
}

/** What light does in the stock, as answered; what a record has of its own is kept. @throws AppError */
function readClear(answers: OptionValues, { own, shop }: { readonly own: Material | undefined; readonly shop: Shop }) {
  const question = { key: 'clear', ask: '', choices: ['no', ...Object.keys(CLEAR_LIKE)], fallback: 'no' };
  const answer = checkChoice(textOf(answers, 'clear') ?? 'no', question);
  if (answer === 'no') return undefined;
  if (own?.clear && answerOfClear(own) === answer) return own.clear;
  return findMaterial(CLEAR_LIKE[answer as keyof typeof CLEAR_LIKE], shop)!.clear;
}

/** @throws AppError option-invalid */
export function checkMaterialAnswer(question: Question, text: string): void {
  checkChoice(text, question);
  if (question.key === 'bare' || question.key === 'full') readLightness({ [question.key]: text }, question.key);
}

/**
 * Keeps a new material in the shop, with nothing known of it but how it looks: no cautions, for nobody knows them.
 * @throws AppError option-invalid, name-unknown, material-refused, result-exists, path-*
 */
export async function newMaterial(
  answers: OptionValues,
  {
    shop,
    refused,
    force = false,
    from,
  }: Pick<TaskContext, 'shop' | 'refused'> & { readonly force?: boolean; readonly from?: string },
): Promise<NewMaterialRecord> {
  const all = fillAnswers(answers, (known) => askOfMaterial(known, shop));
  const title = textOf(all, 'title')!.trim();
  for (const text of [title, textOf(all, 'name')]) refuseMaterial(text, refused());
  const { wavelengthNm } = readMachine(textOf(all, 'machine')!, shop);
  const direction = textOf(all, 'direction') as MarkDirection;
  const [bareL, fullL] = [readLightness(all, 'bare'), readLightness(all, 'full')];
  if (fullL > bareL !== (direction === 'lighter') || fullL === bareL) {
    throw new AppError(
      'option-invalid',
      `full: found L* ${fullL} on a bare surface of L* ${bareL}, needed a mark that is ${direction}`,
      { options: ['bare', 'full', 'direction'] },
    );
  }
  const assumed = assumeMaterial(title, { direction, wavelengthNm });
  const name = textOf(all, 'name') ?? assumed.name;
  const own = from === undefined ? undefined : findMaterial(from, shop);
  refuseRecordName(name, 'name');
  const [mark] = assumed.marks;
  const clear = readClear(all, { own, shop });
  const { clear: _clear, seen, ...kept } = own ?? {};
  const material = parseMaterial(
    {
      ...assumed,
      // What is copied or changed keeps its cautions, its steps and the marks of other lasers.
      ...(own ? { ...kept, title, aliases: own.name === name ? own.aliases : [] } : {}),
      name,
      bare: own && own.bare[0] === bareL ? own.bare : [bareL, 0, 0],
      marks: own
        ? changeMark(own, { wavelengthNm, direction, fullL, fresh: mark! })
        : [{ ...mark!, full: [fullL, 0, 0] }],
      origin: { kind: 'assumed', note: 'Lightness as the shop estimated it: learn a profile.' },
      ...(clear ? { clear, ...(seen ? { seen } : {}) } : {}),
    },
    name,
  );
  return { material, path: await shop.write('materials', name, material, { force }) };
}

/** The answers that would give a material again on a machine that marks it. */
export function answersOfMaterial(material: Material, machine: Machine | undefined): Readonly<Record<string, string>> {
  const mark = machine && findMark(material, machine.wavelengthNm);
  return {
    title: material.title,
    name: material.name,
    ...(machine && mark ? { machine: machine.name, direction: mark.direction, full: String(mark.full[0]) } : {}),
    bare: String(material.bare[0]),
    clear: answerOfClear(material),
  };
}

interface MarkChange {
  readonly wavelengthNm: number;
  readonly direction: MarkDirection;
  readonly fullL: number;
  readonly fresh: MaterialMark;
}

/** The marks of a material with the one of this wavelength as it was answered. */
function changeMark(own: Material, { wavelengthNm, direction, fullL, fresh }: MarkChange): readonly MaterialMark[] {
  const known = findMark(own, wavelengthNm);
  const changed: MaterialMark = {
    ...(known?.direction === direction ? known : fresh),
    full: known?.direction === direction && known.full[0] === fullL ? known.full : [fullL, 0, 0],
  };
  return known ? own.marks.map((mark) => (mark === known ? changed : mark)) : [...own.marks, changed];
}

function readLightness(answers: OptionValues, key: 'bare' | 'full'): number {
  return numberOf(answers, key, { min: 0, max: 100, unit: 'L*' })!;
}
