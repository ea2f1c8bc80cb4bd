import { describe, expect, it } from 'vitest';
import { afterBack, afterFiled, afterSkip, afterSkipOf, startGuide } from '../../src/capture/guide.js';

const steps = ['a', 'b', 'c', 'd'];

describe('the way through the steps', () => {
  it('begins at the first that is not done, and ends where all are', () => {
    expect(startGuide(steps, []).at).toBe('a');
    let guide = startGuide(steps, ['a', 'c']);
    expect(guide.at).toBe('b');
    guide = afterFiled(guide);
    expect(guide.at).toBe('d');
    expect(afterFiled(guide).at).toBeNull();
    expect(startGuide(steps, steps).at).toBeNull();
  });

  it('leaves out what is skipped, in this run only', () => {
    const guide = afterSkip(afterSkip(startGuide(steps, ['d'])));
    expect(guide.at).toBe('c');
    expect(afterFiled(guide).at).toBeNull();
    expect(startGuide(steps, guide.done).at).toBe('a');
  });

  it('leaves out several at once, and goes on behind the step at hand', () => {
    const guide = afterSkipOf(startGuide(steps, ['a']), ['b', 'd']);
    expect(guide.at).toBe('c');
    expect(afterBack(guide).at).toBe('b');
    expect(afterSkipOf(guide, ['c']).at).toBeNull();
  });

  it('goes back to a step that is done or skipped, and on from there to what is open', () => {
    const guide = afterBack(startGuide(steps, ['a', 'b']));
    expect(guide.at).toBe('b');
    expect(afterFiled(guide).at).toBe('c');
    const skipped = afterBack(afterSkip(startGuide(steps, [])));
    expect(skipped.at).toBe('a');
    expect(skipped.skipped.size).toBe(0);
    expect(afterBack(startGuide(steps, [])).at).toBe('a');
  });

  it('comes back to what lies before, once the rest is done', () => {
    const guide = { ...startGuide(steps, []), at: 'd' };
    expect(afterFiled(guide).at).toBe('a');
  });
});
