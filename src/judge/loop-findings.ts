/**
 * Findings on what a loop does to the signal: nothing comes through, it inverts, its level or its response is off.
 *
 * @module
 */
import type { Loop } from '../board/model.js';
import { LEAST_BETWEEN_S } from '../measure/echo.js';
import { inSentence } from '../units/format.js';
import { MEASURED, NOWHERE, capital, explain, key, listed, loopName, shown } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

/** A loop that takes this much is no level but a break or a short, dB. */
const SILENT_DB = -40;
/** Between the two, a device with its volume down is as likely. */
const BROKEN_DB = -30;
/** Between 0 past a short and 6 through a capacitance. */
const PARTED_DB_PER_OCTAVE = 3;

export function loopFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  return context.board.loops.flatMap((loop) => {
    const nothing = silent(context, loop, explained);
    if (nothing) return nothing;
    const drops = intermittent(context, loop, explained);
    // What a take that drops out says of level and response is the contact's doing.
    return [...drops, ...bleeding(context, loop, explained), ...inverted(context, loop, explained), ...(drops.length > 0 ? [] : offLevel(context, loop, explained))];
  });
}

const of = ({ readings }: FindingContext, loop: Loop, id: string): (Reading & { readonly value: number })[] =>
  readings.flatMap((r) => (r.id === id && r.loop === loop.id && r.value !== null ? [{ ...r, value: r.value }] : []));

/** The originals, as the set of explained readings knows them. */
const explainLoop = (context: FindingContext, loop: Loop, explained: Set<Reading>, ids: readonly string[]): void => {
  explain(explained, context.readings, (r) => r.loop === loop.id, ids);
};

function silent(context: FindingContext, loop: Loop, explained: Set<Reading>): Finding[] | null {
  const state = `loop-${loop.id}`;
  const isUnheard = context.unheard.includes(`${state}.take`);
  // An output that is taken before the loop goes on as it was.
  const gains = of(context, loop, 'loop.gain').filter((r) => isUnheard || r.value <= (loop.expect === 'unity' ? BROKEN_DB : SILENT_DB));
  const most = gains.length === 0 ? null : Math.max(...gains.map((r) => r.value));
  const isBound = gains.every((r) => r.bound === 'upper');
  if (!isUnheard && most === null) return null;
  explainLoop(context, loop, explained, ['loop.*', 'match.*', 'thd', 'gain.1k', 'snr.a']);
  // With every loop in, this one stops the signal as well.
  explain(explained, context.readings, (r) => r.state === 'all', ['loop.*', 'match.*', 'thd', 'gain.1k', 'snr.a', 'polarity']);
  return [
    {
      id: `loop-silent/${loop.id}`,
      severity: 'fault',
      where: { ...NOWHERE, loop: loop.id },
      title: `${capital(loopName(loop))} lets ${most === null ? 'nothing' : 'next to nothing'} through${most === null ? '' : `: ${shown(most)} dB less than with it out`}.`,
      evidence: most === null ? [`${state}.take`] : gains.map(key),
      cause: most === null || isBound ? `A lead of the loop is open, or its device has no supply${loop.supply ? ` at ${loop.supply}` : ''} or is muted.` : leftover(context, loop),
      certainty: 'likely',
      tryNext: `Patch send to return of ${loop.id} with one known good lead: if the signal is back, the device or its supply is dead; if not, change the send lead, then the return lead.`,
      confirm: `Capture ${state}.take again with that lead in place of the device: the gain of the loop must be within 0.3 dB of 0 dB.`,
      basis: MEASURED,
    },
  ];
}

/** What is left of the signal says how it was lost: through a small capacitance it rises by 6 dB per octave, past a short it does not. */
function leftover(context: FindingContext, loop: Loop): string {
  const [slope] = of(context, loop, 'loop.slope');
  return slope !== undefined && slope.value > PARTED_DB_PER_OCTAVE
    ? 'The hot conductor of one lead of the loop has parted: what is left comes through the capacitance between its ends, and rises with frequency.'
    : 'Tip and shield touch in one lead of the loop: a short leaves a little of the signal, alike at every frequency; an open lead leaves none.';
}

/** A loop whose take drops out: a contact in it makes and breaks. */
function intermittent({ readings }: FindingContext, loop: Loop, explained: Set<Reading>): Finding[] {
  const drops = (state: string): Reading[] => readings.filter((r) => r.id === 'take.dropouts' && r.state === state && (r.value ?? 0) > 0);
  const here = drops(`loop-${loop.id}`).filter((r) => !drops('rest').some((o) => o.output === r.output));
  if (here.length === 0) return [];
  explain(explained, readings, (r) => r.loop === loop.id, ['loop.*', 'match.*', 'thd', 'snr.a']);
  const count = Math.max(...here.map((r) => r.value!));
  return [
    {
      id: `intermittent/${loop.id}`,
      severity: 'fault',
      where: { ...NOWHERE, loop: loop.id },
      title: `${capital(loopName(loop))} is intermittent: the signal dropped out ${count === 1 ? 'once' : `${count} times`} during its take.`,
      evidence: here.map(key),
      cause: 'A plug, jack or relay contact of the loop that makes and breaks, or a dry joint.',
      certainty: 'likely',
      tryNext: `Move the send plug, then the return plug of ${loop.id} while the tone plays; change the lead whose plug makes it come and go.`,
      confirm: `Capture loop-${loop.id}.take again: no dropout in it.`,
      basis: MEASURED,
    },
  ];
}

/** A loop that is heard while it is out. */
function bleeding(context: FindingContext, loop: Loop, explained: Set<Reading>): Finding[] {
  const heardOf = ({ id }: Loop): Reading[] => context.readings.filter((r) => r.id === 'bleed' && r.loop === id && r.verdict === 'fail' && r.value !== null);
  const heard = heardOf(loop);
  if (heard.length === 0) return [];
  for (const r of heard) explained.add(r);
  const most = (of: readonly Reading[]): number => Math.max(...of.map((r) => r.value!));
  const worst = most(heard);
  const latencyUs = (of: Loop): number | null => context.readings.find((r) => r.id === 'loop.delay' && r.loop === of.id)?.value ?? null;
  const near = context.board.loops.filter((o) => o !== loop && heardOf(o).length > 0 && Math.abs((latencyUs(o) ?? Infinity) - (latencyUs(loop) ?? 0)) < 1e6 * LEAST_BETWEEN_S);
  // Of loops that come alike late the loudest is told, with the names of the others.
  if (near.some((o) => most(heardOf(o)) > worst)) return [];
  return [
    {
      id: `bleed/${loop.id}`,
      severity: 'fault',
      where: { ...NOWHERE, loop: loop.id },
      title: `${capital(loopName(loop))} is heard while it is out: ${inSentence(worst, 1)} dB of it.`,
      evidence: heard.map(key),
      cause: `${near.length > 0 ? `It is told by its latency, which is that of ${listed(near.map(loopName))} as well: it may be any of them. ` : ''}The return of the loop couples into the path past the open contact: a relay or switch that leaks, or send and return side by side without a shield between.`,
      certainty: near.length > 0 ? 'possible' : 'likely',
      tryNext: `Unplug the return of ${loop.id} with the loop out: if it is gone, it comes past the switch; if not, over the send lead.`,
      confirm: `Capture rest.take and loop-${loop.id}.take again: the bleed must be within its limit.`,
      basis: MEASURED,
    },
  ];
}

function inverted(context: FindingContext, loop: Loop, explained: Set<Reading>): Finding[] {
  const signs = context.readings.filter((r) => r.id === 'loop.polarity' && r.loop === loop.id && r.value === -1);
  if (signs.length === 0) return [];
  for (const r of signs) explained.add(r);
  // Against an output that does not pass the loop.
  explain(explained, context.readings, (r) => r.state === `loop-${loop.id}` || r.state === 'all', ['match.polarity']);
  return [
    {
      id: `loop-inverted/${loop.id}`,
      severity: 'fault',
      where: { ...NOWHERE, loop: loop.id },
      title: `${capital(loopName(loop))} inverts polarity.`,
      evidence: signs.map(key),
      cause: loop.expect === 'unity' ? 'Tip and ring, or tip and sleeve, are swapped in one lead of the loop.' : 'The effect inverts, or tip and ring are swapped in one lead of the loop.',
      certainty: 'likely',
      tryNext: `Swap the send lead of ${loop.id} for a known good one; if it still inverts, the return lead, then the device.`,
      confirm: `Capture loop-${loop.id}.take again: the loop must no longer invert.`,
      basis: MEASURED,
    },
  ];
}

function offLevel(context: FindingContext, loop: Loop, explained: Set<Reading>): Finding[] {
  const gains = of(context, loop, 'loop.gain').filter((r) => r.verdict === 'fail');
  const bands = of(context, loop, 'loop.worst-band').filter((r) => r.verdict === 'fail');
  if (gains.length === 0 && bands.length === 0) return [];
  explainLoop(context, loop, explained, ['loop.gain', 'loop.worst-band', 'loop.unity-error', 'loop.droop*']);
  const state = `loop-${loop.id}`;
  const where = { ...NOWHERE, loop: loop.id };
  const common = { severity: 'fault' as const, where, certainty: 'likely' as const, basis: MEASURED };
  if (bands.length > 0) {
    const worst = bands.reduce((a, b) => (Math.abs(b.value) > Math.abs(a.value) ? b : a));
    const [, at = 'one end', number, thousand] = /\(((\S+) (k?)Hz)\)/.exec(worst.label) ?? [];
    const isTop = Number(number) > (thousand === 'k' ? 1 : 1000);
    return [
      {
        ...common,
        id: `loop-response/${loop.id}`,
        title: `${capital(loopName(loop))} should change nothing, but ${worst.value < 0 ? `loses ${isTop ? 'treble' : 'bass'}` : `adds ${isTop ? 'treble' : 'bass'}`}: ${shown(worst.value)} dB at ${at}.`,
        evidence: [...bands, ...gains].map(key),
        cause: worst.value >= 0 ? 'A tone control off its middle.' : isTop ? 'A tone control off its middle, a long or bad lead behind a high output resistance, or a stage that falls off early.' : 'A coupling capacitor that has lost its capacitance, or a tone control off its middle.',
        tryNext: `Patch send to return of ${loop.id} with a short lead: if the response is flat then, it is the device; if not, the leads.`,
        confirm: `Capture ${state}.take again with that lead in place of the device: no third-octave may be off by more than 0.5 dB.`,
      },
    ];
  }
  const worst = gains.reduce((a, b) => (Math.abs(b.value) > Math.abs(a.value) ? b : a));
  return [
    {
      ...common,
      id: `loop-level/${loop.id}`,
      title: `${capital(loopName(loop))} should change nothing, but is ${shown(worst.value)} dB ${worst.value < 0 ? 'lower' : 'higher'} than with it out, at every frequency alike.`,
      evidence: gains.map(key),
      cause: worst.value < 0 ? 'A level control or trim of the device, or an input resistance that is low beside what feeds it.' : 'A level control or trim of the device.',
      tryNext: `Set the level of ${loop.id} until it is as loud in as out (a gain of 0 dB); if it has no control, patch send to return with one lead to see whether it is the device.`,
      confirm: `Capture ${state}.take again: the gain of the loop must be within its limit.`,
    },
  ];
}
