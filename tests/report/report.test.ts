import { createHash } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import type { Results } from '../../src/judge/results.js';
import { escapeHtml } from '../../src/report/html.js';
import { figureText } from '../../src/report/reading-tables.js';
import { renderReport } from '../../src/report/report.js';
import { HOSTILE, allMissingResults, boardResults, emptyResults, hostileResults } from './fixture.js';

const cases = {
  'a faulty board': boardResults(),
  'one output, not calibrated': boardResults({ outputs: 1, calibrated: false, loops: 2 }),
  'no loops': boardResults({ loops: 0 }),
  '16 loops': boardResults({ loops: 16, outputs: 1 }),
  'nothing captured': emptyResults(),
  'no figure anywhere': allMissingResults(),
  'hostile names': hostileResults(),
} satisfies Record<string, Results>;

const pages = new Map<string, Promise<string>>();
const pageOf = (name: keyof typeof cases): Promise<string> => {
  let page = pages.get(name);
  if (page === undefined) pages.set(name, (page = renderReport(cases[name])));
  return page;
};

interface Tag {
  readonly name: string;
  readonly closing: boolean;
  readonly attributes: ReadonlyMap<string, string>;
}

/** Every tag of a document whose attribute values are all quoted; throws on anything else that starts with `<`. */
function tagsOf(markup: string): Tag[] {
  return [...markup.matchAll(/<(?!!DOCTYPE html>)([^]*?)>/g)].map((m) => {
    const parsed = /^(\/?)([a-zA-Z][a-zA-Z0-9]*)((?: [a-zA-Z0-9:-]+="[^"<>]*")*)\/?$/.exec(m[1]!.trim());
    if (parsed === null) throw new Error(`not a tag of ours: <${m[1]!.slice(0, 80)}>`);
    const attributes = new Map([...parsed[3]!.matchAll(/ ([a-zA-Z0-9:-]+)="([^"]*)"/g)].map((a) => [a[1]!, a[2]!]));
    return { name: parsed[2]!, closing: parsed[1] === '/', attributes };
  });
}

const bodyOf = (page: string): string => page.replace(/<style>[^]*?<\/style>/, '').replace(/<script[^]*?<\/script>/g, '');
const textOf = (page: string): string =>
  bodyOf(page)
    .replace(/<[^>]*>/g, ' ')
    .replace(/&(amp|lt|gt|quot|#39);/g, (_, e: string) => ({ amp: '&', lt: '<', gt: '>', quot: '"', '#39': "'" })[e]!);

const ELEMENTS = new Set(
  'html head meta title style body a main header footer nav section h1 h2 h3 h4 p b span code sup bdi br ul ol li dl div dt dd table caption thead tbody tr th td figure figcaption details summary audio svg g defs symbol use path circle rect text line'.split(' '),
);
const VOID = new Set(['meta', 'br']);

describe.each(Object.keys(cases) as (keyof typeof cases)[])('the report of %s', (name) => {
  it('holds only elements and attributes of ours, properly nested', async () => {
    const page = bodyOf(await pageOf(name));
    const open: string[] = [];
    for (const match of page.matchAll(/<(?!!DOCTYPE html>)[^]*?>/g)) {
      const [tag] = tagsOf(match[0]);
      expect(ELEMENTS.has(tag!.name), match[0].slice(0, 100)).toBe(true);
      // What sounds is in the page itself, and is base64.
      if (tag!.name === 'audio' && !tag!.closing) expect(tag!.attributes.get('src')).toMatch(/^data:audio\/wav;base64,[A-Za-z0-9+/]+=*$/);
      for (const key of tag!.attributes.keys()) if (tag!.name !== 'audio' || key !== 'src') expect(key, match[0].slice(0, 100)).not.toMatch(/^on|^style$|^src|^srcdoc|^action|^xlink|^background$/i);
      if (VOID.has(tag!.name) || match[0].endsWith('/>')) continue;
      if (tag!.closing) expect(open.pop(), match[0]).toBe(tag!.name);
      else open.push(tag!.name);
    }
    expect(open).toEqual([]);
  });

  it('never prints NaN, undefined, null or Infinity', async () => {
    expect(/.{0,40}\b(?:NaN|undefined|null|Infinity|\[object)\b.{0,40}/.exec(bodyOf(await pageOf(name)).replace(/base64,[^"]*/g, ''))?.[0]).toBeUndefined();
  });

  it('allows by its policy exactly its own style sheet and script, and names nothing outside itself', async () => {
    const page = await pageOf(name);
    const style = /<style>([^]*?)<\/style>/.exec(page)![1]!;
    const script = /<script>([^]*?)<\/script>/.exec(page)![1]!;
    const hash = createHash('sha256').update(style, 'utf8').digest('base64');
    expect(page).toContain(`<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'sha256-${hash}'; script-src 'sha256-${createHash('sha256').update(script, 'utf8').digest('base64')}'; media-src data:; base-uri 'none'; form-action 'none'">`);
    expect(style).not.toMatch(/url\(|@import|[<>]\/|https?:/);
    // The policy stands before anything that it governs.
    expect(page.indexOf('Content-Security-Policy')).toBeLessThan(page.indexOf('<style>'));
    for (const tag of tagsOf(bodyOf(page))) {
      const href = tag.attributes.get('href');
      if (href !== undefined) expect(href).toMatch(/^#[a-z][a-z0-9-]*$/);
    }
    // One script and its data; neither can end its element early.
    expect([...page.matchAll(/<\/?script[^>]*>/g)].map(([tag]) => tag)).toEqual(['<script type="application/json" id="chart-data">', '</script>', '<script>', '</script>']);
    expect(() => JSON.parse(/id="chart-data">([^]*?)<\/script>/.exec(page)![1]!) as unknown).not.toThrow();
    expect(script).not.toMatch(/https?:\/\/(?!www\.w3\.org\/2000\/svg)|import\(|fetch\(|XMLHttpRequest|eval\(|new Function|innerHTML/);
  });

  it('has unique ids, and every reference leads to one', async () => {
    const tags = tagsOf(bodyOf(await pageOf(name)));
    const ids = tags.flatMap((t) => t.attributes.get('id') ?? []);
    expect(new Set(ids).size).toBe(ids.length);
    for (const tag of tags) {
      const target = tag.attributes.get('href')?.slice(1) ?? tag.attributes.get('aria-labelledby');
      if (target !== undefined) expect(ids).toContain(target);
    }
  });

  it('has a language, a title, one h1, headings without a jump, a caption to every table and a scope to every th', async () => {
    const page = await pageOf(name);
    const tags = tagsOf(bodyOf(page)).filter((t) => !t.closing);
    expect(page).toContain('<html lang="en">');
    expect(/<title>([^<]+)<\/title>/.exec(page)![1]!.trim()).not.toBe('');
    const levels = tags.flatMap((t) => (/^h[1-6]$/.test(t.name) ? [Number(t.name[1])] : []));
    expect(levels.filter((l) => l === 1)).toHaveLength(1);
    levels.forEach((l, i) => {
      expect(l, `heading ${String(i)}`).toBeLessThanOrEqual((levels[i - 1] ?? 0) + 1);
    });
    tags.forEach((t, i) => {
      if (t.name === 'table') expect(tags[i + 1]!.name).toBe('caption');
      if (t.name === 'th') expect(t.attributes.get('scope')).toMatch(/^(col|colgroup|row|rowgroup)$/);
      if (t.attributes.get('role') === 'img') expect(t.attributes.get('aria-label')!.length).toBeGreaterThan(10);
    });
  });
});

it('the same results give the same bytes, whatever was rendered in between', async () => {
  const results = boardResults({ loops: 1 });
  const first = await renderReport(results);
  await pageOf('one output, not calibrated');
  expect(await renderReport(JSON.parse(JSON.stringify(results)) as Results)).toBe(first);
});

describe('what stands in it', () => {
  it('every reading with its figure, and its limit', async () => {
    const text = textOf(await pageOf('a faulty board')).replaceAll('\u00a0', ' ');
    for (const r of cases['a faulty board'].readings) {
      expect(text).toContain(r.label);
      expect(text).toContain(figureText(r).replaceAll('\u00a0', ' '));
      if (r.limit !== null) expect(text).toContain(r.limit.basis.slice(1));
    }
  });

  it('every finding, capture, hash, method, remark and condition', async () => {
    const text = textOf(await pageOf('a faulty board'));
    const { findings, captures, methods, problems, conditions, board, bench, tool } = cases['a faulty board'];
    const wanted = [
      ...findings.flatMap((f) => [f.title, f.cause, f.tryNext, f.basis]),
      // Where a file is named for its step, the table says so once.
      ...captures.flatMap((c) => [c.step, c.file === `captures/${c.step}.wav` ? 'captures/<step>.wav' : c.file, c.sha256, ...c.remarks]),
      ...methods.flatMap((m) => [m.title, m.text, m.source]),
      ...problems.map((p) => p.message),
      ...conditions.remarks,
      conditions.decisionRule, conditions.coverage, conditions.limits, board.sha256, bench.sha256, `${tool.name} ${tool.version}`,
    ];
    for (const piece of wanted) expect(text).toContain(piece);
  });

  it('says on the first sheet and on every printed page that an invented board is invented', async () => {
    const page = await pageOf('a faulty board');
    expect(textOf(page)).toContain('This board does not exist');
    expect(page).toContain('@top-right{content:"Invented board\\2c  for demonstration"');
    const real = await renderReport({ ...cases['no loops'], board: { ...cases['no loops'].board, invented: false } });
    expect(textOf(real)).not.toMatch(/invented/i);
    expect(real).not.toContain('Invented');
  });

  it.each([
    ['pass', 'Within limits'],
    ['fail', 'Outside limits'],
    ['undecided', 'Not decided'],
    ['not complete', 'Not complete'],
  ] as const)('the verdict %s in words', async (word, wanted) => {
    const base = emptyResults();
    const page = await renderReport({ ...base, verdict: { ...base.verdict, word, sentence: 'As it is.' } });
    expect(page).toMatch(new RegExp(`<p class="stamp-word">.*<span>${wanted}</span></p>`));
  });

  it('says which captures are missing', async () => {
    const text = textOf(await pageOf('nothing captured'));
    for (const step of cases['nothing captured'].verdict.missing) expect(text).toContain(step);
  });

  it('names what hides behind every mark: a shape is never alone', async () => {
    const page = bodyOf(await pageOf('a faulty board'));
    const marks = [...page.matchAll(/<svg class="mark"[^>]*><use href="#mark-([a-z-]+)"\/><\/svg>\s*(?:<span>|<span class="heard">|<p><b class="topic">[^<]*<\/b> <span class="said">)?([A-Za-z ]+)/g)];
    expect(marks.length).toBeGreaterThan(100);
    expect(page.match(/<svg class="mark"/g)!.length).toBe(marks.length);
  });
});

describe('hostile names', () => {
  it('come out as text: each is there, escaped', async () => {
    const page = await pageOf('hostile names');
    for (const text of HOSTILE.filter((t) => t.length < 100)) expect(page).toContain(escapeHtml(text).trim());
    expect(page).not.toMatch(/[\u202a-\u202e\u2066-\u2069]/);
    expect(page).not.toContain('\u0000');
    // No lone surrogate: UTF-8 gives it back as it was.
    expect(Buffer.from(page, 'utf8').toString('utf8')).toBe(page);
  });

  it('do not swell the page: a name of 800 letters is cut where it is a name', async () => {
    expect((await pageOf('hostile names')).match(/(?:long){100}/g)!.length).toBeLessThan(400);
  });
});

describe('size', () => {
  it('is under 1.2 MB for a board of eight loops, whose spectra are as rough as real ones', async () => {
    expect(Buffer.byteLength(await renderReport(boardResults({ loops: 8 })))).toBeLessThan(1_200_000);
  });
});
