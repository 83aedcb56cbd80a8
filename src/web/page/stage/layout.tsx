import type { ComponentChildren, RefObject } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { Icon, type IconName } from '../parts/parts.tsx';
import type { TakeStrip } from './take-strip.tsx';
import type { History } from './use-history.ts';

export interface Group<Id extends string> {
  readonly id: Id;
  readonly label: string;
  readonly icon: IconName;
  readonly body: () => ComponentChildren;
}

export interface LayoutProps<Id extends string> {
  readonly head: ComponentChildren;
  readonly groups: readonly Group<Id>[];
  readonly open: Id | undefined;
  readonly onOpen: (id: Id | undefined) => void;
  /** The stage itself. */
  readonly children: ComponentChildren;
  readonly foot: ComponentChildren;
  readonly drawer?: ComponentChildren;
  readonly history: Pick<History, 'undo' | 'redo'>;
  readonly takes: TakeStrip;
}

/**
 * The work in the middle of the window, and around it no more than is needed: one line above, a rail with groups of
 * controls of which one is open, one line of facts below. What is seldom asked for comes in a drawer.
 */
export function StageLayout<Id extends string>({
  head,
  groups,
  open,
  onOpen,
  children,
  foot,
  drawer,
  history,
  takes,
}: LayoutProps<Id>) {
  const group = groups.find(({ id }) => id === open);
  return (
    <div class={`staging ${group ? 'with-panel' : ''}`}>
      <header class="stage-head">{head}</header>
      <nav class="rail" aria-label="Controls">
        {groups.map(({ id, label, icon }) => (
          <button
            key={id}
            type="button"
            aria-expanded={id === open}
            aria-controls="stage-panel"
            onClick={() => onOpen(id === open ? undefined : id)}
          >
            <Icon name={icon} />
            <span>{label}</span>
          </button>
        ))}
      </nav>
      <div id="stage-panel" class="panel" hidden={!group}>
        {group && (
          <div class="panel-body">
            <h2>{group.label}</h2>
            {group.body()}
          </div>
        )}
      </div>
      {children}
      {/* Where the head has no room for them. */}
      <StepButtons history={history} takes={takes} class="on-stage" />
      {takes.strip}
      {drawer}
      <footer class="foot">{foot}</footer>
    </div>
  );
}

/** What is not needed at every glance, over the stage until it is put away. */
export function Drawer({
  title,
  onClose,
  children,
}: {
  readonly title: string;
  readonly onClose: () => void;
  readonly children: ComponentChildren;
}) {
  const heading = useRef<HTMLHeadingElement>(null);
  useFocusBack(heading);
  return (
    <aside
      class="drawer"
      aria-labelledby="drawer-title"
      onKeyDown={(event) => {
        if (event.key === 'Escape') onClose();
      }}
    >
      <div class="drawer-head">
        <h2 id="drawer-title" ref={heading} tabIndex={-1}>
          {title}
        </h2>
        <button type="button" class="button quiet square" aria-label={`Close: ${title}`} onClick={onClose}>
          <Icon name="cross" />
        </button>
      </div>
      <div class="drawer-body">{children}</div>
    </aside>
  );
}

/** The focus goes where the eye goes, and back to where it came from. */
function useFocusBack(heading: RefObject<HTMLElement | null>): void {
  useEffect(() => {
    const before = document.activeElement as HTMLElement | null;
    heading.current?.focus({ preventScroll: true });
    return () => before?.focus({ preventScroll: true });
  }, [heading]);
}

/** One step back, and on again; and all that it was before. */
export function StepButtons({
  history,
  takes,
  class: place,
}: {
  readonly history: Pick<History, 'undo' | 'redo'>;
  readonly takes: TakeStrip;
  readonly class: 'in-head' | 'on-stage';
}) {
  return (
    <div class={`step-buttons ${place}`}>
      <button
        type="button"
        class="button quiet square"
        aria-label="Undo"
        title="Undo (Ctrl+Z)"
        disabled={!history.undo}
        onClick={history.undo}
      >
        <Icon name="undo" />
      </button>
      <button
        type="button"
        class="button quiet square"
        aria-label="Redo"
        title="Redo (Shift+Ctrl+Z)"
        disabled={!history.redo}
        onClick={history.redo}
      >
        <Icon name="redo" />
      </button>
      <button
        type="button"
        class="button quiet square"
        aria-label="Takes to go back to"
        title="Takes to go back to (T)"
        aria-expanded={takes.isOpen}
        aria-controls="take-strip"
        disabled={!takes.isOpen && !takes.hasMore}
        onClick={takes.toggle}
      >
        <Icon name="strip" />
      </button>
    </div>
  );
}
