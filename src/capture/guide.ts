/**
 * The way through the steps: what comes next after each answer. The steps stand in the order that changes the patching as
 * seldom as possible (board/steps), so the guide goes through them in order and comes back to nothing by itself.
 *
 * @module
 */

export interface Guide {
  /** Ids in order. */
  readonly steps: readonly string[];
  readonly done: ReadonlySet<string>;
  /** Left out in this run. */
  readonly skipped: ReadonlySet<string>;
  /** Step at hand; null where nothing is left. */
  readonly at: string | null;
}

const open = (guide: Guide, from: number): string | null => guide.steps.slice(from).find((id) => !guide.done.has(id) && !guide.skipped.has(id)) ?? null;

/** From the first step that is not done. */
export function startGuide(steps: readonly string[], done: Iterable<string>): Guide {
  const guide: Guide = { steps, done: new Set(done), skipped: new Set(), at: null };
  return { ...guide, at: open(guide, 0) };
}

const onward = (guide: Guide): Guide => ({ ...guide, at: guide.at === null ? null : (open(guide, guide.steps.indexOf(guide.at) + 1) ?? open(guide, 0)) });

/** The step at hand was filed. */
export function afterFiled(guide: Guide): Guide {
  return guide.at === null ? guide : onward({ ...guide, done: new Set(guide.done).add(guide.at) });
}

export function afterSkip(guide: Guide): Guide {
  return guide.at === null ? guide : onward({ ...guide, skipped: new Set(guide.skipped).add(guide.at) });
}

/** Leaves out several at once. */
export function afterSkipOf(guide: Guide, ids: readonly string[]): Guide {
  return guide.at === null ? guide : onward({ ...guide, skipped: new Set([...guide.skipped, ...ids]) });
}

/** To the step before, done or not; the first stays. */
export function afterBack(guide: Guide): Guide {
  const before = guide.at === null ? guide.steps.at(-1) : guide.steps[guide.steps.indexOf(guide.at) - 1];
  if (before === undefined) return guide;
  const skipped = new Set(guide.skipped);
  skipped.delete(before);
  return { ...guide, skipped, at: before };
}
