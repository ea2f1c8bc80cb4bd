/**
 * The public door of the library: everything a program of your own needs to measure, judge and report captures.
 *
 * @module
 */
export * from './problems.js';
export * from './units/decibels.js';
export { CHANNEL_WEIGHT, createLoudnessMeter, kWeighting, kWeightingDb } from './numerics/loudness.js';
export type { LoudnessMeter, LoudnessResult } from './numerics/loudness.js';
export { CLASS_1_BINS, thirdOctaveLevels } from './numerics/third-octave-levels.js';
export type { ThirdOctaveLevel } from './numerics/third-octave-levels.js';
export { aWeighting, cWeighting, ccirRmsWeighting, itu468Response, itu468Weighting } from './numerics/weighting.js';
export { renderTake, takeTimetable } from './signals/take.js';
export type { TakeIdentity } from './signals/marker.js';
export { readWavInfo } from './wav/header.js';
export type { WavInfo } from './wav/header.js';
export type { ByteSource } from './wav/byte-source.js';
export type { Bench, Board, LimitSet, Step } from './board/model.js';
export { memoryRecording } from './measure/recording.js';
export type { Recording } from './measure/recording.js';
export { wavRecording } from './measure/wav-recording.js';
export { findTakes } from './measure/take-search.js';
export { measureTake } from './measure/take.js';
export { distortionCurves } from './measure/sweep-distortion.js';
export type { HarmonicLevels } from './measure/sweep-distortion.js';
export { measureIdle } from './measure/idle.js';
export { measureStairs } from './measure/stairs.js';
export type { StairEstimate, StairsEstimate } from './measure/stairs.js';
export { measureSwitching } from './measure/switching.js';
export type { Click, SwitchingEstimate } from './measure/switching.js';
export { estimateCapture, measureJob } from './measure/job.js';
export type { CaptureEstimate, JobFigures } from './measure/job.js';
export { limitSets } from './judge/limit-sets.js';
export { judgeJob } from './judge/judge-job.js';
export { predict } from './circuit/prediction.js';
export type { BenchPath, Prediction } from './circuit/prediction.js';
export { compareJobs, compareStates } from './judge/compare.js';
export type { Comparison } from './judge/compare.js';
export type * from './judge/results.js';
