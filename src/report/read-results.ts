/**
 * results.json → results, checked closely enough that a report of them never prints garbage: every field there and of its
 * kind, every number finite, every curve as long as its axis and ascending.
 *
 * Keys that this version does not know are left out: a later one may have added them.
 *
 * @module
 */
import { z } from 'zod';
import { RESULTS_FORMAT, type Results } from '../judge/results.js';
import { problem } from '../problems.js';

const text = z.string();
const orNull = <T extends z.ZodType>(schema: T): z.ZodNullable<T> => schema.nullable();
const number = z.number();
const count = z.number().int().nonnegative();
const pair = z.tuple([z.number(), z.number()]);

const reading = z.object({
  id: text,
  label: text,
  state: text,
  source: orNull(text),
  output: orNull(text),
  loop: orNull(text),
  value: orNull(number),
  unit: text,
  bound: orNull(z.enum(['upper', 'lower'])),
  uncertainty: orNull(z.number().nonnegative()),
  uncertaintyReason: orNull(text),
  budget: z.array(
    z.object({
      kind: z.enum(['spectral statistics', 'fit', 'repeats', 'drift', 'bench floor', 'calibration', 'stated tolerance', 'method']).exactOptional(),
      name: text,
      standard: number,
      degreesOfFreedom: orNull(number),
      evaluation: z.enum(['A', 'B']).exactOptional(),
      distribution: z.enum(['arcsine', 'rectangular']).exactOptional(),
    }),
  ),
  combined: orNull(z.object({ standard: z.number().nonnegative(), degreesOfFreedom: orNull(number), coverageFactor: z.number().positive() })).exactOptional(),
  limit: orNull(z.object({ max: orNull(number), min: orNull(number), within: orNull(pair), basis: text })),
  verdict: z.enum(['pass', 'fail', 'undecided', 'bench-limited', 'info']),
  method: text,
  capture: z.array(text),
  remarks: z.array(text),
  repeats: z.array(z.object({ step: text, values: z.array(orNull(number)), agree: z.boolean() })).exactOptional(),
});

const list = z.array(orNull(number));
const axis = z.object({ label: text, unit: text, values: list });

const curveOf = <K extends string>(kinds: readonly K[]) => z
  .object({
    id: text,
    kind: z.enum(kinds),
    label: text,
    state: text,
    source: orNull(text),
    output: orNull(text),
    loop: orNull(text),
    x: axis,
    y: axis,
    low: orNull(list),
    high: orNull(list),
    peak: orNull(list),
    marks: z.array(z.object({ kind: z.enum(['hum', 'whine']), hz: z.number().positive(), level: number, unit: text, label: text })),
    capture: z.array(text),
  })
  .superRefine((c, context) => {
    const say = (key: string, message: string): void => {
      context.addIssue({ code: 'custom', path: [key], message });
    };
    const length = c.x.values.length;
    for (const key of ['low', 'high', 'peak'] as const) if (c[key] !== null && c[key].length !== length) say(key, `has ${String(c[key].length)} values where x has ${String(length)}`);
    if (c.y.values.length !== length) say('y', `has ${String(c.y.values.length)} values where x has ${String(length)}`);
    if (c.x.values.some((v, i) => v === null || v <= 0 || (i > 0 && v <= (c.x.values[i - 1] ?? Infinity)))) say('x', 'must be frequencies above zero in ascending order');
  });

const range = z.object({ level: orNull(number), low: orNull(number), high: orNull(number) });
const noiseParts = z.object({ hiss: range, hum: range, whine: range, total: range });

const attribution = z
  .object({
    output: text,
    unit: z.enum(['dBu', 'dBFS']),
    bandsHz: z.array(z.number().positive()),
    sources: z.array(z.object({ kind: z.enum(['bench', 'input', 'output', 'path', 'loop']), loop: orNull(text), parts: noiseParts, bands: z.array(range) })),
    sums: z.array(
      z.object({
        loops: z.array(text),
        predicted: noiseParts,
        measured: orNull(noiseParts),
        interacts: orNull(z.object({ hiss: z.boolean(), hum: z.boolean(), whine: z.boolean() })),
        // Not in files of earlier versions.
        humLine: orNull(z.object({ harmonic: z.number().int().positive(), overDb: z.number() })).default(null),
      }),
    ),
    remarks: z.array(text),
  })
  .superRefine((a, context) => {
    a.sources.forEach((source, i) => {
      if (source.bands.length !== a.bandsHz.length) {
        context.addIssue({ code: 'custom', path: ['sources', i, 'bands'], message: `has ${String(source.bands.length)} bands where bandsHz has ${String(a.bandsHz.length)}` });
      }
    });
  });
const predicted = z
  .object({
    instrument: orNull(z.array(text)),
    metrePf: orNull(number),
    curveHz: z.array(z.number().positive()),
    player: z.array(
      z.object({
        state: text,
        output: orNull(text),
        volume: number,
        loss: orNull(z.object({ band2to5kDb: number, at5kDb: number, at10kDb: number, at20kDb: number })),
        resonance: orNull(z.object({ frequencyHz: z.number().positive(), heightDb: number })),
        cornerHz: orNull(z.number().positive()),
        noiseDbuA: number,
        metreMore: z.array(z.object({ where: z.enum(['before-board', 'after-board']), loses2to5kDb: number, resonanceShiftHz: orNull(number) })),
        causes: z.array(z.object({ part: text, capacitancePf: orNull(number), resistanceOhm: orNull(number), costs2to5kDb: number })),
        curveDb: z.array(number),
      }),
    ),
    input: z.array(z.object({ state: text, capacitancePf: number, resistanceOhm: orNull(number) })),
    terminated: z.array(z.object({ state: text, output: text, dbu: number, dbuA: number })),
    assumed: z.array(text),
  })
  .refine((p) => p.player.every((row) => row.curveDb.length === p.curveHz.length), { message: 'has curves that are not as long as curveHz', path: ['player'] });

const listening = z.object({
  output: text,
  raisedDb: number,
  durationS: z.number().positive(),
  sampleRateHz: z.number().positive(),
  // What stands in an address must be nothing but base64.
  excerpts: z.array(z.object({ state: text, capture: text, wav: z.string().regex(/^[A-Za-z0-9+/]+={0,2}$/) })),
});

const stairs = z.object({
  capture: text,
  state: text,
  levels: z.array(z.object({ output: text, unit: text, stairs: z.array(z.object({ level: number, thdDb: orNull(number), lowDb: orNull(number), highDb: number })) })),
});

const flex = z
  .object({
    capture: text,
    state: text,
    durationS: z.number().nonnegative(),
    events: z.array(z.object({ kind: z.enum(['dropout', 'crackle']), outputs: z.array(text), atS: z.number().nonnegative(), lengthS: z.number().nonnegative(), db: number })),
    levels: z.array(z.object({ output: text, stepS: z.number().positive(), lowDb: z.array(number), highDb: z.array(number) })),
  })
  .refine((f) => f.levels.every((l) => l.lowDb.length === l.highDb.length), { message: 'has levels whose lowDb and highDb are not equally long', path: ['levels'] });

const schema = z.object({
  format: z.literal(RESULTS_FORMAT),
  tool: z.object({ name: text, version: text }),
  board: z.object({
    name: text,
    serial: orNull(text),
    mainsHz: z.number().positive(),
    invented: z.boolean(),
    buffer: orNull(z.object({ defeatable: z.boolean() })),
    loops: z.array(z.object({ id: text, name: text, expect: text, supply: orNull(text) })),
    outputs: z.array(z.object({ id: text, name: text })),
    match: z.array(z.tuple([text, text])),
    sha256: text,
  }),
  bench: z.object({
    name: text,
    calibrated: z.boolean(),
    inputs: z.array(z.object({ channel: count, output: text, fullScale: orNull(text) })),
    plugs: z.array(z.object({ id: text, resistance: text })),
    sha256: text,
    roundTripS: orNull(number).exactOptional(),
  }),
  conditions: z.object({ measuredAt: text, limits: text, coverage: text, decisionRule: text, remarks: z.array(text) }),
  captures: z.array(
    z.object({
      step: text,
      state: text,
      plug: orNull(text),
      kind: text,
      file: text,
      sha256: text,
      sampleRateHz: z.number().positive(),
      channels: count,
      format: text,
      durationS: z.number().nonnegative(),
      recordedAt: orNull(text),
      filedAt: orNull(text),
      how: orNull(text),
      take: orNull(z.object({ clockRatioPpm: number, levelDbfs: number, startS: number })),
      remarks: z.array(text),
    }),
  ),
  readings: z.array(reading),
  attribution: z.array(attribution).exactOptional(),
  curves: z.array(curveOf(['noise-density', 'response', 'tone-loss', 'match-third-octave', 'match-response'])),
  noiseBands: z.array(curveOf(['noise-third-octave'])).exactOptional(),
  distortion: z.array(curveOf(['distortion', 'harmonic-2', 'harmonic-3'])).exactOptional(),
  playerCurves: z.array(curveOf(['player-response'])).exactOptional(),
  predicted: predicted.exactOptional(),
  listening: orNull(listening).exactOptional(),
  stairs: z.array(stairs).exactOptional(),
  flex: z.array(flex).exactOptional(),
  findings: z.array(
    z.object({
      id: text,
      severity: z.enum(['fault', 'caution', 'note']),
      where: z.object({ loop: orNull(text), output: orNull(text), supply: orNull(text) }),
      title: text,
      evidence: z.array(text),
      cause: text,
      certainty: z.enum(['measured', 'likely', 'possible']).exactOptional(),
      tryNext: text,
      confirm: text.exactOptional(),
      basis: text,
    }),
  ),
  methods: z.array(z.object({ id: text, title: text, text, source: text, checked: z.array(text).exactOptional() })),
  verdict: z.object({ word: z.enum(['pass', 'fail', 'undecided', 'not complete']), sentence: text, passed: count, failed: count, undecided: count, missing: z.array(text) }),
  problems: z.array(z.object({ code: text, message: text })),
});

// Compiles only while the schema and the type describe the same data.
const asResults = (parsed: z.infer<typeof schema>): Results => parsed;
const asParsed = (results: Results): DeepReadonly<z.infer<typeof schema>> => results;
type DeepReadonly<T> = T extends readonly unknown[] ? { readonly [K in keyof T]: DeepReadonly<T[K]> } : T extends object ? { readonly [K in keyof T]: DeepReadonly<T[K]> } : T;
void asParsed;

/** A place in the file, as in `readings[3].value`. */
const placeOf = (path: readonly PropertyKey[]): string =>
  path.map((p, i) => (typeof p === 'number' ? `[${String(p)}]` : `${i === 0 ? '' : '.'}${String(p)}`)).join('');

/**
 * @param file - what the file is called in the error
 * @throws Problem `report.results-damaged`, `report.results-format`
 */
export function readResults(content: string, file: string): Results {
  let data: unknown;
  try {
    // A byte order mark is not JSON, but some editors write one.
    data = JSON.parse(content.replace(/^\ufeff/, ''));
  } catch {
    throw problem('report.results-damaged', { file, place: null, fault: content.trim() === '' ? 'it is empty' : 'it is not whole JSON' });
  }
  const format = typeof data === 'object' && data !== null && 'format' in data ? data.format : null;
  if (typeof format !== 'string') throw problem('report.results-damaged', { file, place: null, fault: 'it has no "format"' });
  if (format !== RESULTS_FORMAT) throw problem('report.results-format', { file, format: format.slice(0, 60), reads: RESULTS_FORMAT });
  const parsed = schema.safeParse(data);
  if (parsed.success) return asResults(parsed.data);
  const [first] = parsed.error.issues;
  throw problem('report.results-damaged', { file, place: placeOf(first?.path ?? []), fault: first === undefined ? 'it is not as it should be' : wordsOf(first) });
}

/** What is wrong, without the vocabulary of the validator. */
function wordsOf(issue: z.core.$ZodIssue): string {
  switch (issue.code) {
    case 'invalid_type':
      return issue.message.endsWith('received undefined') ? 'is missing' : `must be a ${issue.expected === 'int' ? 'whole number' : issue.expected}`;
    case 'invalid_value':
      return `must be one of ${issue.values.map((v) => JSON.stringify(v)).join(', ')}`;
    case 'custom':
      return issue.message;
    default:
      return 'has a value that it cannot have';
  }
}
