/**
 * A WAV file as a {@link Recording}.
 *
 * @module
 */
import type { ByteSource } from '../wav/byte-source.js';
import type { WavInfo } from '../wav/header.js';
import { forEachBlock, readFrames } from '../wav/read.js';
import type { Recording } from './recording.js';

export function wavRecording(source: ByteSource, info: WavInfo): Recording {
  return {
    sampleRateHz: info.sampleRateHz,
    channelCount: info.channels,
    frames: info.frames,
    read(startFrame, frames) {
      const first = Math.max(0, startFrame);
      const last = Math.min(info.frames, startFrame + frames);
      return readFrames(source, info, first, Math.max(0, last - first));
    },
    forEachBlock(visit) {
      forEachBlock(source, info, {}, visit);
    },
  };
}
