import { spawn } from 'node:child_process';
import { readFileSync, watch } from 'node:fs';
import { join, resolve } from 'node:path';

const MAIN = resolve(import.meta.dirname, '../../dist/cli/main.js');

export interface ProgramRun {
  readonly exit: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly out: string;
  readonly err: string;
  /** Highest resident memory (Linux), MB. */
  readonly peakMb: number;
  /** Time on a processor, all threads (Linux), s. */
  readonly cpuS: number;
  /** From the signal of `end` to the end; null where none was sent. */
  readonly afterSignalMs: number | null;
}

export interface ProgramSettings {
  readonly cwd: string;
  readonly env?: NodeJS.ProcessEnv;
  /** Sent after so many milliseconds, or at the so-manieth change in a folder, if the program still runs then. */
  readonly end?: { readonly signal: NodeJS.Signals } & ({ readonly afterMs: number } | { readonly folder: string; readonly atChange: number });
}

/** What Linux says of a process that still runs; zeros elsewhere. */
function usage(pid: number): { peakMb: number; cpuS: number } {
  try {
    const peak = /VmHWM:\s*(\d+) kB/.exec(readFileSync(join('/proc', String(pid), 'status'), 'utf8'));
    // Fields 14 and 15, in ticks of 10 ms, counted from behind the name, which may hold spaces.
    const fields = readFileSync(join('/proc', String(pid), 'stat'), 'utf8').split(') ')[1]!.split(' ');
    return { peakMb: Number(peak?.[1] ?? 0) / 1024, cpuS: (Number(fields[11]) + Number(fields[12])) / 100 };
  } catch {
    return { peakMb: 0, cpuS: 0 };
  }
}

/** Runs the compiled program as a user does, in a process of its own. */
export function boardproof(args: readonly string[], { cwd, env, end }: ProgramSettings): Promise<ProgramRun> {
  return new Promise((done, failed) => {
    const child = spawn(process.execPath, [MAIN, ...args], { cwd, env: { ...(env ?? process.env), LC_ALL: 'C.UTF-8' }, stdio: ['ignore', 'pipe', 'pipe'] });
    const said = { out: '', err: '' };
    child.stdout.setEncoding('utf8').on('data', (text: string) => (said.out += text));
    child.stderr.setEncoding('utf8').on('data', (text: string) => (said.err += text));
    let used = { peakMb: 0, cpuS: 0 };
    const polled = setInterval(() => {
      const now = usage(child.pid!);
      if (now.peakMb > 0) used = now;
    }, 50);
    let sentAt: number | null = null;
    const send = (): void => {
      sentAt = performance.now();
      child.kill(end!.signal);
    };
    const timer = end && 'afterMs' in end ? setTimeout(send, end.afterMs) : undefined;
    let changes = 0;
    const watcher =
      end && 'folder' in end
        ? watch(end.folder, () => {
            if (++changes === end.atChange) send();
          })
        : undefined;
    child.on('error', failed);
    child.on('close', (exit, signal) => {
      clearInterval(polled);
      clearTimeout(timer);
      watcher?.close();
      done({ exit, signal, ...said, ...used, afterSignalMs: sentAt === null ? null : performance.now() - sentAt });
    });
  });
}
