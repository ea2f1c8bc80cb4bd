/**
 * The ids of all readings that can have a limit. They are stable: a report of years ago means the same by them.
 *
 * @module
 */

/** Ids with a fixed name, in the order of the README's table. */
export const readingIds: readonly string[] = [
  'noise.unweighted',
  'noise.a',
  'noise.ccir-rms',
  'noise.468-qpk',
  'noise.density-1k',
  'noise.hum',
  'noise.whine',
  'noise.hiss',
  'noise.over-thermal',
  'noise.drift',
  'noise.crackle',
  'noise.thump',
  'noise.drop-out',
  'hum.mains-frequency',
  'level.tone',
  'gain.1k',
  'snr.a',
  'thd',
  'thd-n',
  'thd-n.notch',
  'sinad',
  'take.dropouts',
  'headroom',
  'headroom.input',
  'headroom.even-odd',
  'dynamic-range',
  'polarity',
  'switch.polarity',
  'switch.level',
  'switch.others',
  'lift.level',
  'lift.hum',
  'droop.5k',
  'droop.10k',
  'droop.20k',
  'corner.-3db',
  'capacitance',
  'capacitance.over-design',
  'input-resistance',
  'output-resistance',
  'isolation',
  'buffer.input-capacitance',
  'player.loss-2-5k',
  'player.loss-5k',
  'player.resonance',
  'player.resonance-height',
  'player.resonance-shift',
  'player.corner',
  'player.hiss-over-instrument',
  'match.level',
  'match.level-worst-band',
  'match.polarity',
  'match.delay',
  'match.first-notch',
  'loop.gain',
  'loop.worst-band',
  'loop.polarity',
  'loop.unity-error',
  'loop.droop.5k',
  'loop.droop.10k',
  'loop.droop.20k',
  'loop.noise-change',
  'loop.hum',
  'loop.slope',
  'loop.delay',
  'bleed',
  'crosstalk.1k',
  'crosstalk.worst-band',
  'crosstalk.slope',
  'crosstalk.from-dry',
  'crosstalk.to-dry',
  'flex.dropouts',
  'flex.crackles',
  'click.count',
  'click.peak',
  'click.over-tone',
  'click.energy-a',
  'click.over-floor',
  'click.middle-frequency',
];

/** What each source adds to the noise, and what every loop in shows over their sum. */
const sourceReadings: readonly string[] = ['from-bench', 'from-input', 'from-output', 'from-path', 'from-loop', 'over-sum'].flatMap((source) =>
  ['hiss', 'hum', 'whine'].map((part) => `noise.${source}.${part}`),
);

/** Readings that come once per line or family: `noise.hum.h3`, `noise.whine.2`. */
const NUMBERED = /^(noise\.hum\.h|noise\.whine\.)[1-9]\d*$/;

/** What a row of a limit set may name: every fixed id, the sources of the noise, and the single mains harmonics. */
export const limitableReadings: readonly string[] = [...readingIds, ...sourceReadings, ...Array.from({ length: 40 }, (_, n) => `noise.hum.h${n + 1}`)];

export const isReadingId = (id: string): boolean => readingIds.includes(id) || sourceReadings.includes(id) || NUMBERED.test(id);
