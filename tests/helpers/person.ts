/** A person at a terminal: the program runs in a pseudo-terminal (python3's pty), and what it shows is read and answered. */
import { spawn } from 'node:child_process';
import { resolve } from 'node:path';
import { onTestFinished } from 'vitest';

const MAIN = resolve(import.meta.dirname, '../../dist/cli/main.js');
const BRIDGE = 'import os, pty, sys; sys.exit(os.waitstatus_to_exitcode(pty.spawn(sys.argv[1:])))';

export interface Person {
  /** Waits until the screen shows this after what was waited for before, and gives what it shows in between. */
  sees(pattern: RegExp, withinS?: number): Promise<string>;
  types(keys: string): void;
  /** Everything shown so far, without control sequences. */
  readonly screen: string;
  /** The exit code, once the program has ended. */
  ends(withinS?: number): Promise<number>;
}

// Colours and "erase to end of line".
// eslint-disable-next-line no-control-regex
const plain = (text: string): string => text.replace(/\u001b\[[0-9;]*[A-Za-z]/g, '').replaceAll('\r\n', '\n');

export function atTerminal(args: readonly string[], cwd: string, env: NodeJS.ProcessEnv): Person {
  const child = spawn('/usr/bin/python3', ['-c', BRIDGE, process.execPath, MAIN, ...args], { cwd, env: { ...env, TERM: 'xterm', LANG: 'C.UTF-8' }, stdio: ['pipe', 'pipe', 'inherit'] });
  onTestFinished(() => {
    child.kill('SIGKILL');
  });
  let screen = '';
  let read = 0;
  let exit: number | null = null;
  const woken = new Set<() => void>();
  const wake = (): void => {
    for (const each of [...woken]) each();
  };
  child.stdout.setEncoding('utf8').on('data', (text: string) => {
    screen += plain(text);
    wake();
  });
  child.on('close', (code) => {
    exit = code ?? -1;
    wake();
  });
  const until = <T>(what: string, withinS: number, look: () => T | null): Promise<T> =>
    new Promise((done, failed) => {
      const check = (): void => {
        const found = look();
        if (found !== null) finish(() => { done(found); });
        else if (exit !== null) finish(() => { failed(new Error(`the program ended (${exit}) before ${what}:\n${screen.slice(-3000)}`)); });
      };
      const timer = setTimeout(() => { finish(() => { failed(new Error(`${withinS} s passed without ${what}:\n${screen.slice(-3000)}`)); }); }, withinS * 1000);
      const finish = (act: () => void): void => {
        clearTimeout(timer);
        woken.delete(check);
        act();
      };
      woken.add(check);
      check();
    });
  return {
    get screen() {
      return screen;
    },
    types: (keys) => child.stdin.write(keys),
    sees: (pattern, withinS = 40) =>
      until(String(pattern), withinS, () => {
        const match = pattern.exec(screen.slice(read));
        if (!match) return null;
        const between = screen.slice(read, read + match.index + match[0].length);
        read += match.index + match[0].length;
        return between;
      }),
    ends: (withinS = 20) => until('its end', withinS, () => exit),
  };
}
