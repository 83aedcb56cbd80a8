import { defineConfig } from 'vitest/config';

const report = process.env.TONEWRIGHT_TEST_REPORT;

export default defineConfig({
  test: {
    include: ['tests/**/*.test.ts'],
    pool: 'forks',
    maxWorkers: 2,
    testTimeout: 60_000,
    hookTimeout: 60_000,
    reporters: report ? ['default', 'json'] : ['default'],
    ...(report ? { outputFile: { json: report } } : {}),
  },
});
