import { spawn } from 'node:child_process';
import type { ChildProcess } from 'node:child_process';
import { createHash } from 'node:crypto';
import fs from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import { fileChunks, fileSource, isTemporary, readSmallFile, sha256File, sweepTemporaries, writeFileAtomic, writeNewFileAtomic, writePending } from '../../cli/files.js';
import { Problem } from '../../src/problems.js';
import { temporaryFolder } from '../helpers/cli.js';

const sha = (data: string | Uint8Array): string => createHash('sha256').update(data).digest('hex');

describe('writeFileAtomic', () => {
  it('writes text, bytes and chunks, and says what it wrote', async () => {
    const folder = temporaryFolder();
    const file = join(folder, 'a');
    expect(await writeFileAtomic(file, 'grün')).toEqual(expect.objectContaining({ bytes: 5, sha256: sha('grün') }));
    expect(fs.readFileSync(file, 'utf8')).toBe('grün');
    await writeFileAtomic(file, new Uint8Array([1, 2, 3]));
    expect([...fs.readFileSync(file)]).toEqual([1, 2, 3]);
    await writeFileAtomic(file, [new Uint8Array([1]), new Uint8Array(0), new Uint8Array([2, 3])]);
    expect([...fs.readFileSync(file)]).toEqual([1, 2, 3]);
    expect(fs.readdirSync(folder)).toEqual(['a']);
  });

  it('leaves the old file and nothing else where the data fails half-way', async () => {
    const folder = temporaryFolder();
    const file = join(folder, 'a');
    await writeFileAtomic(file, 'old');
    async function* failing(): AsyncGenerator<Uint8Array> {
      yield new Uint8Array(1000);
      await Promise.resolve();
      throw new Error('device lost');
    }
    await expect(writeFileAtomic(file, failing())).rejects.toThrow('device lost');
    expect(fs.readFileSync(file, 'utf8')).toBe('old');
    expect(fs.readdirSync(folder)).toEqual(['a']);
  });

  it('says so where the folder is not there', async () => {
    await expect(writeFileAtomic(join(temporaryFolder(), 'no', 'a'), 'x')).rejects.toMatchObject({ code: 'ENOENT' });
  });

  it('cleans up where the name cannot be taken', async () => {
    const folder = temporaryFolder();
    fs.mkdirSync(join(folder, 'a', 'full'), { recursive: true });
    await expect(writeFileAtomic(join(folder, 'a'), 'x')).rejects.toThrow();
    expect(fs.readdirSync(folder)).toEqual(['a']);
  });
});

describe('writeNewFileAtomic', () => {
  it('never takes a name that is taken', async () => {
    const folder = temporaryFolder();
    const file = join(folder, 'a');
    await writeNewFileAtomic(file, 'first');
    await expect(writeNewFileAtomic(file, 'second')).rejects.toMatchObject({ code: 'EEXIST' });
    expect(fs.readFileSync(file, 'utf8')).toBe('first');
    expect(fs.readdirSync(folder)).toEqual(['a']);
  });
});

describe('a killed program', () => {
  const files = resolve(import.meta.dirname, '../../dist/cli/files.js');
  const interruption = resolve(import.meta.dirname, '../../dist/cli/interruption.js');

  /** A process that has written half of a file and waits. */
  const halfWritten = (folder: string): Promise<ChildProcess> =>
    new Promise((ready) => {
      expect(fs.existsSync(files), 'run "npm run build" first').toBe(true);
      const script = `
        import { writeFileAtomic } from ${JSON.stringify(files)};
        import { onInterrupt } from ${JSON.stringify(interruption)};
        onInterrupt(process, () => undefined);
        setInterval(() => {}, 1000);
        async function* half() { yield new Uint8Array(1000); console.log('half'); await new Promise(() => {}); }
        await writeFileAtomic(${JSON.stringify(join(folder, 'take.wav'))}, half());`;
      const child = spawn(process.execPath, ['--input-type=module', '-e', script], { stdio: ['ignore', 'pipe', 'inherit'] });
      child.stdout.once('data', () => {
        ready(child);
      });
    });
  const ended = (child: ChildProcess): Promise<readonly [code: number | null, signal: string | null]> =>
    new Promise((done) => {
      child.on('exit', (code, signal) => {
        done([code, signal]);
      });
    });

  it('by Ctrl-C takes its temporary file along and ends with 130', async () => {
    const folder = temporaryFolder();
    fs.writeFileSync(join(folder, 'take.wav'), 'old');
    const child = await halfWritten(folder);
    expect(fs.readdirSync(folder).filter(isTemporary)).toHaveLength(1);
    child.kill('SIGINT');
    expect(await ended(child)).toEqual([130, null]);
    expect(fs.readdirSync(folder)).toEqual(['take.wav']);
    expect(fs.readFileSync(join(folder, 'take.wav'), 'utf8')).toBe('old');
  });

  it('by force leaves a temporary file that is swept once its process is gone and a minute has passed', async () => {
    const folder = temporaryFolder();
    const child = await halfWritten(folder);
    const later = new Date(Date.now() + 120_000);
    sweepTemporaries(folder, later);
    expect(fs.readdirSync(folder).filter(isTemporary), 'still being written').toHaveLength(1);
    child.kill('SIGKILL');
    await ended(child);
    sweepTemporaries(folder, new Date());
    expect(fs.readdirSync(folder).filter(isTemporary), 'written to a moment ago').toHaveLength(1);
    sweepTemporaries(folder, later);
    expect(fs.readdirSync(folder)).toEqual([]);
  });
});

describe('sweepTemporaries', () => {
  it('touches nothing else', () => {
    const folder = temporaryFolder();
    for (const name of ['.hidden.tmp', 'a.tmp', '.a.1-x.tmp', '.a.wav']) fs.writeFileSync(join(folder, name), '');
    sweepTemporaries(folder, new Date(Date.now() + 1e9));
    expect(fs.readdirSync(folder)).toHaveLength(4);
  });
});

describe('writePending', () => {
  it('has the bytes on the disk before the name', async () => {
    const folder = temporaryFolder();
    const file = join(folder, 'a');
    const pending = await writePending(file, 'x');
    expect(fs.existsSync(file)).toBe(false);
    pending.commit();
    expect(fs.readFileSync(file, 'utf8')).toBe('x');
    (await writePending(file, 'y')).discard();
    expect(fs.readdirSync(folder)).toEqual(['a']);
    expect(fs.readFileSync(file, 'utf8')).toBe('x');
  });
});

describe('fileSource', () => {
  it('reads anywhere, and less at the end', () => {
    const file = join(temporaryFolder(), 'a');
    fs.writeFileSync(file, Uint8Array.from({ length: 100 }, (_, i) => i));
    const source = fileSource(file);
    const into = new Uint8Array(8);
    expect([source.name, source.size]).toEqual([file, 100]);
    expect(source.read(90, into)).toBe(8);
    expect([...into]).toEqual([90, 91, 92, 93, 94, 95, 96, 97]);
    expect(source.read(96, into)).toBe(4);
    expect(source.read(100, into)).toBe(0);
    source.close();
  });

  it('refuses what is no regular file', () => {
    const folder = temporaryFolder();
    expect(() => fileSource(folder)).toThrow(Problem);
    expect(() => fileSource(folder)).toThrow(/is a folder/);
    expect(() => fileSource('/dev/null')).toThrow(/no regular file/);
  });
});

describe('sha256File and fileChunks', () => {
  it('go through a file of several blocks', () => {
    const file = join(temporaryFolder(), 'a');
    const data = Uint8Array.from({ length: 2_500_000 }, (_, i) => (i * 7) % 251);
    fs.writeFileSync(file, data);
    expect(sha256File(file)).toBe(sha(data));
    const source = fileSource(file);
    expect([...fileChunks(source)].map(({ length }) => length)).toEqual([1048576, 1048576, 402848]);
    source.close();
  });

  it('know the empty file', () => {
    const file = join(temporaryFolder(), 'a');
    fs.writeFileSync(file, '');
    expect(sha256File(file)).toBe('e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855');
  });
});

describe('readSmallFile', () => {
  it('refuses a large one before reading it', () => {
    const file = join(temporaryFolder(), 'board.yaml');
    fs.closeSync(fs.openSync(file, 'w'));
    fs.truncateSync(file, 5 * 2 ** 30);
    expect(() => readSmallFile(file, 1000)).toThrow(/more than the 1000/);
    fs.truncateSync(file, 3);
    expect([...readSmallFile(file, 1000)]).toEqual([0, 0, 0]);
  });
});
