/**
 * A bench calibrated from what a voltmeter showed: typed to three digits, or to four, of a meter within its accuracy, while the tone plays in
 * noise. The full scale that bench.yaml is given must hold the truth within its tolerance, also where nothing says what the input takes off the output.
 */
import { inputFullScale, outputFullScale, readMeter, toneLevel } from '../../../dist/src/capture/calibration.js';
import { loopLoading } from '../../../dist/src/measure/calibration.js';
import { part } from '../../../dist/src/measure/figure.js';
import { RATE, generator } from './draws.mjs';

const PLAYED_DBFS = -12;
const HZ = 997;
const VOLTS_AT_0_DBU = Math.sqrt(0.6);
const benchOf = (resistanceOhm, inputs) => ({ output: { channel: 1, fullScaleDbu: null, resistanceOhm }, inputs: inputs.map((ohm, i) => ({ channel: i + 1, output: `${i}`, fullScaleDbu: null, resistanceOhm: ohm })) });
const UNLOADED = benchOf(0, [1e6]);
/** 100 Ω into an input that may take anything from nothing on. */
const UNSTATED = benchOf(100, [null]);

function calibrationTrials(trials, count, noiseRms) {
  for (let trial = 0; trial < trials; trial++) {
    const { gauss, uniform } = generator(80000 + trial);
    const [outputDbu, inputDbu] = [10 + 4 * uniform(), 16 + 4 * uniform()];
    // A stated accuracy is one of 95 %.
    const [share, digits] = trial % 2 === 0 ? [0.005, 4] : [0.01, 3];
    /** Of a level at the meter. */
    const readingOf = (dbu) => readMeter(`${(VOLTS_AT_0_DBU * 10 ** (dbu / 20) * (1 + (share / 2) * gauss())).toPrecision(digits)} V ± ${100 * share} %`);
    const reading = readingOf(outputDbu + PLAYED_DBFS);
    const amplitude = 10 ** ((outputDbu + PLAYED_DBFS - inputDbu) / 20);
    const phase = 2 * Math.PI * uniform();
    const x = Float64Array.from({ length: 2 * RATE }, (_, n) => amplitude * Math.cos((2 * Math.PI * HZ * n) / RATE + phase) + noiseRms * gauss());
    const heard = toneLevel(x, RATE);
    const asFigure = ({ dbu, uncertaintyDb }) => ({ value: dbu, bound: null, parts: [part('calibration', '', uncertaintyDb / 1.96)] });
    count('output.fullScale', asFigure(outputFullScale(reading, PLAYED_DBFS, UNLOADED)), outputDbu);
    count('inputs.fullScale', asFigure(inputFullScale(reading, heard)), inputDbu);
    // Without the meter: what the tone's own level is known to.
    count('level of the tone, in dBFS', { value: heard.dbfs, bound: null, parts: heard.parts }, 20 * Math.log10(amplitude));
    const { highDb } = loopLoading(UNSTATED);
    count('output.fullScale, resistances not stated', asFigure(outputFullScale(readingOf(outputDbu + PLAYED_DBFS - highDb * uniform()), PLAYED_DBFS, UNSTATED)), outputDbu);
  }
}

export const tables = [
  ['calibration, good signal-to-noise', 3e-5],
  ['calibration, poor signal-to-noise', 5e-4],
].map(([name, noiseRms]) => ({ name, trials: 400, kept: 2, run: (trials, count) => { calibrationTrials(trials, count, noiseRms); } }));
