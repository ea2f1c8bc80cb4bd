/**
 * What a capture needs of whatever plays and records. The engine itself is passed in: the program has one that drives
 * audio devices (cli/audio-engine.ts), tests have one that is a formula.
 *
 * @module
 */

/** What a device can do in one direction; nulls where that was not asked. */
export interface DeviceSide {
  /** Most channels that it opens with. A driver may mix them from fewer. */
  readonly channels: number | null;
  /** Sample rates that it opens with, Hz. */
  readonly ratesHz: readonly number[] | null;
}

export interface AudioDevice {
  /** As the system calls it; what bench.yaml keeps. */
  readonly name: string;
  /** Null where it does not play, or record. */
  readonly plays: DeviceSide | null;
  readonly records: DeviceSide | null;
}

export interface SessionRequest {
  readonly sampleRateHz: number;
  /** Device that plays, and the channel (from 1) that the signal goes to. */
  readonly play: { readonly device: string; readonly channel: number };
  /** Device that records, and how many of its channels; null to play only. */
  readonly record: { readonly device: string; readonly channels: number } | null;
}

export interface AudioBlock {
  /** Number of the first frame since the session began, as the device counts. */
  readonly frame: number;
  readonly frames: number;
  /** When the engine had it, by a clock of the computer that only goes on, s; absent: not known. */
  readonly atS?: number;
  /** None where nothing is recorded: the block then only says that time goes on. */
  readonly channels: readonly Float32Array[];
}

/** A signal on its way out. */
export interface PlayRequest {
  readonly samples: Float32Array;
  /** Begin again at the end, without a seam. */
  readonly loop: boolean;
  /** Level against the samples, dB: from the first to the second, evenly in dB, in so many seconds. Null plays them bit for bit. */
  readonly ramp: { readonly fromDb: number; readonly toDb: number; readonly seconds: number } | null;
}

export interface AudioSession {
  /** Plays from now on; what played before goes on until it ends. */
  play(request: PlayRequest): void;
  /** Takes the level of what plays with a ramp to another, evenly in dB. */
  level(toDb: number, seconds: number): void;
  /**
   * Blocks as they are recorded, until the session is closed.
   *
   * @throws Problem `capture.device-lost`, `capture.open-failed`, `capture.rate`
   */
  readonly blocks: AsyncIterable<AudioBlock>;
  /** Frame, as blocks count, at which what was last played begins; null until the device has said so. */
  readonly playsFromFrame: number | null;
  /** Stops the sound at once. */
  close(): void;
}

export interface AudioEngine {
  /**
   * Every device; with `probe`, what each can do (which opens each for a moment).
   *
   * @param patienceMs - How long to wait for a sound system that does not answer; absent: a minute.
   * @throws Problem `capture.audio-stuck`
   */
  devices(probe: boolean, patienceMs?: number): Promise<readonly AudioDevice[]>;
  /** @throws Problem `capture.open-failed`, `capture.rate` */
  open(request: SessionRequest): Promise<AudioSession>;
}
