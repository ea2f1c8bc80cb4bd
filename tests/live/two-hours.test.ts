import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import { expect, it } from 'vitest';

it('a two-hour 96 kHz stereo idle capture is measured in under 300 MB', { timeout: 900_000 }, () => {
  const out = execFileSync(process.execPath, [join(import.meta.dirname, 'two-hours.mjs'), '2'], { encoding: 'utf8' });
  const { maxRssMb, mainsHz, humDbfs, events } = JSON.parse(out) as Record<string, number>;
  expect(maxRssMb).toBeLessThan(300);
  expect(mainsHz).toBeCloseTo(49.97, 1);
  // 60 steps of 2⁻²³, as a sine of that peak.
  expect(humDbfs).toBeCloseTo(20 * Math.log10(60 / 8388608), 1);
  expect(events).toBe(0);
});
