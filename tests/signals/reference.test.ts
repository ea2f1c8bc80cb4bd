/**
 * The reference signals: their bytes, their levels against closed forms, their timetables.
 *
 * A few files of sha256.json are rendered each time. BOARDPROOF_SIGNALS=all renders all of them; with vitest's `-u` that
 * writes the list anew.
 */
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { referenceWav } from '../../cli/reference-wav.js';
import { RECORDED_RATES_HZ, referenceDefinitions } from '../../src/signals/definitions.js';
import { amplitudeOfDbfs, sinTurns } from '../../src/signals/exact.js';
import { MARKER_MARGIN_S, createMarkerSearch, markerWindowFrames, readWord, timeSync } from '../../src/signals/marker-search.js';
import { SYMBOL_S } from '../../src/signals/marker.js';
import { SAMPLE_BITS, quantise } from '../../src/signals/quantise.js';
import type { SampleBits } from '../../src/signals/quantise.js';
import { referenceSignal } from '../../src/signals/reference-elements.js';
import type { ReferenceSignal, SignalElement } from '../../src/signals/reference-elements.js';
import { DEFAULT_LEVEL_DBFS, LOWEST_LEVEL_DBFS, REFERENCE_NAMES, referenceFileS, renderReference } from '../../src/signals/reference.js';
import type { ReferenceName, ReferenceSettings } from '../../src/signals/reference.js';
import { STAIRS_SWEEP_TOP_HZ, isStairs, stairsOf, stairsTimetable } from '../../src/signals/stairs.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { takeTimetable } from '../../src/signals/take.js';
import { bytesSource } from '../../src/wav/byte-source.js';
import { readWavInfo } from '../../src/wav/header.js';
import { readFrames } from '../../src/wav/read.js';

const inFolder = (name: string): string => fileURLToPath(new URL(`../../reference-signals/${name}`, import.meta.url));

const at = (sampleRateHz: number, levelDbfs = DEFAULT_LEVEL_DBFS, stepCode = 0): ReferenceSettings => ({ sampleRateHz, levelDbfs, stepCode });

function wavBytes(name: ReferenceName, settings: ReferenceSettings, bits: SampleBits): Uint8Array {
  const pieces: Uint8Array[] = [];
  for (const piece of referenceWav(renderReference(name, settings), settings, bits)) pieces.push(piece.slice());
  return Buffer.concat(pieces);
}

function sha256(samples: Float64Array, settings: ReferenceSettings, bits: SampleBits): string {
  const hash = createHash('sha256');
  for (const piece of referenceWav(samples, settings, bits)) hash.update(piece);
  return hash.digest('hex');
}

type Hashes = Record<string, Record<string, Record<string, string>>>;

describe('bytes', () => {
  it('definitions.json is what the code defines', async () => {
    await expect(`${JSON.stringify(referenceDefinitions(), null, 2)}\n`).toMatchFileSnapshot(inFolder('definitions.json'));
  });

  it('every file of sha256.json is there, at every rate and in every format', () => {
    const { files } = JSON.parse(readFileSync(inFolder('sha256.json'), 'utf8')) as { files: Hashes };
    const all = REFERENCE_NAMES.flatMap((name) => RECORDED_RATES_HZ.flatMap((rate) => SAMPLE_BITS.map((bits) => files[name]?.[rate]?.[bits])));
    for (const hash of all) expect(hash).toMatch(/^[0-9a-f]{64}$/);
    expect(new Set(all).size).toBe(45);
  });

  it('NumPy renders the same 45 files from the same definition (tests/outside/numpy)', () => {
    const { files } = JSON.parse(readFileSync(inFolder('sha256.json'), 'utf8')) as { files: Hashes };
    const outside = JSON.parse(readFileSync(new URL('../outside/numpy/reference-signals.json', import.meta.url), 'utf8')) as { files: Hashes };
    expect(outside.files).toEqual(files);
  });

  for (const [name, rate, formats] of [
    ['take', 44100, SAMPLE_BITS],
    ['take', 192000, ['16']],
    ['tone', 48000, ['24']],
    ['stairs', 44100, ['16', '32f']],
  ] as const) {
    it(`renders ${name} at ${rate} Hz to the bytes on record`, () => {
      const { files } = JSON.parse(readFileSync(inFolder('sha256.json'), 'utf8')) as { files: Hashes };
      const samples = renderReference(name, at(rate));
      for (const bits of formats) expect(sha256(samples, at(rate), bits), `${bits} bit`).toBe(files[name]![rate]![bits]);
    });
  }

  it.runIf(process.env['BOARDPROOF_SIGNALS'] === 'all')('renders all files to the bytes on record', { timeout: 300_000 }, async () => {
    const files: Hashes = {};
    for (const name of REFERENCE_NAMES) {
      files[name] = {};
      for (const rate of RECORDED_RATES_HZ) {
        const samples = renderReference(name, at(rate));
        files[name][rate] = Object.fromEntries(SAMPLE_BITS.map((bits) => [bits, sha256(samples, at(rate), bits)]));
      }
    }
    const list = { format: 'boardproof-reference-hashes/1', made: 'BOARDPROOF_SIGNALS=all npx vitest run tests/signals/reference.test.ts -u', levelDbfs: DEFAULT_LEVEL_DBFS, stepCode: 0, files };
    await expect(`${JSON.stringify(list, null, 2)}\n`).toMatchFileSnapshot(inFolder('sha256.json'));
  });

  describe('from whole-number and + − × ÷ arithmetic only', () => {
    afterEach(() => {
      vi.restoreAllMocks();
    });

    it('calls nothing whose accuracy is left to the engine', () => {
      const exact = new Set(['floor', 'ceil', 'round', 'trunc', 'abs', 'min', 'max', 'imul', 'fround', 'sign', 'sqrt']);
      for (const name of Object.getOwnPropertyNames(Math)) {
        if (exact.has(name) || typeof Math[name as keyof Math] !== 'function') continue;
        vi.spyOn(Math, name as 'sin').mockImplementation(() => {
          throw new Error(`Math.${name} was called`);
        });
      }
      expect(() => Math.sin(1)).toThrow();
      for (const name of REFERENCE_NAMES) {
        const samples = renderReference(name, at(44100));
        for (const bits of SAMPLE_BITS) quantise(samples, bits);
      }
    });

    it('raises nothing to a power', () => {
      for (const module of ['exact', 'marker', 'sweep', 'take', 'stairs', 'reference', 'quantise']) {
        const source = readFileSync(new URL(`../../src/signals/${module}.ts`, import.meta.url), 'utf8');
        expect(source.replace(/\/\*[\s\S]*?\*\/|\/\/.*/g, ''), module).not.toContain('**');
      }
    });
  });
});

/** Samples of a signal at a rate, and the stretch of one of its elements. */
function rendered(name: ReferenceName, settings: ReferenceSettings): { signal: ReferenceSignal; samples: Float64Array; stretch: (e: SignalElement) => [number, number] } {
  const signal = referenceSignal(name, settings);
  const frameOf = (s: number): number => (signal.leadS + s) * settings.sampleRateHz;
  return {
    signal,
    samples: renderReference(name, settings),
    stretch: (e) => [Math.ceil(frameOf(e.atS) - 1e-6), Math.floor(frameOf(e.atS + e.lengthS) + 1e-6)],
  };
}

describe('levels, fades and timetable', () => {
  for (const [rate, levelDbfs] of [[44100, -20], [48000, -3.25]] as const) {
    for (const name of REFERENCE_NAMES) {
      const { signal, samples, stretch } = rendered(name, at(rate, levelDbfs));

      it(`${name} at ${rate} Hz and ${levelDbfs} dBFS: peak, rms and crest of each element are as stated`, () => {
        for (const e of signal.elements) {
          const [first, last] = stretch(e);
          const x = samples.subarray(first, last + 1);
          const peak = x.reduce((m, v) => Math.max(m, Math.abs(v)), 0);
          const peakDbfs = 20 * Math.log10(peak);
          const rmsDbfs = 10 * Math.log10((2 * x.reduce((s, v) => s + v * v, 0)) / (e.lengthS * rate));
          // A short chirp's few crests fall between samples: at 3 kHz and 44.1 kHz by up to cos(π·3/44.1), 0.2 dB, but
          // the best of many is nearer. No sample passes the peak.
          expect(peak, e.name).toBeLessThanOrEqual(amplitudeOfDbfs(e.peakDbfs) * (1 + 1e-12));
          expect(Math.abs(peakDbfs - e.peakDbfs), `${e.name}: peak ${peakDbfs}, stated ${e.peakDbfs}`).toBeLessThan(0.02);
          // The closed form takes sin² as ½; over a finite element what is left of its other half is about
          // 1/(4π·lowest frequency·length) of it: 0.03 dB for a data chirp and the sweep's first cycles, 1e-3 and less elsewhere.
          const allowed = e.name.endsWith('data') || e.name === 'sweep' ? 0.03 : 0.003;
          expect(Math.abs(rmsDbfs - e.rmsDbfs), `${e.name}: rms ${rmsDbfs}, stated ${e.rmsDbfs}`).toBeLessThan(allowed);
          expect(e.crestDb).toBeCloseTo(e.peakDbfs - e.rmsDbfs + 3.0103, 4);
        }
      });

      it(`${name} at ${rate} Hz and ${levelDbfs} dBFS: fades in and out, silent between, no step steeper than its own waves`, () => {
        const bound = new Float64Array(samples.length);
        const steepest = new Float64Array(samples.length);
        for (const e of signal.elements) {
          const [first, last] = stretch(e);
          const peak = amplitudeOfDbfs(e.peakDbfs);
          const before = signal.elements.find((o) => o.name.startsWith('stair') && Math.abs(o.atS + o.lengthS - e.atS) < 1e-9);
          const floor = before && e.name.startsWith('stair') ? amplitudeOfDbfs(before.peakDbfs) : 0;
          const pieceS = e.name.endsWith('data') ? SYMBOL_S : e.lengthS;
          for (let n = first; n <= last; n++) {
            const t = Math.max(0, n / rate - signal.leadS - e.atS);
            // sin² fades, written on their own.
            const inPiece = t - pieceS * Math.min(Math.round(e.lengthS / pieceS) - 1, Math.floor(t / pieceS + 1e-9));
            const rise = e.fadeInS > 0 ? Math.min(1, inPiece / e.fadeInS) : 1;
            const fall = e.fadeOutS > 0 ? Math.max(0, Math.min(1, (pieceS - inPiece) / e.fadeOutS)) : 1;
            const envelope = Math.sin((Math.PI / 2) * rise) ** 2 * Math.sin((Math.PI / 2) * fall) ** 2;
            bound[n] = Math.max(bound[n]!, floor + (peak - floor) * envelope);
            // A wave moves by at most 2·sin(π·f/rate) of its envelope from sample to sample, and a fade by π/2 per its length.
            const highestHz = e.name === 'sweep' ? Math.min(e.toHz, 10 * Math.exp(t + 1 / rate)) : Math.max(e.fromHz, e.toHz);
            const shortestFadeS = Math.min(...[e.fadeInS, e.fadeOutS].filter((s) => s > 0));
            steepest[n] = peak * (2 * Math.sin((Math.PI * highestHz) / rate) + Math.PI / 2 / (shortestFadeS * rate));
          }
        }
        let outside = 0;
        let above = 0;
        let steps = 0;
        samples.forEach((v, n) => {
          if (bound[n] === 0 && v !== 0) outside++;
          if (Math.abs(v) > bound[n]! * (1 + 1e-9) + 1e-12) above++;
          if (n > 0 && Math.abs(v - samples[n - 1]!) > Math.max(steepest[n]!, steepest[n - 1]!)) steps++;
        });
        expect({ outside, above, steps }).toEqual({ outside: 0, above: 0, steps: 0 });
      });
    }
  }

  it('elements come one after another and end in time, at every rate', () => {
    for (const name of REFERENCE_NAMES) {
      for (const rate of [...RECORDED_RATES_HZ, 45000, 50000, 176400]) {
        const { elements, lengthS, leadS } = referenceSignal(name, at(rate));
        elements.forEach((e, i) => {
          const next = elements[i + 1]?.atS ?? lengthS;
          expect(e.atS + e.lengthS, `${name}, ${e.name}`).toBeLessThanOrEqual(next + 1e-9);
        });
        expect(elements[0]!.atS).toBe(0);
        expect(elements.at(-1)!.atS + elements.at(-1)!.lengthS).toBeCloseTo(lengthS, 9);
        expect(referenceFileS(name)).toBeCloseTo(lengthS + 2 * leadS, 12);
      }
    }
    expect(renderReference('take', at(45001)).length).toBe(Math.round(15.66 * 45001));
  });

  it('the take is what the analysis reads: its own timetable', () => {
    const { elements } = referenceSignal('take', at(48000));
    const start = (name: string): number => elements.find((e) => e.name === name)!.atS;
    expect([start('start sync'), start('tone'), start('sweep'), start('end sync')]).toEqual([
      takeTimetable.startMarker.atS, takeTimetable.tone.atS, takeTimetable.sweep.atS, takeTimetable.endMarker.atS,
    ]);
  });

  it('the tone is 997 Hz to the last period, so it may be looped', () => {
    const rate = 48000;
    const x = renderReference('tone', at(rate));
    for (let n = rate; n < 29 * rate; n += 4801) {
      // Phase of 997·n turns: products of whole numbers below 2⁵³ are exact, the division rounds once (2e-12 of a turn at 3·10⁴ turns).
      expect(Math.abs(x[n]! - amplitudeOfDbfs(-20) * sinTurns(((997 * n) % rate) / rate))).toBeLessThan(1e-11);
    }
    expect((997 * x.length) % rate).toBe(0);
  });
});

describe('stairs', () => {
  it('rise by 1 dB from 10 dB below the level to 19 above it, never above −1 dBFS', () => {
    const levels = stairsOf(-20).map((s) => s.levelDbfs);
    expect(levels).toEqual(Array.from({ length: 30 }, (_, k) => -30 + k));
    expect(stairsOf(0).map((s) => s.levelDbfs)).toEqual([-10, -9, -8, -7, -6, -5, -4, -3, -2, -1]);
    expect(stairsOf(-40.25).at(-1)!.levelDbfs).toBe(-21.25);
    expect(stairsOf(LOWEST_LEVEL_DBFS)).toHaveLength(30);
  });

  it('each holds its own level from the end of its ramp to its end', () => {
    const rate = 50000;
    const x = renderReference('stairs', at(rate, -12.5));
    for (const { atS, lengthS, levelDbfs } of stairsOf(-12.5)) {
      // 0.4 s holds 398.8 periods; what the broken one adds to the mean square is at most 1/(2π·997·0.4) of it, 0.0017 dB.
      const part = x.subarray(Math.round((1 + atS + 0.05) * rate), Math.round((1 + atS + lengthS - 0.05) * rate));
      const rmsDbfs = 10 * Math.log10((2 * part.reduce((s, v) => s + v * v, 0)) / part.length);
      expect(Math.abs(rmsDbfs - levelDbfs), `stair of ${levelDbfs} dBFS: ${rmsDbfs}`).toBeLessThan(0.0018);
    }
  });

  it('cannot be taken for a take: their markers stand another distance apart and say another sweep', () => {
    expect(Math.abs(stairsTimetable.endMarker.atS - takeTimetable.endMarker.atS)).toBeGreaterThan(3);
    const tops = new Set(Array.from({ length: 192000 - 44100 + 1 }, (_, k) => sweepTopHz(44100 + k)));
    expect(tops.has(STAIRS_SWEEP_TOP_HZ)).toBe(false);
    expect(Math.min(...tops)).toBe(20272);
    expect(Math.max(...tops)).toBe(24000);
  });
});

describe('in a file', () => {
  for (const [rate, bits, names] of [
    [44100, '16', ['take', 'stairs']],
    [45000, '24', ['take']],
    [50000, '16', ['take', 'stairs']],
    [176400, '32f', ['take']],
  ] as const) {
    it(`both markers of ${rate} Hz, ${bits} bit say what they should, where they should`, () => {
      for (const name of names) {
        const bytes = wavBytes(name, at(rate, -31.5, 0xa5c3), bits);
        const source = bytesSource(`${name}.wav`, bytes);
        const info = readWavInfo(source);
        expect(info).toMatchObject({ channels: 1, sampleRateHz: rate, encoding: bits === '32f' ? 'float' : 'pcm', bitsPerSample: Number.parseInt(bits, 10) });
        const [x] = readFrames(source, info, 0, info.frames) as [Float64Array];
        const search = createMarkerSearch(rate);
        search.push(x);
        const hits = search.finish();
        expect(hits.map((h) => h.end)).toEqual(['start', 'end']);
        const spacingS = name === 'take' ? takeTimetable.endMarker.atS : stairsTimetable.endMarker.atS;
        hits.forEach((hit, i) => {
          const from = Math.max(0, Math.round(hit.frame - MARKER_MARGIN_S * rate));
          const part = x.subarray(from, from + markerWindowFrames(rate));
          const frame = timeSync(hit.end, part, rate, hit.frame - from);
          // 0.01 sample: dither is 65 dB and more below the marker, worth 1e-4 sample; the rest is the search's own.
          expect(Math.abs(from + frame - (1 + i * spacingS) * rate)).toBeLessThan(0.01);
          const identity = readWord(part, rate, frame)!;
          expect(identity).toEqual({ stepCode: 0xa5c3, levelDbfs: -31.5, sweepTopHz: name === 'take' ? sweepTopHz(rate) : STAIRS_SWEEP_TOP_HZ });
          expect(isStairs(identity)).toBe(name === 'stairs');
        });
      }
    });
  }
});

describe('README.md', () => {
  const readme = readFileSync(inFolder('README.md'), 'utf8');
  const print = (x: number, digits: number): string => x.toFixed(digits).replace('-', '−');

  it('shows each element as it is', () => {
    for (const name of REFERENCE_NAMES) {
      const shown = referenceSignal(name, at(48000)).elements.filter((e) => !e.name.startsWith('stair') || ['stair 1', 'stair 2', 'stair 30'].includes(e.name));
      const rows = shown.map((e) =>
        [
          `| ${print(e.atS, 2)} s | ${print(e.lengthS, 3)} s | ${e.name} | ${e.fromHz} Hz | ${e.toHz} Hz | ${print(1000 * e.fadeInS, 0)} ms`,
          `${print(1000 * e.fadeOutS, 0)} ms | ${print(e.peakDbfs, 0)} dBFS | ${print(e.rmsDbfs, 2)} dBFS | ${print(e.crestDb, 2)} dB |`,
        ].join(' | '),
      );
      expect(readme).toContain(`\n${rows.join('\n')}\n\n`);
    }
  });

  it('shows where the sweep ends, and how long the signals are', () => {
    for (const rate of RECORDED_RATES_HZ) {
      const sweep = referenceSignal('take', at(rate)).elements.find((e) => e.name === 'sweep')!;
      expect(readme).toContain(`| ${rate} Hz | ${sweep.toHz} Hz | ${print(sweep.lengthS, 3)} s |`);
    }
    for (const name of ['take', 'stairs'] as const) {
      const { lengthS, leadS } = referenceSignal(name, at(48000));
      expect(readme.replaceAll('\n', ' ')).toContain(`${lengthS.toFixed(2)} s with ${leadS} s of silence before and after`);
    }
  });
});

describe('refusals', () => {
  it('a rate or a level that cannot be rendered', () => {
    for (const rate of [0, 44099, 192001, 48000.5, NaN]) {
      expect(() => renderReference('take', at(rate)), `${rate} Hz`).toThrow(/give a whole number of Hz from 44100 to 192000/);
    }
    for (const level of [0.25, 1, -20.1, -64, NaN, -Infinity]) {
      expect(() => renderReference('tone', at(48000, level)), `${level} dBFS`).toThrow(/give a level from -63.75 to 0 in steps of 0.25 dB/);
    }
    expect(() => renderReference('take', at(44100, LOWEST_LEVEL_DBFS))).not.toThrow();
    expect(() => renderReference('take', at(44100, 0))).not.toThrow();
  });
});
