/** A reading that cannot be meant is refused before anything is written. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import { fakeEngine } from '../helpers/fake-audio.js';
import { makeJob } from '../helpers/recordings.js';

const BENCH = 'format: boardproof-bench/1\nbench: b\noutput: { device: interface, fullScale: 14 dBu }\nrecorder: { device: interface }\ninputs: [{ channel: 1, output: A }]\n';

it('volts typed for millivolts leave bench.yaml as it is', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH);
  const refused = await runCli(['calibrate', folder, '--reading', '388 V', '--yes'], { audio: fakeEngine({ hear: (played) => 0.5 * played }) });
  expect(refused.exit).toBe(2);
  // 388 V are 54.0 dBu, at −20 dBFS.
  expect(refused.err.replace(/\s+/g, ' ')).toContain('would make 0 dBFS 74.0 dBu, where -20 to 40 dBu is usual');
  expect(readFileSync(join(folder, 'bench.yaml'), 'utf8')).toBe(BENCH);
});

it('says which tone the reading was of, in volts that a meter shows', async () => {
  const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', BENCH);
  const done = await runCli(['calibrate', folder, '--reading', '388 mV', '--yes'], { audio: fakeEngine({ hear: (played) => 0.5 * played }) });
  expect(done.exit).toBe(0);
  expect(done.err.replace(/\s+/g, ' ')).toContain('Plays 997 Hz at -20 dBFS (-6.0 dBu at the bench output) for');
  // 388 mV are −6.01 dBu; half of what is played is heard.
  expect(done.out).toMatch(/From 0\.388 V for the tone at -20 dBFS, 0 dBFS is, as bench\.yaml now says:\n[^\n]*on a meter\n {2}bench output +14\.00 dBu ± 0\.\d\d dB +3\.88 V\n {2}input 1, output A +20\.02 dBu ± 0\.\d\d dB +7\.76 V\n/);
  expect(done.err.match(/Next:/g)).toHaveLength(1);
});
