/**
 * Findings on what the outputs give: level, polarity, response and time against the input and each other, and switches that do
 * not do what they say.
 *
 * @module
 */
import { fixed, formatQuantity, frequencyText } from '../units/format.js';
import { MEASURED, NOWHERE, explain, failing, key, listed, pairOf, readingAt, shown, withState } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

/** An output that loses this much more at one end of the band than in the middle is not a matter of level, dB. */
const TILT_DB = 1;
/** Where the two ends and the middle are read, Hz. */
const BASS_HZ = 50;
const MIDDLE_HZ = 600;
const TREBLE_HZ = 10000;
/** Beside a response that is off, a level is named only from here on: what a corner leaves of its own in the middle, dB. */
const LEVEL_BESIDE_TILT_DB = 0.5;

export function outputFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  const tilted = responses(context, explained);
  return [
    ...switches(context, explained),
    ...switchLevels(context, explained),
    ...polarities(context, explained),
    ...polaritiesInStates(context, explained),
    ...tilted,
    ...levels(context, tilted, explained),
    ...resistances(context, explained),
    ...delays(context, explained),
  ];
}

const touches = (r: Reading, output: string): boolean => r.output === output || (r.output ?? '').split(':').includes(output);

/** Polarity against the input at rest; null where it was not read. */
const signOf = ({ readings }: FindingContext, state: string, output: string): number | null => readingAt(readings, 'polarity', { state, output })?.value ?? null;

/** Switches thrown one at a time: which outputs does each invert? */
function switches(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const crossed = new Set<string>();
  return board.outputs.flatMap(({ id }): Finding[] => {
    const state = `invert-${id}`;
    const own = readings.find((r) => r.id === 'switch.polarity' && r.state === state && r.output === id);
    if (own?.value !== 1) return [];
    explained.add(own);
    explain(explained, readings, (r) => r.state === state, ['switch.*', 'match.polarity']);
    const turned = board.outputs.filter((o) => o.id !== id && signOf(context, state, o.id) !== null && signOf(context, state, o.id) === -(signOf(context, 'rest', o.id) ?? 0)).map((o) => o.id);
    const [other] = turned;
    if (other !== undefined) {
      const pair = [id, other].sort().join(':');
      if (crossed.has(pair)) return [];
      crossed.add(pair);
      // One of them may be taken before the loops: with loops in, each gives what is the other’s.
      explain(explained, readings, (r) => r.state !== 'rest' && (touches(r, id) || touches(r, other)), ['match.*']);
      return [
        {
          id: `crossed/${pair}`,
          severity: 'fault',
          where: { ...NOWHERE, output: id },
          title: `The polarity switch of output ${id} inverts output ${other}: the two are crossed.`,
          evidence: [key(own), ...readings.filter((r) => r.id === 'polarity' && r.state === state && r.output === other).map(key)],
          cause: `The jacks of ${id} and ${other} are wired the one for the other, or their leads are crossed at the recorder.`,
          certainty: 'likely',
          tryNext: `Follow the lead of ${id} to recorder input and jack; if the leads are right, exchange the wires of the two jacks.`,
          confirm: `Capture ${state}.take again: output ${id} must be inverted, and ${other} must not.`,
          basis: MEASURED,
        },
      ];
    }
    return [
      {
        id: `polarity-switch/${id}`,
        severity: 'fault',
        where: { ...NOWHERE, output: id },
        title: `The polarity switch of output ${id} does nothing.`,
        evidence: [key(own)],
        cause: 'Its contacts do not move, or it is wired across one winding only; or it was not thrown during the capture.',
        certainty: 'possible',
        tryNext: `Throw the switch of ${id} and capture once more; if nothing changes, check the switch and its wires.`,
        confirm: `Capture ${state}.take again: output ${id} must be inverted.`,
        basis: MEASURED,
      },
    ];
  });
}

/** What a switch that should change nothing but a sign, or a shield, does to the level. */
const LEVEL_SWITCHES = [
  {
    id: 'switch.level',
    state: 'invert',
    how: 'with its polarity switch inverted',
    cause: 'The two positions of the switch take the signal from places of different level or source resistance: one half of a stage or winding, or a contact with resistance.',
    tryNext: (output: string) => `Measure the resistance of each contact of the polarity switch of ${output} in both positions, and the level at both legs of its stage.`,
  },
  {
    id: 'lift.level',
    state: 'lift',
    how: 'with its ground lift engaged',
    cause: 'Part of the signal’s return runs through the shield that the lift opens: the output is not balanced, or its other leg is open.',
    tryNext: (output: string) => `Check that both legs of output ${output} arrive at what it feeds; the lift opens the audio shield only, never the protective earth.`,
  },
] as const;

function switchLevels(context: FindingContext, explained: Set<Reading>): Finding[] {
  return LEVEL_SWITCHES.flatMap(({ id, state, how, cause, tryNext }) =>
    context.readings
      .filter((r) => r.id === id && r.verdict === 'fail' && r.value !== null && !explained.has(r) && r.state === `${state}-${r.output ?? ''}`)
      .map((r): Finding => {
        explained.add(r);
        const output = r.output!;
        const value = r.value!;
        return {
          id: `${id.replace('.', '-')}/${output}`,
          severity: 'fault',
          where: { ...NOWHERE, output },
          title: `Output ${output} is ${fixed(Math.abs(value), 2)} dB ${value > 0 ? 'louder' : 'softer'} ${how}.`,
          evidence: [key(r)],
          cause,
          certainty: 'possible',
          tryNext: tryNext(output),
          confirm: `Capture ${r.state}.take again: the change of level must be within its limit.`,
          basis: MEASURED,
        };
      }),
  );
}

function polarities(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const pairs = failing(context, 'match.polarity', explained).filter((r) => !r.state.startsWith('invert-') && (r.state === 'rest' || readingAt(readings, 'match.polarity', { state: 'rest', output: r.output }) === null));
  const signs = board.outputs.map(({ id }) => ({ id, sign: signOf(context, 'rest', id) }));
  const known = signs.some(({ sign }) => sign !== null);
  // Against the input it is known which one is inverted; else the second of the pair is named.
  const turned = known ? signs.filter(({ sign }) => sign === -1).map(({ id }) => id) : [...new Set(pairs.flatMap((r) => pairOf(r)?.[1] ?? []))];
  if (known && turned.length > 1 && turned.length === board.outputs.length) {
    explain(explained, readings, () => true, ['polarity']);
    return [
      {
        id: 'polarity/board',
        severity: 'fault',
        where: NOWHERE,
        title: 'The whole board inverts: every output is of the opposite polarity to the input.',
        evidence: failing(context, 'polarity').map(key),
        cause: 'A stage before the outputs inverts, or tip and sleeve are swapped at the input.',
        certainty: 'likely',
        tryNext: 'With a defeatable buffer, capture unbuffered.take: if the polarity is right there, it is the buffer.',
        confirm: 'Capture rest.take again: every output must have the polarity of the input.',
        basis: MEASURED,
      },
    ];
  }
  return turned.map((id): Finding => {
    const evidence = readings.filter((r) => r.verdict === 'fail' && ((r.id === 'polarity' && r.output === id) || (r.id === 'match.polarity' && touches(r, id))));
    for (const r of evidence) explained.add(r);
    explain(explained, readings, (r) => touches(r, id), ['match.polarity']);
    const pair = pairs.map(pairOf).find((p) => p?.includes(id));
    const against = pair?.find((o) => o !== id);
    return {
      id: `polarity/${id}`,
      severity: 'fault',
      where: { ...NOWHERE, output: id },
      title: against === undefined ? `Output ${id} is of opposite polarity to the input.` : known ? `Output ${id} is of opposite polarity to the input, and to output ${against}.` : `Outputs ${against} and ${id} are of opposite polarity.`,
      evidence: evidence.map(key),
      cause: 'The windings of an output transformer or the two contacts of a jack are swapped, or a polarity switch is at inverted.',
      certainty: 'likely',
      tryNext: `Check the polarity switch, then the wiring of ${id}.`,
      confirm: 'Capture rest.take again: every output must have the polarity of the input.',
      basis: MEASURED,
    };
  });
}

/** Right at rest, and wrong in another state: a polarity switch that was left inverted, or forgotten, or what is switched there. */
function polaritiesInStates(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const isOff = (r: Reading): boolean => (r.id === 'match.polarity' || r.id === 'switch.others') && r.verdict === 'fail' && !explained.has(r);
  return [...new Set(readings.filter(isOff).map((r) => r.state))].filter((state) => state !== 'rest').flatMap((state): Finding[] => {
    const evidence = readings.filter((r) => r.state === state && isOff(r));
    const outputs = board.outputs.map(({ id }) => id).filter((id) => {
      const [now, then] = [signOf(context, state, id), signOf(context, 'rest', id)];
      return now !== null && then !== null && now !== (state === `invert-${id}` ? -then : then);
    });
    // Without the bench to compare with it is not known which of a pair it is.
    const pairs = evidence.flatMap((r) => (pairOf(r) === null ? [] : [pairOf(r)!]));
    const named = outputs.length > 0 ? outputs : [...new Set(pairs.flat())];
    if (named.length === 0) return [];
    for (const r of evidence) explained.add(r);
    const [first] = named;
    const isOwn = state.startsWith('invert-');
    const hasSwitch = board.outputs.some(({ id, polaritySwitch }) => polaritySwitch && named.includes(id));
    return [
      {
        id: `polarity-in/${state}/${named.join(':')}`,
        severity: 'fault',
        where: { ...NOWHERE, output: named.length === 1 ? first! : null },
        title: outputs.length > 0 ? `Output${named.length > 1 ? 's' : ''} ${listed(named)} ${named.length > 1 ? 'have' : 'has'} the wrong polarity ${withState(state)}, though not at rest.` : `Outputs ${pairs.map(listed).join(', and outputs ')} are of ${isOwn ? 'the same' : 'opposite'} polarity ${withState(state)}.`,
        evidence: evidence.map(key),
        cause: `${hasSwitch ? 'A polarity switch was not where the step wants it; or what' : 'What'} is switched in this state inverts the output.`,
        certainty: 'possible',
        tryNext: `Set the board as "boardproof steps" says for ${state}.take, every polarity switch with it, and capture it once more; if nothing changes, follow the wiring of ${first} at what that state switches.`,
        confirm: `Capture ${state}.take again: ${isOwn ? `output ${state.slice('invert-'.length)} alone must be inverted` : 'the outputs must agree in polarity'}.`,
        basis: MEASURED,
      },
    ];
  });
}

/** Level of an output's response at rest around a frequency, dB; null where it was not read. */
function levelAt({ curves }: FindingContext, output: string, hz: number): number | null {
  const curve = curves.find((c) => c.kind === 'response' && c.state === 'rest' && c.output === output && c.source === null);
  if (!curve) return null;
  let best: number | null = null;
  let nearest = Infinity;
  curve.x.values.forEach((x, i) => {
    const off = x === null ? Infinity : Math.abs(Math.log(x / hz));
    const y = curve.y.values[i] ?? null;
    if (off < nearest && y !== null) [nearest, best] = [off, y];
  });
  return best;
}

interface Tilt {
  readonly output: string;
  readonly end: 'treble' | 'bass';
  readonly lossDb: number;
}

function responses(context: FindingContext, explained: Set<Reading>): (Finding & { readonly tilt?: Tilt })[] {
  const { board, readings } = context;
  const tilts = board.outputs.flatMap(({ id }): Tilt[] => {
    const [bass, middle, treble] = [BASS_HZ, MIDDLE_HZ, TREBLE_HZ].map((hz) => levelAt(context, id, hz));
    if (bass == null || middle == null || treble == null) return [];
    return [
      ...(middle - treble > TILT_DB ? [{ output: id, end: 'treble' as const, lossDb: middle - treble }] : []),
      ...(middle - bass > TILT_DB ? [{ output: id, end: 'bass' as const, lossDb: middle - bass }] : []),
    ];
  });
  return (['treble', 'bass'] as const).flatMap((end): Finding[] => {
    const of = tilts.filter((t) => t.end === end);
    if (of.length === 0) return [];
    const isAll = of.length === board.outputs.length && of.length > 1;
    const hz = end === 'treble' ? TREBLE_HZ : BASS_HZ;
    return (isAll ? [of[0]!] : of).map((tilt): Finding => {
      const outputs = isAll ? of.map((t) => t.output) : [tilt.output];
      const evidence = readings.filter((r) => r.verdict === 'fail' && outputs.some((o) => touches(r, o)) && (/^match\.level/.test(r.id) || (end === 'treble' ? /^(droop|player)\./.test(r.id) : r.id === 'gain.1k')));
      for (const r of evidence) explained.add(r);
      explain(explained, readings, (r) => outputs.some((o) => touches(r, o)), end === 'treble' ? ['match.level*', 'droop.*', 'player.*', 'gain.1k'] : ['match.level*', 'gain.1k']);
      const name = isAll ? `The board loses ${end} at every output` : `Output ${tilt.output} loses ${end}`;
      return {
        id: `output-response/${isAll ? 'board' : tilt.output}`,
        severity: 'fault',
        where: { ...NOWHERE, output: isAll ? null : tilt.output },
        title: `${name}: ${shown(tilt.lossDb)} dB at ${frequencyText(hz)}, from its middle.`,
        evidence: evidence.length > 0 ? evidence.map(key) : [`The response of output ${tilt.output} with every loop out.`],
        cause:
          end === 'treble'
            ? isAll ? 'A stage before the outputs falls off early, or has too much capacitance behind its output resistance.' : 'Its stage falls off early, a capacitor is across it, or a bad lead hangs on its jack.'
            : isAll ? 'A coupling capacitor before the outputs has lost its capacitance, or is too small for what it feeds.' : 'Its coupling capacitor has lost its capacitance or is too small for what it feeds, or a winding of its transformer is shorted.',
        certainty: 'likely',
        tryNext: isAll ? 'Capture unbuffered.take if the buffer can be defeated: where the response is flat then, it is the buffer.' : `Change the lead of ${tilt.output} at the recorder; if nothing changes, look at the ${end === 'treble' ? 'stage' : 'coupling capacitor'} of that output.`,
        confirm: 'Capture rest.take again: the response must be flat within 1 dB from 50 Hz to 10 kHz.',
        basis: MEASURED,
      };
    });
  });
}

function levels(context: FindingContext, tilted: readonly Finding[], explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const pairs = failing(context, 'match.level').filter((r) => r.state === 'rest' || readingAt(readings, 'match.level', { state: 'rest', output: r.output }) === null);
  const isTilted = (output: string): boolean => tilted.some((f) => f.where.output === output);
  const middle = (output: string): number | null => {
    const treble = tilted.some((f) => f.where.output === output && / treble/.test(f.title));
    return levelAt(context, output, treble ? 250 : isTilted(output) ? 4000 : 1000);
  };
  const culprits = new Map<string, (Reading & { readonly value: number })[]>();
  for (const r of pairs) {
    const pair = pairOf(r);
    if (!pair) continue;
    const [a, b] = pair;
    const [la, lb] = [middle(a), middle(b)];
    if ((isTilted(a) || isTilted(b)) && la !== null && lb !== null && Math.abs(lb - la) < LEVEL_BESIDE_TILT_DB) continue;
    // Against the input it is known which one is off; else the second of the pair is named.
    const culprit = la !== null && lb !== null && Math.abs(la) > Math.abs(lb) ? a : b;
    culprits.set(culprit, [...(culprits.get(culprit) ?? []), r]);
  }
  const single = board.outputs.length === 1 || culprits.size === 0 ? failing(context, 'gain.1k').filter((r) => r.state === 'rest' && r.output !== null && !explained.has(readings.find((o) => o.id === r.id && o.state === r.state && o.output === r.output)!)) : [];
  return [
    ...[...culprits].map(([output, of]): Finding => {
      const [a, b] = pairOf(of[0]!)!;
      const value = output === b ? of[0]!.value : -of[0]!.value;
      explain(explained, readings, (r) => touches(r, output), ['match.level*', 'gain.1k']);
      // What is louder is louder with its noise.
      for (const r of readings) if (r.verdict === 'fail' && r.output === output && r.value !== null && ((r.id.startsWith('noise.') && r.limit?.max != null && r.value - value < r.limit.max) || (r.id === 'snr.a' && r.limit?.min != null && r.value - value > r.limit.min))) explained.add(r);
      return {
        id: `level/${output}`,
        severity: 'fault',
        where: { ...NOWHERE, output },
        title: `Output ${output} is ${shown(value)} dB ${value < 0 ? 'lower' : 'higher'} than output ${output === b ? a : b}.`,
        evidence: of.map(key),
        cause: `A trim, a divider resistor or a load on output ${output} differs from the other.`,
        certainty: 'likely',
        tryNext: `Swap the leads of ${a} and ${b} at the recorder and capture rest.take again: if the difference stays with the output, trim the output; if it moves, calibrate the bench.`,
        confirm: `Capture rest.take again after the trim: the level of ${b} against ${a} must be within its limit.`,
        basis: MEASURED,
      };
    }),
    ...(single.length === 0 ? [] : [boardLevel(context, single, explained)]),
  ];
}

function boardLevel({ readings }: FindingContext, of: readonly (Reading & { readonly value: number })[], explained: Set<Reading>): Finding {
  explain(explained, readings, (r) => of.some((o) => o.output === r.output), ['gain.1k']);
  const value = of[0]!.value;
  return {
    id: 'level/board',
    severity: 'fault',
    where: { ...NOWHERE, output: of.length === 1 ? of[0]!.output : null },
    title: `With every loop out the board ${value < 0 ? 'loses' : 'adds'} ${shown(value)} dB at ${of.length === 1 ? `output ${of[0]!.output!}` : `outputs ${listed(of.map((r) => r.output!))}`}.`,
    evidence: of.map(key),
    cause: 'A gain trim before the outputs, or a load that is low beside what feeds it.',
    certainty: 'possible',
    tryNext: 'Look for a level control that is not at unity; capture unbuffered.take if the buffer can be defeated: where the gain is 0 dB then, it is the buffer.',
    confirm: 'Capture rest.take again: the gain must be within its limit.',
    basis: MEASURED,
  };
}

/** What an output must be able to drive, unless board.yaml has something heavier for it: a line input (common practice, no source). */
const LINE_INPUT_OHM = 10e3;

function resistances(context: FindingContext, explained: Set<Reading>): Finding[] {
  return failing(context, 'output-resistance').map((r): Finding => {
    explain(explained, context.readings, (o) => o.id === r.id && o.output === r.output, [r.id]);
    const output = r.output!;
    const loadOhm = Math.min(LINE_INPUT_OHM, context.board.outputs.find(({ id }) => id === output)?.loadOhm ?? Infinity);
    const ohm = (value: number): string => formatQuantity(value, 'resistance', 2);
    const lossDb = 20 * Math.log10(1 + r.value / loadOhm);
    return {
      id: `output-resistance/${output}`,
      severity: 'fault',
      where: { ...NOWHERE, output },
      title: `Output ${output} has an output resistance of ${ohm(r.value)}: into ${ohm(loadOhm)} it loses ${shown(lossDb)} dB.`,
      evidence: [key(r)],
      cause: 'A resistor too large in series with the jack, a joint or contact that has grown resistance, or a stage that hands the signal on without a follower.',
      certainty: 'likely',
      tryNext: `With the board off, measure from the stage of output ${output} to the tip of its jack with a meter, joint by joint; then look at the stage.`,
      confirm: `Capture ${r.capture[0] ?? 'the take with the load'} again: the output resistance must be within its limit.`,
      basis: MEASURED,
    };
  });
}

function delays(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { readings } = context;
  const late = new Map<string, (Reading & { readonly value: number })[]>();
  for (const r of failing(context, 'match.delay', explained)) {
    if (r.state !== 'rest' && readingAt(readings, 'match.delay', { state: 'rest', output: r.output })?.verdict === 'fail') continue;
    const pair = pairOf(r);
    if (!pair) continue;
    const output = r.value > 0 ? pair[1] : pair[0];
    late.set(output, [...(late.get(output) ?? []), r]);
  }
  return [...late].map(([output, of]): Finding => {
    explain(explained, readings, (r) => touches(r, output), ['match.delay', 'match.first-notch']);
    const us = Math.abs(of[0]!.value);
    const against = pairOf(of[0]!)!.find((o) => o !== output)!;
    return {
      id: `delay/${output}`,
      severity: 'fault',
      where: { ...NOWHERE, output },
      title: `Output ${output} is ${us < 1000 ? `${fixed(us, 0)} µs` : `${fixed(us / 1000, 2)} ms`} later than output ${against}: summed, they first cancel at ${frequencyText(5e5 / us, 3)}.`,
      evidence: of.map(key),
      cause: `Converters stand before output ${output} and not before ${against}: something digital in one of the two paths.`,
      certainty: 'likely',
      tryNext: `Take the digital device out of the path of ${output}, or put both outputs behind it.`,
      confirm: 'Capture rest.take again: the delay between the outputs must be within its limit.',
      basis: MEASURED,
    };
  });
}
