/**
 * The catalogue's trials take takes and stairs the short way, from the response; here the same step goes through samples as well, with
 * faults in it, and the figures of both ways agree within what they state.
 */
import { describe, expect, it } from 'vitest';
import { measureJob } from '../../src/measure/job.js';

interface Estimate { readonly step: { readonly id: string } }
interface Trial {
  readonly estimateThroughSamples: (model: unknown, step: unknown, seed: number) => Estimate;
  readonly estimateStep: (world: unknown, model: unknown, step: unknown, seed: number) => Estimate;
}

const built = (path: string): Promise<unknown> => import(new URL(`../../dist/src/${path}`, import.meta.url).href);
const own = (path: string): Promise<unknown> => import(new URL(path, import.meta.url).href);

describe('the short way', () => {
  it('gives the gain, response, delay and distortion that the samples give, on a board with three faults', async () => {
    const { drawBoard } = (await own('./boards.mjs')) as { drawBoard: (seed: number, sizes: { low: number; high: number }) => { board: Parameters<typeof measureJob>[0]; bench: Parameters<typeof measureJob>[1] } };
    const { estimateStep, estimateThroughSamples } = (await own('./trial.mjs')) as Trial;
    const { worldOf } = (await built('simulate/world.js')) as { worldOf: (model: unknown) => unknown };
    const { stepsOf } = (await built('board/steps.js')) as { stepsOf: (board: unknown, bench: unknown) => readonly { id: string }[] };
    // Seed 2: four loops, two outputs.
    const drawn = drawBoard(2, { low: 4, high: 4 });
    const loop = 'loop2';
    const model = { ...drawn, faults: [{ kind: 'loop-dull', loop, cornerHz: 5000 }, { kind: 'output-gain', output: 'B', gainDb: -1.5 }, { kind: 'output-latency', output: 'B', delayS: 4e-4 }] };
    const { board, bench } = model;
    const world = worldOf(model);
    const steps = stepsOf(board, bench).filter(({ id }) => ['rest.take', `loop-${loop}.take`].includes(id));
    const figuresOf = (estimates: readonly Estimate[]) => measureJob(board, bench, estimates as unknown as Parameters<typeof measureJob>[2]).figures;
    const short = figuresOf(steps.map((step) => estimateStep(world, model, step, 5)));
    const long = figuresOf(steps.map((step) => estimateThroughSamples(model, step, 5)));
    const ids = ['gain.1k', 'level.tone', 'match.level', 'match.level-worst-band', 'match.delay', 'match.polarity', 'loop.gain', 'loop.worst-band', 'loop.polarity', 'loop.unity-error'];
    let compared = 0;
    for (const a of short.filter(({ id }) => ids.includes(id))) {
      const b = long.find((f) => f.id === a.id && f.state === a.state && f.output === a.output)!;
      // Three standard uncertainties of each, and what is rounded alike in neither: 1e-6 of a sign.
      const of = (f: typeof a): number => Math.hypot(...(f.parts ?? []).filter((p) => p.kind !== 'calibration').map((p) => p.standard));
      expect(Math.abs(a.value! - b.value!), `${a.id} in ${a.state} on ${a.output ?? '-'}: ${a.value!} against ${b.value!}`).toBeLessThanOrEqual(3 * Math.hypot(of(a), of(b)) + 1e-6);
      compared++;
    }
    expect(compared).toBeGreaterThan(12);
  });

  it('gives the headroom that the samples give, of a stage whose halves end apart', async () => {
    const { drawBoard } = (await own('./boards.mjs')) as { drawBoard: (seed: number, sizes: { low: number; high: number }) => { board: Parameters<typeof measureJob>[0]; bench: Parameters<typeof measureJob>[1] } };
    const { estimateStep, estimateThroughSamples } = (await own('./trial.mjs')) as Trial;
    const { worldOf } = (await built('simulate/world.js')) as { worldOf: (model: unknown) => unknown };
    const { stepsOf } = (await built('board/steps.js')) as { stepsOf: (board: unknown, bench: unknown) => readonly { id: string }[] };
    const drawn = drawBoard(2, { low: 4, high: 4 });
    const model = { ...drawn, faults: [{ kind: 'output-clips', output: 'B', clip: { positiveV: 1.3, negativeV: 2.6, sharpness: 24 } }] };
    const { board, bench } = model;
    const step = stepsOf(board, bench).find(({ id }) => id === 'rest.stairs')!;
    const figuresOf = (estimate: Estimate) => measureJob(board, bench, [estimate] as unknown as Parameters<typeof measureJob>[2]).figures;
    const short = figuresOf(estimateStep(worldOf(model), model, step, 5));
    const long = figuresOf(estimateThroughSamples(model, step, 5));
    const read = (figures: typeof short, id: string, output: string): number => figures.find((f) => f.id === id && f.output === output)!.value!;
    // What both leave of headroom between two stairs is 0.02 dB (tests/measure/headroom.test.ts).
    for (const id of ['headroom', 'headroom.input']) expect(Math.abs(read(short, id, 'B') - read(long, id, 'B')), `${id}: ${read(short, id, 'B')} against ${read(long, id, 'B')}`).toBeLessThan(0.02);
    expect(Math.abs(read(short, 'headroom.even-odd', 'B') - read(long, 'headroom.even-odd', 'B'))).toBeLessThan(0.2);
    // Output A does not clip, and both ways say so.
    for (const figures of [short, long]) expect(figures.find((f) => f.id === 'headroom' && f.output === 'A')!.bound).toBe('lower');
  });
});
