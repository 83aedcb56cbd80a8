import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useId, useState } from 'preact/hooks';
import { PageError } from '../api.ts';
import { numbers } from '../numbers.ts';
import { useWords } from '../shop-context.ts';
import type { Choice } from './choice.ts';

const ICONS = {
  photo: 'M3 5h18v14H3zM3 16l5-5 4 4 3-3 6 6M16 9.5a1 1 0 1 0 .01 0',
  words: 'M5 8V5h14v3M12 5v14M9 19h6',
  strip: 'M3 6h18v12H3zM7 6v12M11 6v12M15 6v12M19 6v12',
  stack: 'M4 8h12v12H4zM8 8V4h12v12h-4',
  back: 'M14 5l-7 7 7 7',
  turn: 'M4 9h9v11H4zM9 5h6a4 4 0 0 1 4 4v2M16 9l3 3 3-3',
  down: 'M12 4v11M7 11l5 5 5-5M5 20h14',
  print: 'M7 9V4h10v5M5 9h14v8h-3M8 17H5M8 14h8v6H8z',
  check: 'M5 12l5 5 9-10',
  warn: 'M12 4l9 16H3zM12 10v4M12 17v.2',
  cross: 'M6 6l12 12M18 6L6 18',
  undo: 'M8 5L4 9l4 4M4 9h10a5 5 0 0 1 0 10h-4',
  bin: 'M5 7h14M9 7V4h6v3M7 7l1 13h8l1-13',
  plug: 'M9 4v5M15 4v5M6 9h12v3a6 6 0 0 1-12 0zM12 18v3',
  plus: 'M12 5v14M5 12h14',
  minus: 'M5 12h14',
  piece: 'M4 6h16v12H4z',
  crop: 'M7 3v14h14M3 7h14v14',
  tone: 'M12 4a8 8 0 1 0 .01 0M12 4v16M14 8h5M14 12h6M14 16h4.5',
  dots: 'M6 7.5a1.5 1.5 0 1 0 .01 0M12 7.5a1.5 1.5 0 1 0 .01 0M18 7.5a1.5 1.5 0 1 0 .01 0M6 14a1.5 1.5 0 1 0 .01 0M12 14a1.5 1.5 0 1 0 .01 0M18 14a1.5 1.5 0 1 0 .01 0',
  divide: 'M4 5h16v14H4zM12 3v18',
  beside: 'M3 6h8v12H3zM13 6h8v12h-8z',
  show: 'M3 12c4-7 14-7 18 0-4 7-14 7-18 0zM12 9.5a2.5 2.5 0 1 0 .01 0',
  brush: 'M20 4L10 14M10 14a3.5 3.5 0 0 0-5 3c0 2-1 3-2 3 5 1.5 9 0 9-4 0-1-1-2-2-2z',
  straighten: 'M12 4a8 8 0 0 1 7 4M12 20a8 8 0 0 1-7-4M19 3v5h-5M5 21v-5h5',
  redo: 'M16 5l4 4-4 4M20 9H10a5 5 0 0 0 0 10h4',
} as const;

export type IconName = keyof typeof ICONS;

/** Drawn for this page; decoration beside a word, never instead of one for who cannot see it. */
export function Icon({ name }: { readonly name: IconName }) {
  return (
    <svg class="icon" viewBox="0 0 24 24" aria-hidden="true">
      <path d={ICONS[name]} />
    </svg>
  );
}

export function Button({
  icon,
  kind = 'plain',
  class: extra = '',
  children,
  ...rest
}: {
  readonly class?: string;
  readonly icon?: IconName | undefined;
  readonly kind?: 'main' | 'plain' | 'quiet';
  readonly children: ComponentChildren;
} & Omit<JSX.IntrinsicElements['button'], 'icon' | 'class'>) {
  return (
    <button type="button" {...rest} class={`button ${kind} ${extra}`}>
      {icon && <Icon name={icon} />}
      <span>{children}</span>
    </button>
  );
}

/** A few choices of which all are seen at once. */
export function Segments<T extends string>({
  label,
  value,
  choices,
  onChange,
  hideLabel = false,
}: {
  readonly label: string;
  readonly value: T;
  readonly choices: readonly Choice<T>[];
  readonly onChange: (value: T) => void;
  readonly hideLabel?: boolean;
}) {
  const name = useId();
  return (
    <fieldset class="segments">
      <legend class={hideLabel ? 'unseen' : 'label'}>{label}</legend>
      <div class="segments-row">
        {choices.map((choice) => (
          <label key={choice.value} class={choice.value === value ? 'on' : ''}>
            <input type="radio" name={name} checked={choice.value === value} onChange={() => onChange(choice.value)} />
            <span>{choice.label}</span>
          </label>
        ))}
      </div>
    </fieldset>
  );
}

export interface SelectGroup {
  readonly label: string;
  readonly choices: readonly Choice<string>[];
}

export function Select({
  label,
  value,
  groups,
  note,
  onChange,
}: {
  readonly label: string;
  readonly value: string;
  readonly groups: readonly SelectGroup[];
  readonly note?: string;
  readonly onChange: (value: string) => void;
}) {
  const id = useId();
  const shown = groups.filter(({ choices }) => choices.length > 0);
  return (
    <div class="field">
      <label class="label" for={id}>
        {label}
      </label>
      <select id={id} value={value} onChange={({ currentTarget }) => onChange(currentTarget.value)}>
        {shown.map(({ label: group, choices }) =>
          group === '' ? (
            choices.map((choice) => (
              <option key={choice.value} value={choice.value} disabled={choice.disabled ?? false}>
                {choice.label}
              </option>
            ))
          ) : (
            <optgroup key={group} label={group}>
              {choices.map((choice) => (
                <option key={choice.value} value={choice.value} disabled={choice.disabled ?? false}>
                  {choice.label}
                </option>
              ))}
            </optgroup>
          ),
        )}
      </select>
      {note && <p class="note">{note}</p>}
    </div>
  );
}

/** Most decimals in a field, a count. Assumed: lengths of a dot in inches have five that count. */
const FIELD_DECIMALS = 6;

/** One step up or down, on the steps' own places; whole ones where there are none. */
function stepNumber(
  value: number,
  ways: number,
  { min, max, step }: { readonly min: number; readonly max: number; readonly step: number | 'any' },
): number {
  const size = step === 'any' ? 1 : step;
  const next = Number(((Math.round(value / size) + ways) * size).toFixed(FIELD_DECIMALS));
  return Math.min(max, Math.max(min, next));
}

/** A number, typed with a comma or a point, and shown as the reader writes it. */
/** A line of words, told when it is done: what is being typed stands though the page is drawn anew meanwhile. */
export function WordsInput({
  id,
  value,
  maxLength,
  placeholder,
  onChange,
}: {
  /** Of its label. */
  readonly id: string;
  readonly value: string;
  readonly maxLength: number;
  readonly placeholder?: string;
  readonly onChange: (words: string) => void;
}) {
  const [typing, setTyping] = useState<string>();
  return (
    <input
      id={id}
      type="text"
      dir="auto"
      maxLength={maxLength}
      value={typing ?? value}
      onInput={({ currentTarget }) => setTyping(currentTarget.value)}
      onChange={({ currentTarget }) => {
        setTyping(undefined);
        onChange(currentTarget.value);
      }}
      {...(placeholder === undefined ? {} : { placeholder })}
    />
  );
}

export function NumberField({
  label,
  unit,
  value,
  min,
  max,
  step,
  onChange,
}: {
  readonly label: string;
  readonly unit: string;
  readonly value: number | undefined;
  readonly min: number;
  readonly max: number;
  readonly step: number | 'any';
  readonly onChange: (value: number) => void;
}) {
  const id = useId();
  // What is being typed stands until it is done: the page may be drawn anew meanwhile.
  const [typing, setTyping] = useState<string>();
  const shown = value === undefined ? '' : numbers.say(value, FIELD_DECIMALS);
  return (
    <div class="field number">
      <label class="label" for={id}>
        {label}
      </label>
      <span class="with-unit">
        <input
          id={id}
          type="text"
          role="spinbutton"
          inputMode={step === 1 ? 'numeric' : 'decimal'}
          autocomplete="off"
          value={typing ?? shown}
          aria-valuemin={min}
          aria-valuemax={max}
          aria-valuenow={value}
          aria-valuetext={shown}
          onInput={({ currentTarget }) => setTyping(currentTarget.value)}
          onChange={({ currentTarget }) => {
            const typed = numbers.read(currentTarget.value);
            setTyping(undefined);
            if (typed !== undefined && typed >= min && typed <= max) onChange(typed);
            else currentTarget.value = shown;
          }}
          onKeyDown={(event) => {
            const ways = event.key === 'ArrowUp' ? 1 : event.key === 'ArrowDown' ? -1 : 0;
            if (ways === 0 || value === undefined) return;
            event.preventDefault();
            setTyping(undefined);
            const next = stepNumber(numbers.read(event.currentTarget.value) ?? value, ways, { min, max, step });
            if (next !== value) onChange(next);
          }}
        />
        {unit && <span aria-hidden="true">{unit}</span>}
      </span>
    </div>
  );
}

export function Slider({
  label,
  help,
  unit,
  value,
  min,
  max,
  step,
  changed,
  onInput,
  onReset,
}: {
  readonly label: string;
  readonly help: string;
  readonly unit: string;
  readonly value: number;
  readonly min: number;
  readonly max: number;
  readonly step: number;
  readonly changed: boolean;
  readonly onInput: (value: number) => void;
  readonly onReset: () => void;
}) {
  const id = useId();
  const decimals = step < 0.1 ? 2 : step < 1 ? 1 : 0;
  const shown = `${numbers.say(value, decimals, 'fixed')}${unit === '' ? '' : ` ${unit}`}`;
  return (
    <div class={`slider ${changed ? 'changed' : ''}`}>
      <label class="label" for={id}>
        {label}
      </label>
      <output for={id}>{shown}</output>
      {changed && (
        <button type="button" class="reset" onClick={onReset} aria-label={`${label}: back to what was chosen`}>
          <Icon name="undo" />
        </button>
      )}
      <input
        id={id}
        type="range"
        min={min}
        max={max}
        step={step}
        value={value}
        aria-describedby={`${id}-help`}
        aria-valuetext={shown}
        onInput={({ currentTarget }) => onInput(currentTarget.valueAsNumber)}
      />
      <p class="note" id={`${id}-help`}>
        {help}
      </p>
    </div>
  );
}

/** No server was there; the bar says so for the whole page. */
export const isOffline = (error: unknown) => error instanceof PageError && error.code === 'offline';

/** A problem to show until it is closed; that no server was there passes when one is. */
export function useProblem(): readonly [unknown, (error: unknown) => void] {
  const [error, setError] = useState<unknown>();
  const offline = isOffline(error);
  useEffect(() => {
    if (!offline) return;
    const clear = () => setError(undefined);
    addEventListener('tonewright-online', clear);
    return () => removeEventListener('tonewright-online', clear);
  }, [offline]);
  return [error, setError];
}

/** One problem is told once, whoever met it. */
export const isSameProblem = (a: unknown, b: unknown) =>
  a instanceof PageError && b instanceof PageError && a.message === b.message;

/** A problem in words, with what to do about it. */
export function Problem({
  error,
  onAgain,
  onClose,
}: {
  readonly error: unknown;
  readonly onAgain?: () => void;
  readonly onClose?: () => void;
}) {
  const words = useWords();
  const message = words(error instanceof Error ? error.message : String(error));
  const hint = error instanceof PageError ? error.hint : 'Reload the page; what you have chosen is kept.';
  return (
    <div class="problem" role="alert">
      <Icon name="warn" />
      <div>
        <p>{capitalise(message)}</p>
        <p class="hint">{hint}</p>
      </div>
      <div class="problem-actions">
        {onAgain && <Button onClick={onAgain}>Try again</Button>}
        {onClose && (
          <Button kind="quiet" icon="cross" onClick={onClose}>
            Close
          </Button>
        )}
      </div>
    </div>
  );
}

export function Busy({ children }: { readonly children: ComponentChildren }) {
  return (
    <p class="busy" role="status">
      <span class="dots" aria-hidden="true">
        <i />
        <i />
        <i />
      </span>
      {children}
    </p>
  );
}

export const capitalise = (text: string) => text.charAt(0).toUpperCase() + text.slice(1);
