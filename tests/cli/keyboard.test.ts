/** Keys of a terminal that is a stream of events. */
import { EventEmitter } from 'node:events';
import { expect, it } from 'vitest';
import { createKeyboard, keyOf } from '../../cli/keyboard.js';
import type { Keyboard } from '../../cli/keyboard.js';

function terminal(): { keyboard: Keyboard; types: (text: string) => void; interrupts: () => number; waits: () => boolean; resumes: () => void; modes: boolean[] } {
  const input = new EventEmitter();
  let interrupts = 0;
  let waits = true;
  const stream = Object.assign(input, { resume: () => stream, ref: () => ((waits = true), stream), unref: () => ((waits = false), stream), setRawMode: (raw: boolean) => (modes.push(raw), stream) });
  const modes: boolean[] = [];
  let again = (): void => undefined;
  return {
    keyboard: createKeyboard(stream as never, { write: () => undefined }, () => interrupts++, (then) => (again = then)),
    types: (text) => input.emit('data', new TextEncoder().encode(text)),
    interrupts: () => interrupts,
    waits: () => waits,
    resumes: () => {
      again();
    },
    modes,
  };
}

it('a key that nobody asked for answers no later question, and keeps no program from ending', async () => {
  const { keyboard, types, waits } = terminal();
  keyboard.listen(() => undefined)();
  expect(waits()).toBe(false);
  types('\r\rq');
  const first = keyOf(keyboard, ['enter', 'q']);
  expect(waits()).toBe(true);
  types('x');
  types('q');
  expect(await first).toBe('q');
  types('\r');
  const line = keyboard.line('What? ');
  types('1 V');
  types('\u007fmV\r\r');
  expect(await line).toBe('1 mV');
  const second = keyOf(keyboard, ['enter', 's']);
  types('S');
  expect(await second).toBe('s');
  expect(waits()).toBe(false);
});

it('a question that is given up answers null; Ctrl-C interrupts whether anybody listens or not', async () => {
  const { keyboard, types, interrupts } = terminal();
  const end = new AbortController();
  const line = keyboard.line('What? ', end.signal);
  types('12');
  end.abort();
  expect(await line).toBeNull();
  expect(await keyboard.line('What? ', end.signal)).toBeNull();
  types('\u0003');
  const heard: string[] = [];
  const unlisten = keyboard.listen((key) => heard.push(key));
  types('\u0003');
  types('\u0004');
  unlisten();
  expect([interrupts(), heard]).toEqual([2, ['q']]);
});

it('a program that was stopped takes keys again as they are pressed, and one that never asked leaves the terminal alone', () => {
  const { keyboard, resumes, modes } = terminal();
  resumes();
  expect(modes).toEqual([]);
  keyboard.listen(() => undefined);
  resumes();
  expect(modes).toEqual([true, false, true]);
});
