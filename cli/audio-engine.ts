/**
 * The audio engine of the program: one child process per measurement (see audio-child), whose chatter nobody sees.
 *
 * A device that goes away says nothing: its blocks just stop coming. Three seconds without one, and it is gone.
 *
 * @module
 */
import { fork } from 'node:child_process';
import type { ChildProcess } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import type { AudioBlock, AudioDevice, AudioEngine, AudioSession, SessionRequest } from '../src/capture/engine.js';
import { problem } from '../src/problems.js';
import type { Problem } from '../src/problems.js';
import type { FromChild, ToChild } from './audio-child.js';

/** Longest wait for the next block. */
const STALL_MS = 3000;
const OPEN_MS = 10_000;
/** Each device is opened at six rates; some answer slowly. */
const PROBE_MS = 60_000;

const children = new Set<ChildProcess>();
process.on('exit', () => {
  for (const child of children) child.kill('SIGKILL');
});

interface Child {
  send(message: ToChild): void;
  end(): void;
}

function start(hear: (message: FromChild) => void, gone: () => void): Child {
  const file = fileURLToPath(new URL('./audio-child.js', import.meta.url));
  const child = fork(file, [], { serialization: 'advanced', stdio: ['ignore', 'ignore', 'ignore', 'ipc'] });
  children.add(child);
  child.on('message', hear);
  const leave = (): void => {
    children.delete(child);
    gone();
  };
  child.on('error', leave);
  child.on('exit', leave);
  return {
    send: (message) => {
      if (child.connected) child.send(message, () => undefined);
    },
    end: () => {
      child.kill('SIGKILL');
    },
  };
}

export function createAudioEngine(): AudioEngine {
  return { devices, open };
}

function devices(probe: boolean, patienceMs = PROBE_MS): Promise<readonly AudioDevice[]> {
  return new Promise((resolve, reject) => {
    const finish = (act: () => void): void => {
      clearTimeout(timer);
      child.end();
      act();
    };
    const timer = setTimeout(() => {
      finish(() => {
        reject(problem('capture.audio-stuck', { seconds: patienceMs / 1000 }));
      });
    }, patienceMs);
    const child = start(
      (message) => {
        finish(() => {
          if (message.says === 'devices') resolve(message.devices);
          else reject(message.says === 'failed' ? refusal(message, null) : problem('capture.audio-stuck', { seconds: 0 }));
        });
      },
      () => {
        clearTimeout(timer);
        reject(problem('capture.no-library', { reason: 'it ended by itself' }));
      },
    );
    child.send({ ask: 'devices', probe });
  });
}

function refusal({ about, reason }: FromChild & { says: 'failed' }, request: SessionRequest | null): Problem {
  if (about === 'library') return problem('capture.no-library', { reason });
  const device = about === 'record' ? request?.record?.device : request?.play.device;
  return problem('capture.open-failed', { device: device ?? 'The audio system', does: about === 'record' ? 'record' : 'play', reason });
}

function open(request: SessionRequest): Promise<AudioSession> {
  const names = [...new Set([request.play.device, ...(request.record ? [request.record.device] : [])])];
  const waiting: AudioBlock[] = [];
  let wake: (() => void) | null = null;
  let failure: Problem | null = null;
  let closed = false;
  let opened: (() => void) | null = null;
  let refused: ((why: Problem) => void) | null = null;
  let frames = 0;
  let playsFromFrame: number | null = null;

  const fail = (why: Problem): void => {
    clearTimeout(timer);
    child.end();
    if (closed) return;
    failure ??= why;
    refused?.(failure);
    wake?.();
  };
  const lost = (): void => {
    fail(problem('capture.device-lost', { names, atS: frames / request.sampleRateHz }));
  };
  let timer = setTimeout(() => {
    fail(problem('capture.open-failed', { device: names.join(' and '), does: 'play', reason: `it did not answer within ${OPEN_MS / 1000} s` }));
  }, OPEN_MS);
  const watch = (): void => {
    clearTimeout(timer);
    const own = setTimeout(() => {
      // Where this process itself stood still (a slow disk, a computer asleep), what came meanwhile is read before it is called missing.
      setImmediate(() => {
        if (timer === own && !closed) lost();
      });
    }, STALL_MS);
    timer = own;
  };

  const child = start((message) => {
    if (closed) return;
    switch (message.says) {
      case 'open':
        watch();
        if (message.sampleRateHz === request.sampleRateHz) opened?.();
        else fail(problem('capture.rate', { device: request.play.device, askedHz: request.sampleRateHz, gotHz: message.sampleRateHz }));
        break;
      case 'block':
        watch();
        frames = message.frame + message.frames;
        waiting.push(message);
        wake?.();
        break;
      case 'playing':
        playsFromFrame = message.frame;
        break;
      case 'failed':
        fail(refusal(message, request));
        break;
      case 'devices':
        break;
    }
  }, lost);

  async function* blocks(): AsyncGenerator<AudioBlock> {
    for (;;) {
      const next = waiting.shift();
      if (next) {
        yield next;
        continue;
      }
      if (failure) throw failure as Problem;
      if (closed) return;
      await new Promise<void>((resolve) => (wake = resolve));
      wake = null;
    }
  }

  child.send({ ask: 'open', request });
  return new Promise((resolve, reject) => {
    refused = reject;
    opened = () => {
      resolve({
        play: (what) => {
          child.send({ ask: 'play', ...what });
        },
        level: (toDb, seconds) => {
          child.send({ ask: 'level', toDb, seconds });
        },
        blocks: blocks(),
        get playsFromFrame() {
          return playsFromFrame;
        },
        close: () => {
          closed = true;
          clearTimeout(timer);
          child.end();
          wake?.();
        },
      });
    };
  });
}
