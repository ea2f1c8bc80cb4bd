/**
 * Findings on hiss: which loop, stage or output makes it, from what each adds to the noise; and on noise that is not steady.
 *
 * @module
 */
import type { Attribution, SourceOfNoise } from '../measure/attribution.js';
import { median } from '../numerics/statistics.js';
import { fixed, inSentence } from '../units/format.js';
import { CUSTOM, MEASURED, NOWHERE, capital, dominates, explain, hears, key, listed, loopName, loopOf, readingAt, shown } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

/** A loop whose hiss is this far over all that is heard with every loop out stands out, if it also is over most other loops, dB. */
const STANDS_OUT_DB = 10;
const OVER_OTHERS_DB = 6;
/** A share of the noise of a state that makes a source its cause. */
const MAIN_SHARE = 0.4;
/** Drift of this much in one capture is no warm-up of the bench, dB; and this many standard uncertainties. */
const DRIFT_DB = 1.5;
const DRIFT_SIGMAS = 6;

const NOISE_IDS = ['noise.a', 'noise.unweighted', 'noise.ccir-rms', 'noise.468-qpk', 'noise.hiss', 'noise.density-1k', 'noise.over-thermal', 'player.hiss-over-instrument', 'snr.a'];

export function hissFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  // What drifts and what crackles is noise as well: it comes first, and is not called hiss again; and sources that drift do not add up.
  const unsteady = [...crackles(context, explained), ...drifts(context, explained)];
  const drifting = new Set(unsteady.filter((f) => f.id.startsWith('drift/')).flatMap((f) => f.where.loop ?? []));
  return [...unsteady, ...ofOutputs(context, explained), ...ofLoops(context, explained, drifting), ...(drifting.size > 0 ? [] : together(context, explained))];
}

const sourceOf = (a: Attribution, kind: SourceOfNoise['kind'], loop: string | null = null): SourceOfNoise | null => a.sources.find((s) => s.kind === kind && s.loop === loop) ?? null;
const hissOf = (s: SourceOfNoise | null): number => s?.parts.hiss.power ?? 0;
/** Hiss of the loop in the middle of the others; 0 where fewer than two others are there to compare with. */
function usualLoopHiss(a: Attribution, loop: string): number {
  const others = a.sources.filter((s) => s.kind === 'loop' && s.loop !== loop).map(hissOf);
  return others.length < 2 ? 0 : median(others);
}
/** What a state without loops hisses, the bench left out. */
const boardHiss = (a: Attribution): number => hissOf(sourceOf(a, 'input')) + hissOf(sourceOf(a, 'output')) + hissOf(sourceOf(a, 'path'));

const failsByHiss = (readings: readonly Reading[], state: string, output: string): Reading | null => {
  const r = readings.find((o) => o.id === 'noise.a' && o.state === state && o.output === output && o.verdict === 'fail');
  return r && !dominates(readings, r, ['noise.hum', 'noise.whine']) ? r : null;
};

function ofOutputs(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings, attribution } = context;
  const loud = attribution.flatMap((a) => {
    const fail = failsByHiss(readings, 'rest', a.output);
    if (!fail || explained.has(fail)) return [];
    const input = hissOf(sourceOf(a, 'input'));
    return [{ a, fail, isInput: sourceOf(a, 'path') === null ? input > hissOf(sourceOf(a, 'output')) : null }];
  });
  if (loud.length === 0) return [];
  for (const { a } of loud) explain(explained, readings, (r) => r.output === a.output && hears(r, null), NOISE_IDS);
  // Where no capture tells input stage from output, every output alike is the sign of the input stage.
  const isEvery = loud.length > 1 && loud.length === board.outputs.length;
  const common = loud.filter(({ isInput }) => isInput ?? isEvery);
  const own = loud.filter((l) => !common.includes(l));
  const told = common.length > 0 && common[0]!.isInput !== null;
  return [
    ...(common.length === 0
      ? []
      : [
          {
            id: 'hiss/input',
            severity: 'fault' as const,
            where: NOWHERE,
            title: told ? `The input stage hisses: it makes most of the noise at ${outputsText(common.map(({ a }) => a.output))}, and with the buffer out it is gone.` : `Every output hisses with every loop out: it comes in before they part, in the input stage.`,
            evidence: common.flatMap(({ a, fail }) => [key(fail), ...from(readings, 'noise.from-input.hiss', 'rest', a.output)]),
            cause: 'A noisy transistor or amplifier, or too high a resistance, in the input stage.',
            certainty: told ? ('measured' as const) : ('likely' as const),
            tryNext: 'Change the amplifier of the input buffer; look for resistors of a megohm or more in series with the signal.',
            confirm: told ? 'Capture rest.idle again: its hiss must come down to that of unbuffered.idle.' : 'Capture rest.idle again: the A-weighted noise must fall at every output.',
            basis: MEASURED,
          },
        ]),
    ...own.map(({ a, fail, isInput }): Finding => ({
      id: `hiss/${a.output}`,
      severity: 'fault',
      where: { ...NOWHERE, output: a.output },
      title: `Output ${a.output} hisses by itself: ${inSentence(fail.value!, 1)} ${fail.unit}, A-weighted, with every loop out.`,
      evidence: [key(fail), ...from(readings, isInput === null ? 'noise.from-path.hiss' : 'noise.from-output.hiss', 'rest', a.output)],
      cause: board.outputs.length === 1 && isInput === null ? 'A noisy stage: the input stage or that of the output, which these captures cannot tell apart.' : 'A noisy amplifier, or too high a resistance, in the stage of this output.',
      certainty: isInput === null && board.outputs.length === 1 ? 'possible' : 'likely',
      tryNext: `Change the amplifier of the stage of output ${a.output}.`,
      confirm: `Capture rest.idle again: the A-weighted noise at output ${a.output} must fall.`,
      basis: MEASURED,
    })),
  ];
}

const outputsText = (ids: readonly string[]): string => `output${ids.length > 1 ? 's' : ''} ${listed(ids)}`;
const from = (readings: readonly Reading[], id: string, state: string, output: string): string[] => {
  const r = readingAt(readings, id, { state, output });
  return r ? [key(r)] : [];
};

function ofLoops(context: FindingContext, explained: Set<Reading>, drifting: ReadonlySet<string>): Finding[] {
  const { board, readings, attribution } = context;
  return board.loops.flatMap((loop): Finding[] => {
    if (drifting.has(loop.id)) return [];
    const heard = attribution.flatMap((a) => {
      const own = sourceOf(a, 'loop', loop.id);
      if (!own || !(own.parts.hiss.low > 0)) return [];
      // A board without a stage of its own makes no noise to compare with: what is heard with every loop out is the bench's then.
      const out = boardHiss(a) + hissOf(sourceOf(a, 'bench'));
      const overDb = 10 * Math.log10(own.parts.hiss.power / Math.max(out, 1e-30));
      const overOthers = own.parts.hiss.power > usualLoopHiss(a, loop.id) * 10 ** (OVER_OTHERS_DB / 10);
      const whole = own.parts.hiss.power + boardHiss(a);
      const fail = failsByHiss(readings, `loop-${loop.id}`, a.output);
      const isCause = fail !== null && !explained.has(fail) && own.parts.hiss.power > MAIN_SHARE * whole;
      return isCause || (overDb > STANDS_OUT_DB && overOthers) ? [{ a, overDb, fail: isCause ? fail : null }] : [];
    });
    if (heard.length === 0) return [];
    explain(explained, readings, (r) => hears(r, loop.id), NOISE_IDS);
    const worst = heard.reduce((x, y) => (y.overDb > x.overDb ? y : x));
    const failed = heard.some(({ fail }) => fail !== null);
    return [
      {
        id: `hiss/${loop.id}`,
        severity: failed ? 'fault' : 'caution',
        where: { ...NOWHERE, loop: loop.id },
        title: `${capital(loopName(loop))} hisses: alone it makes ${shown(worst.overDb)} dB ${worst.overDb < 0 ? 'less' : 'more'} than is heard with every loop out.`,
        evidence: heard.flatMap(({ a, fail }) => [...(fail ? [key(fail)] : []), ...from(readings, 'noise.from-loop.hiss', `loop-${loop.id}`, a.output)]),
        cause: loop.expect === 'effect' ? 'The device: much gain set on it, or a noisy stage in it.' : 'A noisy amplifier or too high a resistance in the device.',
        certainty: 'likely',
        tryNext: `Turn gain and level of ${loop.id} down: if the hiss falls with them, it is made at the input of the device; else in its output stage.`,
        confirm: `Patch send to return of ${loop.id} with one lead and capture loop-${loop.id}.idle: its hiss must be that of rest.idle.`,
        basis: `Measured by its share of the noise; the cause is ${CUSTOM}.`,
      },
    ];
  });
}

/** Hiss with every loop in that their sum does not explain. */
function together(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { readings, attribution } = context;
  const of = attribution.flatMap((a) => {
    const all = a.sums.find(({ measured }) => measured !== null);
    if (!all?.interacts?.hiss) return [];
    const overDb = 10 * Math.log10(all.measured!.hiss.power / all.predicted.hiss.power);
    return overDb > 0 ? [{ a, overDb, reading: readingAt(readings, 'noise.over-sum.hiss', { state: 'all', output: a.output }) }] : [];
  });
  if (of.length === 0) return [];
  for (const { a } of of) explain(explained, readings, (r) => r.state === 'all' && r.output === a.output, NOISE_IDS);
  const most = Math.max(...of.map(({ overDb }) => overDb));
  return [
    {
      id: 'interaction/hiss',
      severity: 'caution',
      where: NOWHERE,
      title: `With every loop in the board hisses ${shown(most)} dB more than the sum of its loops one by one: loops act on each other.`,
      evidence: of.flatMap(({ reading }) => (reading ? [key(reading)] : [])),
      cause: 'A device that hisses more behind another one, such as a gain that rises with the impedance before it, or an instability of two together.',
      certainty: 'possible',
      tryNext: 'Switch the loops out one by one while listening: the two whose going takes the hiss along belong together; change their order or put a buffer between.',
      confirm: 'Capture all.idle again: the hiss must be near the sum of the loops one by one.',
      basis: `Measured against the sum of the loops; the cause is ${CUSTOM}.`,
    },
  ];
}

/** Bursts: in one loop, at one output, or everywhere. */
function crackles({ board, readings }: FindingContext, explained: Set<Reading>): Finding[] {
  const events = readings.filter((r) => /^noise\.(crackle|thump|drop-out)$/.test(r.id) && r.value !== null && r.state !== 'bench' && r.state !== 'lead');
  // One thump is somebody at the bench; twice in a capture is the board.
  const of = events.filter((r) => events.filter((o) => o.state === r.state && o.output === r.output).reduce((sum, o) => sum + o.value!, 0) >= 2);
  if (of.length === 0) return [];
  for (const r of of) explained.add(r);
  const captured = board.loops.filter(({ id }) => readings.some((r) => r.loop === id && r.id === 'noise.a')).length;
  // A contact at the output is heard in every state, now and then by chance not at rest; two loops that crackle are heard in two and in all.
  const isOutputs = (output: string | null): boolean =>
    of.some((r) => r.state === 'rest' && r.output === output) || new Set(of.flatMap((r) => (r.output === output ? (r.loop ?? []) : []))).size > Math.max(2, captured / 2);
  const outputs = board.outputs.map(({ id }) => id).filter(isOutputs);
  const mostIn = (list: readonly Reading[]): Reading => list.reduce((a, b) => (b.value! > a.value! ? b : a));
  const what = (list: readonly Reading[]): string => {
    const most = mostIn(list);
    const word = { 'noise.crackle': 'burst', 'noise.thump': 'thump', 'noise.drop-out': 'dropout' }[most.id]!;
    return `${fixed(most.value!, 0)} ${word}${most.value === 1 ? '' : 's'} in one capture`;
  };
  const does = (list: readonly Reading[]): string => ({ 'noise.crackle': 'crackles', 'noise.thump': 'thumps', 'noise.drop-out': 'falls silent now and then' })[mostIn(list).id]!;
  // Nothing that breaks makes a board quieter but its supply: samples that were lost are as likely.
  const caused = (list: readonly Reading[], cause: string, tryNext: string): Pick<Finding, 'certainty' | 'cause' | 'tryNext'> =>
    mostIn(list).id === 'noise.drop-out'
      ? { certainty: 'possible', cause: 'The recorder lost samples, or something gates the noise; else a contact of a supply.', tryNext: 'Record once more with nothing else running on the computer and every gate off; if it still falls silent, move the supply plugs one by one while recording.' }
      : mostIn(list).id === 'noise.thump'
        ? { certainty: 'possible', cause: `${cause} Or a part that hears knocks on the bench.`, tryNext }
        : { certainty: 'likely', cause, tryNext };
  const common = { severity: 'fault' as const, basis: MEASURED };
  const findings: Finding[] = [];
  if (outputs.length > 1 && outputs.length === board.outputs.length) {
    const atRest = of.filter((r) => r.state === 'rest');
    const list = atRest.length > 0 ? atRest : of;
    findings.push({
      ...common,
      id: 'crackle/board',
      where: NOWHERE,
      title: `The board ${does(list)} at every output${atRest.length > 0 ? ' with every loop out' : ', whichever loop is in'}: ${what(list)}.`,
      evidence: list.map(key),
      ...caused(list, 'A contact before the outputs part: the input jack, a plug in it, a relay, or a supply plug.', 'Turn the plug in the input jack, then move the supply plugs one by one, while recording.'),
      confirm: 'Capture rest.idle again: no burst, thump or dropout in it.',
    });
  } else {
    for (const id of outputs) {
      const list = of.filter((r) => r.output === id);
      findings.push({
        ...common,
        id: `crackle/${id}`,
        where: { ...NOWHERE, output: id },
        title: `Output ${id} ${does(list)} in ${list.length > 1 ? `${list.length} states` : 'one state'}: ${what(list)}.`,
        evidence: list.map(key),
        ...caused(list, 'A contact that makes and breaks: its jack, the plug in it, or a dry joint at its stage.', `Change the lead of output ${id}; if it still crackles, clean or change the jack.`),
        confirm: 'Capture rest.idle again: no burst, thump or dropout in it.',
      });
    }
  }
  for (const loop of board.loops) {
    const list = of.filter((r) => r.loop === loop.id && !isOutputs(r.output));
    if (list.length === 0) continue;
    findings.push({
      ...common,
      id: `crackle/${loop.id}`,
      where: { ...NOWHERE, loop: loop.id },
      title: `${capital(loopName(loop))} ${does(list)}: ${what(list)}.`,
      evidence: list.map(key),
      ...caused(list, 'A contact that makes and breaks: a plug or jack of the loop, a dry joint, or the supply plug of its device.', `Change the send lead of ${loop.id}, then the return lead, then the supply lead, one at a time.`),
      confirm: `Capture loop-${loop.id}.idle again: no burst, thump or dropout in it.`,
    });
  }
  return findings;
}

function drifts({ board, readings }: FindingContext, explained: Set<Reading>): Finding[] {
  const isDrifting = (r: Reading): boolean => r.id === 'noise.drift' && r.value !== null && Math.abs(r.value) > Math.max(DRIFT_DB, (DRIFT_SIGMAS / 2) * (r.uncertainty ?? Infinity));
  const of = readings.filter((r) => isDrifting(r) && r.state !== 'bench' && r.state !== 'lead');
  const atRest = of.filter((r) => r.state === 'rest');
  const findings: Finding[] = [];
  const common = { certainty: 'possible' as const, basis: MEASURED };
  const words = (r: Reading): string => `${r.value! > 0 ? 'rises' : 'falls'} by ${shown(r.value!)} dB within one capture`;
  if (atRest.length > 0) {
    const outputs = atRest.map((r) => r.output!);
    findings.push({
      ...common,
      id: `drift/${atRest.length === 1 && board.outputs.length > 1 ? outputs[0]! : 'board'}`,
      severity: 'caution',
      where: { ...NOWHERE, output: atRest.length === 1 ? outputs[0]! : null },
      title: `The noise at ${outputsText(outputs)} ${words(atRest[0]!)}.`,
      evidence: atRest.map(key),
      cause: 'Something warms up, or the supply of the board gives out.',
      tryNext: 'Leave the board on for ten minutes.',
      confirm: 'Capture rest.idle again: the noise must be the same from beginning to end.',
    });
  }
  for (const loop of board.loops) {
    const list = of.filter((r) => r.loop === loop.id && !atRest.some((o) => o.output === r.output));
    if (list.length === 0) continue;
    explain(explained, readings, (r) => hears(r, loop.id), NOISE_IDS);
    const loopFirst = loopOf(board, loop.id)!;
    findings.push({
      ...common,
      id: `drift/${loop.id}`,
      severity: readings.some((r) => r.loop === loop.id && r.id === 'noise.a' && r.verdict === 'fail') ? 'fault' : 'caution',
      where: { ...NOWHERE, loop: loop.id },
      title: `The noise of ${loopName(loopFirst)} ${words(list.reduce((a, b) => (Math.abs(b.value!) > Math.abs(a.value!) ? b : a)))}.`,
      evidence: list.map(key),
      cause: 'Its device warms up, its battery or supply gives out, or a part of it is about to fail.',
      tryNext: `Feed ${loop.id} from a known good supply and leave it on for ten minutes.`,
      confirm: `Capture loop-${loop.id}.idle again: the noise must be the same from beginning to end.`,
    });
  }
  return findings;
}
