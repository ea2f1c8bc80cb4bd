/**
 * Text for a terminal whose locale is not UTF-8: signs of ours in the characters that every terminal has, any other
 * character as `\u{…}`, so that a name that cannot be shown is never shown as another.
 *
 * @module
 */

const SIGNS: Readonly<Record<string, string>> = {
  '±': '+/-',
  '−': '-',
  '–': '-',
  '—': '-',
  '…': '...',
  '←': '<-',
  '→': '->',
  '≤': '<=',
  '≥': '>=',
  '≈': '~',
  '×': 'x',
  '·': '*',
  '√': 'sqrt',
  '°': ' deg',
  ν: 'nu',
  π: 'pi',
  Σ: 'sum',
  µ: 'u',
  μ: 'u',
  Ω: 'ohm',
  '’': "'",
  '‘': "'",
  '“': '"',
  '”': '"',
  '✓': '+',
  '✗': 'x',
  '█': '#',
  '░': '-',
  '\u00a0': ' ',
};

const SUPERSCRIPTS = '⁰¹²³⁴⁵⁶⁷⁸⁹⁻';

/** An exponent, '⁻¹⁵' as '^-15'. */
const exponent = (run: string): string => `^${[...run].map((c) => '0123456789-'[SUPERSCRIPTS.indexOf(c)]).join('')}`;

/** The text in ASCII. Text that is ASCII already stays as it is. */
export const asciiOf = (text: string): string =>
  // eslint-disable-next-line no-control-regex -- All that is ASCII is left alone, the escapes of colour among it.
  text.replace(new RegExp(`[${SUPERSCRIPTS}]+`, 'g'), exponent).replace(/[^\x00-\x7f]/gu, (sign) => SIGNS[sign] ?? `\\u{${sign.codePointAt(0)!.toString(16)}}`);

/** JSON in ASCII: the same document, its other characters escaped. */
export const asciiJson = (json: string): string =>
  // eslint-disable-next-line no-control-regex -- As above.
  json.replace(/[^\x00-\x7f]/g, (unit) => `\\u${unit.charCodeAt(0).toString(16).padStart(4, '0')}`);

/**
 * Whether the locale has no UTF-8: the first that is set of LC_ALL, LC_CTYPE and LANG decides, and none means the locale
 * "C" (POSIX.1-2017, 8.2). Windows and macOS have UTF-8 whatever these say.
 */
export function wantsAscii(env: Readonly<Record<string, string | undefined>>, platform: string): boolean {
  const locale = [env['LC_ALL'], env['LC_CTYPE'], env['LANG']].find((name) => name !== undefined && name !== '');
  if (locale === undefined) return platform !== 'win32' && platform !== 'darwin';
  return platform !== 'win32' && !/utf-?8/i.test(locale);
}
