/// <reference lib="dom" />
/**
 * What runs in the page where scripts run: lines are read by pointer and keyboard, switched off and on, and looked at closer;
 * a line of hum in a table and its peak on the chart point at each other. Without it nothing is missing but that.
 *
 * @module
 */
import type { LiveData, LiveFigure, LiveSeries } from './live-data.js';

/**
 * The whole script. It is put on the page as its own text, so it may use nothing from outside itself but what the browser has.
 */
export function livePage(): void {
  const LOWEST = 20;
  const HIGHEST = 20000;
  /** The closest look: a third of an octave. */
  const LEAST_RATIO = 1.26;
  const SVG = 'http://www.w3.org/2000/svg';
  const data = JSON.parse(document.getElementById('chart-data')?.textContent ?? 'null') as LiveData | null;
  if (data === null) return;

  // ---- values ---------------------------------------------------------------------------------------------------

  function decodeLine(text: string, decimals: number): (number | null)[] {
    const letters = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_-';
    const out: (number | null)[] = [];
    let now = 0;
    let rest = 0;
    let place = 1;
    for (const c of text) {
      if (c === '.') {
        out.push(null);
        continue;
      }
      const letter = letters.indexOf(c);
      rest += (letter % 32) * place;
      place *= 32;
      if (letter >= 32) continue;
      now += rest % 2 === 1 ? -(rest + 1) / 2 : rest / 2;
      rest = 0;
      place = 1;
      out.push(now / 10 ** decimals);
    }
    return out;
  }

  const decoded = new Map<string, (number | null)[]>();
  function once(key: string, text: string, decimals: number): (number | null)[] {
    let values = decoded.get(key);
    if (values === undefined) {
      values = decodeLine(text, decimals);
      decoded.set(key, values);
    }
    return values;
  }
  const gridOf = (s: LiveSeries): number[] => once(`x${s.grid}`, data.grids[s.grid]!, data.gridDecimals) as number[];
  const valuesOf = (f: LiveFigure, line: number): (number | null)[] => once(`${f.decimals}y${line}`, data.lines[line]!, f.decimals);

  /** Index of the point nearest in log frequency. */
  function nearest(x: readonly number[], hz: number): number {
    let low = 0;
    let high = x.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (x[middle]! <= hz) low = middle;
      else high = middle;
    }
    return hz * hz > x[low]! * x[high]! ? high : low;
  }

  const number = (v: number, decimals: number, plus = false): string => {
    const text = Math.abs(v).toFixed(decimals);
    return (Number(text) === 0 ? '' : v < 0 ? '\u2212' : plus ? '+' : '') + text;
  };
  function hertz(hz: number): string {
    const k = hz >= 999.5;
    const scaled = k ? hz / 1000 : hz;
    return `${scaled.toFixed(scaled < 9.995 ? 2 : scaled < 99.95 ? 1 : 0)}\u00a0${k ? 'kHz' : 'Hz'}`;
  }

  /** What a line says at a frequency, with its band; null where it has no point there. */
  function reading(f: LiveFigure, s: LiveSeries, hz: number): { at: number; value: number; half: number | null } | null {
    const x = gridOf(s);
    const i = nearest(x, hz);
    if (x[i] === undefined || Math.abs(Math.log(x[i]! / hz)) > 0.12) return null;
    const value = valuesOf(f, s.y)[i] ?? null;
    if (value === null) return null;
    const low = s.low === null ? null : (valuesOf(f, s.low)[i] ?? null);
    const high = s.high === null ? null : (valuesOf(f, s.high)[i] ?? null);
    return { at: x[i]!, value, half: low === null || high === null ? null : Math.max(high - value, value - low) };
  }
  function worded(f: LiveFigure, s: LiveSeries, hz: number, unit = `\u00a0${f.unit}`): string {
    const r = reading(f, s, hz);
    if (r === null) return 'no point here';
    const band = r.half === null ? '' : ` \u00b1\u00a0${number(r.half, f.decimals)}`;
    return `${number(r.value, f.decimals, f.shape !== 'noise')}${band}${unit}`;
  }

  // ---- making elements ------------------------------------------------------------------------------------------

  function draw(parent: Element, name: string, attributes: Readonly<Record<string, string | number>>, text?: string): SVGElement {
    const e = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, typeof value === 'number' ? String(Math.round(value * 10) / 10) : value);
    if (text !== undefined) e.textContent = text;
    parent.append(e);
    return e;
  }
  function make<K extends keyof HTMLElementTagNameMap>(parent: Element, name: K, className: string, text = ''): HTMLElementTagNameMap[K] {
    const e = document.createElement(name);
    if (className !== '') e.className = className;
    e.textContent = text;
    parent.append(e);
    return e;
  }

  // ---- one sheet ------------------------------------------------------------------------------------------------

  interface Sheet {
    readonly number: number;
    readonly figure: LiveFigure;
    readonly box: HTMLElement;
    readonly plate: HTMLElement;
    readonly over: SVGElement;
    /** Under a small chart: what the lines say. */
    readonly said: HTMLElement | null;
  }
  interface Group {
    readonly sheets: readonly Sheet[];
    readonly off: Set<number>;
    readonly range: HTMLInputElement;
    readonly where: HTMLElement;
    readonly values: readonly HTMLElement[];
    low: number;
    high: number;
    hz: number | null;
    show: () => void;
  }

  const frameOf = (sheet: Sheet): LiveData['frames'][string] & { name: string } => {
    const shown = [...sheet.plate.querySelectorAll(':scope > svg:not(.over)')].find((svg) => svg.getBoundingClientRect().width > 0 || getComputedStyle(svg).display !== 'none');
    const name = ['wide', 'narrow', 'tile-chart'].find((n) => shown?.classList.contains(n)) ?? 'wide';
    return { ...data.frames[name]!, name };
  };

  function nice(low: number, high: number): { low: number; high: number; step: number } {
    const rough = (high - low) / 6;
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = ([1, 2, 5, 10].find((s) => s * power >= rough) ?? 10) * power;
    return { low: Math.floor(low / step) * step, high: Math.ceil(high / step) * step, step };
  }

  /** The vertical scale of what is in view: the printed one for the whole band. */
  function spanOf(group: Group, sheet: Sheet): { low: number; high: number; step: number } {
    if (group.low === LOWEST && group.high === HIGHEST) return sheet.figure.span;
    let low = Infinity;
    let high = -Infinity;
    // Small charts of one kind beside each other keep one scale.
    for (const { figure } of group.sheets.filter((other) => other.figure.shape === sheet.figure.shape)) {
      figure.series.forEach((s, i) => {
        if (group.off.has(i)) return;
        const x = gridOf(s);
        for (const line of [s.y, s.low, s.high]) {
          if (line === null) continue;
          valuesOf(figure, line).forEach((v, k) => {
            if (v === null || x[k]! < group.low || x[k]! > group.high) return;
            low = Math.min(low, v);
            high = Math.max(high, v);
          });
        }
      });
    }
    if (low > high) return sheet.figure.span;
    const least = sheet.figure.shape === 'noise' ? 6 : 0.1;
    const spare = Math.max(least - (high - low), 0.16 * (high - low)) / 2;
    return nice(low - spare, high + spare);
  }

  function ticks(group: Group): number[] {
    const all = [1, 2, 3, 4, 5, 6, 7, 8, 9].flatMap((n) => [10, 100, 1000, 10000].map((d) => n * d)).filter((hz) => hz >= group.low && hz <= group.high).sort((a, b) => a - b);
    const few = all.filter((hz) => /^[125]/.test(String(hz)));
    return few.length >= 4 ? few : all.length >= 3 ? all : [group.low, Math.sqrt(group.low * group.high), group.high];
  }

  function paint(group: Group, sheet: Sheet): void {
    const { over, figure } = sheet;
    const redrawn = group.off.size > 0 || group.low !== LOWEST || group.high !== HIGHEST;
    over.replaceChildren();
    sheet.plate.classList.toggle('redrawn', redrawn);
    // Where nothing is asked of the printed drawing, nothing is measured of it either: a report has a hundred of them.
    if (!redrawn && group.hz === null) return;
    const f = frameOf(sheet);
    const width = f.width - f.left - f.right;
    const height = f.height - f.top - f.bottom;
    const span = spanOf(group, sheet);
    const x = (hz: number): number => f.left + (width * Math.log(hz / group.low)) / Math.log(group.high / group.low);
    const y = (v: number): number => f.top + (height * (span.high - v)) / (span.high - span.low);
    over.setAttribute('viewBox', `0 0 ${f.width} ${f.height}`);
    if (redrawn) {
      const clip = `inside-${sheet.number}`;
      draw(draw(over, 'clipPath', { id: clip }), 'rect', { x: f.left, y: f.top, width, height });
      const letters = { 'font-size': f.fontPx, fill: 'currentColor' };
      const hzs = ticks(group);
      const crowded = hzs.length > (f.name === 'wide' ? 12 : 5);
      hzs.forEach((hz, i) => {
        draw(over, 'path', { d: `M${x(hz)},${f.top}v${height}`, stroke: 'var(--rule)' });
        if (!crowded || i % 2 === 0) draw(over, 'text', { ...letters, x: x(hz), y: f.top + height + f.fontPx + 4, 'text-anchor': 'middle' }, hz >= 1000 ? `${Number((hz / 1000).toPrecision(3))}k` : String(Number(hz.toPrecision(3))));
      });
      const decimals = span.step >= 1 ? 0 : Math.ceil(-Math.log10(span.step) - 1e-9);
      for (let v = span.low; v <= span.high + span.step / 2; v += span.step) {
        draw(over, 'path', { d: `M${f.left},${y(v)}h${width}`, stroke: 'var(--rule)' });
        draw(over, 'text', { ...letters, x: f.left - 6, y: y(v) + f.fontPx / 3, 'text-anchor': 'end' }, number(v, decimals));
      }
      draw(over, 'text', { ...letters, x: 2, y: f.top - 10 }, figure.unit);
      draw(over, 'text', { ...letters, x: f.left + width + f.fontPx * 1.3, y: f.top + height + f.fontPx + 4 }, 'Hz');
      const inside = draw(over, 'g', { 'clip-path': `url(#${clip})` });
      const ends: { at: number; text: string; colour: string }[] = [];
      figure.series.forEach((s, i) => {
        if (group.off.has(i)) return;
        const grid = gridOf(s);
        const values = valuesOf(figure, s.y);
        const points = (line: readonly (number | null)[]): [number, number][] => line.flatMap((v, k): [number, number][] => (v === null ? [] : [[x(grid[k]!), y(v)]]));
        const text = (list: readonly [number, number][]): string => list.map(([a, b]) => `${a.toFixed(1)},${b.toFixed(1)}`).join('L');
        if (s.low !== null && s.high !== null) {
          const edge = [...points(valuesOf(figure, s.high)), ...points(valuesOf(figure, s.low)).reverse()];
          if (edge.length > 0) draw(inside, 'path', { d: `M${text(edge)}Z`, fill: s.colour, 'fill-opacity': '0.18' });
        }
        let d = '';
        values.forEach((v, k) => {
          if (v !== null) d += `${d === '' || values[k - 1] === null ? 'M' : 'L'}${x(grid[k]!).toFixed(1)},${y(v).toFixed(1)}`;
        });
        draw(inside, 'path', { d, fill: 'none', stroke: s.colour, 'stroke-width': s.width, 'stroke-dasharray': s.dash, 'stroke-linejoin': 'round' });
        const last = grid.reduce((k, hz, j) => (hz <= group.high * 1.001 && values[j] !== null ? j : k), -1);
        if (last >= 0 && grid[last]! >= group.low) ends.push({ at: Math.max(f.top + 4, Math.min(f.top + height - 4, y(values[last]!))), text: s.label, colour: s.colour });
      });
      for (const l of figure.limits) {
        const [from, to] = l.hz === null ? [f.left, f.left + width] : [x(l.hz / 1.16), x(l.hz * 1.16)];
        draw(inside, 'path', { d: `M${from},${y(l.value)}H${to}`, stroke: 'var(--limit)', 'stroke-width': l.hz === null ? 1.4 : 2.4 });
        if (l.hz === null) ends.push({ at: y(l.value), text: l.label, colour: 'var(--limit)' });
        else draw(inside, 'text', { 'font-size': f.fontPx, fill: 'var(--limit)', x: from - 5, y: y(l.value) + f.fontPx / 3, 'text-anchor': 'end' }, l.label);
      }
      for (const m of figure.marks) {
        if (m.hz < group.low || m.hz > group.high) continue;
        const [a, b] = [x(m.hz), y(m.y) - 7];
        draw(inside, 'path', m.kind === 'hum' ? { d: `M${a - 3.5},${b - 3}h7l-3.5,6z`, fill: 'var(--hum)' } : { d: `M${a},${b - 4}l4,4l-4,4l-4,-4z`, fill: 'var(--sheet)', stroke: 'var(--whine)', 'stroke-width': 1.5 });
        if (group.high / group.low < 60) draw(inside, 'text', { 'font-size': f.fontPx, fill: m.kind === 'hum' ? 'var(--hum)' : 'var(--whine)', x: a, y: b - 8, 'text-anchor': 'middle' }, hertz(m.hz));
      }
      ends.sort((a, b) => a.at - b.at);
      let free = -Infinity;
      for (const e of ends) {
        const at = Math.max(e.at, free);
        free = at + f.fontPx * 1.25;
        draw(over, 'path', { d: `M${f.left + width + 1},${e.at}L${f.left + width + 9},${at}`, stroke: e.colour, 'stroke-width': 0.8 });
        draw(over, 'text', { 'font-size': f.fontPx, fill: e.colour, x: f.left + width + 12, y: at + f.fontPx / 3 }, e.text);
      }
    }
    if (group.hz === null) return;
    const at = x(group.hz);
    if (at < f.left - 1 || at > f.left + width + 1) return;
    draw(over, 'path', { d: `M${at},${f.top}v${height}`, stroke: 'currentColor', 'stroke-dasharray': '2 2' });
    figure.series.forEach((s, i) => {
      const r = group.off.has(i) ? null : reading(figure, s, group.hz!);
      if (r !== null && r.value >= span.low && r.value <= span.high) draw(over, 'circle', { cx: x(r.at), cy: y(r.value), r: 3.6, fill: s.colour, stroke: 'var(--sheet)', 'stroke-width': 1.4 });
    });
  }

  // ---- groups: charts that are read together ----------------------------------------------------------------------

  const groups = new Map<number, Group>();

  function startGroup(element: HTMLElement): void {
    const boxes = [...element.querySelectorAll<HTMLElement>('[data-fig]')];
    const sheets = boxes.map((box): Sheet => {
      const plate = box.querySelector<HTMLElement>('.plate')!;
      const over = draw(plate, 'svg', { class: 'over', 'aria-hidden': 'true' });
      const said = box.classList.contains('tile') ? make(box, 'p', 'at-cursor') : null;
      if (said !== null) plate.after(said);
      return { number: Number(box.dataset['fig']), figure: data!.figures[Number(box.dataset['fig'])]!, box, plate, over, said };
    });
    const [first] = sheets;
    if (first === undefined) return;
    const single = sheets.length === 1 && first.said === null;
    const bar = document.createElement('div');
    bar.className = 'bar';
    if (single) first.plate.after(bar);
    else element.after(bar);
    const label = make(bar, 'label', 'scrub');
    make(label, 'span', 'small', single ? 'Read at' : 'Read all at');
    const range = make(label, 'input', '');
    range.type = 'range';
    range.step = '1';
    const where = make(label, 'output', 'where');
    const values: HTMLElement[] = [];
    const off = new Set<number>();
    if (single) {
      const chips = make(bar, 'div', 'chips');
      first.figure.series.forEach((s, i) => {
        const chip = make(chips, 'span', 'chip');
        const button = make(chip, 'button', '');
        button.type = 'button';
        button.setAttribute('aria-pressed', 'true');
        const sample = draw(button, 'svg', { class: 'sample', viewBox: '0 0 26 10', 'aria-hidden': 'true' });
        draw(sample, 'path', { d: 'M0,5h26', stroke: s.colour, 'stroke-width': Math.max(s.width, 1.4), 'stroke-dasharray': s.dash });
        make(button, 'span', '', s.label);
        button.addEventListener('click', () => {
          if (off.has(i)) off.delete(i);
          else off.add(i);
          button.setAttribute('aria-pressed', String(!off.has(i)));
          group.show();
        });
        values.push(make(chip, 'span', 'num-now'));
      });
    }
    const buttons = make(bar, 'div', 'buttons');
    const press = (name: string, does: () => void): HTMLButtonElement => {
      const button = make(buttons, 'button', '', name);
      button.type = 'button';
      button.addEventListener('click', does);
      return button;
    };

    const reference = first.figure.series[first.figure.series.length - 1]!;
    /** The points that the slider steps through: those of the line drawn on top, in view. */
    const inView = (): number[] => gridOf(reference).filter((hz) => hz >= group.low * 0.9999 && hz <= group.high * 1.0001);
    const group: Group = {
      sheets, off, range, where, values, low: LOWEST, high: HIGHEST, hz: null,
      show() {
        const points = inView();
        range.max = String(Math.max(0, points.length - 1));
        if (group.hz !== null) range.value = String(nearest(points, group.hz));
        where.textContent = group.hz === null ? '' : hertz(group.hz);
        const sentence = (s: Sheet): string[] => {
          const on = s.figure.series.filter((_, i) => !off.has(i));
          return on.map((line, i) => `${line.label} ${worded(s.figure, line, group.hz!, i < on.length - 1 ? '' : undefined)}`);
        };
        range.setAttribute('aria-valuetext', group.hz === null ? 'not placed' : [hertz(group.hz), ...(single ? sentence(first) : [])].join(', '));
        for (const s of sheets) {
          paint(group, s);
          if (s.said !== null) s.said.textContent = group.hz === null ? '' : `${hertz(group.hz)}: ${sentence(s).join(', ')}`;
        }
        values.forEach((v, i) => {
          v.textContent = group.hz === null || off.has(i) ? '' : worded(first.figure, first.figure.series[i]!, group.hz);
        });
        whole.disabled = group.low === LOWEST && group.high === HIGHEST;
        out.disabled = whole.disabled;
        closer.disabled = group.high / group.low <= LEAST_RATIO * 1.01;
        pointAtFigures(group);
      },
    };
    const look = (low: number, high: number): void => {
      group.low = Math.max(LOWEST, low);
      group.high = Math.min(HIGHEST, high);
      if (group.hz !== null) group.hz = Math.max(group.low, Math.min(group.high, group.hz));
      group.show();
    };
    const zoom = (power: number): void => {
      const middle = group.hz ?? Math.sqrt(group.low * group.high);
      const ratio = Math.max(LEAST_RATIO, Math.min(HIGHEST / LOWEST, (group.high / group.low) ** power));
      // What is read stays where it is on the sheet.
      const share = Math.log(middle / group.low) / Math.log(group.high / group.low);
      const low = Math.max(LOWEST, Math.min(HIGHEST / ratio, middle / ratio ** share));
      look(low, low * ratio);
    };
    const closer = press('Closer', () => zoom(0.5));
    const out = press('Wider', () => zoom(2));
    const whole = press('Whole band', () => look(LOWEST, HIGHEST));
    const marks = [...new Set(sheets.flatMap((s) => s.figure.marks.map((m) => m.hz)))].sort((a, b) => a - b);
    if (marks.length > 0) {
      press('Next hum or whine line', () => {
        const next = marks.find((hz) => hz > (group.hz ?? 0) * 1.005) ?? marks[0]!;
        if (next < group.low || next > group.high) look(LOWEST, HIGHEST);
        group.hz = next;
        group.show();
      });
    }
    range.addEventListener('input', () => {
      group.hz = inView()[Number(range.value)] ?? null;
      group.show();
    });
    range.addEventListener('focus', () => {
      if (group.hz !== null) return;
      group.hz = inView()[nearest(inView(), Math.max(group.low, Math.min(group.high, 1000)))]!;
      group.show();
    });

    for (const sheet of sheets) {
      let from: number | null = null;
      let strip: SVGElement | null = null;
      const hzAt = (event: PointerEvent): number => {
        const f = frameOf(sheet);
        const box = sheet.over.getBoundingClientRect();
        const share = (((event.clientX - box.left) / box.width) * f.width - f.left) / (f.width - f.left - f.right);
        return group.low * (group.high / group.low) ** Math.max(0, Math.min(1, share));
      };
      const read = (hz: number): void => {
        const points = inView();
        const near = points[nearest(points, hz)];
        if (near === undefined) return;
        // A line of hum falls between points: close to one, it is the line that is read.
        const reach = (group.high / group.low) ** 0.008;
        group.hz = marks.find((m) => m / hz < reach && hz / m < reach) ?? near;
        group.show();
      };
      sheet.plate.addEventListener('pointermove', (event) => {
        const hz = hzAt(event);
        read(hz);
        if (from === null) return;
        const f = frameOf(sheet);
        const x = (v: number): number => f.left + ((f.width - f.left - f.right) * Math.log(v / group.low)) / Math.log(group.high / group.low);
        strip = draw(sheet.over, 'rect', { x: Math.min(x(from), x(hz)), y: f.top, width: Math.abs(x(from) - x(hz)), height: f.height - f.top - f.bottom, fill: 'currentColor', 'fill-opacity': '0.12' });
      });
      sheet.plate.addEventListener('pointerdown', (event) => {
        read(hzAt(event));
        if (event.pointerType === 'mouse' && event.button === 0) from = hzAt(event);
      });
      const end = (event: PointerEvent): void => {
        strip?.remove();
        strip = null;
        if (from === null) return;
        const [low, high] = [Math.min(from, hzAt(event)), Math.max(from, hzAt(event))];
        from = null;
        if (high / low > (group.high / group.low) ** 0.04 && high / low >= LEAST_RATIO) look(low, high);
      };
      sheet.plate.addEventListener('pointerup', end);
      sheet.plate.addEventListener('pointerleave', end);
      sheet.plate.addEventListener('dblclick', () => look(LOWEST, HIGHEST));
      groups.set(sheet.number, group);
    }
    group.show();
  }

  // ---- tables that point at charts --------------------------------------------------------------------------------

  const pointing = [...document.querySelectorAll<HTMLElement>('td[data-at]')];

  function pointAtFigures(group: Group): void {
    for (const cell of pointing) {
      const here = group.sheets.some((s) => s.number === Number(cell.dataset['of'])) && group.hz !== null && Math.abs(Math.log(Number(cell.dataset['at']) / group.hz)) < 0.004;
      cell.classList.toggle('pointed', here);
    }
  }

  function startFigures(): void {
    for (const cell of pointing) {
      const figure = cell.querySelector('.now');
      const group = groups.get(Number(cell.dataset['of']));
      if (figure === null || group === undefined) continue;
      const button = document.createElement('button');
      button.type = 'button';
      button.className = 'to-chart';
      button.title = 'Show on the chart';
      button.append(...figure.childNodes);
      figure.append(button);
      const point = (): void => {
        group.hz = Number(cell.dataset['at']);
        if (group.hz < group.low || group.hz > group.high) [group.low, group.high] = [LOWEST, HIGHEST];
        group.show();
      };
      cell.addEventListener('pointerenter', point);
      button.addEventListener('focus', point);
      button.addEventListener('click', () => {
        point();
        group.sheets.find((s) => s.number === Number(cell.dataset['of']))?.box.scrollIntoView({ block: 'center', behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth' });
      });
    }
  }

  for (const element of document.querySelectorAll<HTMLElement>('[data-charts]')) startGroup(element);
  startFigures();
  // The telephone turned on its side takes the other drawing.
  addEventListener('resize', () => {
    for (const group of new Set(groups.values())) group.show();
  });
  // One sound at a time.
  document.addEventListener('play', (event) => {
    for (const other of document.querySelectorAll('audio')) if (other !== event.target) other.pause();
  }, true);
}
