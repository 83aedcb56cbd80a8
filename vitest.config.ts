import { defineConfig } from 'vitest/config';

const report = process.env.TONEWRIGHT_TEST_REPORT;

export default defineConfig({
  test: {
    include: ['tests/**/*.test.ts'],
    // What a cache kept from an older version must not pass for what this one makes.
    env: { TONEWRIGHT_CACHE: 'off' },
    pool: 'forks',
    // Files share the modules of their process: loading them anew for each file took a sixth of the time.
    isolate: false,
    maxWorkers: 2,
    testTimeout: 240_000,
    hookTimeout: 240_000,
    reporters: report ? ['default', 'json'] : ['default'],
    ...(report ? { outputFile: { json: report } } : {}),
  },
});
