import fs from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import type { CaptureStory, Job } from '../../cli/job.js';
import { fileCapture, keepOld, openJob, stepOf } from '../../cli/job.js';
import { Problem } from '../../src/problems.js';
import { TEST_NOW, temporaryFolder } from '../helpers/cli.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';

const story: CaptureStory = { recordedAt: null, how: 'made by a test', device: null, checks: [{ name: 'level', says: 'peak -12 dBFS' }], remarks: [] };

function pitJob(files: Readonly<Record<string, string>> = {}): string {
  const folder = temporaryFolder();
  for (const [name, text] of Object.entries({ 'board.yaml': PIT_BOARD_YAML, 'bench.yaml': BENCH_YAML, ...files })) fs.writeFileSync(join(folder, name), text);
  return folder;
}

const open = (folder: string): Job => openJob(folder, { cwd: '/', now: () => TEST_NOW });

function problemOf(act: () => unknown): Problem {
  try {
    act();
  } catch (error) {
    if (error instanceof Problem) return error;
    throw error;
  }
  throw new Error('nothing was refused');
}

describe('openJob', () => {
  it('reads both files, the limits and the steps', () => {
    const folder = pitJob();
    const job = open(folder);
    expect(job.board.name).toBe('Pit Board 7');
    expect(job.bench.plugs[0]!.id).toBe('plug10k');
    expect(job.limits.name).toBe('studio-quiet');
    expect(job.limits.rows.length).toBeGreaterThan(5);
    expect(job.steps.map(({ id }) => id)).toContain('loop-eq.idle');
    expect(job.boardSha256).toMatch(/^[0-9a-f]{64}$/);
    expect([...job.captures]).toEqual([]);
    expect(job.resultsFile).toBe(join(folder, 'results.json'));
  });

  it('finds the folder from where the user stands', () => {
    const folder = pitJob();
    expect(openJob('.', { cwd: folder, now: () => TEST_NOW }).folder).toBe(folder);
  });

  it('takes limits from a file beside the board', () => {
    const folder = pitJob({
      'board.yaml': PIT_BOARD_YAML.replace('studio-quiet ', 'house.yaml '),
      'house.yaml': 'format: boardproof-limits/1\nlimits: house\nrows: [{ reading: noise.a, max: -85 dBu, basis: house rule }]\n',
    });
    expect(open(folder).limits).toMatchObject({ name: 'house', rows: [{ reading: 'noise.a', max: -85 }] });
  });

  it.each([
    ['board.yaml', /is no job folder: it has no board.yaml/],
    ['bench.yaml', /is no job folder: it has no bench.yaml/],
  ])('refuses a folder without %s', (name, says) => {
    const folder = pitJob();
    fs.rmSync(join(folder, name));
    const refused = problemOf(() => open(folder));
    expect([refused.code, refused.exit]).toEqual(['cli.no-job', 2]);
    expect(refused.message).toMatch(says);
  });

  it('refuses files with faults in one sentence that says where the first is', () => {
    const one = problemOf(() => open(pitJob({ 'board.yaml': PIT_BOARD_YAML.replace('50 Hz', '55 Hz') })));
    expect([one.exit, one.message]).toEqual([2, 'board.yaml:5:8: mains "55 Hz" is no mains frequency; allowed here: 50 Hz, 60 Hz.']);
    const three = problemOf(() => open(pitJob({ 'board.yaml': PIT_BOARD_YAML.replace('50 Hz', '55 Hz').replace('8.2k', '8,2k'), 'bench.yaml': `${BENCH_YAML}extra: 1\n` })));
    expect(three.message).toMatch(/ has 3 faults; "boardproof check" lists them all\. The first: board\.yaml:5:8: /);
  });

  it('refuses two takes with one code', () => {
    // loop-x4.take and loop-x1600.take have the same CRC-16 (found by search with Python's binascii.crc_hqx).
    const board = PIT_BOARD_YAML.replace('id: comp', 'id: x4').replace('id: eq', 'id: x1600');
    expect(problemOf(() => open(pitJob({ 'board.yaml': board }))).message).toBe(
      'board.yaml: the steps loop-x4.take and loop-x1600.take have the same code in the markers of their takes; give a loop, an output or a plug another id.',
    );
  });

  it.each([
    ['a list', '- limits\n', /house.yaml:1:1: the file must hold keys/],
    ['a reading without a unit', 'format: boardproof-limits/1\nlimits: h\nrows: [{ reading: noise.a, max: 3, basis: x }]\n', /house.yaml:3:33: rows\[1\].max "3" has no unit/],
  ])('refuses a file of limits that is %s', (_what, text, says) => {
    const folder = pitJob({ 'board.yaml': PIT_BOARD_YAML.replace('studio-quiet ', 'house.yaml '), 'house.yaml': text });
    expect(problemOf(() => open(folder)).message).toMatch(says);
  });

  it('sees files in captures for what their names say', () => {
    const folder = pitJob();
    fs.mkdirSync(join(folder, 'captures'));
    for (const name of ['rest.take.wav', 'bench.idle.wav', 'loop-gone.take.wav', 'rest.take~2026-11-25T12-16-07Z.wav', 'notes.txt', 'take 3.wav', '.rest.idle.wav.99-1.tmp']) {
      fs.writeFileSync(join(folder, 'captures', name), 'x');
    }
    expect([...open(folder).captures.keys()]).toEqual(['bench.idle', 'rest.take', 'loop-gone.take']);
  });
});

describe('stepOf', () => {
  it('gives the step, or names the likely one', () => {
    const job = open(pitJob());
    expect(stepOf(job, 'rest.idle').kind).toBe('idle');
    expect(problemOf(() => stepOf(job, 'rest.idel')).message).toBe('The job has no step "rest.idel" (did you mean rest.idle?); "boardproof steps" lists its steps.');
  });
});

describe('fileCapture', () => {
  const captures = (folder: string): string[] => fs.readdirSync(join(folder, 'captures')).sort();
  const at = (folder: string, name: string): string => fs.readFileSync(join(folder, 'captures', name), 'utf8');

  it('files the bytes with what is known of them', async () => {
    const folder = pitJob();
    const filed = await fileCapture(open(folder), 'rest.idle', 'RIFF one', story, TEST_NOW);
    expect(filed).toMatchObject({ step: 'rest.idle', name: 'captures/rest.idle.wav', bytes: 8 });
    expect(captures(folder)).toEqual(['rest.idle.json', 'rest.idle.wav']);
    expect(open(folder).captures.get('rest.idle')!.sidecar).toEqual({
      format: 'boardproof-capture/1',
      step: 'rest.idle',
      bytes: 8,
      sha256: '92afe841073926b01e0fe1b1aa0decb811059321b79da633a8b9f27832d321f6',
      filedAt: '2026-11-25T12:16:07.000Z',
      ...story,
      roundTripS: null,
      repeats: [],
    });
  });

  it('a repeat counts together with what was there, one that is none takes the place of all', async () => {
    const folder = pitJob();
    const times = ['2026-11-20T08:30:00Z', '2026-11-21T08:30:00Z'].map((t) => new Date(t));
    const file = async (text: string, repeat: boolean, at?: Date): Promise<void> => {
      await fileCapture(open(folder), 'rest.idle', text, { ...story, repeat }, TEST_NOW);
      if (at) fs.utimesSync(join(folder, 'captures/rest.idle.wav'), at, at);
    };
    const counted = (): string[] => {
      const capture = open(folder).captures.get('rest.idle')!;
      return [capture, ...capture.repeats].map((c) => fs.readFileSync(c.file, 'utf8'));
    };
    await file('one', true, times[0]);
    await file('two', true, times[1]);
    await file('three', true);
    expect(counted()).toEqual(['three', 'two', 'one']);
    expect(open(folder).captures.get('rest.idle')!.repeats.map((c) => [c.name, c.sidecar?.bytes])).toEqual([
      ['captures/rest.idle~2026-11-21T08-30-00Z.wav', 3],
      ['captures/rest.idle~2026-11-20T08-30-00Z.wav', 3],
    ]);
    const before = captures(folder);
    await expect(fileCapture(open(folder), 'rest.idle', 'two', { ...story, repeat: true }, TEST_NOW)).rejects.toThrow('already counted as captures/rest.idle~2026-11-21T08-30-00Z.wav');
    expect(captures(folder)).toEqual(before);
    fs.rmSync(join(folder, 'captures/rest.idle~2026-11-21T08-30-00Z.wav'));
    expect(counted()).toEqual(['three', 'one']);
    expect(open(folder).captures.get('rest.idle')!.gone).toEqual(['rest.idle~2026-11-21T08-30-00Z.wav']);
    await file('four', false);
    expect(counted()).toEqual(['four']);
    expect(captures(folder).filter((name) => name.endsWith('.wav'))).toHaveLength(3);
  });

  it('counts nothing but kept captures of the same step, whatever the sidecar says', async () => {
    const folder = pitJob();
    await fileCapture(open(folder), 'all.idle', 'other', story, TEST_NOW);
    await fileCapture(open(folder), 'rest.idle', 'one', story, TEST_NOW);
    const sidecar = join(folder, 'captures/rest.idle.json');
    const good = JSON.parse(fs.readFileSync(sidecar, 'utf8')) as object;
    for (const repeats of [['all.idle.wav'], ['rest.idle.wav'], ['rest.idle~/../all.idle.wav'], ['../board.yaml'], [1, null], 'rest.idle.wav']) {
      fs.writeFileSync(sidecar, JSON.stringify({ ...good, repeats }));
      const { repeats: counted, gone } = open(folder).captures.get('rest.idle')!;
      expect([counted, gone], String(repeats)).toEqual([[], []]);
    }
  });

  it('keeps the old one with its time in its name, however often', async () => {
    const folder = pitJob();
    for (const text of ['one', 'two', 'three']) {
      await fileCapture(open(folder), 'rest.idle', text, story, TEST_NOW);
      fs.utimesSync(join(folder, 'captures/rest.idle.wav'), TEST_NOW, TEST_NOW);
    }
    expect(captures(folder)).toEqual([
      'rest.idle.json',
      'rest.idle.wav',
      'rest.idle~2026-11-25T12-16-07Z-2.json',
      'rest.idle~2026-11-25T12-16-07Z-2.wav',
      'rest.idle~2026-11-25T12-16-07Z.json',
      'rest.idle~2026-11-25T12-16-07Z.wav',
    ]);
    expect([at(folder, 'rest.idle.wav'), at(folder, 'rest.idle~2026-11-25T12-16-07Z-2.wav'), at(folder, 'rest.idle~2026-11-25T12-16-07Z.wav')]).toEqual(['three', 'two', 'one']);
    expect([...open(folder).captures.keys()]).toEqual(['rest.idle']);
  });

  it('leaves the job as it was where the new capture fails half-way', async () => {
    const folder = pitJob();
    await fileCapture(open(folder), 'rest.idle', 'one', story, TEST_NOW);
    const before = captures(folder);
    function* failing(): Generator<Uint8Array> {
      yield new Uint8Array(10);
      throw new Error('cut off');
    }
    await expect(fileCapture(open(folder), 'rest.idle', failing(), story, TEST_NOW)).rejects.toThrow('cut off');
    expect(captures(folder)).toEqual(before);
    expect(at(folder, 'rest.idle.wav')).toBe('one');
  });

  it('does not believe a sidecar that is broken or of another file', async () => {
    const folder = pitJob();
    await fileCapture(open(folder), 'rest.idle', 'one', story, TEST_NOW);
    const sidecar = join(folder, 'captures/rest.idle.json');
    const good = fs.readFileSync(sidecar, 'utf8');
    for (const bad of ['{', 'null', '[]', good.replace('capture/1', 'capture/2'), good.replace('"step": "rest.idle"', '"step": "all.idle"'), good.replace('"bytes": 3', '"bytes": 4')]) {
      fs.writeFileSync(sidecar, bad);
      const capture = open(folder).captures.get('rest.idle')!;
      expect([capture.bytes, capture.sidecar], bad).toEqual([3, null]);
    }
    fs.writeFileSync(sidecar, good);
    expect(open(folder).captures.get('rest.idle')!.sidecar).not.toBeNull();
  });
});

describe('a job killed while a capture takes the place of another', () => {
  // Every state that the disk can be in between the single changes, made by hand; then the job goes on.
  const stem = 'rest.idle~2026-11-25T12-16-07Z';
  const states: Readonly<Record<string, (captures: string) => void>> = {
    'before anything': () => undefined,
    'with the new bytes under a temporary name': (c) => {
      fs.writeFileSync(join(c, '.rest.idle.wav.1-1.tmp'), 'half');
    },
    'after the old capture has its second name': (c) => {
      fs.linkSync(join(c, 'rest.idle.wav'), join(c, `${stem}.wav`));
    },
    'after its sidecar has moved too': (c) => {
      fs.linkSync(join(c, 'rest.idle.wav'), join(c, `${stem}.wav`));
      fs.renameSync(join(c, 'rest.idle.json'), join(c, `${stem}.json`));
    },
    'after the new capture has the name, before its sidecar': (c) => {
      keepOld(join(c, '..'), 'rest.idle');
      fs.writeFileSync(join(c, 'next'), 'new');
      fs.renameSync(join(c, 'next'), join(c, 'rest.idle.wav'));
    },
    'on a disk without links, when the old capture has lost its name': (c) => {
      fs.renameSync(join(c, 'rest.idle.wav'), join(c, `${stem}.wav`));
    },
  };

  it.each(Object.keys(states))('%s: opens, loses nothing, mixes nothing up', async (state) => {
    const folder = pitJob();
    const captures = join(folder, 'captures');
    await fileCapture(open(folder), 'rest.idle', 'old capture', story, TEST_NOW);
    fs.utimesSync(join(captures, 'rest.idle.wav'), TEST_NOW, TEST_NOW);
    states[state]!(captures);

    const opened = open(folder).captures.get('rest.idle');
    if (opened?.sidecar) expect(opened.sidecar.bytes).toBe(opened.bytes);
    await fileCapture(open(folder), 'rest.idle', 'newest', { ...story, how: 'again' }, TEST_NOW);

    const job = open(folder);
    expect(job.captures.get('rest.idle')!.sidecar).toMatchObject({ how: 'again', bytes: 6 });
    expect(fs.readFileSync(job.captures.get('rest.idle')!.file, 'utf8')).toBe('newest');
    const kept = fs.readdirSync(captures).filter((name) => name.includes('~') && name.endsWith('.wav'));
    expect(kept.map((name) => fs.readFileSync(join(captures, name), 'utf8'))).toContain('old capture');
  });
});
