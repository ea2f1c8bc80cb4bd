/**
 * Level, gain, distortion and polarity of one output in one state, from its take.
 *
 * @module
 */
import type { Bench, BenchInput } from '../board/model.js';
import { DB_PER_RELATIVE_AMPLITUDE, amplitudeToDb } from '../units/decibels.js';
import { fixed } from '../units/format.js';
import { calibrationPart, loopLoading } from './calibration.js';
import type { LevelScale } from './calibration.js';
import { BESIDE_DEGREES_OF_FREEDOM } from './distortion.js';
import { distortionFigures } from './distortion-figures.js';
import { figure, part } from './figure.js';
import type { Figure, Place, UncertaintyPart } from './figure.js';
import { fitPhaseLine } from './match.js';
import { ratio } from './response.js';
import type { TakeEstimate, ToneEstimate } from './take.js';

const tonePart = (name: string, tone: ToneEstimate): UncertaintyPart => part('fit', name, DB_PER_RELATIVE_AMPLITUDE * tone.relativeUncertainty, { degreesOfFreedom: BESIDE_DEGREES_OF_FREEDOM });

/** Readings of a take on one output. `bench` is the take of the interface looped to itself, heard by the same input. */
export function takeFigures(
  place: Place,
  take: TakeEstimate,
  bench: TakeEstimate | null,
  input: BenchInput,
  benchFile: Bench,
  scale: LevelScale,
): Figure[] {
  const { tone } = take;
  if (!tone) {
    return [figure(place, { id: 'level.tone', label: 'Level of the 997 Hz tone', value: null, unit: scale.unit, method: 'take.level', parts: null, uncertaintyReason: 'no tone', remarks: ['No tone was heard on this output.'] })];
  }
  const toneDbfs = amplitudeToDb(tone.amplitude);
  const figures = [
    figure(place, { id: 'level.tone', label: 'Level of the 997 Hz tone', value: scale.offsetDb + toneDbfs, unit: scale.unit, method: 'take.level', parts: [tonePart('noise beside the tone', tone), ...scale.parts] }),
    ...(place.state === 'bench' ? [] : [gainFigure(place, take, tone, bench, input, benchFile)]),
    ...distortionFigures(place, tone, bench?.tone ?? null),
  ];
  if (bench) {
    const line = fitPhaseLine(ratio(take.response, bench.response));
    figures.push(
      figure(place, {
        id: 'polarity',
        label: 'Polarity against the input',
        value: line?.polarity ?? null,
        unit: 'sign',
        method: 'match.delay',
        parts: null,
        uncertaintyReason: 'a sign has none; it is given only where the phase is within 45° of it',
        remarks: line?.polarity ? [] : ['The phase fits neither polarity.'],
      }),
    );
  }
  return figures;
}

function gainFigure(place: Place, take: TakeEstimate, tone: ToneEstimate, bench: TakeEstimate | null, input: BenchInput, benchFile: Bench): Figure {
  const common = { id: 'gain.1k', label: 'Gain at 1 kHz', unit: 'dB', method: 'take.gain' };
  if (bench?.tone) {
    const played = take.located.identity.levelDbfs - bench.located.identity.levelDbfs;
    return figure(place, {
      ...common,
      value: amplitudeToDb(tone.amplitude / bench.tone.amplitude) - played,
      parts: [tonePart('noise beside the tone', tone), tonePart('noise beside the bench’s tone', bench.tone)],
      remarks: ['Against the bench looped to itself.', ...loadingRemark(benchFile)],
    });
  }
  const out = benchFile.output?.fullScaleDbu ?? null;
  if (out && input.fullScaleDbu) {
    return figure(place, {
      ...common,
      value: amplitudeToDb(tone.amplitude) + input.fullScaleDbu.value - (take.located.identity.levelDbfs + out.value),
      parts: [tonePart('noise beside the tone', tone), calibrationPart('calibration of the recorder input', input.fullScaleDbu), calibrationPart('calibration of the generator output', out)],
      remarks: ['From the calibrations: there is no bench.take to compare with.'],
    });
  }
  return figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'no reference', remarks: ['What went in is not known: capture bench.take, or give output.fullScale and the input’s fullScale in bench.yaml.'] });
}

/** What the board is compared with hangs on the output as well: it is told from a hundredth of a decibel on. */
function loadingRemark(bench: Bench): string[] {
  const { lowDb, highDb } = loopLoading(bench);
  if (highDb < 0.005) return [];
  const stated = lowDb === highDb;
  return [`There the recorder’s inputs take ${stated ? '' : 'up to '}${fixed(highDb, 2)} dB off the bench output${stated ? '' : ' (output.resistance and inputs.resistance in bench.yaml would say how much)'}; against the output’s own voltage the gain is lower by that.`];
}

/** Signal-to-noise ratio: the tone of a take over the A-weighted noise of the same state. */
export function snrFigure(place: Place, level: Figure, noise: Figure): Figure {
  const common = { id: 'snr.a', label: 'Signal-to-noise ratio, A-weighted', unit: 'dB', method: 'take.snr', capture: [...level.capture, ...noise.capture] };
  if (level.value === null || noise.value === null) {
    return figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'no reading', remarks: ['The tone or the noise was not read.'] });
  }
  // The calibration of the one input is in both and cancels.
  const own = (f: Figure): UncertaintyPart[] => (f.parts ?? []).filter((p) => p.kind !== 'calibration');
  return figure(place, {
    ...common,
    value: level.value - noise.value,
    bound: noise.bound === 'upper' ? 'lower' : null,
    benchLimited: noise.benchLimited,
    parts: [...own(level), ...own(noise)],
    remarks: ['Against the tone of the take, not the highest level the board can pass.'],
  });
}

/** How often the signal fell away during a take: an evidence of contacts, not a figure with an uncertainty. */
export const dropoutFigure = (place: Place, count: number): Figure =>
  figure(place, { id: 'take.dropouts', label: 'Dropouts during the take', value: count, unit: '', method: 'take.dropouts', parts: null, uncertaintyReason: 'a count', remarks: count > 0 ? ['A contact makes and breaks: move the leads and plugs of this state one by one.'] : [] });
