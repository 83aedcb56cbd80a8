import type { PieceResult } from './make-piece.ts';
import type { Maker, PlannedTask } from './makers.ts';

export interface FlowOptions {
  readonly signal: AbortSignal;
  /** Called when the first piece comes. */
  readonly openMaker: () => Promise<Maker>;
}

type Finish = (result: PieceResult) => Promise<void>;

/**
 * Lets pieces through to the maker, no more and no heavier at a time than it takes. So many again may wait to be
 * written: a slow disk holds the threads back, and nothing piles up between them.
 */
export class Flow {
  readonly #options: FlowOptions;
  #maker: Maker | undefined;
  /** Pieces in the maker, their weight, and pieces in the maker or being written. */
  #making = 0;
  #weight = 0;
  #open = 0;
  #woken: () => void = () => undefined;
  /** The first thing that went wrong with the folder or the program; nothing is begun after it. */
  broken: { readonly error: unknown } | undefined;

  constructor(options: FlowOptions) {
    this.#options = options;
  }

  /** Waits until there is room, then begins; `finish` is called with what was made. */
  async add(planned: PlannedTask, finish: Finish): Promise<void> {
    this.#maker ??= await this.#options.openMaker();
    const { parallel, capacity, weigh } = this.#maker;
    const weight = await weigh(planned);
    while (
      this.#making >= parallel ||
      this.#open >= 2 * parallel ||
      (this.#making > 0 && this.#weight + weight > capacity)
    ) {
      if (await this.#isStopped()) return;
    }
    this.#making++;
    this.#open++;
    this.#weight += weight;
    void this.#make(planned, { weight, finish, maker: this.#maker })
      .catch((error) => {
        this.broken ??= { error };
      })
      .finally(() => {
        this.#open--;
        this.#woken();
      });
  }

  /** When everything that was begun is finished; lets go of the maker. */
  async end(): Promise<void> {
    while (this.#open > 0) await this.#wake();
    await this.#maker?.close();
  }

  async #make(
    planned: PlannedTask,
    { weight, finish, maker }: { readonly weight: number; readonly finish: Finish; readonly maker: Maker },
  ): Promise<void> {
    const made = await maker.make(planned, this.#options.signal).finally(() => {
      this.#making--;
      this.#weight -= weight;
      this.#woken();
    });
    if (made === 'not-begun') return;
    await finish(made.result);
    await made.settle();
  }

  async #isStopped(): Promise<boolean> {
    await this.#wake();
    return this.#options.signal.aborted || this.broken !== undefined;
  }

  /** When a piece has left the maker or was written. */
  #wake(): Promise<void> {
    return new Promise((resolve) => {
      this.#woken = resolve;
    });
  }
}
