/**
 * What many drawings have alike, drawn once.
 *
 * @module
 */

/** Ruled lines, as every chart on one frame has them. */
const RULED = /<path [^>]*stroke="var\(--rule\)"[^>]*\/>/g;

export interface Shared {
  /** Each drawing with its ruled lines pointing at those of `defs`. */
  readonly svgs: readonly string[];
  /** What stands once on the page, hidden; empty where nothing is shared. */
  readonly defs: string;
}

/** Ruled lines that two drawings or more have alike are taken out of them, to be drawn by `use`. */
export function shareRuling(svgs: readonly string[]): Shared {
  const count = new Map<string, number>();
  for (const svg of svgs) for (const [path] of svg.matchAll(RULED)) count.set(path, (count.get(path) ?? 0) + 1);
  const ids = new Map([...count].filter(([, n]) => n > 1).map(([path], i) => [path, `ruled-${String(i + 1)}`] as const));
  return {
    svgs: svgs.map((svg) => svg.replace(RULED, (path) => (ids.has(path) ? `<use href="#${ids.get(path)!}"/>` : path))),
    defs: [...ids].map(([path, id]) => path.replace('<path ', `<path id="${id}" `)).join(''),
  };
}
