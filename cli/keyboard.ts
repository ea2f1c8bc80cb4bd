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
  /** A line, typed after a question; Ctrl-D gives it up, and so does `end`: null. */
  line(question: string, end?: AbortSignal): Promise<string | null>;
}

const CTRL_C = '\u0003';
const CTRL_D = '\u0004';

/**
 * Once anybody has listened, keys that nobody asks for are dropped as they come: an Enter typed while a take is looked into must not
 * start the next, and one typed too often behind a command must not start a sound.
 *
 * @param interrupt - What Ctrl-C does, which a terminal in raw mode does not.
 * @param onResume - Calls where the program goes on after it was stopped: a shell then gives back a terminal that waits for whole lines.
 */
export function createKeyboard(input: Pick<ReadStream, 'on' | 'resume' | 'ref' | 'unref' | 'setRawMode'>, output: TextSink, interrupt: () => void, onResume: (again: () => void) => void): Keyboard {
  const hearers = new Set<(text: string) => void>();
  let held = false;
  const hold = (): void => {
    held = true;
    input.setRawMode(true);
    input.on('data', (bytes: Uint8Array) => {
      const text = new TextDecoder().decode(bytes);
      if (text.includes(CTRL_C)) {
        // What is said next stands on a line of its own.
        output.write('\n');
        interrupt();
      } else for (const hear of [...hearers]) hear(text);
    });
    input.resume();
    onResume(() => {
      // Set to what it is held to be already, nothing would be set.
      input.setRawMode(false);
      input.setRawMode(true);
    });
  };
  const raw = (hear: (text: string) => void): (() => void) => {
    if (!held) hold();
    hearers.add(hear);
    input.ref();
    return () => {
      hearers.delete(hear);
      // Nobody waits for a key: it does not keep the program from ending, which gives the terminal back.
      if (hearers.size === 0) input.unref();
    };
  };
  return {
    listen: (hear) =>
      raw((text) => {
        // Arrows and the like come as one sequence, and mean nothing here.
        if (text.startsWith('\u001b')) hear('escape');
        else for (const character of text) hear(character === '\r' || character === '\n' ? 'enter' : character === CTRL_D ? 'q' : character.toLowerCase());
      }),
    line: (question, end) =>
      new Promise((resolve) => {
        let typed = '';
        output.write(question);
        const finish = (answer: string | null): void => {
          output.write('\n');
          stop();
          end?.removeEventListener('abort', giveUp);
          resolve(answer);
        };
        const giveUp = (): void => {
          finish(null);
        };
        const stop = raw((text) => {
          if (text.startsWith('\u001b')) return;
          for (const character of text) {
            if (character === '\r' || character === '\n' || character === CTRL_D) {
              finish(character === CTRL_D ? null : typed.trim());
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
        end?.addEventListener('abort', giveUp);
        if (end?.aborted) giveUp();
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
