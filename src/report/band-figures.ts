/**
 * Small charts of what is told in bands: noise per third-octave, and harmonics against the frequency played.
 *
 * @module
 */
import type { Curve, DistortionCurve, NoiseBandCurve, Results } from '../judge/results.js';
import { BANDS, spanOf, valueNear } from './charts/axis.js';
import { type ChartData, type Series, strokes } from './charts/figure.js';
import { extent } from './charts/sheet.js';
import { type Column, type Figure, type FigureGroup, figureTable, seriesOf } from './figures.js';
import { fixed, frequency, unitText, withUnit } from './numbers.js';
import { type Phrase, lowered, outputPhrase, statePhrase } from './words.js';

/** Least and largest height of the scale, dB. */
const LEAST_DB = 20;
const MOST_DB = 120;
/** States that have a chart, beside each other. */
const SHOWN = ['rest', 'all'];

/** One chart for every loop out and one for every loop in. */
export function bandFigures(results: Results, output: string): FigureGroup[] {
  return [noiseGroup(results, output), distortionGroup(results, output)].flatMap((g) => (g === null ? [] : [g]));
}

/** A curve of another kind as charts and tables take it. */
const drawable = (curve: NoiseBandCurve | DistortionCurve): Curve => ({ ...curve, kind: 'response' });

/** Of one output without a plug. An output that gave nothing at all has a curve without a point, of which nothing can be said. */
const curvesAt = <C extends NoiseBandCurve | DistortionCurve>(curves: readonly C[] | undefined, output: string): C[] => (curves ?? []).filter((c) => c.output === output && c.source === null && c.x.values.length > 0);

function noiseGroup(results: Results, output: string): FigureGroup | null {
  const own = curvesAt(results.noiseBands, output).map(drawable);
  const states = own.filter((c) => SHOWN.includes(c.state));
  const bench = own.find((c) => c.state === 'bench' && c.y.unit === states[0]?.y.unit);
  return group(results, output, {
    topic: 'noise',
    word: 'Noise per third-octave',
    key: ['Level in each third-octave band, the bench’s own taken off where it is known. Shaded: 95 %.', bench === undefined ? '' : ' Grey dashes: the bench alone.'],
    charts: states.map((c) => ({ state: c.state, series: [seriesOf(c, 'board', strokes.first)], caption: loudestBand(c) })),
    reference: bench === undefined ? null : seriesOf(bench, 'bench', strokes.reference, false),
    columns: [...states, ...(bench === undefined ? [] : [bench])],
  });
}

function distortionGroup(results: Results, output: string): FigureGroup | null {
  const own = curvesAt(results.distortion, output);
  const of = (state: string, kind: DistortionCurve['kind']): Curve[] => own.filter((c) => c.state === state && c.kind === kind).map(drawable);
  const states = SHOWN.filter((state) => of(state, 'distortion').length > 0);
  const [bench] = of('bench', 'distortion');
  return group(results, output, {
    topic: 'response',
    word: 'Harmonics',
    key: ['Harmonics from the second to the fifth, up to 20 kHz, against the tone that makes them, at the frequency played. Shaded: 95 %. Dots: hidden by noise, at most this.', bench === undefined ? '' : ' Grey dashes: the bench alone; what is less than 6 dB above it may be its own.'],
    charts: states.map((state) => ({
      state,
      series: [
        ...of(state, 'harmonic-3').map((c) => seriesOf(c, 'third', strokes.third, false)),
        ...of(state, 'harmonic-2').map((c) => seriesOf(c, 'second', strokes.second, false)),
        ...of(state, 'distortion').flatMap((c) => [mostHidden(c), seriesOf(c, 'together', strokes.first)]),
      ],
      caption: worstHarmonics(of(state, 'distortion')[0]!),
    })),
    reference: bench === undefined ? null : seriesOf(bench, 'bench', strokes.reference, false),
    columns: [...states.flatMap((state) => of(state, 'distortion')), ...(bench === undefined ? [] : [bench])],
  });
}

/** What noise may hide, where it hides all. */
const mostHidden = (curve: Curve): Series => ({ ...seriesOf(curve, 'at most', { ...strokes.third, colour: strokes.first.colour, width: 1.2 }, false), y: curve.y.values.map((v, i) => (v === null ? (curve.high?.[i] ?? null) : null)) });

interface Wanted {
  readonly topic: FigureGroup['topic'];
  readonly word: string;
  readonly key: Phrase;
  readonly charts: readonly { readonly state: string; readonly series: readonly Series[]; readonly caption: Phrase }[];
  readonly reference: Series | null;
  readonly columns: readonly Curve[];
}

function group(results: Results, output: string, { topic, word, key, charts, reference, columns }: Wanted): FigureGroup | null {
  const [first] = columns;
  if (first === undefined || charts.length === 0) return null;
  const drawn = charts.map(({ series }): ChartData => ({ shape: 'response', unit: unitText(first.y.unit), series: [...(reference === null ? [] : [reference]), ...series], limits: [], marks: [], span: null }));
  const span = spanOf(drawn.flatMap((c) => [...extent(c)]), LEAST_DB, MOST_DB);
  return {
    topic,
    key: [...key, ' All to one scale.'],
    figures: charts.map(({ state, caption }, i): Figure => ({
      title: [`${word}: `, ...lowered(statePhrase(results, state))],
      caption,
      chart: { ...drawn[i]!, span },
      size: 'small',
      curves: [],
    })),
    table: figureTable([`${word}, `, ...outputPhrase(results, output)], columns.map((curve): Column => ({ name: statePhrase(results, curve.state), curve })), 'response'),
    lines: null,
  };
}

function highest(curve: Curve): { readonly hz: number; readonly value: number } | null {
  let best: { hz: number; value: number } | null = null;
  curve.x.values.forEach((hz, i) => {
    const value = curve.y.values[i];
    if (hz !== null && value !== null && value !== undefined && (best === null || value > best.value)) best = { hz, value };
  });
  return best;
}

function loudestBand(curve: Curve): Phrase {
  const most = highest(curve);
  return most === null ? ['No band stands out of the bench’s noise.'] : ['Most in the band at ', { figure: frequency(BANDS.find((b) => Math.abs(b.midHz / most.hz - 1) < 0.1)?.nominalHz ?? most.hz) }, ', ', { figure: withUnit(fixed(most.value, 1), curve.y.unit) }, '.'];
}

function worstHarmonics(curve: Curve): Phrase {
  const most = highest(curve);
  if (most === null) {
    const hidden = valueNear(curve.x.values, curve.high ?? [], 1000);
    return ['No harmonic stands out of the noise', ...(hidden === null ? [] : ['; those of 1 kHz are at most ', { figure: withUnit(fixed(hidden, 1), 'dB') }]), '.'];
  }
  const at1k = valueNear(curve.x.values, curve.y.values, 1000);
  return ['Most of a tone of ', { figure: frequency(most.hz) }, ', ', { figure: withUnit(fixed(most.value, 1), 'dB') }, ...(at1k === null ? [] : ['; of 1 kHz, ', { figure: withUnit(fixed(at1k, 1), 'dB') }]), '.'];
}
