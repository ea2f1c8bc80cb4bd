/**
 * Findings on whine: lines that are no mains harmonic, put together from every capture by the loops they come in with.
 *
 * The loops tell the cause: lines that come in with the same loops are one finding, however many lines there are. Among them
 * a fundamental with its harmonics is one clock; sums and differences of two lines are two clocks that meet somewhere.
 *
 * @module
 */
import { fixed, frequencyText } from '../units/format.js';
import { CUSTOM, MEASURED, NOWHERE, dominates, explain, hears, isHeard, listed, loopOf } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

/** Two lines are one where their frequencies agree this closely: relative (clocks drift), and in Hz (bins of short captures). */
const SAME = 0.001;
const SAME_HZ = 1.5;
/** A line this far under the hiss is masked by it: a critical band holds about a hundredth of it (common practice, no source). */
const UNDER_HISS_DB = 20;
/** A line that a loop raises by less was there before, dB. */
const STEP_DB = 6;
/** Highest order of a product of two clocks that is looked for. */
const HIGHEST_ORDER = 3;

interface Line {
  readonly hz: number;
  /** Loudest seen. */
  level: number;
  readonly loops: Set<string>;
}

const near = (a: number, b: number): boolean => Math.abs(a - b) <= Math.max(SAME_HZ, SAME * Math.max(a, b));

interface Mark {
  readonly hz: number;
  readonly level: number;
}

const marksOf = ({ curves }: FindingContext, state: string, output: string | null): Mark[] =>
  curves.filter((c) => c.kind === 'noise-density' && c.state === state && c.output === output).flatMap((c) => c.marks.filter((m) => m.kind === 'whine'));

/** Lines that loops bring in, each with the loops it was seen with. */
function broughtIn(context: FindingContext): Line[] {
  const { board, curves } = context;
  const outputs = [...new Set(curves.filter((c) => c.kind === 'noise-density').map((c) => c.output))];
  const lines: Line[] = [];
  for (const { id } of board.loops) {
    for (const output of outputs) {
      const before = [...marksOf(context, 'rest', output), ...marksOf(context, 'bench', output)];
      for (const { hz, level } of marksOf(context, `loop-${id}`, output)) {
        if (before.some((b) => near(b.hz, hz) && level < b.level + STEP_DB)) continue;
        const known = lines.find((l) => near(l.hz, hz));
        if (known) {
          known.loops.add(id);
          known.level = Math.max(known.level, level);
        } else {
          lines.push({ hz, level, loops: new Set([id]) });
        }
      }
    }
  }
  return lines;
}

/** Lines by the loops they come in with. The strongest of a group says which loops; a weaker one may be unseen in some of them. */
function grouped(lines: readonly Line[]): Line[][] {
  const groups: Line[][] = [];
  for (const line of [...lines].sort((a, b) => b.level - a.level)) {
    const isWithin = (group: readonly Line[]): boolean => [...line.loops].every((l) => group[0]!.loops.has(l));
    const exact = groups.find((g) => isWithin(g) && g[0]!.loops.size === line.loops.size);
    // A line of fewer loops joins those of more only as their harmonic or product: else it is one of its own.
    const related = exact ?? groups.find((g) => isWithin(g) && isRelated(line, g));
    if (related) related.push(line);
    else groups.push([line]);
  }
  return groups;
}

function isRelated(line: Line, group: readonly Line[]): boolean {
  const strongest = group.slice(0, 2).map((l) => l.hz);
  const lowest = Math.min(...group.map((l) => l.hz));
  if ([...strongest, lowest].some((hz) => isMultiple(line.hz, hz))) return true;
  return strongest.length === 2 && isProduct(line.hz, strongest[0]!, strongest[1]!);
}

const isMultiple = (hz: number, of: number): boolean => {
  const n = Math.round(hz / of);
  return n >= 1 && Math.abs(hz - n * of) <= Math.max(SAME_HZ, SAME * hz);
};

function isProduct(hz: number, a: number, b: number): boolean {
  for (let m = -HIGHEST_ORDER; m <= HIGHEST_ORDER; m++) {
    for (let n = -HIGHEST_ORDER; n <= HIGHEST_ORDER; n++) {
      if (m === 0 || n === 0 || Math.abs(m) + Math.abs(n) > HIGHEST_ORDER) continue;
      if (near(Math.abs(m * a + n * b), hz)) return true;
    }
  }
  return false;
}

/** Two of the lines, neither a harmonic of the other, of which at least two others are sums or differences. */
function clocksOf(group: readonly Line[]): readonly [Line, Line] | null {
  const top = group.slice(0, 4);
  const lowest = group.reduce((a, b) => (b.hz < a.hz ? b : a));
  if (group.every((l) => isMultiple(l.hz, lowest.hz))) return null;
  for (const [i, a] of top.entries()) {
    for (const b of top.slice(i + 1)) {
      if (isMultiple(a.hz, b.hz) || isMultiple(b.hz, a.hz)) continue;
      if (group.filter((l) => l !== a && l !== b && isProduct(l.hz, a.hz, b.hz)).length >= 2) return [a, b];
    }
  }
  return null;
}

export function whineFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  return [...grouped(broughtIn(context)).flatMap((group) => ofLoops(context, group, explained)), ...atRest(context, explained)];
}

function ofLoops(context: FindingContext, group: readonly Line[], explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const ids = board.loops.map(({ id }) => id).filter((id) => group[0]!.loops.has(id));
  const evidence = readings.filter((r) => r.id === 'noise.whine' && r.loop !== null && ids.includes(r.loop) && r.value !== null && r.bound === null);
  if (!evidence.some((r) => isHeard(readings, r, UNDER_HISS_DB))) return [];
  for (const id of ids) explainWhine(context, explained, null, id);
  const loops = ids.map((id) => loopOf(board, id)!);
  const [outlet] = new Set(loops.map((l) => l.supply));
  const isShared = loops.length > 1 && outlet != null && loops.every((l) => l.supply === outlet);
  const clocks = clocksOf(group);
  const lowest = group.reduce((a, b) => (b.hz < a.hz ? b : a));
  const isFamily = group.length > 1 && group.every((l) => isMultiple(l.hz, lowest.hz));
  const others = group.length - 1;
  const what = clocks
    ? `Two clocks, ${frequencyText(clocks[0].hz)} and ${frequencyText(clocks[1].hz)}, and their sums and differences`
    : isFamily
      ? `A whine at ${frequencyText(lowest.hz)} with ${others} harmonic${others === 1 ? '' : 's'}`
      : `A whine at ${frequencyText(group[0]!.hz)}${others > 0 ? ` and ${others} other line${others === 1 ? '' : 's'}` : ''}`;
  const names = listed(ids);
  const outlets = [...new Set(loops.flatMap((l) => l.supply ?? []))];
  return [
    {
      id: `${clocks ? 'clocks' : 'whine'}/${fixed((isFamily ? lowest : group[0]!).hz, 0)}`,
      severity: evidence.some((r) => r.verdict === 'fail') ? 'fault' : 'caution',
      where: { loop: loops.length === 1 ? ids[0]! : null, output: null, supply: isShared || loops.length === 1 ? (outlet ?? null) : null },
      title: `${what} ${clocks ? 'come' : 'comes'} in with ${loops.length === 1 ? `loop ${names}` : `loops ${names}`}${isShared ? `: ${loops.length === 2 ? 'both' : 'all'} are fed from ${outlet}` : ''}.`,
      evidence: evidence.map((r) => `${r.id} in ${r.state}${r.output ? ` on ${r.output}` : ''}`),
      cause: clocks
        ? `Two converters or switching supplies meet${isShared ? ` on outlet ${outlet}` : loops.length === 1 ? ' in the device or its supply' : ''} and beat against each other.`
        : isShared
          ? `The loops on ${outlet} share one outlet: the clock of one gets into the supply of the other${loops.length > 2 ? 's' : ''}.`
          : loops.length === 1
            ? 'A clock in the device, or a switching supply behind its outlet, gets into the signal of the loop.'
            : `A clock gets into several loops on different outlets (${listed(outlets)}): through a supply that these share, or through the air.`,
      certainty: isShared || clocks ? 'likely' : 'possible',
      tryNext: isShared ? `Give one of ${names} an outlet of its own.` : loops.length === 1 ? `Feed ${names} from a battery: if the whine stays, it is made in the device.` : `Feed one of ${names} from a battery.`,
      confirm: `Capture loop-${ids[0]!}.idle again: the whine must be gone.`,
      basis: MEASURED,
    },
  ];
}

function explainWhine({ readings }: FindingContext, explained: Set<Reading>, output: string | null, loop: string | null): void {
  const isThere = (r: Reading): boolean => (output === null || r.output === output) && hears(r, loop);
  explain(explained, readings, isThere, ['noise.whine*']);
  explain(explained, readings, (r) => isThere(r) && dominates(readings, r, ['noise.whine', 'noise.hum']), ['noise.a', 'noise.unweighted', 'noise.ccir-rms', 'noise.468-qpk']);
}

/** Whine that is there with every loop out. */
function atRest(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const of = readings.filter((r) => r.id === 'noise.whine' && r.state === 'rest' && r.verdict === 'fail');
  if (of.length === 0) return [];
  for (const r of of) explainWhine(context, explained, r.output, null);
  const isCommon = of.length > 1 && of.length === board.outputs.length;
  return (isCommon ? [of[0]!] : of).map((r): Finding => {
    const marks = marksOf(context, 'rest', r.output).sort((a, b) => b.level - a.level);
    const at = marks.length > 0 ? ` at ${frequencyText(marks[0]!.hz)}` : '';
    return {
      id: `whine/${isCommon ? 'board' : r.output!}`,
      severity: 'fault',
      where: { ...NOWHERE, output: isCommon ? null : r.output },
      title: isCommon ? `A whine${at} is heard at every output with every loop out.` : `A whine${at} is heard at output ${r.output!} with every loop out.`,
      evidence: (isCommon ? of : [r]).map((o) => `${o.id} in ${o.state} on ${o.output!}`),
      cause: isCommon ? 'A clock or a switching supply gets into the board’s own electronics, or into its input.' : `A clock or a switching supply gets into the stage or the wiring of output ${r.output!}.`,
      certainty: 'possible',
      tryNext: 'Switch off what is digital on the board, one device after the other, though its loop is out.',
      confirm: 'Capture rest.idle again with the one that took the whine with it switched off: the whine must be gone.',
      basis: `Measured; the cause is ${CUSTOM}.`,
    };
  });
}
