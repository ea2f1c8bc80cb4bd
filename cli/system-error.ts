/**
 * Errors of the operating system in words.
 *
 * @module
 */
import { Problem, problem } from '../src/problems.js';

const reasons: Readonly<Record<string, string>> = {
  EACCES: 'access is not allowed',
  EPERM: 'access is not allowed',
  ENOENT: 'it does not exist',
  ENOTDIR: 'a part of its path is not a folder',
  EISDIR: 'it is a folder',
  EEXIST: 'a file of that name is there already',
  ENOSPC: 'the disk is full',
  EDQUOT: 'the disk quota is used up',
  EROFS: 'the disk is read-only',
  EMFILE: 'too many files are open',
  ENAMETOOLONG: 'the name is too long',
  EIO: 'the disk reported an error',
  EFBIG: 'the file is too large for this disk',
  ELOOP: 'its links lead in a circle',
  ENXIO: 'it is no regular file',
};

/** The words for an error code of the operating system. */
export const systemReason = (code: string): string => reasons[code] ?? `the system says ${code}`;

/** The operating system's code of an error, such as `ENOENT`; null where it is another error. */
export const errorCode = (error: unknown): string | null =>
  error instanceof Error && 'code' in error && typeof error.code === 'string' ? error.code : null;

/** Whatever was thrown, as an error of the table; `path` is named where the error names none. */
export function asProblem(error: unknown, path = 'a file'): Problem {
  if (error instanceof Problem) return error;
  const code = errorCode(error);
  if (code !== null && error instanceof Error && 'errno' in error) {
    return problem('cli.file', { path: 'path' in error && typeof error.path === 'string' ? error.path : path, reason: systemReason(code) });
  }
  return problem('cli.internal', { said: error instanceof Error ? error.message : String(error) });
}
