/**
 * Files that together are one recording: one with every channel, or mono files, one per output.
 *
 * @module
 */
import type { Bench } from '../src/board/model.js';
import { selectChannels, sliceRecording } from '../src/measure/recording.js';
import type { Recording } from '../src/measure/recording.js';
import { wavRecording } from '../src/measure/wav-recording.js';
import { problem } from '../src/problems.js';
import { readWavInfo } from '../src/wav/header.js';
import { formatToKeep } from './encode-recording.js';
import type { KeptFormat } from './encode-recording.js';
import { fileSource } from './files.js';

export interface RecordingFiles {
  /** Absolute. */
  readonly files: readonly string[];
  /** As the user knows them. */
  readonly shown: readonly string[];
  /** Outputs that the files are of, in their order; null for one file with all channels. */
  readonly outputs: readonly string[] | null;
}

export interface OpenRecording {
  readonly name: string;
  /** The channels as bench.yaml counts them. */
  readonly recording: Recording;
  /** The channels that the bench names, in its order. */
  readonly heard: Recording;
  readonly format: KeptFormat;
  readonly recordedAt: string | null;
  /** The recorder never filled in the length. */
  readonly unfinished: boolean;
  close(): void;
}

/** What a recording is called in messages. */
export const nameOf = ({ shown }: RecordingFiles): string => shown.join(' + ');

/** Every output once, a file for each? @throws `cli.outputs` */
export function checkOutputs(outputs: readonly string[], files: number, bench: Bench): void {
  const known = bench.inputs.map((i) => i.output);
  const fits = outputs.length === files && outputs.length === known.length && new Set(outputs).size === outputs.length && outputs.every((id) => known.includes(id));
  if (!fits) throw problem('cli.outputs', { given: outputs.join(','), files, known: known.join(',') });
}

/** Opens a recording; close it after use. @throws what the WAV reader throws, `capture.channel-count`, `cli.not-mono`, `cli.unlike-files` */
export function openRecording(from: RecordingFiles, bench: Bench): OpenRecording {
  const { files, shown, outputs } = from;
  const sources: ReturnType<typeof fileSource>[] = [];
  const close = (): void => {
    for (const source of sources) source.close();
  };
  try {
    const opened = files.map((file, i) => {
      const source = fileSource(file);
      sources.push(source);
      const named = { ...source, name: shown[i]! };
      return { source: named, info: readWavInfo(named) };
    });
    const { info: first } = opened[0]!;
    const needs = Math.max(...bench.inputs.map((i) => i.channel));
    const parts = opened.map(({ source, info }) => wavRecording(source, info));
    if (outputs === null) {
      if (first.channels < needs) throw problem('capture.channel-count', { file: shown[0]!, has: first.channels, needs });
    } else {
      for (const [i, { info }] of opened.entries()) {
        if (info.channels !== 1) throw problem('cli.not-mono', { file: shown[i]!, channels: info.channels });
        if (info.sampleRateHz !== first.sampleRateHz || info.frames !== first.frames) throw problem('cli.unlike-files', { first: shown[0]!, second: shown[i]! });
      }
    }
    // Channel n of a capture is what bench.yaml calls channel n; channels that it does not name stay silent.
    const recording = outputs === null ? parts[0]! : joinMono(parts, outputs.map((id) => bench.inputs.find((i) => i.output === id)!.channel), needs);
    return {
      name: nameOf(from),
      recording,
      heard: selectChannels(recording, bench.inputs.map((i) => i.channel - 1)),
      format: formatToKeep(first),
      recordedAt: first.recordedAt,
      unfinished: opened.some((o) => o.info.unfinished),
      close,
    };
  } catch (error) {
    close();
    throw error;
  }
}

function joinMono(parts: readonly Recording[], channelOf: readonly number[], channelCount: number): Recording {
  const { sampleRateHz, frames } = parts[0]!;
  const read = (start: number, count: number): Float64Array[] => {
    const samples = parts.map((p) => p.read(start, count)[0]!);
    return Array.from({ length: channelCount }, (_, c) => {
      const at = channelOf.indexOf(c + 1);
      return at < 0 ? new Float64Array(samples[0]!.length) : samples[at]!;
    });
  };
  return sliceRecording({ sampleRateHz, channelCount, frames, read, forEachBlock: () => undefined }, 0, frames);
}
