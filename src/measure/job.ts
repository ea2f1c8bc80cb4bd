/**
 * All captures of a job → all figures and curves. Estimates per capture are made one by one (and in parallel, by the
 * caller); here they are set against each other: board against bench, state against state, output against output.
 *
 * @module
 */
import type { Bench, Board, Step } from '../board/model.js';
import { invertedIn, passesBoard, stateHasEffect } from '../board/states.js';
import { drivenInto } from '../circuit/board-network.js';
import { amplitudeToDb, dbToAmplitude } from '../units/decibels.js';
import { fixed } from '../units/format.js';
import { attributeNoise } from './attribution.js';
import { attributionFigures } from './attribution-figures.js';
import type { Attribution } from './attribution.js';
import { betweenInputs } from './between-inputs.js';
import { calibrationPart, levelScale, loopLoading } from './calibration.js';
import { clickBelowTone, clickFigures } from './click-figures.js';
import { crosstalkFigures } from './crosstalk.js';
import type { Curve, DistortionCurve, NoiseBandCurve, PlayerCurve } from './curve.js';
import { dryPathFigures } from './dry-path.js';
import { cutExcerpts, listeningOf } from './excerpt.js';
import type { ExcerptSamples, Listening } from './excerpt.js';
import type { Figure, Place } from './figure.js';
import { dynamicRangeFigure, headroomFigures } from './headroom.js';
import type { IdleEstimate } from './idle.js';
import { measureIdle } from './idle.js';
import { isolationFigures } from './isolation.js';
import { loopFigures } from './loops.js';
import { matchCurves, matchFigures } from './match.js';
import { noiseBandCurve, noiseCurve, noiseFigures } from './noise-figures.js';
import { selectChannels } from './recording.js';
import type { Recording } from './recording.js';
import { withRepeats } from './repeats.js';
import { ratio } from './response.js';
import { stairsRecord } from './stairs-record.js';
import type { StairsRecord } from './stairs-record.js';
import { measureStairs } from './stairs.js';
import type { StairsEstimate } from './stairs.js';
import { switchFigures } from './switches.js';
import { measureSwitching } from './switching.js';
import type { SwitchingEstimate } from './switching.js';
import { dropoutFigure, snrFigure, takeFigures } from './take-figures.js';
import { flexFigures } from './flex-figures.js';
import { flexRecord } from './flex-record.js';
import type { FlexRecord } from './flex-record.js';
import { measureFlex } from './flex.js';
import type { FlexEstimate } from './flex.js';
import { distortionCurves } from './sweep-distortion.js';
import { findTakes } from './take-search.js';
import { measureTake } from './take.js';
import type { TakeEstimate } from './take.js';
import { outputResistances } from './output-resistance.js';
import { bufferInput, hissOverPhysics, overDesign } from './over-design.js';
import { playerOf, stateFits } from './through-plugs.js';
import { droopFigures, responseCurve } from './tone-loss.js';

/** States whose distortion is drawn against frequency: what every loop adds is in the readings. */
const BENDS_SHOWN: ReadonlySet<string> = new Set(['bench', 'rest', 'all']);

type StepName = Pick<Step, 'id' | 'state' | 'plug' | 'kind'>;

/** One capture, estimated: an entry per input of the bench, in the order of bench.yaml. */
export type CaptureEstimate =
  | { readonly step: StepName; readonly kind: 'idle'; readonly inputs: readonly IdleEstimate[]; /** To listen to, per input; null where no clean stretch is long enough. */ readonly excerpts: readonly ExcerptSamples[] | null }
  | { readonly step: StepName; readonly kind: 'take'; readonly inputs: readonly TakeEstimate[] }
  | { readonly step: StepName; readonly kind: 'stairs'; readonly inputs: readonly StairsEstimate[] }
  | { readonly step: StepName; readonly kind: 'switching'; readonly inputs: readonly SwitchingEstimate[]; /** The builder said, when it was filed, that silent switches were pressed. Absent: not said. */ readonly pressedSilently?: boolean }
  | { readonly step: StepName; readonly kind: 'flex'; readonly inputs: readonly FlexEstimate[] };

/**
 * Estimates one capture.
 *
 * @param withHarmonics - False where nobody reads the harmonics of a take against frequency: behind an effect, or to check a capture.
 * @returns null for a file of a take, or of the stairs, without one in it.
 */
export function estimateCapture(recording: Recording, step: StepName, bench: Bench, mainsHz: number, withHarmonics = true): CaptureEstimate | null {
  const heard = selectChannels(recording, bench.inputs.map((i) => i.channel - 1));
  if (step.kind === 'idle') {
    const inputs = measureIdle(heard, mainsHz);
    const leftOut = inputs.flatMap((i) => i.stationarity.leftOut).sort((a, b) => a[0] - b[0]);
    return { step, kind: 'idle', inputs, excerpts: cutExcerpts(heard, leftOut) };
  }
  if (step.kind === 'switching') return { step, kind: 'switching', inputs: measureSwitching(heard) };
  if (step.kind === 'flex') return { step, kind: 'flex', inputs: measureFlex(heard, bench.inputs.map((i) => i.output)) };
  const found = findTakes(heard);
  const [located] = step.kind === 'take' ? found.takes : found.stairs;
  if (!located) return null;
  if (step.kind === 'stairs') return { step, kind: 'stairs', inputs: measureStairs(heard, located, bench.inputs.map((_, i) => i)) };
  return { step, kind: 'take', inputs: measureTake(heard, located, bench.inputs.map((_, i) => i), withHarmonics && step.plug === null && BENDS_SHOWN.has(step.state)) };
}

export interface JobFigures {
  readonly figures: readonly Figure[];
  readonly curves: readonly Curve[];
  /** Absent: none. */
  readonly playerCurves?: readonly PlayerCurve[];
  /** Absent: none. */
  readonly noiseBands?: readonly NoiseBandCurve[];
  /** Absent: none. */
  readonly distortion?: readonly DistortionCurve[];
  /** Excerpts of the noise at the noisiest output; absent or null where there is none. */
  readonly listening?: Listening | null;
  /** Distortion against level, per capture of the level stairs. Absent: there is none. */
  readonly stairs?: readonly StairsRecord[];
  /** What happened while leads were moved, per flex capture. Absent: there is none. */
  readonly flex?: readonly FlexRecord[];
  /** Absent: none. */
  readonly attribution?: readonly Attribution[];
  /** Remarks on the whole measurement, such as a calibration that its own loop-back contradicts. */
  readonly remarks: readonly string[];
}

const loopOf = (state: string): string | null => (state.startsWith('loop-') ? state.slice('loop-'.length) : null);

/**
 * Sets the estimates of a job against each other.
 *
 * @param estimates - Several of one step, the newest first, are put together ({@link withRepeats}).
 */
export const measureJob = (board: Board, bench: Bench, estimates: readonly CaptureEstimate[]): JobFigures =>
  withRepeats(estimates, board.mainsHz, (one) => measureOnce(board, bench, one));

function measureOnce(board: Board, bench: Bench, estimates: readonly CaptureEstimate[]): JobFigures {
  const byId = new Map(estimates.map((e) => [e.step.id, e]));
  const idleOf = (id: string): readonly IdleEstimate[] | null => {
    const e = byId.get(id);
    return e?.kind === 'idle' ? e.inputs : null;
  };
  const takeOf = (id: string): readonly TakeEstimate[] | null => {
    const e = byId.get(id);
    return e?.kind === 'take' ? e.inputs : null;
  };
  const stairsOf = (id: string): readonly StairsEstimate[] | null => {
    const e = byId.get(id);
    return e?.kind === 'stairs' ? e.inputs : null;
  };
  const benchIdle = idleOf('bench.idle');
  const benchTake = takeOf('bench.take');
  const benchStairs = stairsOf('bench.stairs');
  const figures: Figure[] = [];
  const curves: Curve[] = [];
  const noiseBands: NoiseBandCurve[] = [];
  const distortion: DistortionCurve[] = [];
  const placeOf = (step: StepName, output: string | null): Place => ({ state: step.state, source: step.plug, output, loop: loopOf(step.state), capture: [step.id] });

  const isLoad = (step: StepName): boolean => bench.loads?.some(({ id }) => id === step.plug) ?? false;
  for (const estimate of estimates) {
    const { step } = estimate;
    if (isLoad(step) || drivenInto(step.state) !== null) continue;
    bench.inputs.forEach((input, i) => {
      const place = placeOf(step, input.output);
      const scale = levelScale(input);
      if (estimate.kind === 'idle') {
        const own = estimate.inputs[i]!;
        figures.push(...noiseFigures(place, own, step.state === 'bench' ? null : (benchIdle?.[i] ?? null), scale));
        const curve = noiseCurve(place, own, scale, `Noise, output ${input.output}`);
        if (curve) curves.push(curve);
        const bands = noiseBandCurve(place, own, step.state === 'bench' ? null : (benchIdle?.[i] ?? null), scale, `Noise per third-octave, output ${input.output}`);
        if (bands) noiseBands.push(bands);
        return;
      }
      if (estimate.kind === 'switching') {
        const pressed = place.loop === null ? board.loops.map(({ id }) => id) : [place.loop];
        // What was filed as it is with a dead input was filed for that, and says nothing of a press.
        const saidSo = estimate.pressedSilently === true && !estimate.inputs.some(({ silent }) => silent);
        const wasPressed = saidSo || estimate.inputs.some(({ clicks }) => clicks.length > 0);
        figures.push(...clickFigures(place, estimate.inputs[i]!, pressed, scale, wasPressed));
        return;
      }
      if (estimate.kind === 'flex') {
        figures.push(...flexFigures(place, estimate.inputs[i]!));
        return;
      }
      if (estimate.kind === 'stairs') {
        figures.push(...headroomFigures(place, estimate.inputs[i]!, benchStairs?.[i] ?? null, scale, bench.output?.fullScaleDbu ?? null));
        return;
      }
      const own = estimate.inputs[i]!;
      if (step.plug === null) {
        figures.push(...takeFigures(place, own, step.state === 'bench' ? null : (benchTake?.[i] ?? null), input, bench, scale));
      }
      // An effect may open and close notches by itself.
      if (own.dropouts !== undefined && step.plug === null && !stateHasEffect(board, step.state)) figures.push(dropoutFigure(place, own.dropouts));
      if (own.harmonics && !stateHasEffect(board, step.state)) distortion.push(...distortionCurves(place, own.harmonics, `output ${input.output}`));
      if (step.state === 'bench') return;
      const relative = benchTake ? ratio(own.response, benchTake[i]!.response) : own.response;
      curves.push(responseCurve(place, relative, step.plug === null ? 'response' : 'tone-loss', `Output ${input.output}`, step.plug !== null));
    });
  }

  // Tone loss: every take through a plug.
  for (const estimate of estimates) {
    const { step } = estimate;
    if (estimate.kind !== 'take' || step.plug === null || isLoad(step)) continue;
    const lead = takeOf(`lead+${step.plug}.take`);
    bench.inputs.forEach((input, i) => {
      const place = placeOf(step, input.output);
      const own = estimate.inputs[i]!;
      if (step.state !== 'lead') {
        const against = lead ?? benchTake;
        const name = lead ? `lead+${step.plug}.take` : 'bench.take';
        if (against) {
          const remarks = lead ? [] : ['Against the bench looped to itself: there is no take of the straight lead through this plug.'];
          figures.push(...droopFigures({ ...place, capture: [step.id, name] }, ratio(own.response, against[i]!.response), remarks));
        }
      }
    });
  }
  const plugged = stateFits(bench, [...new Set(estimates.map((e) => e.step.state))], takeOf);
  const player = playerOf(board, plugged.fits);
  const crosstalk = crosstalkFigures(bench, takeOf);
  // What a load shows of it is less, and may be a bound.
  const isRead = (pair: string | null): boolean => crosstalk.some(({ id, output, value }) => id === 'isolation' && output === pair && value !== null);
  figures.push(...outputResistances(bench, takeOf), ...isolationFigures(bench, takeOf).filter(({ output }) => !isRead(output)), ...crosstalk);
  figures.push(...plugged.figures, ...player.figures, ...overDesign(board, bench, plugged.fits), ...bufferInput(board, plugged.fits), ...hissOverPhysics(board, bench, figures));

  // Match between outputs, in every state taken without a plug.
  for (const estimate of estimates) {
    const { step } = estimate;
    if (estimate.kind !== 'take' || step.plug !== null || !passesBoard(step.state)) continue;
    const inverted = invertedIn(step.state);
    for (const pair of board.match) {
      // What the switch does to the others is read against rest.
      if (inverted !== null && !pair.includes(inverted)) continue;
      const [a, b] = pair.map((id) => bench.inputs.findIndex((i) => i.output === id));
      if (a === undefined || b === undefined || a < 0 || b < 0) continue;
      const place = placeOf(step, null);
      const { between, parts, remarks } = betweenInputs(bench, estimate.inputs, benchTake, a, b);
      const figuresOfPair = matchFigures(place, pair, between, parts).filter(({ id }) => inverted === null || id === 'match.polarity');
      figures.push(...figuresOfPair.map((f) => ({ ...f, remarks: [...f.remarks, ...remarks] })));
      if (inverted === null) curves.push(...matchCurves(place, pair, between));
    }
  }

  // Signal to noise, where a state has both a take and an idle capture.
  for (const level of figures.filter((f) => f.id === 'level.tone' && f.state !== 'bench')) {
    const noise = figures.find((f) => f.id === 'noise.a' && f.state === level.state && f.source === level.source && f.output === level.output);
    if (noise) figures.push(snrFigure(level, level, noise));
  }

  for (const peak of figures.filter((f) => f.id === 'click.peak')) {
    const tone = figures.find((f) => f.id === 'level.tone' && f.state === 'rest' && f.source === null && f.output === peak.output);
    if (tone) figures.push(clickBelowTone(peak, tone));
  }

  // Dynamic range, where a state has both stairs and an idle capture.
  for (const headroom of figures.filter((f) => f.id === 'headroom' && f.state !== 'bench')) {
    const noise = figures.find((f) => f.id === 'noise.a' && f.state === headroom.state && f.source === headroom.source && f.output === headroom.output);
    if (noise) figures.push(dynamicRangeFigure(headroom, noise));
  }

  figures.push(...loopFigures(board, bench, { takeOf, idleOf }), ...switchFigures(board, bench, { takeOf, idleOf }), ...dryPathFigures(board, bench, takeOf));
  const attribution = attributeNoise(board, bench, idleOf, takeOf);
  figures.push(...attributionFigures(attribution));
  const outputs = bench.inputs.map((i) => i.output);
  const stairs = estimates.flatMap((e) => (e.kind === 'stairs' && !isLoad(e.step) ? [stairsRecord(e.step, outputs, e.inputs, bench.inputs.map(levelScale))] : []));
  const flex = estimates.flatMap((e) => (e.kind === 'flex' ? [flexRecord(e.step, outputs, e.inputs)] : []));
  return { figures, curves, playerCurves: player.curves, noiseBands, distortion, stairs, flex, attribution, listening: listeningAt(bench, estimates), remarks: calibrationRemarks(bench, benchTake) };
}

/** Excerpts at the output whose noise is highest in any state of the board: what is wrong with it is heard there first. */
function listeningAt(bench: Bench, estimates: readonly CaptureEstimate[]): Listening | null {
  const idles = estimates.flatMap((e) => (e.kind === 'idle' && e.excerpts !== null && e.step.state !== 'bench' && e.step.state !== 'lead' ? [{ ...e, excerpts: e.excerpts }] : []));
  const loudest = bench.inputs.map((input, i) => {
    const full = dbToAmplitude(levelScale(input).offsetDb);
    return Math.max(...idles.map(({ inputs }) => (inputs[i]!.spectrum?.aWeighted.power ?? 0) * full ** 2));
  });
  const best = loudest.indexOf(Math.max(...loudest));
  if (best < 0 || idles.length === 0) return null;
  return listeningOf(bench.inputs[best]!.output, idles.map(({ step, excerpts }) => ({ state: step.state, capture: step.id, cut: excerpts[best]! })));
}

/** Does the bench looped to itself read what its calibrations say? */
function calibrationRemarks(bench: Bench, benchTake: readonly TakeEstimate[] | null): string[] {
  const out = bench.output?.fullScaleDbu;
  if (!out || !benchTake) return [];
  const { lowDb, highDb } = loopLoading(bench);
  return bench.inputs.flatMap((input, i) => {
    const tone = benchTake[i]!.tone;
    if (!input.fullScaleDbu || !tone) return [];
    const said = benchTake[i]!.located.identity.levelDbfs + out.value - (lowDb + highDb) / 2;
    const read = amplitudeToDb(tone.amplitude) + input.fullScaleDbu.value;
    const allowed = Math.hypot(2 * calibrationPart('', out).standard, 2 * calibrationPart('', input.fullScaleDbu).standard) + (highDb - lowDb) / 2;
    if (Math.abs(read - said) <= allowed) return [];
    return [
      `Looped to itself, the bench reads ${fixed(read - said, 2)} dB from what its calibrations say on recorder channel ${input.channel} (within ±${fixed(allowed, 2)} dB they would agree): calibrate again before trusting levels in dBu.`,
    ];
  });
}
