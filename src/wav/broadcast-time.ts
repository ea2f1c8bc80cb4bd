/**
 * When a recording was made, from the "bext" chunk of a broadcast WAV (EBU Tech 3285).
 *
 * @module
 */

/** Position in the chunk, and length in bytes, of OriginationDate (10) and OriginationTime (8). */
export const originationField = { offset: 320, bytes: 18 } as const;

/**
 * The recorder's local time as `yyyy-mm-ddThh:mm:ss`, the date alone where the time is unset, or null where there is no
 * date. The specification allows `-`, `_`, `:`, space and `.` between the numbers.
 *
 * @param field the 18 characters of date and time
 */
export function broadcastTime(field: string): string | null {
  const date = /^(\d{4})[-_:. /](\d\d)[-_:. /](\d\d)/.exec(field);
  if (date === null) return null;
  const [, year, month, day] = date;
  if (year === '0000' || !within(month, 1, 12) || !within(day, 1, 31)) return null;
  const time = /^(\d\d)[-_:. ](\d\d)[-_:. ](\d\d)/.exec(field.slice(10));
  const [, hour, minute, second] = time ?? [];
  const clock = within(hour, 0, 23) && within(minute, 0, 59) && within(second, 0, 60) ? `T${hour}:${minute}:${second}` : '';
  return `${year}-${month}-${day}${clock}`;
}

function within(digits: string | undefined, least: number, most: number): boolean {
  return digits !== undefined && Number(digits) >= least && Number(digits) <= most;
}
