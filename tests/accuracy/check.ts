/** One figure held to one outside source, case by case. */
export interface Case {
  /** What went in, in words. */
  readonly input: string;
  readonly ours: number;
  readonly theirs: number;
}

export interface Check {
  readonly figure: string;
  /** Where it was looked at: frequencies, rates, levels. */
  readonly domain: string;
  /** Where the other figure comes from. */
  readonly oracle: string;
  readonly version: string;
  /** Of the error. */
  readonly unit: string;
  readonly tolerance: number;
  /** Why so much is allowed, and what explains what is found. */
  readonly because: string;
  /** Ids of the method notes that rest on it. */
  readonly methods: readonly string[];
  /** True: the error is relative. */
  readonly relative?: boolean;
  readonly cases: () => Case[];
}

export interface CheckResult extends Omit<Check, 'cases' | 'relative'> {
  readonly cases: number;
  readonly largest: number;
  readonly rms: number;
  readonly worst: string;
}

/** Errors below this are rounding, and differ from machine to machine. */
const ROUNDING = 1e-9;

export function resultOf({ cases, relative = false, ...check }: Check): CheckResult {
  const list = cases();
  const errors = list.map(({ ours, theirs }) => (relative ? ours / theirs - 1 : ours - theirs));
  const worst = errors.reduce((w, e, i) => (Math.abs(e) > Math.abs(errors[w]!) ? i : w), 0);
  const digits = (v: number): number => (Math.abs(v) < ROUNDING ? 0 : Number(v.toPrecision(3)));
  return {
    ...check,
    cases: list.length,
    largest: digits(errors[worst]!),
    rms: digits(Math.sqrt(errors.reduce((s, e) => s + e * e, 0) / errors.length)),
    worst: Math.abs(errors[worst]!) < ROUNDING ? 'none' : list[worst]!.input,
  };
}
