/**
 * The reference signals as data: what each holds and when, its levels, fades and crest.
 *
 * @module
 */
import { DATA_GAP_S, SYMBOL_FADE_S, SYMBOL_HIGH_HZ, SYMBOL_LOW_HZ, SYMBOL_S, SYNC_FADE_S, SYNC_HIGH_HZ, SYNC_LOW_HZ, SYNC_S, WORD_BITS } from './marker.js';
import { STEADY_TONE_FADE_S, STEADY_TONE_S, checkReferenceSettings, referenceExtent } from './reference.js';
import type { ReferenceName, ReferenceSettings } from './reference.js';
import { STAIR_RAMP_S, STAIR_S, stairsOf, stairsTimetable } from './stairs.js';
import { SWEEP_FADE_IN_S, SWEEP_FADE_OUT_S, SWEEP_LOW_HZ, sweepDurationS, sweepTopHz } from './sweep.js';
import { TONE_FADE_S, TONE_HZ, takeTimetable } from './take.js';

/** One piece of a reference signal. Times in seconds of the player's clock. */
export interface SignalElement {
  readonly name: string;
  /** After the first sample of the start marker (of the tone, where there is none). */
  readonly atS: number;
  readonly lengthS: number;
  /** Frequency at its beginning and end; of the data, the band of its chirps. */
  readonly fromHz: number;
  readonly toHz: number;
  /** Raised-cosine fades. Those of the data are of each of its chirps; a stair's fade-in is the ramp from the one before. */
  readonly fadeInS: number;
  readonly fadeOutS: number;
  /** Level of a sine with its peak. */
  readonly peakDbfs: number;
  /** Level of its rms from beginning to end, fades and all (AES17: a sine's is the same as of its peak). */
  readonly rmsDbfs: number;
  /** Peak over rms: 3.01 dB for a sine, more by what the fades take. */
  readonly crestDb: number;
}

export interface ReferenceSignal {
  readonly name: ReferenceName;
  /** Silence before and after in the file. */
  readonly leadS: number;
  /** Without the leads. */
  readonly lengthS: number;
  readonly elements: readonly SignalElement[];
}

/** What a reference signal holds. @throws `signals.rate`, `signals.level` */
export function referenceSignal(name: ReferenceName, settings: Pick<ReferenceSettings, 'sampleRateHz' | 'levelDbfs'>): ReferenceSignal {
  checkReferenceSettings(settings);
  return { name, ...referenceExtent[name], elements: elementsOf[name](settings.levelDbfs, settings.sampleRateHz) };
}

const elementsOf: Readonly<Record<ReferenceName, (levelDbfs: number, sampleRateHz: number) => SignalElement[]>> = {
  take(peakDbfs, sampleRateHz) {
    const toHz = sweepTopHz(sampleRateHz);
    const { tone, sweep, endMarker } = takeTimetable;
    return [
      ...markerElements('start', 0, peakDbfs),
      levelled({ name: 'tone', atS: tone.atS, lengthS: tone.lengthS, fromHz: TONE_HZ, toHz: TONE_HZ, fadeInS: TONE_FADE_S, fadeOutS: TONE_FADE_S, peakDbfs }),
      levelled({
        name: 'sweep', atS: sweep.atS, lengthS: sweepDurationS(toHz), fromHz: SWEEP_LOW_HZ, toHz, fadeInS: SWEEP_FADE_IN_S, fadeOutS: SWEEP_FADE_OUT_S, peakDbfs,
      }),
      ...markerElements('end', endMarker.atS, peakDbfs),
    ];
  },
  tone: (peakDbfs) => [
    levelled({
      name: 'tone', atS: 0, lengthS: STEADY_TONE_S, fromHz: TONE_HZ, toHz: TONE_HZ, fadeInS: STEADY_TONE_FADE_S, fadeOutS: STEADY_TONE_FADE_S, peakDbfs,
    }),
  ],
  stairs: (levelDbfs) => [
    ...markerElements('start', 0, levelDbfs),
    ...stairElements(levelDbfs),
    ...markerElements('end', stairsTimetable.endMarker.atS, levelDbfs),
  ],
};

/** 10·lg 2: a sine's peak over its rms. */
const SINE_CREST_DB = 10 * Math.log10(2);
/** Mean square of a raised-cosine ramp from 0 to 1, and its mean. */
const RAMP_SQUARE = 3 / 8;
const RAMP_MEAN = 1 / 2;

/** Mean square of an envelope of peak 1 with fades of that total length. */
const faded = (lengthS: number, fadesS: number): number => 1 - ((1 - RAMP_SQUARE) * fadesS) / lengthS;

/** Adds rms and crest; `meanSquare` is that of the envelope against its peak. */
function levelled(shape: Omit<SignalElement, 'rmsDbfs' | 'crestDb'>, meanSquare = faded(shape.lengthS, shape.fadeInS + shape.fadeOutS)): SignalElement {
  const rmsDbfs = shape.peakDbfs + 10 * Math.log10(meanSquare);
  return { ...shape, rmsDbfs, crestDb: shape.peakDbfs - rmsDbfs + SINE_CREST_DB };
}

function markerElements(end: 'start' | 'end', atS: number, peakDbfs: number): SignalElement[] {
  const [fromHz, toHz] = end === 'start' ? [SYNC_LOW_HZ, SYNC_HIGH_HZ] : [SYNC_HIGH_HZ, SYNC_LOW_HZ];
  const data = {
    name: `${end} data`, atS: atS + SYNC_S + DATA_GAP_S, lengthS: WORD_BITS * SYMBOL_S, fromHz: SYMBOL_LOW_HZ, toHz: SYMBOL_HIGH_HZ,
    fadeInS: SYMBOL_FADE_S, fadeOutS: SYMBOL_FADE_S, peakDbfs,
  };
  return [
    levelled({ name: `${end} sync`, atS, lengthS: SYNC_S, fromHz, toHz, fadeInS: SYNC_FADE_S, fadeOutS: SYNC_FADE_S, peakDbfs }),
    levelled(data, faded(SYMBOL_S, 2 * SYMBOL_FADE_S)),
  ];
}

function stairElements(levelDbfs: number): SignalElement[] {
  const stairs = stairsOf(levelDbfs);
  return stairs.map(({ atS, lengthS, levelDbfs: peakDbfs }, k) => {
    const fadeOutS = k === stairs.length - 1 ? STAIR_RAMP_S : 0;
    // The ramp rises from b to 1: mean square b² + 2b(1 − b)·mean + (1 − b)²·(mean square of a ramp from 0).
    const b = k === 0 ? 0 : 10 ** ((stairs[k - 1]!.levelDbfs - peakDbfs) / 20);
    const ramp = b * b + 2 * b * (1 - b) * RAMP_MEAN + (1 - b) * (1 - b) * RAMP_SQUARE;
    const meanSquare = 1 - ((1 - ramp) * STAIR_RAMP_S + (1 - RAMP_SQUARE) * fadeOutS) / STAIR_S;
    const shape = { name: `stair ${k + 1}`, atS, lengthS, fromHz: TONE_HZ, toHz: TONE_HZ, fadeInS: STAIR_RAMP_S, fadeOutS, peakDbfs };
    return levelled(shape, meanSquare);
  });
}
