/**
 * A sound server of the test's own, without a sound card: a sink that the program plays to ("play"), a sink whose monitor
 * it records ("rec"), and between them whatever a test patches: SoX as a device, a bridge with a clock of its own, noise.
 */
import { spawn, spawnSync } from 'node:child_process';
import type { ChildProcess } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export interface SoundServer {
  /** Environment in which a program finds the two devices and no others. */
  readonly env: NodeJS.ProcessEnv;
  readonly server: ChildProcess;
  /** Connects play to rec through SoX effects, in place of what was connected before. Null unplugs. */
  patch(effects: readonly string[] | null): Promise<void>;
  /** Connects play to rec, first channel to both, as if its clock and rec's differed: it is taken at one rate and given at another. */
  bridge(fromHz: number, toHz: number): Promise<void>;
  /** Adds a sound that goes on for ever, from this one second of it (or a whole number of seconds). Null takes it away. */
  source(name: string, channels: readonly Float64Array[] | null): void;
  /** Ends the server as if the interface were pulled out. */
  kill(): void;
  stop(): Promise<void>;
}

export interface ServerSettings {
  readonly rateHz?: number;
  readonly channels?: number;
  /** `wire`: the server itself passes play on to rec, bit for bit; `device`: only what is patched. */
  readonly loop?: 'wire' | 'device';
}

const wait = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

export async function startSoundServer({ rateHz = 48000, channels = 2, loop = 'device' }: ServerSettings = {}): Promise<SoundServer> {
  const folder = mkdtempSync(join(tmpdir(), 'boardproof-sound-'));
  const socket = join(folder, 'socket');
  const env = {
    ...process.env,
    HOME: folder, XDG_RUNTIME_DIR: folder, XDG_CONFIG_HOME: join(folder, '.config'), PULSE_RUNTIME_PATH: folder, PULSE_SERVER: `unix:${socket}`, PULSE_COOKIE: join(folder, 'cookie'), ALSA_CONFIG_PATH: join(folder, 'alsa.conf'),
  };
  const device = (name: string, target: string): string => `pcm.${name} { type pulse device "${target}" hint { show on description "${name}" } }\n`;
  writeFileSync(env.ALSA_CONFIG_PATH, `pcm.default { type pulse device play }\nctl.default { type pulse }\n${device('play', 'play')}${device('rec', 'B.monitor')}`);
  // Two channels played into four stay two.
  mkdirSync(join(folder, '.config', 'pulse'), { recursive: true });
  writeFileSync(join(folder, '.config', 'pulse', 'daemon.conf'), 'enable-remixing = no\n');
  const format = `format=float32le rate=${rateHz} channels=${channels}`;
  const modules = [
    `module-native-protocol-unix socket=${socket} auth-anonymous=1`,
    `module-null-sink sink_name=B ${format}`,
    loop === 'wire' ? 'module-remap-sink sink_name=play master=B remix=no' : `module-null-sink sink_name=play ${format}`,
  ];
  const server = spawn('pulseaudio', ['-n', '--daemonize=no', '--exit-idle-time=-1', '--realtime=no', '--resample-method=soxr-vhq', '--log-level=error', ...modules.flatMap((m) => ['-L', m])], { env, stdio: 'ignore' });
  for (let tries = 0; ; tries++) {
    const sinks = spawnSync('pactl', ['list', 'short', 'sinks'], { env, encoding: 'utf8' });
    if (/\bplay\b/.test(sinks.stdout)) break;
    if (tries === 100) throw new Error(`the sound server did not start: ${sinks.stderr}`);
    await wait(50);
  }
  const rawAt = (rate: number): string[] => ['--raw', '--format=float32le', `--rate=${rate}`, `--channels=${channels}`];
  const soxRaw = ['-t', 'raw', '-e', 'floating-point', '-b', '32', '-r', String(rateHz), '-c', String(channels)];
  const running = new Map<string, ChildProcess>();
  const end = (name: string): void => {
    const group = running.get(name)?.pid;
    running.delete(name);
    if (group === undefined) return;
    try {
      // The whole group: a pipe's parts have no parent that would end them.
      process.kill(-group, 'SIGKILL');
    } catch {
      // They went with their server.
    }
  };
  /** Programs joined by pipes of the system, which wait for nothing that this process does, ahead of whatever else the machine is busy with. */
  const into = (name: string, ...parts: readonly (readonly string[])[]): void => {
    const quoted = (word: string): string => `'${word.replaceAll("'", "'\\''")}'`;
    const line = parts.map((words) => words.map(quoted).join(' ')).join(' | ');
    running.set(name, spawn('nice', ['-n', '-10', 'sh', '-c', line], { env, stdio: 'ignore', detached: true }));
  };
  // Taken in small pieces and given from a full buffer, so that neither side waits for the other.
  const takenAt = (rate: number): string[] => ['parec', ...rawAt(rate), '--latency-msec=50', '-d', 'play.monitor'];
  const givenAt = (rate: number): string[] => ['pacat', ...rawAt(rate), '--latency-msec=500', '-d', 'B'];
  const sox = (effects: readonly string[]): string[] => ['sox', '--buffer', '4096', '-q', '-V1', ...soxRaw, '-', ...soxRaw, '-', ...effects];
  return {
    env,
    server,
    async patch(effects) {
      end('patch');
      if (effects === null) return;
      into('patch', takenAt(rateHz), sox(effects), givenAt(rateHz));
      await wait(1000);
    },
    async bridge(fromHz, toHz) {
      end('patch');
      into('patch', takenAt(fromHz), sox(['remix', '1', '1']), givenAt(toHz));
      await wait(1000);
    },
    source(name, sound) {
      end(name);
      if (sound === null) return;
      const file = join(folder, `${name}.raw`);
      const frames = sound[0]!.length;
      writeFileSync(file, new Uint8Array(Float32Array.from({ length: frames * channels }, (_, i) => sound[i % channels]![Math.floor(i / channels)]!).buffer));
      into(name, ['sh', '-c', `while cat '${file}'; do :; done`], givenAt(rateHz));
    },
    kill: () => {
      server.kill('SIGKILL');
    },
    async stop() {
      for (const name of [...running.keys()]) end(name);
      server.kill('SIGTERM');
      await wait(200);
      server.kill('SIGKILL');
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
