/**
 * The values that board, bench and limit files are made of, each a schema from the text in the file to what it means.
 * What editors are told of them (for JSON Schema) stands in `meta`.
 *
 * @module
 */
import { z } from 'zod';
import { kindOf } from '../units/kinds.js';
import { readQuantity } from '../units/quantity.js';
import type { Quantity, QuantityKind } from '../units/quantity.js';
import { readReadingValue } from '../units/reading-value.js';
import { quote } from './fault.js';
import { nearest } from './nearest.js';

/** A clause about the text, with what is allowed where that is a short list. */
interface Refusal {
  readonly fault: string;
  readonly allowed?: readonly string[];
  readonly nearest?: string | null;
}

type Leaf<T> = z.ZodType<T, string>;

/** What an editor is told: a JSON Schema fragment. */
type Meta = Readonly<Record<string, unknown>> & { readonly description: string };

const isRefusal = (read: unknown): read is Refusal => typeof read === 'object' && read !== null && 'fault' in read;

function leaf<T>(meta: Meta, read: (text: string) => T | Refusal): Leaf<T> {
  return z
    .string({ error: meta.description })
    .transform((text, context) => {
      const value = text.trim() === '' ? { fault: 'is empty; give it a value, or take the line out' } : read(text);
      if (!isRefusal(value)) return value;
      const { fault, allowed = null, nearest: meant = null } = value;
      context.addIssue({ code: 'custom', message: `${text.trim() === '' ? '' : `${quote(text)} `}${fault}`, params: { allowed, nearest: meant } });
      return z.NEVER;
    })
    .meta(meta);
}

const ranges = { positive: 'above zero', 'not negative': 'zero or above', any: 'any' } as const;
export type Range = keyof typeof ranges;

/** A quantity whose tolerance, where one is given, is kept. */
export function stated(kind: QuantityKind, description: string, range: Range = 'positive'): Leaf<Quantity> {
  const { example, bare } = kindOf(kind);
  return leaf<Quantity>({ type: bare ? ['string', 'number'] : 'string', description: `${description}, as in ${example}` }, (text) => {
    const quantity = readQuantity(text, kind);
    if ('fault' in quantity) return quantity;
    const { value } = quantity;
    if ((range === 'positive' && value <= 0) || (range === 'not negative' && value < 0)) return { fault: `must be ${ranges[range]}` };
    return quantity;
  });
}

/** A quantity that is taken as exact: a tolerance would go unused, so it is refused. */
export function quantity(kind: QuantityKind, description: string, range: Range = 'positive'): Leaf<number> {
  return stated(kind, description, range).transform(({ value, tolerance }, context) => {
    if (tolerance === null) return value;
    context.addIssue({ code: 'custom', message: 'takes no tolerance, as nothing is computed from it; take the part from ± on out' });
    return z.NEVER;
  });
}

const LONGEST_NAME = 200;

/** Text of any script. */
export const text = (description: string): Leaf<string> =>
  leaf<string>({ type: ['string', 'number'], description, minLength: 1, maxLength: LONGEST_NAME }, (written) => {
    const value = written.trim();
    return [...value].length > LONGEST_NAME ? { fault: `is longer than ${LONGEST_NAME} characters` } : value;
  });

const ID = /^[A-Za-z0-9][A-Za-z0-9_-]{0,31}$/;

/** Names that an operating system keeps for its devices, and words that mean something to a program's own maps. */
const RESERVED = /^(con|prn|aux|nul|com\d|lpt\d|constructor|hasownproperty|isprototypeof|propertyisenumerable|tolocalestring|tostring|valueof)$/i;

/** A short name that becomes part of file names. */
export const id = (description: string): Leaf<string> =>
  leaf<string>({ type: ['string', 'number'], description: `${description}: a short name of letters, digits, - and _`, pattern: ID.source }, (written) => {
    const value = written.trim();
    if (RESERVED.test(value)) return { fault: 'is a name that systems keep for themselves; choose another' };
    if (ID.test(value)) return value;
    return { fault: 'cannot be part of a file name; use up to 32 letters (A to Z), digits, - and _, beginning with a letter or digit; a "name" may hold anything' };
  });

/** A whole number from 1. */
export const channel = (description: string, most: number): Leaf<number> =>
  leaf<number>({ type: 'integer', minimum: 1, maximum: most, description }, (written) => {
    const value = Number(written);
    return /^\d+$/.test(written.trim()) && value >= 1 && value <= most ? value : { fault: `must be a whole number from 1 to ${most}` };
  });

/** One of a few words. */
export function choice<const W extends string>(description: string, allowed: readonly W[]): Leaf<W> {
  return leaf<W>({ enum: allowed, description }, (written) => {
    const value = allowed.find((word) => word === written.trim());
    return value ?? { fault: 'is none of the words that can stand here', allowed, nearest: nearest(written.trim(), allowed) };
  });
}

const STATE_WORDS = ['bench', 'lead', 'rest', 'unbuffered', 'all', 'loop-*', 'lift-*', 'invert-*', 'into-*'] as const;

/** A state, or the states of a kind: `rest`, `loop-eq`, `loop-*`. */
export const statePattern = (description: string): Leaf<string> =>
  leaf<string>({ type: 'string', description, examples: STATE_WORDS }, (written) => {
    const value = written.trim();
    const [, kindOfState, name = ''] = /^(loop|lift|invert|into)-(.+)$/.exec(value) ?? [];
    const right = kindOfState === undefined ? STATE_WORDS.some((word) => word === value) : name === '*' || ID.test(name);
    return right ? value : { fault: 'is no state', allowed: STATE_WORDS, nearest: nearest(value, STATE_WORDS) };
  });

/** true or false. */
export const flag = (description: string): Leaf<boolean> =>
  leaf<boolean>({ type: 'boolean', description }, (written) => {
    const value = written.trim().toLowerCase();
    if (value === 'true' || value === 'false') return value === 'true';
    const meant = /^(yes|y|on)$/.test(value) ? 'true' : /^(no|n|off)$/.test(value) ? 'false' : null;
    return { fault: 'is neither true nor false', allowed: ['true', 'false'], nearest: meant };
  });

/** The mains frequency. */
export const mains = (): Leaf<50 | 60> =>
  leaf<50 | 60>({ type: ['string', 'integer'], enum: ['50 Hz', '60 Hz', 50, 60], description: 'mains frequency where the board is measured' }, (written) => {
    const read = readQuantity(written, 'frequency');
    const value = 'fault' in read || read.tolerance !== null ? null : read.value;
    return value === 50 || value === 60 ? value : { fault: 'is no mains frequency', allowed: ['50 Hz', '60 Hz'] };
  });

/** The first line of each file: what it is and the version of its keys. */
export const format = (name: string, version: number): Leaf<string> => {
  const right = `${name}/${version}`;
  return leaf<string>({ const: right, description: `what this file is, and the version of its keys: ${right}` }, (written) => {
    const value = written.trim();
    if (value === right) return value;
    const [otherName, otherVersion] = value.split('/');
    if (otherName === name && Number(otherVersion) > version) return { fault: `is a later format than this program knows; it reads ${right}: take a newer program` };
    if (otherName?.startsWith('boardproof-') && otherName !== name) return { fault: `is another kind of file; this one must be ${right}` };
    return { fault: `is not the format of this file; write ${right}` };
  });
};

/** A value of a reading in the unit of its readings. */
export const readingValue = (description: string): Leaf<{ readonly value: number; readonly unit: string }> =>
  leaf<{ readonly value: number; readonly unit: string }>({ type: 'string', description: `${description}, as in -85 dBu or 0.5 dB` }, (written) => readReadingValue(written));

/** A map that takes these keys and no others. Messages are data for board/complaints: the known keys, or the description. */
export const keys = <S extends z.ZodRawShape>(shape: S, description: string): z.ZodObject<S, z.core.$strict> =>
  z
    .strictObject(shape, { error: (issue) => (issue.code === 'unrecognized_keys' ? Object.keys(shape).join(', ') : description) })
    .meta({ description });

/** A list of at most that many. */
export const list = <T extends z.ZodType>(item: T, most: number): z.ZodArray<T> =>
  z.array(item).max(most, { error: `has more than ${most} entries` });
