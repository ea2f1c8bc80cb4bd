/** Levels, spectra and distortion against SciPy, SoX, FFmpeg, libsndfile and closed forms. */
import { distortionFigures } from '../../src/measure/distortion-figures.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { checkStationarity } from '../../src/measure/stationarity.js';
import { measureTone } from '../../src/measure/take.js';
import { bandPower, createPsdAccumulator, welchDegreesOfFreedom } from '../../src/numerics/psd.js';
import type { Psd } from '../../src/numerics/psd.js';
import { fitSine } from '../../src/numerics/sine-fit.js';
import { chiSquareUpper, coverageFactor95, normalCdf } from '../../src/numerics/statistics.js';
import { aWeighting, ccirRmsWeighting } from '../../src/numerics/weighting.js';
import { hann } from '../../src/numerics/window.js';
import { bytesSource } from '../../src/wav/byte-source.js';
import { readWavInfo } from '../../src/wav/header.js';
import { readFrames } from '../../src/wav/read.js';
import { encodeWav } from '../../src/wav/write.js';
import type { WavFormat } from '../../src/wav/write.js';
import { lcg, wholeNoise } from '../helpers/lcg.js';
import ffmpeg from '../outside/ffmpeg/levels.json' with { type: 'json' };
import sndfile from '../outside/libsndfile/levels.json' with { type: 'json' };
import distortion from '../outside/scipy/distortion.json' with { type: 'json' };
import distributions from '../outside/scipy/distributions.json' with { type: 'json' };
import scipyVersions from '../outside/scipy/versions.json' with { type: 'json' };
import welch from '../outside/scipy/welch.json' with { type: 'json' };
import sox from '../outside/sox/levels.json' with { type: 'json' };
import guard from '../standards/guard-band-decision-rules.json' with { type: 'json' };
import welchTable from '../standards/welch-psd-uncertainty.json' with { type: 'json' };
import type { Case, Check } from './check.js';
import { frequencyText } from '../../src/units/format.js';

function psdOf(x: Float64Array, rate: number, size: number): Psd {
  const accumulator = createPsdAccumulator(1, rate, size);
  accumulator.push([x], x.length);
  return accumulator.finish()![0]!;
}

const dbfs = (power: number): number => 10 * Math.log10(2 * power);
const rms = (x: Float64Array): number => Math.sqrt(x.reduce((s, v) => s + v * v, 0) / x.length);
const mean = (x: Float64Array): number => x.reduce((s, v) => s + v, 0) / x.length;
const db = (ratio: number): number => 20 * Math.log10(ratio);

function welchCases(): Case[] {
  return welch.cases.flatMap((c) => {
    const x = lcg(6 * c.rate, 12345).map((v, n) => 1e-4 * v + 2e-5 * Math.sin((2 * Math.PI * 50.2 * n) / c.rate) + 1e-5 * Math.sin((2 * Math.PI * 3001.3 * n) / c.rate) + 0.01);
    const psd = psdOf(x, c.rate, c.size);
    return [
      { input: `unweighted, ${frequencyText(c.rate)}`, ours: dbfs(bandPower(psd, 20, 20000).power), theirs: c.unweighted },
      { input: `A-weighted, ${frequencyText(c.rate)}`, ours: dbfs(bandPower(psd, 20, 20000, aWeighting).power), theirs: c.a },
      { input: `CCIR-RMS, ${frequencyText(c.rate)}`, ours: dbfs(bandPower(psd, 20, 20000, ccirRmsWeighting).power), theirs: c.ccirRms },
    ];
  });
}

const sine = (amplitude: number, rate: number, frames: number, hz = 997, phase = 0): Float64Array => Float64Array.from({ length: frames }, (_, n) => amplitude * Math.sin((2 * Math.PI * hz * n) / rate + phase));
const place = { state: 'rest', source: null, output: 'A', loop: null, capture: [] };
function readings(x: Float64Array, rate: number): Map<string, number> {
  return new Map(distortionFigures(place, measureTone(x, rate, 997, 0)!, null).map((f) => [f.id, f.value!]));
}

function scipyDistortion(ids: readonly (readonly [id: string, key: 'thdN' | 'thdNNotch' | 'sinad'])[]): Case[] {
  return distortion.cases.flatMap((c) => {
    const hum = sine(2e-5, c.rate, 2 * c.rate, 50);
    const hiss = lcg(2 * c.rate, 777);
    const got = readings(sine(0.25, c.rate, 2 * c.rate, 997, 0.3).map((v, i) => v + 0.002 * v ** 2 + 0.001 * v ** 3 + 1e-4 * hiss[i]! + hum[i]!), c.rate);
    return ids.map(([id, key]) => ({ input: `${id}, ${frequencyText(c.rate)}`, ours: got.get(id)!, theirs: c[key] }));
  });
}

const FORMATS: Readonly<Record<string, WavFormat>> = { PCM_16: 'pcm16', PCM_24: 'pcm24', FLOAT: 'float32', DOUBLE: 'float64' };

function sndfileCases(): Case[] {
  return sndfile.cases.flatMap((c) => {
    const format = FORMATS[c.subtype];
    if (!format) return [];
    const grid = c.subtype === 'PCM_16' ? 256 / 8388608 : 1 / 8388608;
    const source = bytesSource('x.wav', encodeWav([wholeNoise(c.frames, c.seed).map((v) => Math.floor(v / grid) * grid)], { format, sampleRateHz: 48000 }));
    const info = readWavInfo(source);
    const [x] = readFrames(source, info, 0, info.frames);
    return [
      { input: `rms, ${c.subtype}`, ours: rms(x!), theirs: c.rms },
      { input: `largest, ${c.subtype}`, ours: x!.reduce((a, b) => Math.max(a, b)), theirs: c.largest },
      { input: `least, ${c.subtype}`, ours: x!.reduce((a, b) => Math.min(a, b)), theirs: c.least },
      { input: `mean, ${c.subtype}`, ours: mean(x!), theirs: c.mean },
    ];
  });
}

export const levelChecks: readonly Check[] = [
  {
    figure: 'Noise floor: unweighted, A-weighted, CCIR-RMS',
    domain: 'floor with hum, whine and DC; 44.1, 48, 96 kHz',
    oracle: 'SciPy welch',
    version: scipyVersions.scipy,
    unit: 'dB',
    tolerance: 0.002,
    because: 'unweighted and A-weighted are alike to rounding; SciPy’s side of CCIR-RMS is normalised with the rounded 5.629 dB, ours with the network’s own value, which is right',
    methods: ['noise.level', 'noise.density', 'noise.lines'],
    cases: welchCases,
  },
  {
    figure: 'Density per bin',
    domain: 'floor with hum, whine and DC; single bins from 50 Hz up',
    oracle: 'SciPy welch',
    version: scipyVersions.scipy,
    unit: 'of the density',
    relative: true,
    tolerance: 1e-8,
    because: 'the same arithmetic in another order',
    methods: ['noise.density', 'noise.lines'],
    cases: () =>
      welch.cases.flatMap((c) => {
        const psd = psdOf(lcg(6 * c.rate, 12345).map((v, n) => 1e-4 * v + 2e-5 * Math.sin((2 * Math.PI * 50.2 * n) / c.rate) + 1e-5 * Math.sin((2 * Math.PI * 3001.3 * n) / c.rate) + 0.01), c.rate, c.size);
        return (c.bins as [number, number][]).filter(([k]) => k > 1).map(([k, want]) => ({ input: `bin ${k}, ${frequencyText(c.rate)}`, ours: psd.density[k]!, theirs: want }));
      }),
  },
  {
    figure: 'Degrees of freedom of a bin',
    domain: '1 to 1024 segments',
    oracle: 'Welch 1967, Harris 1978',
    version: 'closed form',
    unit: 'ν',
    tolerance: 0.051,
    because: 'the table has one or two decimals',
    methods: ['noise.level'],
    cases: () => (welchTable.rows as number[][]).map(([k, nu]) => ({ input: `${k} segments`, ours: welchDegreesOfFreedom(k!), theirs: nu! })),
  },
  {
    figure: 'Rms, peak and mean of what is read from a file',
    domain: '16 and 24 bit, 32 and 64 bit float',
    oracle: 'libsndfile',
    version: sndfile.libsndfileVersion,
    unit: 'of full scale',
    tolerance: 1e-9,
    because: 'the same samples: rounding of the sums only',
    methods: ['take.level', 'noise.level'],
    cases: sndfileCases,
  },
  {
    figure: 'Rms, peak and mean',
    domain: 'noise of 24 bits with an offset',
    oracle: 'SoX stat',
    version: sox.soxVersion,
    unit: 'of full scale',
    tolerance: 6e-7,
    because: 'SoX prints six decimals',
    methods: ['take.level', 'noise.level'],
    cases: () =>
      sox.stat.flatMap((c) => {
        const x = wholeNoise(c.frames, c.seed);
        const { dc, peak } = checkStationarity(memoryRecording([x], 48000))[0]!;
        const name = `${c.frames} samples`;
        return [
          { input: `rms, ${name}`, ours: rms(x), theirs: c.rms },
          { input: `peak, ${name}`, ours: peak, theirs: Math.max(c.largest, -c.least) },
          { input: `mean, ${name}`, ours: dc, theirs: c.mean },
        ];
      }),
  },
  {
    figure: 'Rms and peak level',
    domain: 'noise of 24 bits with an offset',
    oracle: 'FFmpeg astats',
    version: ffmpeg.ffmpegVersion,
    unit: 'dB',
    tolerance: 2e-6,
    because: 'FFmpeg prints six decimals',
    methods: ['take.level', 'noise.level'],
    cases: () =>
      ffmpeg.astats.flatMap((c) => {
        const x = wholeNoise(c.frames, c.seed);
        return [
          { input: `rms, ${c.frames} samples`, ours: db(rms(x)), theirs: c.rmsDb },
          { input: `peak, ${c.frames} samples`, ours: db(checkStationarity(memoryRecording([x], 48000))[0]!.peak), theirs: c.peakDb },
        ];
      }),
  },
  {
    figure: 'Frequency of a tone',
    domain: '997 Hz to 15 kHz, 20 ms, taken from 48 to 44.1 kHz',
    oracle: 'FFmpeg aresample',
    version: ffmpeg.ffmpegVersion,
    unit: 'of the frequency',
    relative: true,
    tolerance: 1e-6,
    because: 'images and ripple of the resampling filter',
    methods: ['take.level'],
    cases: () =>
      ffmpeg.tones.map(({ hz, samples }) => {
        const x = Float64Array.from(samples);
        return { input: frequencyText(hz), ours: fitSine(x, ffmpeg.rate, hz, hann(x.length))!.frequencyHz, theirs: hz };
      }),
  },
  {
    figure: 'Amplitude of a tone',
    domain: '997 Hz to 15 kHz, 20 ms, taken from 48 to 44.1 kHz',
    oracle: 'FFmpeg aresample',
    version: ffmpeg.ffmpegVersion,
    unit: 'dB',
    tolerance: 0.001,
    because: 'ripple of the resampling filter',
    methods: ['take.level'],
    cases: () =>
      ffmpeg.tones.map(({ hz, amplitude, samples }) => {
        const x = Float64Array.from(samples);
        return { input: frequencyText(hz), ours: db(fitSine(x, ffmpeg.rate, hz, hann(x.length))!.amplitude / amplitude), theirs: 0 };
      }),
  },
  {
    figure: 'Amplitude of a tone, four-parameter fit',
    domain: 'tone with harmonics, noise and hum; 44.1, 48, 96 kHz',
    oracle: 'SciPy curve_fit',
    version: scipyVersions.scipy,
    unit: 'of the amplitude',
    relative: true,
    tolerance: 1e-8,
    because: 'the solver’s own tolerance',
    methods: ['take.level', 'take.gain', 'take.snr'],
    cases: () =>
      distortion.cases.map((c) => {
        const hum = sine(2e-5, c.rate, 2 * c.rate, 50);
        const hiss = lcg(2 * c.rate, 777);
        const x = sine(0.25, c.rate, 2 * c.rate, 997, 0.3).map((v, i) => v + 0.002 * v ** 2 + 0.001 * v ** 3 + 1e-4 * hiss[i]! + hum[i]!);
        return { input: frequencyText(c.rate), ours: fitSine(x, c.rate, 997, hann(x.length))!.amplitude, theirs: c.fitAmplitude };
      }),
  },
  {
    figure: 'THD+N by both rules, SINAD',
    domain: 'tone with harmonics, noise and hum; 44.1, 48, 96 kHz',
    oracle: 'SciPy: curve_fit, welch, freqs',
    version: scipyVersions.scipy,
    unit: 'dB',
    tolerance: 1e-6,
    because: 'the same least squares and the same estimate, in another order',
    methods: ['take.thd-n', 'take.thd-n.notch', 'take.sinad'],
    cases: () => scipyDistortion([['thd-n', 'thdN'], ['thd-n.notch', 'thdNNotch'], ['sinad', 'sinad']]),
  },
  {
    figure: 'THD',
    domain: 'y = x + 0.1·x² + 0.05·x³, and a square wave of harmonics',
    oracle: 'trigonometry',
    version: 'closed form',
    unit: 'dB',
    tolerance: 0.001,
    because: 'asked of the case; a tone of 1.9 s leaks less',
    methods: ['take.thd'],
    cases: (): Case[] => {
      const x = sine(1, 48000, 91200);
      const odd = Array.from({ length: 5 }, (_, k) => 2 * k + 1);
      const square = Float64Array.from({ length: 91200 }, (_, n) => odd.reduce((s, k) => s + (0.3 / k) * Math.sin((2 * Math.PI * 997 * k * n) / 48000), 0));
      return [
        { input: 'polynomial', ours: readings(x.map((v) => v + 0.1 * v * v + 0.05 * v ** 3), 48000).get('thd')!, theirs: 10 * Math.log10((0.05 ** 2 + 0.0125 ** 2) / 1.0375 ** 2) },
        { input: 'square wave to the ninth', ours: readings(square, 48000).get('thd')!, theirs: 10 * Math.log10(1 / 9 + 1 / 25 + 1 / 49 + 1 / 81) },
      ];
    },
  },
  {
    figure: 'Chi-square and Student’s t quantiles',
    domain: 'tails from 0.999 to 10⁻¹², ν from 2 to 10⁵; t at 95 %, ν from 4',
    oracle: 'SciPy stats',
    version: scipyVersions.scipy,
    unit: 'of the quantile',
    relative: true,
    tolerance: 0.001,
    because: 't is an expansion in 1/ν, good to 0.1 % from 4 on; chi-square is good to 1e-9',
    methods: ['noise.lines'],
    cases: () => [
      ...(distributions.chiSquareUpper as [number, number, number][]).map(([tail, nu, want]) => ({ input: `χ², tail ${tail}, ν ${nu}`, ours: chiSquareUpper(tail, nu), theirs: want })),
      ...(distributions.t95 as [number, number][]).filter(([nu]) => nu >= 4).map(([nu, want]) => ({ input: `t, ν ${nu}`, ours: coverageFactor95(nu), theirs: want })),
    ],
  },
  {
    figure: 'Probability of conformance',
    domain: 'guard bands of 0 to 3 standard uncertainties',
    oracle: 'JCGM 106',
    version: '2012',
    unit: '%',
    tolerance: 0.0051,
    because: 'the table has two or three decimals',
    methods: [],
    cases: () => (guard.rows as number[][]).map(([w, want]) => ({ input: `w = ${w}·u`, ours: 100 * normalCdf(w!), theirs: want! })),
  },
];
