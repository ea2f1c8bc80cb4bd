/** A simulated bench whose input loads its output, calibrated as at a bench: the full scale that it has comes out, and with it a board's gain. */
import { expect, it } from 'vitest';
import type { Bench, Stated } from '../../src/board/model.js';
import { inputFullScale, outputFullScale } from '../../src/capture/calibration.js';
import { estimateCapture, measureJob } from '../../src/measure/job.js';
import type { CaptureEstimate, JobFigures } from '../../src/measure/job.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { simulateStep } from '../../src/simulate/simulate-step.js';
import { amplitudeToDb } from '../../src/units/decibels.js';
import { model, plainBoard, bench as plainBench, step } from '../simulate/fixtures.js';

/** What nobody at the bench knows but the simulation: 12 dBu behind 100 Ω, into an input of 10 kΩ that is full at 18 dBu. */
const LOADED: Bench = { ...plainBench, inputs: [{ ...plainBench.inputs[0]!, resistanceOhm: 10e3 }] };
const estimates = ['bench.take', 'rest.take'].map((id) => {
  const { channels } = simulateStep(model({ board: plainBoard, bench: LOADED }), step(id), 4);
  return estimateCapture(memoryRecording(channels, 48000), step(id), LOADED, 50, false)!;
});
const toneOf = (estimate: CaptureEstimate): { dbfs: number; playedDbfs: number } => {
  const [take] = estimate.kind === 'take' ? estimate.inputs : [];
  return { dbfs: amplitudeToDb(take!.tone!.amplitude), playedDbfs: take!.located.identity.levelDbfs };
};
const looped = toneOf(estimates[0]!);
/** The meter is across the lead: it shows what the input hears. */
const reading = { dbu: looped.dbfs + 18, parts: [] };
/** A buffer of 220 Ω into 10 kΩ, fed from 100 Ω through its own 1 MΩ. */
const TRUE_GAIN_DB = amplitudeToDb((10e3 / 10_220) * (1e6 / 1_000_100));
/** The response of converters and wiring at 997 Hz. */
const SLACK_DB = 0.001;

const calibrated = (outputOhm: number | null, inputOhm: number | null): Bench => {
  const unset: Bench = { ...LOADED, output: { ...LOADED.output!, resistanceOhm: outputOhm }, inputs: [{ ...LOADED.inputs[0]!, resistanceOhm: inputOhm }] };
  const stated = ({ dbu, uncertaintyDb }: { dbu: number; uncertaintyDb: number }): Stated => ({ value: dbu, tolerance: uncertaintyDb });
  return {
    ...unset,
    output: { ...unset.output!, fullScaleDbu: stated(outputFullScale(reading, looped.playedDbfs, unset)) },
    inputs: [{ ...unset.inputs[0]!, fullScaleDbu: stated(inputFullScale(reading, { dbfs: looped.dbfs, parts: [] })) }],
  };
};
const gainOf = ({ figures }: JobFigures): { value: number; remarks: readonly string[] } => {
  const { value, remarks } = figures.find(({ id, state }) => id === 'gain.1k' && state === 'rest')!;
  return { value: value!, remarks };
};

it('with resistances stated, the output’s own voltage is found and a gain from the calibrations is the board’s', () => {
  const bench = calibrated(100, 10e3);
  expect(Math.abs(bench.output!.fullScaleDbu!.value - 12)).toBeLessThan(SLACK_DB);
  expect(Math.abs(bench.inputs[0]!.fullScaleDbu!.value - 18)).toBeLessThan(SLACK_DB);
  expect(Math.abs(gainOf(measureJob(plainBoard, bench, estimates.slice(1))).value - TRUE_GAIN_DB)).toBeLessThan(SLACK_DB);
});

it('against bench.take it is an insertion gain, which says by how much the input loads the loop; nothing is out of calibration', () => {
  const measured = measureJob(plainBoard, calibrated(100, 10e3), estimates);
  const { value, remarks } = gainOf(measured);
  expect(Math.abs(value - (TRUE_GAIN_DB + amplitudeToDb(10_100 / 10e3)))).toBeLessThan(SLACK_DB);
  expect(remarks).toEqual(['Against the bench looped to itself.', expect.stringContaining('take 0.09 dB off the bench output; against the output’s own voltage the gain is lower by that') as string]);
  expect(measured.remarks).toEqual([]);
  // The voltage of the loaded lead, as a full scale of the output: told, where the meter is as good as that.
  const loaded = calibrated(100, 10e3);
  const wrong: Bench = { ...loaded, output: { ...loaded.output!, fullScaleDbu: { value: 12 - 0.0864, tolerance: 0.01 } }, inputs: [{ ...loaded.inputs[0]!, fullScaleDbu: { value: 18, tolerance: 0.01 } }] };
  expect(measureJob(plainBoard, wrong, estimates).remarks).toEqual([expect.stringContaining('the bench reads 0.09 dB from what its calibrations say') as string]);
});

it.each([[100, null], [null, 10e3], [null, null]])('where a resistance is not stated (%s Ω, %s Ω), the truth is within the tolerance', (outputOhm, inputOhm) => {
  const bench = calibrated(outputOhm, inputOhm);
  const { value, tolerance } = bench.output!.fullScaleDbu!;
  expect(Math.abs(value - 12)).toBeLessThan(tolerance!);
  expect(tolerance!).toBeGreaterThan(0.08);
  expect(measureJob(plainBoard, bench, estimates).remarks).toEqual([]);
});
