/**
 * Files, written whole or not at all, and read in pieces.
 *
 * @module
 */
import { createHash } from 'node:crypto';
import fs from 'node:fs';
import path from 'node:path';
import { setImmediate as nextTurn } from 'node:timers/promises';
import { problem } from '../src/problems.js';
import type { ByteSource } from '../src/wav/byte-source.js';
import { errorCode } from './system-error.js';

export { errorCode } from './system-error.js';

export type Chunks = string | Uint8Array | Iterable<Uint8Array> | AsyncIterable<Uint8Array>;

export interface Written {
  readonly bytes: number;
  /** Of the bytes written, in hexadecimal. */
  readonly sha256: string;
}

/** A file written beside its final place, on the disk, but not yet under its name. */
export interface Pending extends Written {
  /** Gives it its name, in place of whatever had it. */
  commit(): void;
  /** Gives it its name, or throws EEXIST where something has it. */
  commitNew(): void;
  discard(): void;
}

const TEMPORARY = /^\..+\.(\d+)-\d+\.tmp$/;
let count = 0;
/** Temporary files of this process that are being written. */
const live = new Set<string>();
process.on('exit', () => {
  for (const file of live) fs.rmSync(file, { force: true });
});

/**
 * Writes a file so that it appears whole or not at all: temporary file in the same folder, fsync, rename, fsync of
 * the folder. On an error the temporary file is taken away and the old file stays as it was.
 */
export async function writeFileAtomic(file: string, data: Chunks): Promise<Written> {
  const pending = await writePending(file, data);
  pending.commit();
  return pending;
}

/** As {@link writeFileAtomic}, for a file that must not exist yet. @throws EEXIST */
export async function writeNewFileAtomic(file: string, data: Chunks): Promise<Written> {
  const pending = await writePending(file, data);
  pending.commitNew();
  return pending;
}

/** Writes and syncs the bytes, and leaves the naming to the caller. */
export async function writePending(file: string, data: Chunks): Promise<Pending> {
  const folder = path.dirname(file);
  const temporary = path.join(folder, `.${path.basename(file)}.${process.pid}-${++count}.tmp`);
  refuseOverOther(file);
  const hash = createHash('sha256');
  let bytes = 0;
  const descriptor = naming(file, () => fs.openSync(temporary, 'wx'));
  live.add(temporary);
  const discard = (): void => {
    fs.rmSync(temporary, { force: true });
    live.delete(temporary);
  };
  try {
    try {
      for await (const chunk of chunksOf(data)) {
        hash.update(chunk);
        for (let done = 0; done < chunk.length; ) done += fs.writeSync(descriptor, chunk, done);
        bytes += chunk.length;
        // Between two chunks the program hears an interruption.
        await nextTurn();
      }
      fs.fsyncSync(descriptor);
    } finally {
      fs.closeSync(descriptor);
    }
  } catch (error) {
    discard();
    throw named(error, file);
  }
  const finish = (name: () => void): void => {
    try {
      naming(file, name);
    } catch (error) {
      discard();
      throw error;
    }
    live.delete(temporary);
    syncFolder(folder);
  };
  return {
    bytes,
    sha256: hash.digest('hex'),
    commit: () => {
      finish(() => {
        fs.renameSync(temporary, file);
      });
    },
    commitNew: () => {
      finish(() => {
        takeNewName(temporary, file);
      });
    },
    discard,
  };
}

/** A rename would put a plain file in the place of a device. */
function refuseOverOther(file: string): void {
  const there = fs.statSync(file, { throwIfNoEntry: false });
  if (there && !there.isFile()) throw problem('cli.file', { path: file, reason: there.isDirectory() ? 'it is a folder' : 'it is no regular file' });
}

/** An error of the system names the file that is meant, not the temporary one beside it. */
function named(error: unknown, file: string): unknown {
  const code = errorCode(error);
  if (code === null) return error;
  return Object.assign(error as Error, { path: code === 'ENOENT' || code === 'ENOTDIR' ? path.dirname(file) : file });
}

function naming<T>(file: string, act: () => T): T {
  try {
    return act();
  } catch (error) {
    throw named(error, file);
  }
}

function chunksOf(data: Chunks): Iterable<Uint8Array> | AsyncIterable<Uint8Array> {
  if (typeof data === 'string') return [new TextEncoder().encode(data)];
  return data instanceof Uint8Array ? [data] : data;
}

/** Renames, but never over a file: by a hard link, which fails where the name is taken; disks without links get a look first. */
function takeNewName(from: string, to: string): void {
  try {
    fs.linkSync(from, to);
  } catch (error) {
    if (errorCode(error) === 'EEXIST') throw error;
    if (fs.existsSync(to)) throw Object.assign(new Error(`${to} exists`), { code: 'EEXIST', errno: -17, path: to });
    fs.renameSync(from, to);
    return;
  }
  fs.rmSync(from);
}

/** Makes a folder and those above it. Node's own recursive way calls a read-only disk a folder that does not exist. */
export function makeFolder(folder: string): void {
  if (fs.statSync(folder, { throwIfNoEntry: false })?.isDirectory()) return;
  const above = path.dirname(folder);
  if (above !== folder) makeFolder(above);
  try {
    fs.mkdirSync(folder);
  } catch (error) {
    // Another program may have made it meanwhile.
    if (errorCode(error) !== 'EEXIST' || !fs.statSync(folder).isDirectory()) throw error;
  }
}

/** A second name; on disks without hard links the old name goes. */
export function linkOrRename(from: string, to: string): void {
  try {
    fs.linkSync(from, to);
  } catch {
    fs.renameSync(from, to);
  }
}

/** Puts the names of a folder on the disk. Not every system can (Windows cannot); there the rename has to do. */
export function syncFolder(folder: string): void {
  let descriptor: number | null = null;
  try {
    descriptor = fs.openSync(folder, 'r');
    fs.fsyncSync(descriptor);
  } catch (error) {
    if (!['EISDIR', 'EPERM', 'EACCES', 'EINVAL', 'ENOTSUP'].includes(errorCode(error) ?? '')) throw error;
  } finally {
    if (descriptor !== null) fs.closeSync(descriptor);
  }
}

/** True for a name that only a file being written has. */
export const isTemporary = (name: string): boolean => TEMPORARY.test(name);

/** Takes away what killed programs left: temporary files whose process is gone and that nobody wrote to for a minute. */
export function sweepTemporaries(folder: string, now: Date): void {
  for (const name of fs.readdirSync(folder)) {
    const owner = TEMPORARY.exec(name)?.[1];
    if (owner === undefined || isRunning(Number(owner))) continue;
    const file = path.join(folder, name);
    const written = fs.statSync(file, { throwIfNoEntry: false })?.mtimeMs;
    if (written !== undefined && now.getTime() - written > 60_000) fs.rmSync(file, { force: true });
  }
}

function isRunning(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return errorCode(error) !== 'ESRCH';
  }
}

/** An open file as a source of bytes. Close it after use. @throws Problem `cli.file` where it is no regular file. */
export function fileSource(file: string): ByteSource & { close(): void } {
  const descriptor = fs.openSync(file, fs.constants.O_RDONLY | (fs.constants.O_NONBLOCK ?? 0));
  const stat = fs.fstatSync(descriptor);
  if (!stat.isFile()) {
    fs.closeSync(descriptor);
    throw problem('cli.file', { path: file, reason: stat.isDirectory() ? 'it is a folder' : 'it is no regular file' });
  }
  return {
    name: file,
    size: stat.size,
    read(position, into) {
      let done = 0;
      while (done < into.length) {
        const got = fs.readSync(descriptor, into, done, into.length - done, position + done);
        if (got === 0) break;
        done += got;
      }
      return done;
    },
    close: () => {
      fs.closeSync(descriptor);
    },
  };
}

/** A file in pieces of 1 MiB; each piece is overwritten by the next. */
export function* fileChunks(source: ByteSource): Generator<Uint8Array> {
  const block = new Uint8Array(Math.min(1 << 20, Math.max(1, source.size)));
  for (let position = 0; ; ) {
    const got = source.read(position, block);
    if (got === 0) return;
    yield block.subarray(0, got);
    position += got;
  }
}

/** SHA-256 of a file in hexadecimal. */
export function sha256File(file: string): string {
  const source = fileSource(file);
  try {
    const hash = createHash('sha256');
    for (const chunk of fileChunks(source)) hash.update(chunk);
    return hash.digest('hex');
  } finally {
    source.close();
  }
}

/** Bytes of a text file. @throws Problem `cli.file` where it is larger than `limit`, so that a mistaken path costs no memory. */
export function readSmallFile(file: string, limit: number): Uint8Array {
  const source = fileSource(file);
  try {
    if (source.size > limit) throw problem('cli.file', { path: file, reason: `it has ${source.size} bytes, more than the ${limit} that such a file may have` });
    const bytes = new Uint8Array(source.size);
    return bytes.subarray(0, source.read(0, bytes));
  } finally {
    source.close();
  }
}
