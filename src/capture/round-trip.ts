/**
 * The round trip: how long after it is played a signal stands in the recording. Converters, drivers and their buffers take
 * that time; it is another in every run. A board's own delay is no matter of it, since takes are placed by their markers.
 *
 * @module
 */
import type { Programme } from './programme.js';
import type { RecordAccount } from './record.js';

/**
 * Seconds from the start marker's first sample as it is played to the same in the recording, by the player's clock. Filler that
 * stood in front of it is part of the time, though cut out of the recording.
 *
 * @param markerFrame - Where the marker was found, frames of the recording.
 * @returns null where the engine did not say when it began to play.
 */
export function roundTripS({ playsFromFrame, cuts }: RecordAccount, { signalS }: Programme, markerFrame: number, sampleRateHz: number): number | null {
  if (playsFromFrame === null) return null;
  const filler = cuts.reduce((sum, cut) => sum + (cut.atFrame <= markerFrame ? cut.frames : 0), 0);
  return (markerFrame + filler - playsFromFrame) / sampleRateHz - signalS;
}
