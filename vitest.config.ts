import { configDefaults, defineConfig } from 'vitest/config';

const report = process.env.TONEWRIGHT_TEST_REPORT;
/** What they test is the state of a whole process: which kinds of pictures its image library opens. */
const ALONE = ['tests/plane/decode.test.ts', 'tests/plate/jig.test.ts', 'tests/photo/outline.test.ts'];

export default defineConfig({
  test: {
    // What a cache kept from an older version must not pass for what this one makes.
    env: { TONEWRIGHT_CACHE: 'off' },
    pool: 'forks',
    maxWorkers: 2,
    testTimeout: 240_000,
    hookTimeout: 240_000,
    reporters: report ? ['default', 'json'] : ['default'],
    ...(report ? { outputFile: { json: report } } : {}),
    projects: [
      // Files share the modules of their process: loading them anew for each file took a sixth of the time.
      {
        extends: true,
        test: {
          name: 'together',
          include: ['tests/**/*.test.ts'],
          exclude: [...configDefaults.exclude, ...ALONE],
          isolate: false,
        },
      },
      { extends: true, test: { name: 'alone', include: ALONE } },
    ],
  },
});
