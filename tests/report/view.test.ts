import { describe, expect, it } from 'vitest';
import type { Reading, Results } from '../../src/judge/results.js';
import { boardParts } from '../../src/report/board-parts.js';
import { firstPageSentences } from '../../src/report/first-page.js';
import { fixed, isPolarity, unitText } from '../../src/report/numbers.js';
import { figureText } from '../../src/report/reading-tables.js';
import { type ReportView, type Section, type Topic, reportView } from '../../src/report/view.js';
import { markWord, plain, wherePhrase } from '../../src/report/words.js';
import { allMissingResults, boardResults, emptyResults, hostileResults, limit, reading } from './fixture.js';

const sectionsOf = (view: ReportView): readonly Section[] => [...(view.player === null ? [] : [view.player.section]), ...view.outputs, ...view.matches, ...view.loopTables, ...view.loops, ...view.others];
const topicsOf = (view: ReportView): readonly Topic[] => sectionsOf(view).flatMap((s) => s.topics);
const flat = (text: string): string => text.replace(/[\u00a0\u202f]/g, ' ');
const sentence = (results: Results, topic: string): { mark: string; text: string } => {
  const found = firstPageSentences(results, boardParts(results)).find((s) => s.topic === topic)!;
  return { mark: found.mark, text: flat(plain(found.text)) };
};
const withReadings = (change: (r: Reading) => Reading | null): Results => {
  const full = boardResults();
  return { ...full, readings: full.readings.flatMap((r) => change(r) ?? []) };
};
/** Without what was put behind the player's instrument, the page speaks of the source plug. */
const unplayed = (change: (r: Reading) => Reading | null): Results => {
  const some = withReadings(change);
  return { ...some, readings: some.readings.filter((r) => !r.id.startsWith('player.')) };
};

it('names an output that is lifted or inverted once', () => {
  const at = (state: string, output: string | null): string => flat(plain(wherePhrase(boardResults({ loops: 1 }), { state, output })));
  expect([at('invert-B', 'B'), at('lift-A', 'B'), at('rest', 'A'), at('lift-A', null)]).toEqual([
    'Polarity switch inverted, output B, pit DI', 'Ground lift on at A, output B, pit DI', 'Every loop out, buffer in, output A, stage amplifier', 'Ground lift on, output A, stage amplifier',
  ]);
});

it('says of predictions that are the same at several outputs that they are, once', () => {
  const tables = reportView(boardResults({ loops: 1 })).player!.view.tables.map((t) => t.rows.map((r) => flat(plain(r.head))));
  expect(tables.flat().some((head) => head.includes('outputs A and B'))).toBe(true);
  for (const heads of tables) expect(new Set(heads.filter((h) => h.includes(': '))).size).toBe(heads.filter((h) => h.includes(': ')).length);
});

it('puts what two outputs hear of each other together, both ways, where they are matched', () => {
  const results = boardResults({ loops: 1 });
  const [match] = results.readings.filter((r) => r.id === 'match.level');
  const heard = ['A', 'B'].map((from, i): Reading => ({ ...match!, id: 'crosstalk.1k', label: `Crosstalk from output ${from}`, state: `into-${from}`, output: i === 0 ? 'A:B' : 'B:A', value: -70 - i }));
  const view = reportView({ ...results, readings: [...results.readings, ...heard] });
  expect(view.matches).toHaveLength(reportView(results).matches.length);
  const heads = view.matches.map((s) => flat(s.topics.flatMap((t) => t.readings).map((t) => JSON.stringify(t)).join(' ')));
  expect(heads.filter((text) => text.includes('Played into output') && text.includes('Crosstalk from output A') && text.includes('Crosstalk from output B'))).toHaveLength(1);
});

describe.each([
  ['a faulty board', boardResults()],
  ['16 loops and three outputs', boardResults({ loops: 16, outputs: 3 })],
  ['one output, not calibrated', boardResults({ outputs: 1, calibrated: false, loops: 2 })],
  ['hostile names', hostileResults()],
  ['places that the board file does not name', strayResults()],
])('the view of %s', (_, results) => {
  const view = reportView(results);

  it('has one place for every reading', () => {
    const shown = topicsOf(view).flatMap((t) => [...t.readings, ...t.lineReadings]).flatMap((t) => t.rows.flatMap((r) => r.cells.flatMap((c) => (c === null ? [] : [`${r.unit} ${c.figure}`]))));
    expect(shown).toHaveLength(results.readings.length);
    const count = (list: readonly string[]): Map<string, number> => list.reduce((m, k) => m.set(k, (m.get(k) ?? 0) + 1), new Map<string, number>());
    expect(count(shown.map(flat))).toEqual(count(results.readings.map((r) => flat(`${isPolarity(r.unit) ? '' : unitText(r.unit)} ${figureText(r)}`))));
  });

  it('draws every curve, and no small chart twice', () => {
    const figures = topicsOf(view).flatMap((t) => t.figures.flatMap((g) => g.figures));
    const drawn = new Set(figures.flatMap((f) => f.curves));
    for (const curve of [...results.curves, ...(results.playerCurves ?? []).filter((c) => c.state !== 'lead')]) expect(drawn.has(curve.id), curve.id).toBe(true);
    const small = figures.filter((f) => f.size === 'small').flatMap((f) => f.curves);
    expect(new Set(small).size).toBe(small.length);
  });

  it('has a table with a row for each third-octave behind every chart', () => {
    for (const group of topicsOf(view).flatMap((t) => t.figures)) {
      expect(group.table.rows).toHaveLength(31);
      const cells = group.table.columns.reduce((sum, c) => sum + c.sub.length, 0);
      for (const row of group.table.rows) expect(row.cells).toHaveLength(cells);
    }
  });
});

/** A board whose results speak of an output and a loop that it does not have. */
function strayResults(): Results {
  const full = boardResults({ loops: 2 });
  return {
    ...full,
    readings: full.readings.map((r, i) => (i % 7 === 0 ? { ...r, output: 'Z' } : i % 11 === 0 ? { ...r, loop: 'ghost', output: null } : r)),
    curves: full.curves.map((c, i) => (i % 5 === 0 ? { ...c, output: c.output?.includes(':') === true ? 'Y:Z' : 'Z', state: i % 2 === 0 ? c.state : 'odd-state' } : c)),
  };
}

describe('the first page', () => {
  it('quotes figures as the readings have them', () => {
    const results = boardResults();
    const hum = results.readings.filter((r) => r.id === 'noise.hum' && r.state !== 'bench').sort((a, b) => b.value! - a.value!)[0]!;
    const text = sentence(results, 'Hum and whine').text;
    expect(text).toContain(`${fixed(hum.value!, 1)} dBu`);
    expect(text).toContain(`${fixed(hum.value! + 95, 1)} dB above the limit of −95 dBu`);
    expect(text).toContain('1.02 kHz');
    expect(sentence(results, 'Outputs').text).toBe('Outputs A and B are 0.40 dB apart in level, outside the limits of ± 0.2 dB, have the same polarity and arrive 3.1 µs apart in time.');
    const closer = withReadings((r) => (r.id === 'match.delay' ? { ...r, value: -0.04 } : r));
    expect(sentence(closer, 'Outputs').text).toMatch(/have the same polarity and arrive together\.$/);
  });

  it('speaks of the reading that is worst for its limit, not of the largest', () => {
    const results = withReadings((r) => {
      if (r.id !== 'noise.a' || r.state === 'bench') return r;
      const value = r.state === 'all' ? -86 : r.state === 'rest' && r.output === 'B' ? -88.5 : -95;
      return reading({ ...r, value, verdict: undefined as never, limit: limit('max', r.state === 'all' ? -84 : -90, 'x') });
    });
    const noise = sentence(results, 'Noise');
    expect(noise.mark).toBe('fail');
    expect(noise.text).toMatch(/^The most noise at output B, pit DI, with every loop out, is −88\.5 dBu \(A-weighted, as the ear hears it\), 1\.5 dB above the limit of −90 dBu\./);
  });

  it('tells a bound from a figure', () => {
    const results = withReadings((r) => (r.id === 'noise.a' ? { ...r, value: -101, bound: 'upper', verdict: 'bench-limited', limit: limit('max', -103, 'x') } : r));
    expect(sentence(results, 'Noise')).toMatchObject({ mark: 'bench-limited', text: expect.stringContaining('is below −101.0 dBu') as string });
    expect(sentence(results, 'Noise').text).toContain('the bench’s own noise hides the rest');
  });

  it('says that a figure is too close to decide only where it is', () => {
    const close = withReadings((r) => (r.id === 'noise.a' ? { ...r, value: -90.1, uncertainty: 0.3, verdict: 'undecided', limit: limit('max', -90, 'x') } : r));
    expect(sentence(close, 'Noise').text).toContain('too close to it to decide');
    const far = withReadings((r) => (r.id === 'noise.a' ? { ...r, value: -99, uncertainty: 0.3, verdict: 'undecided', limit: limit('max', -90, 'x') } : r));
    expect(sentence(far, 'Noise').text).not.toContain('too close');
  });

  it('counts a droop below zero as a loss, and one above as a gain', () => {
    const tone = (value: number): string => sentence(unplayed((r) => (r.id === 'droop.10k' ? { ...r, value, uncertainty: 0.01 } : r)), 'Tone').text;
    expect(tone(-0.31)).toContain('0.31 dB weaker with the buffer in (0.5 dB allowed)');
    expect(tone(0.31)).toContain('0.31 dB stronger with the buffer in');
    expect(tone(-0.31)).toMatch(/^Against a straight lead, treble at 10 kHz/);
  });

  it('speaks of the player’s own instrument where it was measured, and says what a loss means', () => {
    const { text } = sentence(boardResults(), 'Tone');
    expect(text).toContain('with the buffer in, it loses 0.03 dB in 2–5 kHz (as good as unchanged; 0.5 dB allowed)');
    expect(text).toContain('with the buffer out, it loses 0.99 dB in 2–5 kHz (a touch duller; 1.5 dB allowed)');
    expect(sentence(boardResults(), 'Noise').text).toContain('its hiss is 8.6 dB below that of the player’s own pickup, which covers it.');
  });

  it('names the bench where no straight lead was measured', () => {
    expect(sentence(unplayed((r) => (r.id.startsWith('droop') ? { ...r, capture: ['rest+plug10k.take', 'bench.take'] } : r)), 'Tone').text).toMatch(/^Against the bench looped to itself/);
  });

  it('says what was not measured', () => {
    const none = emptyResults();
    expect(sentence(none, 'Noise')).toEqual({ mark: 'absent', text: 'The noise of the board was not measured.' });
    expect(sentence(none, 'Hum and whine')).toEqual({ mark: 'absent', text: 'Hum and whine were not measured.' });
    expect(sentence(none, 'Tone').mark).toBe('absent');
    expect(sentence(none, 'Outputs').text).toBe('Whether the outputs agree was not measured.');
    expect(sentence(none, 'Loops').text).toBe('None of the loops was measured on its own.');
  });

  it('speaks of level where there is one output', () => {
    const one = boardResults({ outputs: 1 });
    expect(firstPageSentences(one, boardParts(one)).map((s) => s.topic)).toEqual(['Noise', 'Hum and whine', 'Tone', 'Level', 'Loops']);
    expect(sentence(one, 'Level').text).toBe('The board passes the signal at −0.08 dB at 1 kHz, with every loop out, inside the limits of ± 0.5 dB.');
  });

  it('names an inverted loop before a noisy one, and counts the good ones', () => {
    expect(sentence(boardResults(), 'Loops').text).toMatch(/^Three of six loops do what they should; look at overdrive \(whine −9[67]\.\d dBu\); at insert patched through \(its polarity is inverted\); at chorus \(mains hum −80\.1 dBu\)\.$/);
  });
});

describe('the parts of the board', () => {
  const results = boardResults();
  const parts = boardParts(results);

  it('take the gravest of their own readings', () => {
    for (const [i, loop] of results.board.loops.entries()) {
      const verdicts = results.readings.filter((r) => r.loop === loop.id).map((r) => r.verdict);
      expect(parts.loops[i]!.mark, loop.id).toBe(verdicts.includes('fail') ? 'fail' : 'pass');
    }
    expect(parts.buffer!.mark).toBe('pass');
    expect(parts.bypass!.mark).toBe('fail');
    expect(parts.matches[0]!.mark).toBe('fail');
  });

  it('carry findings against them where no reading fails', () => {
    const clean: Results = { ...results, readings: results.readings.map((r) => (r.verdict === 'fail' ? { ...r, verdict: 'pass' as const } : r)) };
    const marks = boardParts(clean);
    expect(marks.loops.find((l) => l.id === 'chorus')!.mark).toBe('caution');
    expect(marks.outlets.find((o) => o.id === 'S1.3')!.mark).toBe('caution');
    expect(marks.outlets.find((o) => o.id === 'S1.1')!.mark).toBe('info');
    expect(marks.outputs.find((o) => o.id === 'B')!.mark).toBe('caution');
    expect(marks.outputs.find((o) => o.id === 'A')!.mark).toBe('pass');
  });

  it('leave to the outputs what fails with every loop out as well', () => {
    const hiss = (state: string, output: string, verdict: 'fail' | 'pass'): Reading => ({ ...reading({ id: 'noise.a', label: 'Noise floor, A-weighted', state, unit: 'dBu', value: -83.7 }), output, limit: limit('max', -90, 'x'), verdict });
    const at = (rest: 'fail' | 'pass', findings: Results['findings']): string[] => {
      const board: Results = { ...results, findings, readings: [hiss('rest', 'B', rest), hiss('loop-eq', 'B', 'fail'), hiss('loop-eq', 'A', 'pass')] };
      const { loops, outputs } = boardParts(board);
      return [loops.find((l) => l.id === 'eq')!.mark, outputs.find((o) => o.id === 'B')!.mark];
    };
    expect(at('fail', [])).toEqual(['pass', 'fail']);
    expect(at('pass', [])).toEqual(['fail', 'pass']);
    // A loop that a finding names is not excused.
    expect(at('fail', [{ ...results.findings[0]!, where: { loop: 'eq', output: null, supply: null } }])[0]).toBe('fail');
  });

  it('put a finding against a whole supply to each of its outlets', () => {
    const all: Results = { ...results, findings: [{ ...results.findings[0]!, where: { loop: null, output: null, supply: 'S1' } }] };
    expect(boardParts(all).outlets.map((o) => o.mark)).toEqual(['caution', 'caution', 'caution']);
  });

  it('are not measured where no reading has a figure', () => {
    const parts2 = boardParts(emptyResults());
    for (const part of [...parts2.loops, ...parts2.outputs, ...parts2.matches]) expect(markWord[part.mark]).toBe('not measured');
    const missing = boardParts({ ...allMissingResults(), findings: [], readings: allMissingResults().readings.map((r) => ({ ...r, limit: null, verdict: 'info' as const })) });
    for (const part of [...missing.loops, ...missing.outputs]) expect(part.mark).toBe('absent');
  });

  it('miss nothing that fails: a failed reading of the board shows on some part', () => {
    for (const results2 of [boardResults(), boardResults({ loops: 16, outputs: 3 }), boardResults({ outputs: 1 })]) {
      for (const failed of results2.readings.filter((r) => r.limit !== null && r.state !== 'bench' && r.state !== 'lead')) {
        const only: Results = { ...results2, findings: [], readings: results2.readings.map((r) => ({ ...r, verdict: r === failed ? ('fail' as const) : r.verdict === 'info' ? ('info' as const) : ('pass' as const) })) };
        const p = boardParts(only);
        const marks = [p.input, p.buffer, p.bypass, ...p.loops, ...p.outputs, ...p.matches].map((x) => x?.mark);
        expect(marks.filter((m) => m === 'fail'), `${failed.id} ${failed.state}`).toHaveLength(1);
      }
    }
  }, 60_000);
});

describe('findings', () => {
  it('show the figures of the readings that they name', () => {
    const base = boardResults();
    const loss = base.readings.find((r) => r.id === 'droop.10k' && r.state === 'rest' && r.output === 'A' && r.source !== null)!;
    const results: Results = { ...base, findings: [{ ...base.findings[0]!, evidence: ['noise.hum in loop-chorus on A', 'loop.polarity in loop-insert on B', 'noise.hum in nowhere on A', 'plain words', `${loss.id} in ${loss.state} through ${loss.source!} on ${loss.output!}`] }] };
    const [first, second, third, fourth, fifth] = reportView(results).findings[0]!.evidence.map((e) => flat(plain(e)));
    expect(first).toBe('Mains hum, loop chorus in, output A, stage amplifier: −80.10 ± 0.22 dBu');
    expect(second).toBe('Polarity of the loop, in against out, loop insert patched through in, output B, pit DI: inverted');
    expect(third).toBe('noise.hum in nowhere on A');
    expect(fourth).toBe('plain words');
    expect(fifth).toMatch(/^Droop at 10 kHz, every loop out, buffer in, output A, stage amplifier: −?\d/);
  });
});

describe('captures', () => {
  const filed = (...times: readonly string[]): ReturnType<typeof reportView>['captures'] => {
    const base = boardResults();
    const [capture] = base.captures;
    return reportView({ ...base, captures: times.map((filedAt, i) => ({ ...capture!, step: `step-${String(i)}`, recordedAt: null, filedAt })) }).captures;
  };
  const shown = ({ alike, list }: ReturnType<typeof filed>): string[] => [flat(alike[0]!), ...list.map(({ when }) => flat(when))];

  it('of one minute say when once, of one day the day once, of two days each its own', () => {
    expect(shown(filed('2031-05-04T13:10:00Z', '2031-05-04T13:10:20Z'))).toEqual(['filed 4 May 2031, 13:10 UTC', '', '']);
    expect(shown(filed('2031-05-04T13:10:00Z', '2031-05-04T13:11:00Z'))).toEqual(['filed 4 May 2031', '13:10 UTC', '13:11 UTC']);
    expect(shown(filed('2031-05-04T13:10:00Z', '2031-05-05T13:10:00Z')).slice(1)).toEqual(['filed 4 May 2031, 13:10 UTC', 'filed 5 May 2031, 13:10 UTC']);
  });
});
