import { describe, expect, it } from 'vitest';
import { captureCommands } from '../../cli/next-step.js';
import { whatToMend } from '../../cli/results-summary.js';
import { stepsOf } from '../../src/board/steps.js';
import type { Finding, Results } from '../../src/judge/results.js';
import { boardResults } from '../report/fixture.js';
import { bench, board } from '../simulate/fixtures.js';

const results = boardResults();
const steps = stepsOf(board, bench);
const finding = (severity: Finding['severity'], confirm: string): Finding => ({ ...results.findings[0]!, severity, confirm });
const mend = (findings: Finding[], missing: string[] = []): ReturnType<typeof whatToMend> => whatToMend({ ...results, problems: [], findings, verdict: { ...results.verdict, missing } } as Results, steps);

describe('what to do with a board that is not to be signed off yet', () => {
  it('is what the gravest finding says, and the capture that would confirm it', () => {
    const { says, step } = mend([finding('caution', 'Capture rest.take again: x'), finding('fault', 'Capture loop-eq.idle again: noise.hum must fall to that of rest.idle.')]);
    expect(step?.id).toBe('loop-eq.idle');
    expect(says).toBe('try what is said under 2., capture loop-eq.idle again and sign off again');
    expect(captureCommands('pit board', step!)).toEqual(['boardproof capture "pit board" --step loop-eq.idle', 'boardproof import "pit board" <recording.wav> --step loop-eq.idle']);
  });

  it('is in words where no step is named', () => {
    expect(mend([finding('fault', 'Listen again.')])).toEqual({ says: 'try what is said under 1., capture it again, and sign off again', step: null });
  });

  it('is the first capture that is missing, whose recording is known by its markers', () => {
    const { step } = mend([], ['rest.take', 'all.idle']);
    expect(captureCommands('job', step!)).toEqual(['boardproof capture job --step rest.take', 'boardproof import job <recording.wav>']);
  });
});
