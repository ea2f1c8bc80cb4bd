/**
 * The limit sets that come with the program, and how a reading finds its limit.
 *
 * Almost nothing here is in a standard: a board is as quiet as its player needs. Each number says what it rests on.
 *
 * @module
 */
import type { LimitRow, LimitSet } from '../board/model.js';

type Row = Pick<LimitRow, 'reading' | 'unit' | 'basis'> & Partial<LimitRow>;

const row = (r: Row): LimitRow => ({ states: null, expect: null, max: null, min: null, within: null, ...r });

const CUSTOM = 'common practice, no source';
/** Johnson-Nyquist: 50 kΩ, about what a passive guitar shows at its resonance, makes −107.8 dBu(A) in 20 kHz at 290 K. */
const OVER_SOURCE = (db: number): string => `${CUSTOM}: ${db} dB over the thermal noise of a 50 kΩ source, −107.8 dBu A-weighted at 290 K`;

const FLEX = (does: string): string => `${CUSTOM}: a contact that makes the tone ${does} when it is moved on the bench will do so on a stage`;

const CROSSTALK = (db: number, pF: number): string => `${CUSTOM}: what is plugged into one output should not be heard in another; ${db} dB at 10 kHz is ${pF} pF across 100 Ω`;

const CHANNEL_STATES = ['rest', 'unbuffered', 'lift-*', 'invert-*'];

/** A polarity is right or wrong, whatever the shop asks for. */
const POLARITY_OF_PAIRS: readonly LimitRow[] = [
  row({ reading: 'match.polarity', states: ['rest', 'unbuffered', 'lift-*', 'all'], within: [1, 1], unit: 'sign', basis: `${CUSTOM}: outputs of opposite polarity cancel when summed` }),
  row({ reading: 'match.polarity', states: ['loop-*'], expect: 'unity', within: [1, 1], unit: 'sign', basis: `${CUSTOM}: outputs of opposite polarity cancel when summed` }),
  row({ reading: 'match.polarity', states: ['invert-*'], within: [-1, -1], unit: 'sign', basis: 'what the switch is for' }),
];

const studioQuiet: LimitSet = {
  name: 'studio-quiet',
  rows: [
    row({ reading: 'noise.a', states: CHANNEL_STATES, max: -90, unit: 'dBu', basis: OVER_SOURCE(18) }),
    row({ reading: 'noise.a', states: ['loop-*'], expect: 'unity', max: -90, unit: 'dBu', basis: OVER_SOURCE(18) }),
    row({ reading: 'noise.a', states: ['loop-*', 'all'], max: -84, unit: 'dBu', basis: `${CUSTOM}: effects add noise of their own` }),
    row({ reading: 'noise.hum', states: [...CHANNEL_STATES, 'loop-*', 'all'], max: -95, unit: 'dBu', basis: `${CUSTOM}: 5 dB under the A-weighted floor that is asked for with the effects out; hum is not excused by what an effect hisses` }),
    row({ reading: 'noise.whine', states: [...CHANNEL_STATES, 'loop-*', 'all'], max: -100, unit: 'dBu', basis: `${CUSTOM}: a steady tone is heard below noise of the same level` }),
    row({ reading: 'snr.a', states: ['rest'], min: 75, unit: 'dB', basis: `${CUSTOM}, against the take’s tone of about −8 dBu` }),
    row({ reading: 'gain.1k', states: ['rest'], within: [-0.5, 0.5], unit: 'dB', basis: `${CUSTOM}: half a decibel is about what a player notices side by side` }),
    row({ reading: 'polarity', states: ['rest'], within: [1, 1], unit: 'sign', basis: `${CUSTOM}: a board should not invert` }),
    row({ reading: 'droop.10k', states: ['rest'], min: -0.5, unit: 'dB', basis: `${CUSTOM}; 10 kΩ with 500 pF loses 0.4 dB at 10 kHz (first-order RC)` }),
    row({ reading: 'droop.20k', states: ['rest'], min: -1, unit: 'dB', basis: `${CUSTOM}; 10 kΩ with 400 pF loses 1.0 dB at 20 kHz (first-order RC)` }),
    row({ reading: 'droop.10k', states: ['unbuffered'], min: -1.5, unit: 'dB', basis: `${CUSTOM}; 10 kΩ with 1 nF, about 10 m of lead, loses 1.4 dB at 10 kHz (first-order RC)` }),
    row({ reading: 'player.loss-2-5k', states: ['rest'], max: 0.5, unit: 'dB', basis: `${CUSTOM}: half a decibel is about what a player notices side by side` }),
    row({ reading: 'player.loss-2-5k', states: ['unbuffered'], max: 1.5, unit: 'dB', basis: CUSTOM }),
    row({ reading: 'player.resonance-shift', states: ['rest'], within: [-10, 10], unit: '%', basis: `${CUSTOM}: a tenth is what 1.5 m of lead does to a lead of 5 m` }),
    row({ reading: 'match.level', states: ['rest', 'all'], within: [-0.2, 0.2], unit: 'dB', basis: CUSTOM }),
    row({ reading: 'match.level-worst-band', states: ['rest', 'all'], within: [-1, 1], unit: 'dB', basis: CUSTOM }),
    ...POLARITY_OF_PAIRS,
    row({ reading: 'match.delay', states: ['rest', 'all'], within: [-20, 20], unit: 'µs', basis: 'first notch of the sum above 20 kHz: 1/(2 × 25 µs), with room for uncertainty' }),
    row({ reading: 'output-resistance', max: 1000, unit: 'Ω', basis: `${CUSTOM}; 1 kΩ loses 0.8 dB in an input of 10 kΩ (divider)` }),
    row({ reading: 'headroom', states: [...CHANNEL_STATES], min: 6, unit: 'dBu', basis: `${CUSTOM}: loud pickups peak near 2 V, which is 5 dBu as a sine` }),
    row({ reading: 'click.peak', max: -50, unit: 'dBu', basis: `${CUSTOM}: 3.5 mV, some 40 dB under a played note` }),
    row({ reading: 'flex.dropouts', max: 0, unit: '', basis: FLEX('fall silent') }),
    row({ reading: 'flex.crackles', max: 0, unit: '', basis: FLEX('crackle') }),
    row({ reading: 'thd', states: ['rest'], max: -60, unit: 'dB', basis: `${CUSTOM}: 0.1 %` }),
    row({ reading: 'loop.gain', states: ['loop-*'], expect: 'unity', within: [-0.3, 0.3], unit: 'dB', basis: CUSTOM }),
    row({ reading: 'loop.worst-band', states: ['loop-*'], expect: 'unity', within: [-0.5, 0.5], unit: 'dB', basis: CUSTOM }),
    row({ reading: 'loop.polarity', states: ['loop-*'], within: [1, 1], unit: 'sign', basis: `${CUSTOM}: an inverted loop cancels against any path beside it` }),
    row({ reading: 'switch.polarity', states: ['invert-*'], within: [-1, -1], unit: 'sign', basis: 'what the switch is for' }),
    row({ reading: 'switch.others', states: ['invert-*'], within: [1, 1], unit: 'sign', basis: 'a switch of one output is none of another' }),
    row({ reading: 'switch.level', states: ['invert-*'], within: [-0.2, 0.2], unit: 'dB', basis: CUSTOM }),
    row({ reading: 'lift.level', states: ['lift-*'], within: [-0.2, 0.2], unit: 'dB', basis: `${CUSTOM}: a lift opens the shield, not the signal` }),
    row({ reading: 'crosstalk.worst-band', max: -60, unit: 'dB', basis: CROSSTALK(-60, 160) }),
    row({ reading: 'bleed', max: -60, unit: 'dB', basis: `${CUSTOM}: a loop that is out should not be heard` }),
    row({ reading: 'loop.unity-error', states: ['loop-*'], expect: 'unity', within: [-0.7, 0.7], unit: 'dB', basis: CUSTOM }),
  ],
};

const stage: LimitSet = {
  name: 'stage',
  rows: [
    row({ reading: 'noise.a', states: CHANNEL_STATES, max: -80, unit: 'dBu', basis: OVER_SOURCE(28) }),
    row({ reading: 'noise.a', states: ['loop-*', 'all'], max: -74, unit: 'dBu', basis: `${CUSTOM}: effects add noise of their own` }),
    row({ reading: 'noise.hum', states: [...CHANNEL_STATES, 'loop-*', 'all'], max: -85, unit: 'dBu', basis: `${CUSTOM}: 5 dB under the A-weighted floor that is asked for with the effects out; hum is not excused by what an effect hisses` }),
    row({ reading: 'noise.whine', states: [...CHANNEL_STATES, 'loop-*', 'all'], max: -90, unit: 'dBu', basis: `${CUSTOM}: a steady tone is heard below noise of the same level` }),
    row({ reading: 'snr.a', states: ['rest'], min: 65, unit: 'dB', basis: `${CUSTOM}, against the take’s tone of about −8 dBu` }),
    row({ reading: 'gain.1k', states: ['rest'], within: [-1, 1], unit: 'dB', basis: CUSTOM }),
    row({ reading: 'polarity', states: ['rest'], within: [1, 1], unit: 'sign', basis: `${CUSTOM}: a board should not invert` }),
    row({ reading: 'droop.10k', states: ['rest'], min: -1, unit: 'dB', basis: `${CUSTOM}; 10 kΩ with 800 pF loses 1.0 dB at 10 kHz (first-order RC)` }),
    row({ reading: 'droop.10k', states: ['unbuffered'], min: -3, unit: 'dB', basis: CUSTOM }),
    row({ reading: 'player.loss-2-5k', states: ['rest'], max: 1, unit: 'dB', basis: CUSTOM }),
    row({ reading: 'player.loss-2-5k', states: ['unbuffered'], max: 3, unit: 'dB', basis: CUSTOM }),
    row({ reading: 'match.level', states: ['rest', 'all'], within: [-0.5, 0.5], unit: 'dB', basis: CUSTOM }),
    row({ reading: 'match.level-worst-band', states: ['rest', 'all'], within: [-2, 2], unit: 'dB', basis: CUSTOM }),
    ...POLARITY_OF_PAIRS,
    row({ reading: 'match.delay', states: ['rest', 'all'], within: [-50, 50], unit: 'µs', basis: 'first notch of the sum above 10 kHz: 1/(2 × 50 µs)' }),
    row({ reading: 'output-resistance', max: 2200, unit: 'Ω', basis: `${CUSTOM}; 2.2 kΩ loses 1.7 dB in an input of 10 kΩ (divider)` }),
    row({ reading: 'headroom', states: [...CHANNEL_STATES], min: 3, unit: 'dBu', basis: `${CUSTOM}: most pickups peak below 1.5 V, which is 3 dBu as a sine` }),
    row({ reading: 'click.peak', max: -40, unit: 'dBu', basis: `${CUSTOM}: 11 mV, some 30 dB under a played note` }),
    row({ reading: 'flex.dropouts', max: 0, unit: '', basis: FLEX('fall silent') }),
    row({ reading: 'flex.crackles', max: 0, unit: '', basis: FLEX('crackle') }),
    row({ reading: 'thd', states: ['rest'], max: -50, unit: 'dB', basis: `${CUSTOM}: 0.3 %` }),
    row({ reading: 'loop.gain', states: ['loop-*'], expect: 'unity', within: [-0.5, 0.5], unit: 'dB', basis: CUSTOM }),
    row({ reading: 'loop.polarity', states: ['loop-*'], within: [1, 1], unit: 'sign', basis: `${CUSTOM}: an inverted loop cancels against any path beside it` }),
    row({ reading: 'switch.polarity', states: ['invert-*'], within: [-1, -1], unit: 'sign', basis: 'what the switch is for' }),
    row({ reading: 'switch.others', states: ['invert-*'], within: [1, 1], unit: 'sign', basis: 'a switch of one output is none of another' }),
    row({ reading: 'switch.level', states: ['invert-*'], within: [-0.5, 0.5], unit: 'dB', basis: CUSTOM }),
    row({ reading: 'lift.level', states: ['lift-*'], within: [-0.5, 0.5], unit: 'dB', basis: `${CUSTOM}: a lift opens the shield, not the signal` }),
    row({ reading: 'crosstalk.worst-band', max: -50, unit: 'dB', basis: CROSSTALK(-50, 500) }),
    row({ reading: 'bleed', max: -50, unit: 'dB', basis: `${CUSTOM}: a loop that is out should not be heard` }),
    row({ reading: 'loop.unity-error', states: ['loop-*'], expect: 'unity', within: [-1.5, 1.5], unit: 'dB', basis: CUSTOM }),
  ],
};

/** Sets by name. */
export const limitSets: Readonly<Record<string, LimitSet>> = { [studioQuiet.name]: studioQuiet, [stage.name]: stage };

const stateMatches = (pattern: string, state: string): boolean =>
  pattern.endsWith('*') ? state.startsWith(pattern.slice(0, -1)) : pattern === state;

/** The first row that speaks of this reading in this state; `expect` is that of the loop, null outside loops. */
export function limitFor(set: LimitSet, reading: { id: string; state: string; unit: string }, expect: 'unity' | 'effect' | null): LimitRow | null {
  return (
    set.rows.find(
      (r) =>
        r.reading === reading.id &&
        // A limit in dBu says nothing of a level in dBFS.
        r.unit === reading.unit &&
        (r.states === null || r.states.some((s) => stateMatches(s, reading.state))) &&
        (r.expect === null || r.expect === expect),
    ) ?? null
  );
}
