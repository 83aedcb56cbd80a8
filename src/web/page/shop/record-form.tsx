import { useEffect, useState } from 'preact/hooks';
import type { FormAskJson, FormFieldJson, FormKindJson } from '../../protocol.ts';
import { keepForm, listFormFields, sketchForm } from '../api.ts';
import { numbers } from '../numbers.ts';
import { Button, Icon, Problem } from '../parts/parts.tsx';
import { useWords } from '../shop-context.ts';

export interface FormAsk {
  readonly kind: FormKindJson;
  /** The record that is changed or copied; absent for a new one. */
  readonly from?: string;
  /** What is changed keeps its name, what is copied gets another. */
  readonly how: 'new' | 'copy' | 'change';
}

const TITLES: Readonly<Record<FormKindJson, string>> = {
  machine: 'machine',
  material: 'material',
  jig: 'jig',
  price: 'price list',
};
const RESTS = { typed: 'typed', published: 'published', measured: 'measured', assumed: 'assumed' } as const;

/** A record by its questions, as the commands ask them; each answer says what it rests on and what would measure it. */
export function RecordForm({ ask, onDone }: { readonly ask: FormAsk; readonly onDone: () => void }) {
  const { kind, from, how } = ask;
  const [answers, setAnswers] = useState<Readonly<Record<string, string>>>(
    how === 'copy' ? { title: '', name: '' } : {},
  );
  const [fields, setFields] = useState<readonly FormFieldJson[]>([]);
  const [error, setError] = useState<unknown>();
  const request = { answers: asSent(answers), ...(from === undefined ? {} : { from }) };
  useEffect(() => {
    let newest = true;
    listFormFields(kind, request).then((found) => newest && setFields(found), setError);
    return () => {
      newest = false;
    };
  }, [kind, from, answers]);
  const keep = async () => {
    setError(undefined);
    try {
      await keepForm(kind, { ...request, replaces: how === 'change' });
      onDone();
    } catch (problem) {
      setError(problem);
    }
  };
  const shown = fields.filter(({ key }) => !(from !== undefined && key === 'like'));
  return (
    <form
      class="record-form"
      onSubmit={(event) => {
        event.preventDefault();
        void keep();
      }}
    >
      <h3>
        {how === 'new' ? 'A new' : how === 'copy' ? 'A copy of the' : 'Change the'} {TITLES[kind]}
      </h3>
      {shown.map((field) => (
        <FormLine
          key={field.key}
          field={field}
          text={answers[field.key] ?? show(field.value)}
          typed={(answers[field.key] ?? '') !== ''}
          onAnswer={(text) => setAnswers({ ...answers, [field.key]: text })}
        />
      ))}
      {kind === 'jig' && <Sketch kind={kind} request={request} />}
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      <div class="row">
        <Button kind="main" icon="check" type="submit">
          Keep it
        </Button>
        <Button onClick={onDone}>Leave it</Button>
      </div>
    </form>
  );
}

/** Of what is called by words. */
const NAMES: readonly string[] = ['title', 'name'];

/** Width and height, as they are typed. */
const PAIR = /^\s*([\d.,]+)\s*[x×]\s*([\d.,]+)\s*$/;
/** A round one. */
const ROUND = /^\s*[⌀∅ø]\s*([\d.,]+)\s*$/;

/** Numbers were typed as the reader writes them; the server takes points. */
function asSent(answers: Readonly<Record<string, string>>): Readonly<Record<string, string>> {
  const read = (text: string) => {
    const number = numbers.read(text);
    return number === undefined ? text : String(number);
  };
  const sent = Object.entries(answers).map(([key, text]) => {
    if (NAMES.includes(key)) return [key, text] as const;
    const [, width, height] = PAIR.exec(text) ?? [];
    const diameter = ROUND.exec(text)?.[1];
    if (width && height) return [key, `${read(width)}x${read(height)}`] as const;
    return [key, diameter ? `⌀${read(diameter)}` : read(text)] as const;
  });
  return Object.fromEntries(sent);
}

const sayPlain = (value: string) => numbers.say(Number(value), 9);
const show = (value: string) =>
  /^-?\d+(\.\d+)?$/.test(value)
    ? sayPlain(value)
    : /^[\d.]+x[\d.]+$/.test(value)
      ? value.split('x').map(sayPlain).join('x')
      : value;

/** A hand that has rested so long is done, ms. Assumed: shorter than a person waits for a drawing. */
const REST_MS = 250;

/** What is being described, to scale, before it is kept; what stands in its way instead, where something does. */
function Sketch({ kind, request }: { readonly kind: FormKindJson; readonly request: FormAskJson }) {
  const words = useWords();
  const [seen, setSeen] = useState<{ readonly url?: string; readonly fault?: string }>({});
  const key = JSON.stringify(request);
  useEffect(() => {
    let newest = true;
    const timer = setTimeout(() => {
      sketchForm(kind, request).then(
        (blob) => newest && setSeen(blob ? { url: URL.createObjectURL(blob) } : {}),
        (error: unknown) => newest && setSeen({ fault: error instanceof Error ? error.message : String(error) }),
      );
    }, REST_MS);
    return () => {
      newest = false;
      clearTimeout(timer);
    };
  }, [kind, key]);
  const { url, fault } = seen;
  useEffect(() => () => (url === undefined ? undefined : URL.revokeObjectURL(url)), [url]);
  const isOpen = request.answers.machine === undefined && request.from === undefined;
  return (
    <figure class="record-sketch">
      {url && <img src={url} alt="The jig to scale: board, pockets, stop and field" />}
      <figcaption class="note" aria-live="polite">
        {url
          ? 'To scale. Thick corner: where the board meets the stop; thin corners: where each piece is pushed to; dashed: the field; the spot: 0, 0.'
          : isOpen
            ? 'It is drawn here once its machine is chosen.'
            : fault
              ? `No drawing: ${words(fault)}.`
              : ''}
      </figcaption>
    </figure>
  );
}

interface FormLineProps {
  readonly field: FormFieldJson;
  /** What is being typed, and what stands there otherwise: the fields may be drawn anew meanwhile. */
  readonly text: string;
  readonly typed: boolean;
  readonly onAnswer: (text: string) => void;
}

function FormLine({ field, text, typed, onAnswer }: FormLineProps) {
  const { key, ask, choices, rests, measuredBy } = field;
  const id = `form-${key}`;
  return (
    <div class="field">
      <label class="label" for={id}>
        {ask}
      </label>
      {choices ? (
        <select id={id} value={text} onChange={({ currentTarget }) => onAnswer(currentTarget.value)}>
          {text === '' && <option value="">choose</option>}
          {choices.map((choice) => (
            <option key={choice} value={choice}>
              {choice}
            </option>
          ))}
        </select>
      ) : (
        <input
          id={id}
          type="text"
          value={text}
          aria-describedby={`${id}-rests`}
          onInput={({ currentTarget }) => onAnswer(currentTarget.value)}
        />
      )}
      {(typed || rests || measuredBy) && (
        <p class="note" id={`${id}-rests`}>
          {(typed || rests) && (
            <b class={`rests ${typed ? 'typed' : rests}`}>
              <Icon name={typed || rests !== 'assumed' ? 'check' : 'warn'} />
              {typed ? RESTS.typed : RESTS[rests!]}
            </b>
          )}
          {measuredBy && ` What would tell: ${measuredBy}.`}
        </p>
      )}
    </div>
  );
}
