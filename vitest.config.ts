import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['tests/**/*.test.ts'],
    exclude: ['tests/live/**'],
    // Generous: a busy machine may be ten times slower, and no test is about time.
    testTimeout: 180_000,
    // Every core: by itself one is left free, which of two is half.
    maxWorkers: '100%',
    // No module of ours keeps anything that a test changes: loading them anew for each file would be a quarter of the time.
    isolate: false,
    hookTimeout: 180_000,
  },
});
