/**
 * Keys and typed lines of a terminal.
 *
 * @module
 */
import type { ReadStream } from 'node:tty';
import { problem } from '../src/problems.js';
import type { TextSink } from './terminal.js';

export interface Keyboard {
  /** Calls for each key (`enter`, `escape`, or the character in lower case) until the returned function is called. */
  listen(hear: (key: string) => void): () => void;
  /** A line, typed after a question; Ctrl-D gives it up: null. */
  line(question: string): Promise<string | null>;
}

const CTRL_C = '\u0003';
const CTRL_D = '\u0004';

/** @param interrupt - What Ctrl-C does, which a terminal in raw mode does not. */
export function createKeyboard(input: Pick<ReadStream, 'on' | 'off' | 'resume' | 'pause' | 'setRawMode'>, output: TextSink, interrupt: () => void): Keyboard {
  const raw = (hear: (text: string) => void): (() => void) => {
    const data = (bytes: Uint8Array): void => {
      const text = new TextDecoder().decode(bytes);
      if (text.includes(CTRL_C)) {
        // What is said next stands on a line of its own.
        output.write('\n');
        interrupt();
      }
      else hear(text);
    };
    input.setRawMode(true);
    input.on('data', data);
    input.resume();
    return () => {
      input.off('data', data);
      input.setRawMode(false);
      input.pause();
    };
  };
  return {
    listen: (hear) =>
      raw((text) => {
        // Arrows and the like come as one sequence, and mean nothing here.
        if (text.startsWith('\u001b')) hear('escape');
        else for (const character of text) hear(character === '\r' || character === '\n' ? 'enter' : character === CTRL_D ? 'q' : character.toLowerCase());
      }),
    line: (question) =>
      new Promise((resolve) => {
        let typed = '';
        output.write(question);
        const stop = raw((text) => {
          if (text.startsWith('\u001b')) return;
          for (const character of text) {
            if (character === '\r' || character === '\n' || character === CTRL_D) {
              output.write('\n');
              stop();
              resolve(character === CTRL_D ? null : typed.trim());
              return;
            }
            if (character === '\u007f' || character === '\b') {
              if (typed !== '') output.write('\b \b');
              typed = [...typed].slice(0, -1).join('');
            } else if (character >= ' ') {
              typed += character;
              output.write(character);
            }
          }
        });
      }),
  };
}

/** Waits for one of these keys. @throws `cli.interrupted` */
export function keyOf<K extends string>(keyboard: Keyboard, allowed: readonly K[], interrupt?: AbortSignal): Promise<K> {
  return new Promise((resolve, reject) => {
    const aborted = (): void => {
      stop();
      reject(problem('cli.interrupted', {}));
    };
    const stop = keyboard.listen((key) => {
      const meant = allowed.find((k) => k === key);
      if (meant === undefined) return;
      interrupt?.removeEventListener('abort', aborted);
      stop();
      resolve(meant);
    });
    interrupt?.addEventListener('abort', aborted, { once: true });
    if (interrupt?.aborted) aborted();
  });
}
