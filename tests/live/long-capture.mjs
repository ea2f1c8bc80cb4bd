/**
 * Measures an idle capture of some hours (two: 4.1 GB), 96 kHz, stereo, 24 bit, and prints the memory it took. The file is not on
 * the disk: its bytes are made when they are read, from a hash of the position and a hum.
 */
import { estimateCapture } from '../../dist/src/measure/job.js';
import { wavRecording } from '../../dist/src/measure/wav-recording.js';
import { readWavInfo } from '../../dist/src/wav/header.js';
import { wavHeader } from '../../dist/src/wav/write.js';

const hours = Number(process.argv[2] ?? 2);
const rate = 96000;
const frames = hours * 3600 * rate;
const header = wavHeader({ format: 'pcm24', channels: 2, sampleRateHz: rate, frames });
const frameBytes = 6;
/** White noise by position: a mixed 32-bit hash of the sample's number, so that any stretch can be read again. ±400. */
const noiseAt = (n) => {
  let h = Math.imul(n ^ (n >>> 16), 0x7feb352d);
  h = Math.imul(h ^ (h >>> 15), 0x846ca68b);
  return ((h ^ (h >>> 16)) >> 16) % 401;
};
const source = {
  name: 'long.wav',
  size: header.length + frames * frameBytes,
  read(position, into) {
    let done = 0;
    while (done < into.length && position + done < header.length) into[done] = header[position + done++];
    const at = position + done - header.length;
    const end = Math.min(into.length, source.size - position);
    let frame = Math.floor(at / frameBytes);
    let inFrame = at - frame * frameBytes;
    for (; done < end; frame++, inFrame = 0) {
      const hum = Math.round(60 * Math.sin((2 * Math.PI * 49.97 * frame) / rate));
      for (; inFrame < frameBytes && done < end; inFrame++) {
        const value = noiseAt(2 * frame + (inFrame > 2 ? 1 : 0)) + hum;
        into[done++] = (value >> (8 * (inFrame % 3))) & 0xff;
      }
    }
    return done;
  },
};
const bench = { inputs: [1, 2].map((channel, i) => ({ channel, output: 'AB'[i], fullScaleDbu: null, resistanceOhm: null })) };
const began = performance.now();
const estimate = estimateCapture(wavRecording(source, readWavInfo(source)), { id: 'rest.idle', state: 'rest', plug: null, kind: 'idle' }, bench, 50);
const { spectrum, stationarity } = estimate.inputs[0];
console.log(
  JSON.stringify({
    seconds: (performance.now() - began) / 1000,
    maxRssMb: process.resourceUsage().maxRSS / 1024,
    mainsHz: spectrum.lines.mainsHz,
    humDbfs: 10 * Math.log10(2 * spectrum.hum.power),
    events: stationarity.events.length,
    segments: spectrum.psd.segments,
  }),
);
