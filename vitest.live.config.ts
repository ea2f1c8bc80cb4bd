import { defineConfig } from 'vitest/config';
import { BaseSequencer } from 'vitest/node';
import type { TestSpecification } from 'vitest/node';

/** Generous: a busy machine may be ten times slower, and no test is about time. */
const timeouts = { testTimeout: 300_000, hookTimeout: 300_000 };

/** The longest first, or one worker would wait for it at the end: by itself it goes by size of file, and this is the smallest. */
class LongestFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const isLongest = (f: TestSpecification): number => (f.moduleId.endsWith('two-hours.test.ts') ? 0 : 1);
    return (await super.sort(files)).sort((a, b) => isLongest(a) - isLongest(b));
  }
}

/**
 * Tests that need outside programs: run by .ci/run, which installs them. Sound is played and recorded in real time, so those tests
 * come last, one file at a time, with the machine to themselves.
 */
export default defineConfig({
  test: {
    sequence: { sequencer: LongestFirst },
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
      { test: { ...timeouts, name: 'audio', include: ['tests/live/audio-*.test.ts'], maxWorkers: 1, sequence: { groupOrder: 1 } } },
    ],
  },
});
