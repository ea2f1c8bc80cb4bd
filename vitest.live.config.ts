import { defineConfig } from 'vitest/config';

/** Generous: a busy machine may be ten times slower, and no test is about time. */
const timeouts = { testTimeout: 300_000, hookTimeout: 300_000 };

/**
 * Tests that need outside programs: run by .ci/run, which installs them. Sound is played and recorded in real time, so those tests
 * come last, without others that would go before them: two sound servers are light work.
 */
export default defineConfig({
  test: {
    projects: [
      {
        test: {
          ...timeouts,
          name: 'outside',
          include: ['tests/live/**/*.test.ts'],
          exclude: ['tests/live/audio-*.test.ts'],
          maxWorkers: 2,
          sequence: { groupOrder: 0 },
        },
      },
      { test: { ...timeouts, name: 'audio', include: ['tests/live/audio-*.test.ts'], maxWorkers: 2, sequence: { groupOrder: 1 } } },
    ],
  },
});
