import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import { expect, it } from 'vitest';

/** Minutes of processor time per hour of capture; memory is what is looked at, and ten minutes of it show what two hours need. */
const HOURS = Number(process.env['BOARDPROOF_HOURS'] ?? 1 / 6);

it(`a 96 kHz stereo idle capture of ${(60 * HOURS).toFixed(0)} minutes is measured in under 300 MB`, { timeout: 900_000 }, () => {
  const out = execFileSync(process.execPath, [join(import.meta.dirname, 'long-capture.mjs'), String(HOURS)], { encoding: 'utf8' });
  const { maxRssMb, mainsHz, humDbfs, events } = JSON.parse(out) as Record<string, number>;
  expect(maxRssMb).toBeLessThan(300);
  expect(mainsHz).toBeCloseTo(49.97, 1);
  // 60 steps of 2⁻²³, as a sine of that peak.
  expect(humDbfs).toBeCloseTo(20 * Math.log10(60 / 8388608), 1);
  expect(events).toBe(0);
});
