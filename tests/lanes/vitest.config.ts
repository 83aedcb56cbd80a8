import { defineConfig } from 'vitest/config';

const report = process.env.TONEWRIGHT_TEST_REPORT;

/**
 * Tests that need more than the suite does: another system, other versions of Node, minutes. Each is run by its name.
 */
export default defineConfig({
  test: {
    include: ['tests/lanes/*.lane.ts'],
    env: { TONEWRIGHT_CACHE: 'off' },
    pool: 'forks',
    fileParallelism: false,
    testTimeout: 600_000,
    hookTimeout: 600_000,
    reporters: report ? ['verbose', 'json'] : ['verbose'],
    ...(report ? { outputFile: { json: report } } : {}),
  },
});
