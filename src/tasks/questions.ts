import { AppError } from '../errors.ts';
import type { OptionValues } from '../options.ts';

/**
 * One thing that a new record wants to know. A terminal asks, options and the page answer by the same keys, and all
 * answers are texts, as a person writes them.
 */
export interface Question {
  readonly key: string;
  readonly ask: string;
  readonly choices?: readonly string[];
  /** What stands where nobody answers; undefined: an answer is needed. */
  readonly fallback: string | undefined;
  /** Whether what is asked after it depends on it. */
  readonly decides?: true;
  /** What the fallback rests on; absent where nothing is measured. */
  readonly rests?: 'published' | 'measured' | 'assumed';
  /** What would measure it, for a person. */
  readonly measuredBy?: string;
}

/** What is still to be asked, given what is known; empty when all is. */
export type NextQuestion = (known: OptionValues) => Question | undefined;

/** The next of several questions whose key nothing answers yet. */
export function findUnanswered(questions: readonly Question[], known: OptionValues): Question | undefined {
  return questions.find(({ key }) => known[key] === undefined);
}

/**
 * Answers filled up with what stands where nobody answered.
 * @throws AppError option-invalid naming all that is missing
 */
export function fillAnswers(known: OptionValues, next: NextQuestion): OptionValues {
  let all = known;
  const missing: string[] = [];
  for (let question = next(all); question; question = next(all)) {
    if (question.fallback === undefined) missing.push(question.key);
    all = { ...all, [question.key]: question.fallback ?? '' };
    if (missing.length > 0) break;
  }
  if (missing.length === 0) return all;
  const [key] = missing;
  const name = key!.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
  throw new AppError('option-invalid', `found no ${name}, needed it for the record`, { options: [name] });
}

/** @throws AppError option-invalid for an answer that is none of the choices */
export function checkChoice(text: string, { key, choices }: Question): string {
  const plain = text.trim();
  if (!choices || choices.includes(plain)) return plain;
  const name = key.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
  throw new AppError('option-invalid', `${name}: found "${plain}", needed one of ${choices.join(', ')}`);
}
