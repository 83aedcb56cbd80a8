import { AppError } from '../errors.ts';
import { findMaterial, readMachine } from '../job/index.ts';
import { findMark } from '../material/index.ts';
import type { OptionValues } from '../options.ts';
import { parseJig } from '../plate/index.ts';
import type { TaskContext } from './context.ts';
import { answersOfJig, askOfJig, newJig, sketchNewJig } from './new-jig.ts';
import { answersOfMachine, askOfMachine, newMachine } from './new-machine.ts';
import { answersOfMaterial, askOfMaterial, newMaterial } from './new-material.ts';
import { answersOfPrices, askOfPrices, newPrices } from './new-prices.ts';
import { readPrices } from './prices.ts';
import type { Question } from './questions.ts';

/** What a shop describes by answers: a machine, a material, a jig, its prices. */
export const FORM_KINDS = ['machine', 'material', 'jig', 'price'] as const;
export type FormKind = (typeof FORM_KINDS)[number];

/** Answers so far, and which record they change or copy. */
export interface FormRequest {
  readonly kind: FormKind;
  /** As a person writes them, by the keys of the fields. */
  readonly answers: Readonly<Record<string, string>>;
  /** The record that is changed, or copied: everything that is not asked stays as it has it. */
  readonly from?: string;
}

/** One line of a form: what is asked, what stands there, and how sure that is. */
export interface FormField extends Question {
  /** What stands where nobody types; empty where an answer is needed. */
  readonly value: string;
}

const isRecordKind = (text: string): text is FormKind => (FORM_KINDS as readonly string[]).includes(text);

/** @throws AppError name-unknown */
export function readFormKind(text: string): FormKind {
  if (isRecordKind(text)) return text;
  throw new AppError('name-unknown', `found no form "${text}", needed one of ${FORM_KINDS.join(', ')}`);
}

/**
 * The fields of a form as far as the answers carry: those that depend on one that is open follow when it is answered.
 * @throws AppError name-unknown for the record that it is made from
 */
export function listFields(
  { kind, answers, from }: FormRequest,
  { shop }: Pick<TaskContext, 'shop'>,
): readonly FormField[] {
  const next = nextOf(kind, shop);
  const known = { ...answersOf({ kind, from }, shop), ...answers };
  const fields: FormField[] = [];
  let all: OptionValues = {};
  for (let question = next(all); question; question = next(all)) {
    const { key, fallback } = question;
    const given = known[key] ?? '';
    fields.push({ ...question, value: given === '' ? (fallback ?? '') : given });
    // What is open and needed ends the list: the rest may depend on it.
    if (given === '' && fallback === undefined && question.decides) return fields;
    all = { ...all, [key]: given === '' ? (fallback ?? '') : given };
  }
  return fields;
}

/**
 * Keeps what a form says, through the same use cases as the commands.
 * @param replaces whether a record of the name may be there: it is changed then
 * @throws AppError option-invalid naming the field, name-unknown, material-refused, result-exists, path-*
 */
export async function keepForm(
  { kind, answers, from }: FormRequest,
  context: Pick<TaskContext, 'shop' | 'refused'> & { readonly force: boolean },
): Promise<{ readonly name: string; readonly path: string }> {
  const typed = Object.entries({ ...answersOf({ kind, from }, context.shop), ...answers });
  const all = Object.fromEntries(typed.filter(([, text]) => text.trim() !== ''));
  const over = from === undefined ? {} : { from };
  if (kind === 'machine') {
    const { machine, path } = await newMachine(all, { ...context, ...over });
    return { name: machine.name, path };
  }
  if (kind === 'material') {
    const { material, path } = await newMaterial(all, { ...context, ...over });
    return { name: material.name, path };
  }
  if (kind === 'jig') {
    const { jig, path } = await newJig(all, { ...context, ...over });
    return { name: jig.name, path };
  }
  const { path } = await newPrices(all, { ...context, ...over });
  return { name: 'prices', path };
}

/**
 * What the answers would make, as a picture to scale; undefined where there is nothing to see.
 * @throws AppError as `keepForm`
 */
export function sketchForm(
  { kind, answers, from }: FormRequest,
  { shop }: Pick<TaskContext, 'shop'>,
): string | undefined {
  if (kind !== 'jig') return undefined;
  const typed = Object.entries({ ...answersOf({ kind, from }, shop), ...answers });
  // It has no name yet, and needs none to be seen.
  const named = { title: 'jig', ...Object.fromEntries(typed.filter(([, text]) => text.trim() !== '')) };
  return sketchNewJig(named, { shop, ...(from === undefined ? {} : { from }) });
}

function nextOf(kind: FormKind, shop: TaskContext['shop']): (known: OptionValues) => Question | undefined {
  if (kind === 'machine') return (known) => askOfMachine(known, shop, { isAsked: true });
  if (kind === 'jig') return (known) => askOfJig(known, shop);
  return kind === 'material' ? (known) => askOfMaterial(known, shop) : askOfPrices;
}

/** The answers that would give the record again; none for a new one. */
function answersOf(
  { kind, from }: { readonly kind: FormKind; readonly from: string | undefined },
  shop: TaskContext['shop'],
): Readonly<Record<string, string>> {
  if (from === undefined) return {};
  if (kind === 'machine') return answersOfMachine(readMachine(from, shop));
  if (kind === 'price') {
    const prices = readPrices(undefined, shop);
    return prices ? answersOfPrices(prices) : {};
  }
  if (kind === 'jig') {
    const { json, path } = shop.read('jigs', from);
    return answersOfJig(parseJig(json, path));
  }
  const material = findMaterial(from, shop)!;
  const machine = shop
    .list('machines')
    .map(({ name }) => readMachine(name, shop))
    .find(({ wavelengthNm }) => findMark(material, wavelengthNm));
  return answersOfMaterial(material, machine);
}
