/** Weightings, the quasi-peak meter and loudness against the published tables, SciPy and FFmpeg. */
import { createLoudnessMeter, CHANNEL_WEIGHT, kWeightingDb } from '../../src/numerics/loudness.js';
import { createQuasiPeakMeter } from '../../src/numerics/quasi-peak.js';
import { aWeighting, cWeighting, ccirRmsWeighting, itu468Weighting } from '../../src/numerics/weighting.js';
import { ebuCase, loudnessSignal } from '../helpers/loudness-signals.js';
import ffmpeg from '../outside/ffmpeg/loudness.json' with { type: 'json' };
import scipy from '../outside/scipy/weighting.json' with { type: 'json' };
import scipyVersions from '../outside/scipy/versions.json' with { type: 'json' };
import ebu from '../standards/ebu3341-test-signals.json' with { type: 'json' };
import iec61672 from '../standards/iec61672-weighting-table.json' with { type: 'json' };
import kResponse from '../standards/itu1770-kweighting-response.json' with { type: 'json' };
import repeated from '../standards/itu468-quasipeak-repetitive-burst.json' with { type: 'json' };
import single from '../standards/itu468-quasipeak-single-burst.json' with { type: 'json' };
import itu468 from '../standards/itu468-weighting-table.json' with { type: 'json' };
import type { Case, Check } from './check.js';
import { bursts } from '../helpers/bursts.js';
import { frequencyText } from '../../src/units/format.js';

const db = (ratio: number): number => 20 * Math.log10(ratio);
const exact = (nearly: number): number => 10 ** (Math.round(10 * Math.log10(nearly)) / 10);

const SCIPY = `SciPy, analogue zeros and poles`;

function quasiPeak(x: Float64Array, rate: number, settleS: number): { largest: number; mean: number } {
  const meter = createQuasiPeakMeter(rate, settleS);
  meter.push(x);
  return meter.finish();
}

const RATES = [44100, 48000, 192000];
function burstCases(rows: readonly number[][], of: (rate: number, row: number) => Float64Array, settleS: number, name: string): Case[] {
  return RATES.flatMap((rate) => {
    const steady = quasiPeak(bursts(rate, 3, 3, null), rate, 2.5).mean;
    return rows.map(([at, nominal]) => ({ input: `${at} ${name}, ${frequencyText(rate)}`, ours: db(quasiPeak(of(rate, at!), rate, settleS).largest / steady), theirs: db(nominal! / 100) }));
  });
}

function loudness(rate: number, channels: readonly Float64Array[]): number {
  const { front, surround } = CHANNEL_WEIGHT;
  const meter = createLoudnessMeter(rate, channels.map((_, c) => (c < 3 ? front : surround)));
  meter.push(channels);
  return meter.finish().integratedLufs!;
}

export const weightingChecks: readonly Check[] = [
  {
    figure: 'A weighting',
    domain: '34 frequencies, 10 Hz to 20 kHz',
    oracle: 'IEC 61672-1 Table 3',
    version: '2013',
    unit: 'dB',
    tolerance: 0.0501,
    because: 'the table is rounded to 0.1 dB',
    methods: ['noise.level'],
    cases: () => (iec61672.rows as number[][]).map((r) => ({ input: frequencyText(r[0]!), ours: db(aWeighting(exact(r[1]!))), theirs: r[2]! })),
  },
  {
    figure: 'C weighting',
    domain: '34 frequencies, 10 Hz to 20 kHz',
    oracle: 'IEC 61672-1 Table 3',
    version: '2013',
    unit: 'dB',
    tolerance: 0.0501,
    because: 'the table is rounded to 0.1 dB; no reading is C-weighted',
    methods: [],
    cases: () => (iec61672.rows as number[][]).map((r) => ({ input: frequencyText(r[0]!), ours: db(cWeighting(exact(r[1]!))), theirs: r[3]! })),
  },
  {
    figure: 'A weighting',
    domain: '60 frequencies, 10 Hz to 96 kHz',
    oracle: SCIPY,
    version: scipyVersions.scipy,
    unit: 'dB',
    tolerance: 1e-9,
    because: 'the same formula: rounding only',
    methods: ['noise.level'],
    cases: () => (scipy.a as [number, number][]).map(([f, want]) => ({ input: frequencyText(f), ours: db(aWeighting(f)), theirs: want })),
  },
  {
    figure: '468 weighting',
    domain: '21 frequencies, 31.5 Hz to 31.5 kHz',
    oracle: 'ITU-R BS.468-4 Table 1',
    version: '1986',
    unit: 'dB',
    tolerance: 0.0503,
    because: 'the table is rounded, and its own network departs from it by up to 0.050 dB',
    methods: ['noise.level', 'noise.quasi-peak'],
    cases: () => (itu468.rows as number[][]).map((r) => ({ input: frequencyText(r[0]!), ours: db(itu468Weighting(r[0]!)), theirs: r[1]! })),
  },
  {
    figure: '468 weighting',
    domain: '60 frequencies, 20 Hz to 40 kHz',
    oracle: 'NumPy, the ladder of Fig. 1a as a chain of two-ports',
    version: scipyVersions.numpy,
    unit: 'dB',
    tolerance: 2e-5,
    because: 'ours is the rational formula, whose coefficients are rounded',
    methods: ['noise.level', 'noise.quasi-peak'],
    cases: () => (scipy.itu468 as [number, number][]).map(([f, want]) => ({ input: frequencyText(f), ours: db(itu468Weighting(f)), theirs: want })),
  },
  {
    figure: 'CCIR-RMS weighting',
    domain: '1 kHz',
    oracle: 'AES17 5.2.7, −5.63 dB',
    version: '2015 (from memory)',
    unit: 'dB',
    tolerance: 0.005,
    because: 'two decimals',
    methods: ['noise.level'],
    cases: () => [{ input: '1000 Hz', ours: db(ccirRmsWeighting(1000)), theirs: -5.63 }],
  },
  {
    figure: '468 quasi-peak meter, single bursts',
    domain: `5 kHz, 1 to 200 ms; ${RATES.map((rate) => frequencyText(rate)).join(', ')}`,
    oracle: 'ITU-R BS.468-4 Table 2',
    version: '1986 (from memory)',
    unit: 'dB',
    tolerance: 0.25,
    because: 'the time constants were fitted to these readings, and this is what the fit leaves; the limits are 1.3 dB and more',
    methods: ['noise.quasi-peak'],
    cases: () => burstCases(single.rows as number[][], (rate, ms) => bursts(rate, 0.6 + ms / 1000, ms / 1000, null), 0, 'ms'),
  },
  {
    figure: '468 quasi-peak meter, repeated bursts',
    domain: `5 kHz, 5 ms, 2 to 100 a second; ${RATES.map((rate) => frequencyText(rate)).join(', ')}`,
    oracle: 'ITU-R BS.468-4 Table 3',
    version: '1986 (from memory)',
    unit: 'dB',
    tolerance: 0.25,
    because: 'as above',
    methods: ['noise.quasi-peak'],
    cases: () => burstCases(repeated.rows as number[][], (rate, perSecond) => bursts(rate, 4, 0.005, perSecond), 3, 'a second'),
  },
  {
    figure: 'K weighting (library)',
    domain: '48 kHz',
    oracle: 'ITU-R BS.1770-5, computed from its coefficients',
    version: '2023',
    unit: 'dB',
    tolerance: 6e-5,
    because: 'the table has four decimals',
    methods: [],
    cases: () => (kResponse.rows as [number, number][]).map(([f, want]) => ({ input: frequencyText(f), ours: kWeightingDb(f, 48000), theirs: want })),
  },
  {
    figure: 'Integrated loudness (library)',
    domain: 'test cases 1 to 6, 48 kHz',
    oracle: 'EBU Tech 3341',
    version: '2023 (signals from memory)',
    unit: 'LU',
    tolerance: 0.1,
    because: 'the document’s tolerance; the exact reading of case 5 lies 0.021 LU from the round figure',
    methods: [],
    cases: () => (ebu.rows as [number, string, number][]).map(([number, , want]) => ({ input: `case ${number}`, ours: loudness(48000, ebuCase(number, 48000)), theirs: want })),
  },
  {
    figure: 'Integrated loudness (library)',
    domain: 'tones and gated noise, 1 to 5 channels, 44.1 and 48 kHz',
    oracle: 'FFmpeg ebur128',
    version: ffmpeg.ffmpegVersion,
    unit: 'LU',
    tolerance: 0.0106,
    because: 'FFmpeg rounds each block down to 0.01 LU in its histogram, so that ours is right and reads up to that much more',
    methods: [],
    cases: () =>
      ffmpeg.cases.filter((c) => c.rate < 50000).map((c) => ({ input: `${c.hz === null ? 'noise' : frequencyText(c.hz)}, ${c.channels} channels, ${frequencyText(c.rate)}`, ours: loudness(c.rate, loudnessSignal(c)), theirs: c.lufs })),
  },
];
