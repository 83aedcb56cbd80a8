import type { Io } from './command.ts';

/** Asks on a terminal: the question goes to stderr, so that stdout holds the result alone. */
export function openAsk({ stdin, stderr }: Pick<NodeJS.Process, 'stdin' | 'stderr'>): Pick<Io, 'ask'> {
  if (stdin.isTTY !== true || stderr.isTTY !== true) return {};
  return {
    ask: async (question) => {
      const { createInterface } = await import('node:readline/promises');
      const reader = createInterface({ input: stdin, output: stderr });
      try {
        return await reader.question(question);
      } finally {
        reader.close();
      }
    },
  };
}
