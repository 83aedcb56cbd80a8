import { setTimeout as wait } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { Flow } from '../../src/batch/flow.ts';
import type { PieceResult } from '../../src/batch/make-piece.ts';
import type { Maker, PlannedTask } from '../../src/batch/makers.ts';
import { createRandom } from '../../src/numeric/index.ts';

const RESULT = { made: false, fault: { code: 'image-empty', message: '' } } as const satisfies PieceResult;
const piece = (weight: number) => ({ work: String(weight) }) as PlannedTask;

/** A maker that takes its time and keeps account of what is in it. */
function createMaker({ parallel, capacity }: { parallel: number; capacity: number }) {
  const random = createRandom(7);
  const seen = { now: 0, weight: 0, most: 0, heaviest: 0, together: [] as number[][], closed: 0 };
  const inside = new Set<number>();
  const maker: Maker = {
    parallel,
    capacity,
    weigh: async ({ work }) => Number(work),
    async make({ work }) {
      const weight = Number(work);
      inside.add(weight);
      seen.now++;
      seen.weight += weight;
      seen.most = Math.max(seen.most, seen.now);
      seen.heaviest = Math.max(seen.heaviest, seen.now > 1 ? seen.weight : 0);
      seen.together.push([...inside]);
      await wait(1 + 4 * random.nextUnit());
      seen.now--;
      seen.weight -= weight;
      inside.delete(weight);
      return { result: RESULT, settle: async () => undefined };
    },
    close: async () => {
      seen.closed++;
    },
  };
  return { maker, seen };
}

const open = (maker: Maker, signal = new AbortController().signal) =>
  new Flow({ signal, openMaker: async () => maker });

test('no more pieces and no more weight are in the maker than it takes, and all of them go through', async () => {
  const { maker, seen } = createMaker({ parallel: 3, capacity: 100 });
  const flow = open(maker);
  let finished = 0;
  for (let i = 0; i < 60; i++) {
    await flow.add(piece(10 + ((i * 37) % 60)), async () => {
      finished++;
    });
  }
  await flow.end();
  expect([finished, seen.closed]).toEqual([60, 1]);
  expect(seen.most).toBe(3);
  expect(seen.heaviest).toBeLessThanOrEqual(100);
});

test('a piece that is heavier than everything together goes alone', async () => {
  const { maker, seen } = createMaker({ parallel: 4, capacity: 100 });
  const flow = open(maker);
  for (const weight of [20, 500, 30, 40]) await flow.add(piece(weight), async () => undefined);
  await flow.end();
  expect(seen.together.filter((inside) => inside.includes(500))).toEqual([[500]]);
});

test('a slow disk holds the maker back', async () => {
  const { maker } = createMaker({ parallel: 2, capacity: 100 });
  const flow = open(maker);
  let begun = 0;
  let written = 0;
  let most = 0;
  for (let i = 0; i < 12; i++) {
    await flow.add(piece(1), async () => {
      await wait(15);
      written++;
    });
    begun++;
    most = Math.max(most, begun - written);
  }
  await flow.end();
  expect(written).toBe(12);
  expect(most).toBeLessThanOrEqual(4);
});

test('nothing is begun after something went wrong with the folder', async () => {
  const { maker } = createMaker({ parallel: 1, capacity: 100 });
  const flow = open(maker);
  let finished = 0;
  for (let i = 0; i < 10 && !flow.broken; i++) {
    await flow.add(piece(1), async () => {
      finished++;
      if (finished === 3) throw new Error('the disk is full');
    });
  }
  await flow.end();
  expect(flow.broken?.error).toMatchObject({ message: 'the disk is full' });
  expect(finished).toBeLessThanOrEqual(4);
});

test('an order that is stopped begins nothing more and finishes what it began', async () => {
  const controller = new AbortController();
  const { maker } = createMaker({ parallel: 2, capacity: 100 });
  const flow = open(maker, controller.signal);
  let finished = 0;
  for (let i = 0; i < 20; i++) {
    await flow.add(piece(1), async () => {
      finished++;
      if (finished === 4) controller.abort();
    });
    if (controller.signal.aborted) break;
  }
  await flow.end();
  expect(finished).toBeGreaterThanOrEqual(4);
  expect(finished).toBeLessThanOrEqual(6);
});
