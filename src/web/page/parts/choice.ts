/** One of what can be chosen. */
export interface Choice<T extends string> {
  readonly value: T;
  readonly label: string;
  /** Shown, and not to be chosen; the label says why. In lists alone. */
  readonly disabled?: boolean;
}
