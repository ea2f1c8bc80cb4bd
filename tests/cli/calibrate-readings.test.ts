/** A reading that cannot be meant is refused before anything is written. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { commands } from '../../cli/commands.js';
import type { Keyboard } from '../../cli/keyboard.js';
import { runProgram } from '../../cli/program.js';
import { TEST_NOW, runCli, temporaryFolder } from '../helpers/cli.js';
import { fakeEngine } from '../helpers/fake-audio.js';
import { makeJob } from '../helpers/recordings.js';

const BENCH = 'format: boardproof-bench/1\nbench: b\noutput: { device: interface, fullScale: 14 dBu, resistance: 100 }\nrecorder: { device: interface }\ninputs: [{ channel: 1, output: A, resistance: 1M }]\n';

it('volts typed for millivolts leave bench.yaml as it is', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH);
  const refused = await runCli(['calibrate', folder, '--reading', '388 V', '--yes'], { audio: fakeEngine({ hear: (played) => 0.5 * played }) });
  expect(refused.exit).toBe(2);
  // 388 V are 54.0 dBu, at −20 dBFS.
  expect(refused.err.replace(/\s+/g, ' ')).toContain('would make 0 dBFS 74.0 dBu, where -20 to 40 dBu is usual');
  expect(readFileSync(join(folder, 'bench.yaml'), 'utf8')).toBe(BENCH);
});

it('says which tone the reading was of, in volts that a meter shows', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH);
  const done = await runCli(['calibrate', folder, '--reading', '388 mV', '--yes'], { audio: fakeEngine({ hear: (played) => 0.5 * played }) });
  expect(done.exit).toBe(0);
  expect(done.err.replace(/\s+/g, ' ')).toContain('Plays 997 Hz at -20 dBFS (-6.0 dBu at the bench output) for');
  // 388 mV are −6.01 dBu; half of what is played is heard.
  expect(done.out).toMatch(/From 0\.388 V for the tone at -20 dBFS, 0 dBFS is, as bench\.yaml now says:\n[^\n]*on a meter\n {2}bench output, nothing on it +14\.00 dBu ± 0\.\d\d dB +3\.88 V\n {2}input 1, output A +20\.02 dBu ± 0\.\d\d dB +7\.76 V\n/);
  expect(done.err.match(/Next:/g)).toHaveLength(1);
});

it('a tone that cannot be measured is said at once, and the reading asked for again', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH);
  let screen = '';
  let read = 0;
  let hear: ((key: string) => void) | null = null;
  const keys: readonly (readonly [shown: RegExp, key: string])[] = [
    [/\[Enter\] play/, 'enter'],
    [/the meter is steady[\s\S]*\[q\] stop/, 'enter'],
    [/On recorder input 1 the tone cannot be\s+measured \(only \d+ dB above noise and\s+distortion\)/, 'enter'],
    [/\[Enter\] it is so/, 'q'],
  ];
  let next = 0;
  let asked = 0;
  const look = (): void => {
    const match = next < keys.length && hear ? keys[next]![0].exec(screen.slice(read)) : null;
    if (!match) return;
    read += match.index + match[0].length;
    const key = keys[next++]![1];
    const now = hear!;
    // Once the level view has heard something.
    setTimeout(() => { now(key); look(); }, 100);
  };
  const write = (text: string): void => {
    screen += text;
    look();
  };
  const keyboard: Keyboard = {
    listen: (to) => {
      hear = to;
      setTimeout(look, 0);
      return () => { if (hear === to) hear = null; };
    },
    line: (question) => {
      write(`${question}38.8 mV\n`);
      asked++;
      return Promise.resolve('38.8 mV');
    },
  };
  // A hum, until the reading is asked for again.
  const audio = fakeEngine({ noise: 1e-6, hear: (played, _channel, frame) => 0.5 * played + (asked < 2 && !/cannot be\s+measured/.test(screen) ? 2e-4 * Math.sin(frame / 40) : 0) });
  const exit = await runProgram(['calibrate', folder], { out: { write }, err: { write }, now: () => TEST_NOW, cwd: folder, isTty: false, keyboard, audio, columns: { out: 40, err: 40 } }, { version: '1', commands, debug: false });
  expect([exit, next, asked]).toEqual([0, keys.length, 2]);
  expect(readFileSync(join(folder, 'bench.yaml'), 'utf8')).toMatch(/fullScale: 14\.0\d dBu ± 0\.\d\d dB[\s\S]*output: A, resistance: 1M, fullScale: 20\.0\d dBu/);
  // Commands stay whole, so that they can be copied.
  expect(screen.split('\n').filter((line) => line.length > 40 && !line.startsWith('      boardproof '))).toEqual([]);
});

/** A person who presses Enter at the tone and never answers what the meter shows. */
function silent(write: (text: string) => void): { keyboard: Keyboard; asked: () => number } {
  let asked = 0;
  return {
    asked: () => asked,
    keyboard: {
      listen: (to) => {
        const timer = setInterval(() => { to('enter'); }, 5);
        return () => { clearInterval(timer); };
      },
      line: (question, end) => {
        write(question);
        asked++;
        return new Promise((resolve) => { end?.addEventListener('abort', () => { resolve(null); }); });
      },
    },
  };
}

it.each([
  ['the interface goes', { lostAfter: 60 }, 3, /The audio stopped after \d+\.\d s \(interface\)/],
  ['Ctrl-C', {}, 130, /Interrupted/],
] as const)('%s while the reading is asked for: said at once, and nothing waits for an answer', async (_what, world, code, sentence) => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH);
  const controller = new AbortController();
  let screen = '';
  const person = silent((text) => (screen += text));
  const audio = fakeEngine({ hear: (played) => 0.5 * played, tick: (index) => { if (code === 130 && index === 60) controller.abort(); }, ...world });
  const run = await runCli(['calibrate', folder], { audio, keyboard: person.keyboard, signal: controller.signal });
  expect(screen).toContain('What does the meter show?');
  expect([run.exit, person.asked()]).toEqual([code, 1]);
  expect(run.err).toMatch(sentence);
  expect(readFileSync(join(folder, 'bench.yaml'), 'utf8')).toBe(BENCH);
});

it('begins no louder than the ceiling of the bench', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH.replace('14 dBu', '14 dBu, ceiling: -50 dBFS'));
  const audio = fakeEngine({ hear: (played) => 0.5 * played, lostAfter: 60 });
  await runCli(['calibrate', folder], { audio, keyboard: silent(() => undefined).keyboard });
  expect(Math.max(...audio.peaks[0]!)).toBeGreaterThan(10 ** (-50.1 / 20));
  expect(Math.max(...audio.peaks[0]!)).toBeLessThanOrEqual(Math.fround(10 ** (-50 / 20)));
});

it('plays nothing above the ceiling without a terminal either, unless that level is asked for', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH.replace('14 dBu', '14 dBu, ceiling: -26 dBFS'));
  const audio = fakeEngine({ hear: (played) => 0.5 * played });
  const refused = await runCli(['calibrate', folder, '--reading', '388 mV', '--yes'], { audio });
  expect(refused).toMatchObject({ exit: 2, err: expect.stringMatching(/The tone .*-20\s+dBFS,\s+above\s+the\s+ceiling\s+of\s+-26\s+dBFS/) as string });
  expect(audio.peaks.flat()).toEqual([]);
  expect((await runCli(['calibrate', folder, '--reading', '388 mV', '--yes', '--level', '-20'], { audio })).exit).toBe(0);
  expect(Math.max(...audio.peaks.flat())).toBeLessThanOrEqual(Math.fround(0.1));
});

it('raises the tone no further than the ceiling, which a lower level leaves where it is', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH.replace('14 dBu', '14 dBu, ceiling: -32 dBFS'));
  let hear: ((key: string) => void) | null = null;
  const audio = fakeEngine({ hear: (played) => 0.5 * played, tick: (index) => { if (index > 20 && index < 40) hear?.('+'); }, lostAfter: 100 });
  const keyboard: Keyboard = {
    listen: (to) => {
      hear = to;
      // To the patch: the tone may play.
      if (audio.opened.length === 0) setTimeout(() => { to('enter'); }, 0);
      return () => { hear = null; };
    },
    line: () => Promise.resolve(null),
  };
  const run = await runCli(['calibrate', folder, '--level', '-50'], { audio, keyboard });
  expect(run.err.replace(/\s+/g, ' ')).toContain('never above -32 dBFS');
  expect(20 * Math.log10(Math.max(...audio.peaks[0]!))).toBeCloseTo(-32, 1);
});

it('leaves no live line behind when it is stopped, however long the tone takes to sink', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH);
  let heard = 0;
  const keyboard: Keyboard = {
    listen: (to) => {
      const timer = setInterval(() => { to(heard > 60 ? 'q' : 'enter'); }, 5);
      return () => { clearInterval(timer); };
    },
    line: () => Promise.resolve(''),
  };
  const { exit, err } = await runCli(['calibrate', folder], { audio: fakeEngine({ hear: (played) => 0.5 * played, tick: () => heard++ }), keyboard, isTty: true });
  expect(exit).toBe(0);
  expect(err).toMatch(/played -40 dBFS, heard/);
  // eslint-disable-next-line no-control-regex -- The line is taken away by an escape.
  expect(err).toMatch(/\r\u001b\[K$/);
});

it('a tone that was made louder is listened to from then on', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH);
  let hear: ((key: string) => void) | null = null;
  let asked = 0;
  // Seven seconds into the tone it is made louder and taken for steady in one movement.
  const audio = fakeEngine({ hear: (played) => 0.5 * played, tick: (index) => { if (index === 80 && audio.opened.length === 1) for (const key of ['+', 'enter']) hear?.(key); } });
  const keyboard: Keyboard = {
    listen: (to) => {
      hear = to;
      if (audio.opened.length === 0 || asked > 0) setTimeout(() => { to(asked > 0 ? 'q' : 'enter'); }, 0);
      return () => { hear = null; };
    },
    // −35 dBFS of 14 dBu.
    line: () => Promise.resolve(++asked === 1 ? '69.0 mV' : 'q'),
  };
  const run = await runCli(['calibrate', folder], { audio, keyboard });
  expect([asked, run.err.replace(/\s+/g, ' ')]).toEqual([1, expect.not.stringContaining('cannot be measured') as string]);
  expect(readFileSync(join(folder, 'bench.yaml'), 'utf8')).toMatch(/fullScale: 14\.\d\d dBu ± 0\.\d\d dB[\s\S]*resistance: 1M, fullScale: 20\.\d\d dBu/);
});
