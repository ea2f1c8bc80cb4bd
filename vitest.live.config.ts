import { defineConfig } from 'vitest/config';

/** Tests that need outside programs: run by .ci/run, which installs them. */
export default defineConfig({
  test: {
    include: ['tests/live/**/*.test.ts'],
    testTimeout: 300_000,
    hookTimeout: 300_000,
    fileParallelism: false,
  },
});
