/**
 * Seconds of each part of a measurement by itself, on one capture of each kind: the median of the repeats after one warm-up,
 * as JSON on stdout. The parts are those of `same_in_scipy.py --parts`.
 *
 *   node parts.mjs <folder of the built program> <job> <repeats>
 */
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { median } from './median.mjs';

const [, , dist, job, repeats] = process.argv;
const load = (module) => import(pathToFileURL(path.resolve(dist, `${module}.js`)));

const { fileSource } = await load('cli/files');
const { readWavInfo } = await load('src/wav/header');
const { memoryRecording } = await load('src/measure/recording');
const { wavRecording } = await load('src/measure/wav-recording');
const { NOISE_HIGH_HZ, NOISE_LOW_HZ, segmentSize } = await load('src/measure/idle');
const { checkStationarity } = await load('src/measure/stationarity');
const { findLines } = await load('src/measure/spectral-lines');
const { findTakes } = await load('src/measure/take-search');
const { clockRatioOf, measureTone, startFrameOf } = await load('src/measure/take');
const { GRID_HZ } = await load('src/measure/frequency-grid');
const { bandPower, createPsdAccumulator } = await load('src/numerics/psd');
const { createQuasiPeakMeter } = await load('src/numerics/quasi-peak');
const { aWeighting, ccirRmsWeighting } = await load('src/numerics/weighting');
const { SWEEP_LEAD_S, SWEEP_TAIL_S, prepareSweep, sweepResponse } = await load('src/numerics/deconvolution');
const { amplitudeOfDbfs } = await load('src/signals/exact');
const { heardSweep, sweepDurationS } = await load('src/signals/sweep');
const { TONE_HZ, takeTimetable } = await load('src/signals/take');

const open = (step) => {
  const source = fileSource(path.join(job, 'captures', `${step}.wav`));
  return wavRecording(source, readWavInfo(source));
};
const inMemory = (recording) => memoryRecording(recording.read(0, recording.frames), recording.sampleRateHz);

const idleFile = open('rest.idle');
const takeFile = open('rest.take');
const idle = inMemory(idleFile);
const take = inMemory(takeFile);
const rate = idle.sampleRateHz;
const channels = [...Array(idle.channelCount).keys()];

const welch = () => {
  const accumulator = createPsdAccumulator(channels.length, rate, segmentSize(rate, idle.frames));
  idle.forEachBlock((block) => accumulator.push(block.channels, block.frames));
  return accumulator.finish();
};
const psds = welch();
const [located] = findTakes(take).takes;
const playerRate = rate * clockRatioOf(located);
const sweepFrame = startFrameOf(located, rate) + takeTimetable.sweep.atS * playerRate;
const first = Math.floor(sweepFrame - SWEEP_LEAD_S * playerRate);
const durationS = sweepDurationS(located.identity.sweepTopHz);
const frames = Math.ceil((SWEEP_LEAD_S + durationS + SWEEP_TAIL_S) * playerRate);
const sweeps = take.read(first, frames);
const amplitude = amplitudeOfDbfs(located.identity.levelDbfs);
const toneFrom = Math.ceil(startFrameOf(located, rate) + (takeTimetable.tone.atS + 0.05) * playerRate);
const tones = take.read(toneFrom, Math.floor((takeTimetable.tone.lengthS - 0.1) * playerRate));

const work = {
  'reading WAV': () => {
    for (const recording of [idleFile, takeFile]) recording.forEachBlock(() => undefined);
  },
  steadiness: () => checkStationarity(idle),
  Welch: welch,
  'weighted sums': () => psds.map((psd) => [() => 1, aWeighting, ccirRmsWeighting].map((w) => bandPower(psd, NOISE_LOW_HZ, NOISE_HIGH_HZ, w))),
  'local floor, lines': () => psds.map((psd) => findLines(psd, NOISE_LOW_HZ, NOISE_HIGH_HZ)),
  'quasi-peak': () => {
    const meters = channels.map(() => createQuasiPeakMeter(rate, 1.5));
    idle.forEachBlock((block) => {
      meters.forEach((meter, c) => meter.push(block.channels[c]));
    });
    return meters.map((meter) => meter.finish());
  },
  markers: () => findTakes(take),
  sweep: () => {
    const played = heardSweep(located.identity.sweepTopHz, playerRate, frames, sweepFrame - first, amplitude);
    const reference = prepareSweep(played.samples, frames, playerRate, played.topHz);
    return sweeps.map((y) => sweepResponse(y, reference, GRID_HZ));
  },
  tone: () => tones.map((x) => measureTone(x, rate, (TONE_HZ * rate) / playerRate, 0)),
};

const seconds = {};
for (const [name, run] of Object.entries(work)) {
  run();
  const times = [];
  for (let i = 0; i < Number(repeats); i++) {
    const began = performance.now();
    run();
    times.push((performance.now() - began) / 1000);
  }
  seconds[name] = median(times);
}
console.log(JSON.stringify(seconds));
