/**
 * A capture file → its estimate, as plain data that may cross threads.
 *
 * @module
 */
import type { Bench, Step } from '../src/board/model.js';
import { estimateCapture } from '../src/measure/job.js';
import type { CaptureEstimate } from '../src/measure/job.js';
import { wavRecording } from '../src/measure/wav-recording.js';
import { problem } from '../src/problems.js';
import { readWavInfo } from '../src/wav/header.js';
import { fileSource, sha256File } from './files.js';
import { asProblem } from './system-error.js';

export interface EstimateRequest {
  readonly file: string;
  readonly step: Pick<Step, 'id' | 'state' | 'plug' | 'kind'>;
  readonly bench: Bench;
  readonly mainsHz: number;
}

export interface FileFacts {
  readonly sampleRateHz: number;
  readonly channels: number;
  readonly frames: number;
  readonly formatLabel: string;
  readonly recordedAt: string | null;
  readonly sha256: string;
}

export type EstimateAnswer =
  | { readonly step: string; readonly facts: FileFacts; readonly estimate: CaptureEstimate | null }
  | { readonly step: string; readonly code: string; readonly message: string; readonly exit: number };

/** Never throws: what cannot be read or used comes back as a sentence. */
export function estimateFile({ file, step, bench, mainsHz }: EstimateRequest): EstimateAnswer {
  try {
    const source = fileSource(file);
    try {
      const info = readWavInfo(source);
      const needs = Math.max(...bench.inputs.map((i) => i.channel));
      if (info.channels < needs) throw problem('capture.channel-count', { file, has: info.channels, needs });
      const estimate = estimateCapture(wavRecording(source, info), step, bench, mainsHz);
      if (estimate === null && step.kind === 'take') throw problem('capture.no-markers', { file });
      const { sampleRateHz, channels, frames, formatLabel, recordedAt } = info;
      return { step: step.id, facts: { sampleRateHz, channels, frames, formatLabel, recordedAt, sha256: sha256File(file) }, estimate };
    } finally {
      source.close();
    }
  } catch (error) {
    const known = asProblem(error, file);
    return { step: step.id, code: known.code, message: known.message, exit: known.exit };
  }
}
