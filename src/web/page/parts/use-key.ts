import { useEffect, useRef, useState } from 'preact/hooks';
import { isTyping } from './typing.ts';

/** Does something when a key is pressed anywhere, while nothing is being typed. */
export function useKey(wanted: string, act: () => void): void {
  const latest = useRef(act);
  latest.current = act;
  useEffect(() => {
    const press = (event: KeyboardEvent) => {
      if (event.key.toLowerCase() !== wanted || event.repeat || event.defaultPrevented) return;
      if (event.ctrlKey || event.metaKey || event.altKey || isTyping(event)) return;
      latest.current();
    };
    addEventListener('keydown', press);
    return () => removeEventListener('keydown', press);
  }, [wanted]);
}

/** Whether a key is down, while nothing is being typed. */
export function useHeldKey(wanted: string): readonly [boolean, (held: boolean) => void] {
  const [held, setHeld] = useState(false);
  useKey(wanted, () => setHeld(true));
  useEffect(() => {
    const up = (event: KeyboardEvent) => {
      if (event.key.toLowerCase() === wanted) setHeld(false);
    };
    const leave = () => setHeld(false);
    addEventListener('keyup', up);
    addEventListener('blur', leave);
    return () => {
      removeEventListener('keyup', up);
      removeEventListener('blur', leave);
    };
  }, [wanted]);
  return [held, setHeld];
}
