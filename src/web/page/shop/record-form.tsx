import { useEffect, useState } from 'preact/hooks';
import type { FormFieldJson, FormKindJson } from '../../protocol.ts';
import { keepForm, listFormFields } from '../api.ts';
import { numbers } from '../numbers.ts';
import { Button, Icon, Problem } from '../parts/parts.tsx';

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

/** Numbers were typed as the reader writes them; the server takes points. */
function asSent(answers: Readonly<Record<string, string>>): Readonly<Record<string, string>> {
  const sent = Object.entries(answers).map(([key, text]) => {
    const number = NAMES.includes(key) ? undefined : numbers.read(text);
    return [key, number === undefined ? text : String(number)] as const;
  });
  return Object.fromEntries(sent);
}

const show = (value: string) => (/^-?\d+(\.\d+)?$/.test(value) ? numbers.say(Number(value), 9) : value);

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
