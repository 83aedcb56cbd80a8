import { AppError } from '../errors.ts';
import type { NextQuestion, Question } from '../tasks/index.ts';
import type { Io, OptionValues } from './command.ts';

/** Asks on the terminal for what options did not say; Enter takes what stands in brackets. */
export async function askRest(
  options: OptionValues,
  {
    io,
    next,
    check,
  }: { readonly io: Io; readonly next: NextQuestion; readonly check: (q: Question, text: string) => void },
): Promise<OptionValues> {
  if (!io.ask) return options;
  let known = options;
  for (let question = next(known); question; question = next(known)) {
    const answer = await askOne(question, { io, ask: io.ask, check });
    known = { ...known, [question.key]: answer };
  }
  return known;
}

async function askOne(
  question: Question,
  {
    io,
    ask,
    check,
  }: {
    readonly io: Io;
    readonly ask: NonNullable<Io['ask']>;
    readonly check: (question: Question, text: string) => void;
  },
): Promise<string> {
  const { choices, fallback } = question;
  const listed = choices ? ` (${choices.join(', ')})` : '';
  const offered = fallback === undefined ? '' : ` [${fallback}]`;
  for (;;) {
    const typed = (await ask(`${question.ask}${listed}${offered}? `)).trim();
    const text = typed === '' ? fallback : typed;
    try {
      if (text === undefined || text === '') throw new AppError('option-invalid', 'found nothing, needed an answer');
      check(question, text);
      return text;
    } catch (error) {
      if (!(error instanceof AppError)) throw error;
      io.stderr(`${error.message}\n`);
    }
  }
}
