/** A date as it stands on screen. */

/** `2026-11-25 12:16 UTC` of an ISO date in UTC. */
export const timeText = (iso: string): string => `${iso.slice(0, 16).replace('T', ' ')} UTC`;
