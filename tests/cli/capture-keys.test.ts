/** Every key of the guide, pressed once by somebody who only reads the screen; the engine is a formula. */
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import type { Keyboard } from '../../cli/keyboard.js';
import { fileCapture, openJob } from '../../cli/job.js';
import { TEST_NOW, temporaryFolder } from '../helpers/cli.js';
import { commands } from '../../cli/commands.js';
import { runProgram } from '../../cli/program.js';
import { fakeEngine } from '../helpers/fake-audio.js';
import { makeJob } from '../helpers/recordings.js';

const BOARD = 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n';
const BENCH = 'format: boardproof-bench/1\nbench: bench 1\noutput: { device: interface }\nrecorder: { device: interface }\ninputs: [{ channel: 1, output: A }]\n';

/** Presses the next key once the screen shows what it answers, after what the key before answered. */
function reader(script: readonly (readonly [shown: RegExp, key: string])[]): { keyboard: Keyboard; write: (text: string) => void; screen: () => string; left: () => number } {
  let screen = '';
  let read = 0;
  let next = 0;
  let hear: ((key: string) => void) | null = null;
  const look = (): void => {
    if (hear === null || next === script.length) return;
    const [shown, key] = script[next]!;
    const match = shown.exec(screen.slice(read));
    if (!match) return;
    read += match.index + match[0].length;
    next++;
    const now = hear;
    setImmediate(() => {
      now(key);
      look();
    });
  };
  return {
    keyboard: {
      listen: (to) => {
        hear = to;
        setImmediate(look);
        return () => {
          if (hear === to) hear = null;
        };
      },
      line: () => Promise.resolve(null),
    },
    write: (text) => {
      screen += text;
      look();
    },
    screen: () => screen.replace(/\s+/g, ' '),
    left: () => script.length - next,
  };
}

it('every key does what it says', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), BOARD, BENCH);
  const person = reader([
    [/\[Enter\] it is so/, 'enter'],
    // Levels with nothing playing, then the recording broken off at once, then heard with a hum, and filed as it is.
    [/1 of 2 {2}rest\.idle[\s\S]*\[l\] levels/, 'l'],
    [/Nothing plays\. Enter ends it\./, 'enter'],
    [/\[Enter\] record/, 'enter'],
    [/\[q\] break off/, 'q'],
    [/stopped[\s\S]*\[Enter\] again/, 'enter'],
    // The levels end with Enter, which records nothing.
    [/not good[\s\S]*\[f\] file as is/, 'l'],
    [/Nothing plays\. Enter ends it\./, 'enter'],
    [/\[f\] file as is/, 'f'],
    // Levels with the tone, back to the step that is done, past it, and leads moved until a key ends it.
    [/2 of 2 {2}rest\.flex[\s\S]*\[l\] levels/, 'l'],
    [/The tone plays at -20 dBFS/, 'enter'],
    [/\[b\] back/, 'b'],
    [/1 of 2 {2}rest\.idle {2}\(done; a new one takes its place, the old is kept\)[\s\S]*\[s\] skip/, 's'],
    [/2 of 2 {2}rest\.flex[\s\S]*\[b\] back/, 'enter'],
    [/\[Enter\] end the recording/, 'x'],
    [/dropout on A/, 'enter'],
  ]);
  const hum = (frame: number): number => 0.01 * Math.sin((2 * Math.PI * 50 * frame) / 48_000);
  // A lead that lets go for a tenth of a second, ten seconds after the device was opened.
  const audio = fakeEngine({ hear: (played, _channel, frame) => (frame > 480_000 && frame < 484_800 ? 0 : 0.5 * played) + hum(frame), noise: 3e-6 });
  const exit = await runProgram(['capture', folder, '--step', 'rest.idle,rest.flex'], { out: { write: person.write }, err: { write: person.write }, now: () => TEST_NOW, cwd: folder, isTty: false, keyboard: person.keyboard, audio }, { version: '1', commands, debug: false });
  expect([exit, person.left()]).toEqual([0, 0]);
  expect(readdirSync(join(folder, 'captures')).filter((n) => n.endsWith('.wav')).sort()).toEqual(['rest.flex.wav', 'rest.idle.wav', expect.stringMatching(/^rest\.idle~.*-partial\.wav$/)]);
  expect(JSON.parse(readFileSync(join(folder, 'captures', 'rest.idle.json'), 'utf8'))).toMatchObject({ remarks: [expect.stringMatching(/^Filed as it is, although: .*hum/)] });
  expect(person.screen()).toMatch(/as it is filed as captures\/rest\.idle\.wav/);
  expect(person.screen()).toMatch(/good filed as captures\/rest\.flex\.wav, 1 dropout, no crackles in \d+ s/);
  // Ten seconds after the device was opened, of which the first 3.5 are left out; one bell for it.
  expect(person.screen()).toMatch(/ 6\.(49|50|51) s dropout on A, (99|100|101) ms/);
  expect(person.screen().split('\u0007')).toHaveLength(2);
  // A step that is done is not left open by passing it.
  expect(person.screen()).not.toContain('is left for now');
  // Levels, broken off, recorded, levels; the tone for the levels, and the tone of flex: only these two sounded.
  expect(audio.peaks.map((p) => Math.max(...p) > 0)).toEqual([false, false, false, false, true, true]);
});

it('optional steps are left out with one key, and a needed one that is skipped is said to be needed', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), BOARD, BENCH);
  const person = reader([
    [/\[Enter\] it is so/, 'enter'],
    [/bench\.idle[\s\S]*\[s\] skip/, 's'],
    [/bench\.idle is left for now; a sign-off needs it\.[\s\S]*bench\.take[\s\S]*\[s\] skip/, 's'],
    [/bench\.stairs {2}\(optional\)[\s\S]*\[o\] skip all optional/, 'o'],
    [/3 optional steps are left out[\s\S]*rest\.idle[\s\S]*\[s\] skip {3}\[b\] back/, 's'],
    [/rest\.take[\s\S]*\[s\] skip/, 's'],
  ]);
  const audio = fakeEngine({ hear: () => 0 });
  const exit = await runProgram(['capture', folder], { out: { write: person.write }, err: { write: person.write }, now: () => TEST_NOW, cwd: folder, isTty: false, keyboard: person.keyboard, audio }, { version: '1', commands, debug: false });
  expect([exit, person.left(), audio.opened]).toEqual([0, 0, []]);
  expect(person.screen()).toMatch(/rest\.take is left for now; a sign-off needs it\. *Next: the steps that are left/);
  // Words of the bench are explained once.
  expect(person.screen().match(/The take is the test signal/g)).toHaveLength(1);
  // It goes on where it was stopped: at the first step that is not done.
  const context = { out: { write: person.write }, err: { write: person.write }, now: () => TEST_NOW, cwd: folder, isTty: false, audio };
  await fileCapture(openJob(folder, context), 'bench.idle', 'RIFF', { recordedAt: null, how: 'made by a test', device: null, checks: [], remarks: [] }, TEST_NOW);
  const again = reader([
    [/\[Enter\] it is so/, 'enter'],
    [/2 of \d+ {2}bench\.take[\s\S]*\[q\] stop/, 'q'],
  ]);
  expect(await runProgram(['capture', folder], { ...context, out: { write: again.write }, err: { write: again.write }, keyboard: again.keyboard }, { version: '1', commands, debug: false })).toBe(0);
  expect([again.left(), /1 of \d+ bench\.idle/.test(again.screen())]).toEqual([0, false]);
});

it('a step above the ceiling waits for its own key; the levels are not played above it either', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), BOARD, BENCH.replace('{ device: interface }', '{ device: interface, level: -20 dBFS, ceiling: -26 dBFS }'));
  const person = reader([
    [/\[Enter\] it is so/, 'enter'],
    // Enter does not answer.
    [/-20\s+dBFS\s+is\s+above\s+the\s+ceiling\s+of\s+-26\s+dBFS[\s\S]*\[a\] allow up to -20 dBFS {3}\[l\] levels/, 'enter'],
    [/^/, 'l'],
    [/The\s+tone\s[^.]*-20\s+dBFS,\s+above\s+the\s+ceiling\s+of\s+-26\s+dBFS[\s\S]*\[a\] allow/, 'a'],
    [/good\s+filed as captures\/rest\.flex\.wav/, 'x'],
  ]);
  const audio = fakeEngine({ hear: (played) => 0.5 * played, noise: 3e-6 });
  const exit = await runProgram(['capture', folder, '--step', 'rest.flex', '--seconds', '5'], { out: { write: person.write }, err: { write: person.write }, now: () => TEST_NOW, cwd: folder, isTty: false, keyboard: person.keyboard, audio }, { version: '1', commands, debug: false });
  expect([exit, audio.opened.length]).toEqual([0, 1]);
  expect(20 * Math.log10(Math.max(...audio.peaks[0]!))).toBeCloseTo(-20, 2);
});

it('a take that clips is not played to its end; a switch that was forgotten is asked for beside a hum', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), BOARD.replace('id: A', 'id: A, polaritySwitch: true'), BENCH);
  const person = reader([
    [/\[Enter\] it is so/, 'enter'],
    [/rest\.take[\s\S]*\[Enter\] record/, 'enter'],
    [/kept\s+as\s+captures\/rest\.take~\S*-partial\.wav[\s\S]*not good\s+Input\s+1\s+\(output\s+A\)\s+clips\s+at\s+\d\.\d\s+s[\s\S]*\[Enter\] again/, 'enter'],
    [/good\s+filed as[\s\S]*invert-A\.take[\s\S]*\[Enter\] record/, 'enter'],
    [/not good[\s\S]*\ssame\s+polarity\s[\s\S]*\n {2}and {7}[\s\S]*\shum[\s\S]*\[f\] file as is/, 'f'],
  ]);
  const audio = fakeEngine({
    noise: 3e-6,
    hear: (played, _channel, frame) => (audio.opened.length === 1 && frame > 6 * 48_000 ? 20 : 0.5) * played + (audio.opened.length === 3 ? 0.002 * Math.sin((2 * Math.PI * 50 * frame) / 48_000) : 0),
  });
  const exit = await runProgram(['capture', folder, '--step', 'rest.take,invert-A.take'], { out: { write: person.write }, err: { write: person.write }, now: () => TEST_NOW, cwd: folder, isTty: false, keyboard: person.keyboard, audio }, { version: '1', commands, debug: false });
  expect([exit, person.left()]).toEqual([0, 0]);
  // 7 s of 20, and all of the others.
  expect(audio.peaks[0]!.length).toBeLessThan(0.5 * audio.peaks[1]!.length);
  const { remarks } = JSON.parse(readFileSync(join(folder, 'captures', 'invert-A.take.json'), 'utf8')) as { remarks: string[] };
  expect(remarks).toEqual([expect.stringMatching(/^Filed as it is, although: .*same polarity/), expect.stringMatching(/^Filed as it is, although: .*hum/)]);
});

it('a board that is no noisier than the bench is asked for its power, once', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), BOARD.replace('outputs', 'loops: [{ id: eq, expect: unity }, { id: mod, expect: unity }]\noutputs'), BENCH);
  const record = [/\[Enter\] record/, 'enter'] as const;
  const person = reader([[/\[Enter\] it is so/, 'enter'], record, record, record, record]);
  // With every loop out it adds a little, and then no more.
  const audio = fakeEngine({ noise: 3e-6, hear: (_played, _channel, frame) => (audio.opened.length === 2 ? 1e-5 * Math.sin((2 * Math.PI * 440 * frame) / 48_000) : 0) });
  const exit = await runProgram(['capture', folder, '--seconds', '5', '--step', 'bench.idle,rest.idle,loop-eq.idle,all.idle'], { out: { write: person.write }, err: { write: person.write }, now: () => TEST_NOW, cwd: folder, isTty: false, keyboard: person.keyboard, audio }, { version: '1', commands, debug: false });
  expect([exit, person.left()]).toEqual([0, 0]);
  expect(person.screen().match(/good filed as/g)).toHaveLength(4);
  expect(person.screen()).toMatch(/captures\/loop-eq\.idle\.wav A noise \S+ dBFS A-weighted, no hum found No noisier than the bench itself: see that the board has power/);
  expect(person.screen().match(/No noisier than the bench/g)).toHaveLength(1);
});
