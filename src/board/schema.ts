/**
 * The schemas of board.yaml, bench.yaml and of a file of limits: from the keys of the file to the types of board/model.
 *
 * @module
 */
import { z } from 'zod';
import { LEVEL_STEP_DB, LOWEST_LEVEL_DBFS } from '../signals/reference.js';
import type { Bench, Board, LimitRow, LimitSet, LimitsReference } from './model.js';
import { channel, choice, flag, format, id, keys, list, mains, quantity, readingValue, statePattern, stated, text } from './leaves.js';

/** Limits of a board that names none. */
export const DEFAULT_LIMITS = 'studio-quiet';

const MOST = 64;

const lead = (description: string) =>
  keys(
    {
      length: quantity('length', 'length', 'not negative'),
      capacitance: quantity('capacitancePerLength', 'capacitance per length'),
    },
    description,
  ).transform(({ length, capacitance }) => ({ lengthM: length, capacitanceFPerM: capacitance }));

const instrument = keys(
  {
    pickup: keys(
      {
        resistance: quantity('resistance', 'resistance of the winding'),
        inductance: quantity('inductance', 'inductance'),
        capacitance: quantity('capacitance', 'capacitance of the winding'),
        loss: quantity('resistance', 'resistance across the coil that stands for its eddy currents').optional(),
      },
      'the pickup',
    ),
    volume: quantity('resistance', 'volume pot').optional(),
    tone: keys({ resistance: quantity('resistance', 'tone pot'), capacitor: quantity('capacitance', 'tone capacitor') }, 'the tone control').optional(),
    lead: lead('the lead from the instrument to the board').optional(),
  },
  'what the player plugs in',
).transform(({ pickup, volume, tone, lead: cable }) => ({
  pickup: {
    resistanceOhm: pickup.resistance,
    inductanceH: pickup.inductance,
    capacitanceF: pickup.capacitance,
    ...(pickup.loss === undefined ? {} : { lossOhm: pickup.loss }),
  },
  volumeOhm: volume ?? null,
  tone: tone ? { resistanceOhm: tone.resistance, capacitorF: tone.capacitor } : null,
  lead: cable ?? null,
}));

const buffer = keys(
  {
    inputResistance: quantity('resistance', 'input resistance'),
    inputCapacitance: quantity('capacitance', 'input capacitance', 'not negative').optional(),
    outputResistance: quantity('resistance', 'output resistance'),
    noise: quantity('noiseDensity', 'noise density at its input', 'not negative').optional(),
    defeatable: flag('true where it can be switched out of the path').optional(),
  },
  'the input buffer',
).transform((b) => ({
  inputResistanceOhm: b.inputResistance,
  inputCapacitanceF: b.inputCapacitance ?? 0,
  outputResistanceOhm: b.outputResistance,
  noiseVPerRtHz: b.noise ?? null,
  defeatable: b.defeatable ?? false,
}));

const loop = keys(
  {
    id: id('id of the loop'),
    name: text('what is in the loop').optional(),
    expect: choice('unity: with the loop in, the sound should be as with it out; effect: it may change', ['unity', 'effect']).optional(),
    supply: text('the outlet that feeds it, as supply.outlet, such as S1.1').optional(),
    current: quantity('current', 'current that it draws', 'not negative').optional(),
    wiring: lead('the wiring to the loop and back').optional(),
  },
  'one loop',
).transform((l) => ({
  id: l.id,
  name: l.name ?? l.id,
  expect: l.expect ?? ('effect' as const),
  supply: l.supply ?? null,
  currentA: l.current ?? null,
  wiring: l.wiring ?? null,
}));

const output = keys(
  {
    id: id('id of the output'),
    name: text('where it goes').optional(),
    load: quantity('resistance', 'resistance of what it feeds').optional(),
    lift: flag('true where it has a ground-lift switch for its audio shield').optional(),
    polaritySwitch: flag('true where it has a polarity switch').optional(),
    isolated: flag('true where a transformer or the like isolates it').optional(),
    wiring: lead('the wiring to the output').optional(),
  },
  'one output',
).transform((o) => ({
  id: o.id,
  name: o.name ?? o.id,
  loadOhm: o.load ?? null,
  lift: o.lift ?? false,
  polaritySwitch: o.polaritySwitch ?? false,
  isolated: o.isolated ?? false,
  ...(o.wiring ? { wiring: o.wiring } : {}),
}));

const supply = keys(
  {
    id: id('id of the supply'),
    outlets: list(
      keys(
        {
          id: id('id of the outlet'),
          volts: quantity('voltage', 'voltage').optional(),
          limit: quantity('current', 'current that it can give').optional(),
        },
        'one outlet',
      ).transform((o) => ({ id: o.id, volts: o.volts ?? null, limitA: o.limit ?? null })),
      MOST,
    ),
  },
  'one supply',
);

const state = statePattern('a state, such as rest, all or loop-*');

const limitRow = keys(
  {
    reading: text('id of the reading, such as noise.a'),
    states: z.union([state.transform((one) => [one]), list(state, MOST)]).optional(),
    expect: choice('only for loops of which this is expected', ['unity', 'effect']).optional(),
    max: readingValue('highest value').optional(),
    min: readingValue('lowest value').optional(),
    within: z.tuple([readingValue('lowest value'), readingValue('highest value')]).optional(),
    basis: text('what the number rests on'),
  },
  'one limit',
).transform((row, context): LimitRow => {
  const refuse = (message: string): never => {
    context.addIssue({ code: 'custom', message });
    return z.NEVER;
  };
  const [low, high] = row.within ?? [null, null];
  const given = [row.max, row.min, row.within].filter((v) => v !== undefined).length;
  if (given !== 1) return refuse(`must have exactly one of max, min and within; it has ${given === 0 ? 'none' : given}`);
  if (low && high && low.unit !== high.unit) return refuse('has two units in "within"; give both in the same');
  if (low && high && low.value > high.value) return refuse('has the higher value first in "within"; give the lower first');
  return {
    reading: row.reading,
    states: row.states ?? null,
    expect: row.expect ?? null,
    max: row.max?.value ?? null,
    min: row.min?.value ?? null,
    within: low && high ? [low.value, high.value] : null,
    unit: (row.max ?? row.min ?? low!).unit,
    basis: row.basis,
  };
});

/** Name of limits that are written out in board.yaml. */
export const INLINE_LIMITS = 'written out in board.yaml';

const limits: z.ZodType<LimitsReference> = z.union([
  text('a named set, or a file of limits ending in .yaml').transform((name): LimitsReference =>
    /\.ya?ml$/i.test(name) ? { kind: 'file', path: name } : { kind: 'named', name },
  ),
  list(limitRow, 500).transform((rows): LimitsReference => ({ kind: 'inline', set: { name: INLINE_LIMITS, rows } })),
]);

/** board.yaml */
export const boardSchema: z.ZodType<Board> = keys(
  {
    format: format('boardproof-board', 1),
    board: text('name of the board'),
    serial: text('serial number').optional(),
    mains: mains().optional(),
    limits: limits.optional(),
    instrument: instrument.optional(),
    input: keys({ wiring: lead('the wiring from the input jack').optional(), buffer: buffer.optional() }, 'the input of the board').optional(),
    wiring: lead('the wiring from the input, past the loops, to the outputs').optional(),
    loops: list(loop, MOST).optional(),
    outputs: list(output, 32).min(1, { error: 'is empty; a board has at least one output' }),
    match: list(z.tuple([id('id of an output'), id('id of another output')], { error: 'must be a pair of outputs, as in [A, B]' }), MOST).optional(),
    supplies: list(supply, MOST).optional(),
    invented: flag('true where the board does not exist').optional(),
  },
  'a pedalboard to be signed off',
).transform((b) => ({
  name: b.board,
  serial: b.serial ?? null,
  mainsHz: b.mains ?? (50 as const),
  limits: b.limits ?? { kind: 'named' as const, name: DEFAULT_LIMITS },
  instrument: b.instrument ?? null,
  input: { wiring: b.input?.wiring ?? null, buffer: b.input?.buffer ?? null },
  ...(b.wiring ? { wiring: b.wiring } : {}),
  loops: b.loops ?? [],
  outputs: b.outputs,
  match: b.match ?? [],
  supplies: b.supplies ?? [],
  invented: b.invented ?? false,
}));

/** A level that markers can say. */
const playedLevel = (description: string) =>
  quantity('levelFs', description, 'any').refine((dbfs) => dbfs <= 0 && dbfs >= LOWEST_LEVEL_DBFS && Number.isInteger(dbfs / LEVEL_STEP_DB), {
    error: `must be from ${LOWEST_LEVEL_DBFS} to 0 dBFS in steps of ${LEVEL_STEP_DB} dB`,
  });

const fullScale = stated('level', 'what 0 dBFS is', 'any').optional();

/** bench.yaml */
export const benchSchema: z.ZodType<Bench> = keys(
  {
    format: format('boardproof-bench', 1),
    bench: text('name of the bench'),
    sampleRate: quantity('frequency', 'sample rate')
      .refine((hz) => hz >= 44_100 && hz <= 192_000, { error: 'must be from 44100 to 192000 Hz' })
      .optional(),
    output: keys(
      {
        channel: channel('channel of the player', 64).optional(),
        fullScale,
        resistance: quantity('resistance', 'output resistance').optional(),
        device: text('name of the audio device that plays, as "boardproof devices" lists it').optional(),
        level: playedLevel('what takes and tones are played at, a multiple of 0.25 dB').optional(),
        ceiling: playedLevel('nothing is played louder than this unless --level asks for it').optional(),
      },
      'the output that plays the test signals',
    ).optional(),
    inputs: list(
      keys(
        {
          channel: channel('channel of the recording', 32),
          output: id('the output of the board that it hears'),
          fullScale,
          resistance: quantity('resistance', 'input resistance').optional(),
        },
        'one recorder input',
      ),
      32,
    ).min(1, { error: 'is empty; a bench has at least one recorder input' }),
    plugs: list(keys({ id: id('id of the source plug'), resistance: stated('resistance', 'its resistance') }, 'one source plug'), MOST).optional(),
    loads: list(
      keys({ id: id('id of the load'), output: id('the output of the board that it loads'), resistance: stated('resistance', 'its resistance') }, 'one load, across the recorder input'),
      MOST,
    ).optional(),
    lead: lead('the straight lead that the board is compared with').optional(),
    recorder: keys({ device: text('name of the audio device that records, as "boardproof devices" lists it').optional() }, 'what records').optional(),
  },
  'what the board is measured with',
).transform((b) => ({
  name: b.bench,
  sampleRateHz: b.sampleRate ?? null,
  output: b.output
    ? {
        channel: b.output.channel ?? 1,
        fullScaleDbu: b.output.fullScale ?? null,
        resistanceOhm: b.output.resistance ?? null,
        ...(b.output.device === undefined ? {} : { device: b.output.device }),
        ...(b.output.level === undefined ? {} : { levelDbfs: b.output.level }),
        ...(b.output.ceiling === undefined ? {} : { ceilingDbfs: b.output.ceiling }),
      }
    : null,
  inputs: b.inputs.map((i) => ({ channel: i.channel, output: i.output, fullScaleDbu: i.fullScale ?? null, resistanceOhm: i.resistance ?? null })),
  plugs: (b.plugs ?? []).map((p) => ({ id: p.id, resistanceOhm: p.resistance })),
  ...(b.loads === undefined ? {} : { loads: b.loads.map((l) => ({ id: l.id, output: l.output, resistanceOhm: l.resistance })) }),
  lead: b.lead ?? null,
  ...(b.recorder?.device === undefined ? {} : { recorder: b.recorder.device }),
}));

/** A file of limits. */
export const limitsSchema: z.ZodType<LimitSet> = keys(
  { format: format('boardproof-limits', 1), limits: text('name of the set'), rows: list(limitRow, 500).min(1, { error: 'is empty; a set has at least one limit' }) },
  'a shop’s own limits',
).transform(({ limits: name, rows }) => ({ name, rows }));
