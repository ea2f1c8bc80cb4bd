/**
 * Readings of a switching capture: how many clicks, the loudest of all and of each loop, against floor and working level.
 *
 * @module
 */
import { DB_PER_RELATIVE, DB_PER_RELATIVE_AMPLITUDE, amplitudeToDb, meanSquareToDbfs } from '../units/decibels.js';
import { fixed } from '../units/format.js';
import type { LevelScale } from './calibration.js';
import { figure, part } from './figure.js';
import type { Figure, Place } from './figure.js';
import type { Click, SwitchingEstimate } from './switching.js';

/** How high a click must stand over the rms of the floor to be sure to be found. */
const SURELY_FOUND = 6.7;

/**
 * Readings on one output.
 *
 * @param loops - Loops whose switches the step has pressed in order, each in and out; of one loop alone, that one.
 * @param wasPressed - False where nothing shows that a switch was pressed at all: silence then says nothing of its click.
 */
export function clickFigures(place: Place, estimate: SwitchingEstimate, loops: readonly string[], scale: LevelScale, wasPressed = true): Figure[] {
  const { clicks } = estimate;
  if (estimate.silent) {
    return [figure(place, { id: 'click.count', label: 'Clicks found', value: null, unit: '', method: 'switching.clicks', parts: null, uncertaintyReason: 'no signal', remarks: ['The recorder heard digital silence.'] })];
  }
  const times = clicks.slice(0, 12).map((c) => `${fixed(c.atS, 1)} s`).join(', ');
  const counted = figure(place, {
    id: 'click.count',
    label: 'Clicks found',
    value: clicks.length,
    unit: '',
    method: 'switching.clicks',
    remarks: clicks.length > 0 ? [`At ${times}${clicks.length > 12 ? ', …' : ''}.`] : ['No press of a switch stands out of the floor.', ...(wasPressed ? [] : [NO_PRESS])],
  });
  if (!wasPressed) return [counted, figure(place, { id: 'click.peak', label: PEAK_LABEL, value: null, unit: scale.unit, method: 'switching.clicks', parts: null, uncertaintyReason: 'no press was heard', remarks: [NO_PRESS] })];
  // Told apart by their order only where every press was heard.
  const whole = (estimate.captures ?? [clicks]).filter((own) => own.length === 2 * loops.length);
  const each = loops.length > 1 && whole.length > 0 ? loops.flatMap((loop, k) => loudestFigures({ ...place, loop }, whole.flatMap((own) => own.slice(2 * k, 2 * k + 2)), estimate, scale)) : [];
  return [counted, ...loudestFigures(place, clicks, estimate, scale), ...each];
}

const PEAK_LABEL = 'Peak of the loudest click, above 100 Hz, as a sine of that peak';
const NO_PRESS = 'No press of a switch was heard: press again, or, if the switches are silent, file it as it is (--as-is).';

function loudestFigures(place: Place, clicks: readonly Click[], { floorRms, floorEnergy, floorEnergySpread, floorStretches, spanS }: SwitchingEstimate, scale: LevelScale): Figure[] {
  if (clicks.length === 0) {
    if (!(floorRms > 0)) return [];
    return [
      figure(place, {
        id: 'click.peak',
        label: PEAK_LABEL,
        value: scale.offsetDb + amplitudeToDb(SURELY_FOUND * floorRms),
        unit: scale.unit,
        bound: 'upper',
        method: 'switching.clicks',
        parts: scale.parts,
        remarks: ['No click was found; the value is the highest that could hide in the floor.'],
      }),
    ];
  }
  const loudest = clicks.reduce((a, b) => (b.peak > a.peak ? b : a));
  const { peak } = loudest;
  const inDb = (absolute: number): number => (DB_PER_RELATIVE_AMPLITUDE * absolute) / peak;
  const figures = [
    figure(place, {
      id: 'click.peak',
      label: PEAK_LABEL,
      value: scale.offsetDb + amplitudeToDb(peak),
      unit: scale.unit,
      method: 'switching.clicks',
      parts: [
        part('spectral statistics', 'noise at the peak', inDb(loudest.peakSpread)),
        part('method', 'crest between two samples', inDb(loudest.peakSlack / Math.sqrt(3)), { distribution: 'rectangular' }),
        ...scale.parts,
      ],
      remarks: [`At ${fixed(loudest.atS, 2)} s.`],
    }),
  ];
  const heard = clicks.filter((c) => c.energy !== null);
  if (heard.length === 0) return figures;
  const strongest = heard.reduce((a, b) => (b.energy! > a.energy! ? b : a));
  const energy = strongest.energy!;
  const clear = energy > 3 * floorEnergySpread;
  const scatter = part('spectral statistics', 'noise with the click', clear ? (DB_PER_RELATIVE * strongest.energySpread) / energy : 0);
  const most = clear ? energy : Math.max(energy, 0) + 2 * floorEnergySpread;
  if (!(most > 0)) return figures;
  figures.push(
    figure(place, {
      id: 'click.energy-a',
      label: 'A-weighted energy of the loudest click, as the level of one second of it',
      value: scale.offsetDb + meanSquareToDbfs(most),
      unit: scale.unit,
      bound: clear ? null : 'upper',
      method: 'switching.energy',
      parts: [scatter, ...scale.parts],
    }),
  );
  if (floorEnergy > 0) {
    figures.push(
      figure(place, {
        id: 'click.over-floor',
        label: 'A-weighted energy of the loudest click over what the floor makes in an eighth of a second',
        value: 10 * Math.log10(most / ((floorEnergy / spanS) * FAST_S)),
        unit: 'dB',
        bound: clear ? null : 'upper',
        method: 'switching.energy',
        parts: [scatter, part('spectral statistics', 'scatter of the floor', (DB_PER_RELATIVE * floorEnergySpread) / Math.sqrt(floorStretches) / floorEnergy, { degreesOfFreedom: Math.max(1, floorStretches - 1) })],
      }),
    );
  }
  if (strongest.middleHz !== null) {
    figures.push(figure(place, { id: 'click.middle-frequency', label: 'Frequency that halves the A-weighted energy of the loudest click', value: strongest.middleHz, unit: 'Hz', method: 'switching.energy', parts: null, uncertaintyReason: 'a description of the spectrum' }));
  }
  return figures;
}

/** Time constant F of a sound level meter (IEC 61672-1): about the time over which the ear adds up. */
const FAST_S = 0.125;

/** The loudest click against the tone of the take with every loop out: calibration cancels. */
export function clickBelowTone(peak: Figure, tone: Figure): Figure {
  const own = (f: Figure): NonNullable<Figure['parts']> => (f.parts ?? []).filter((p) => p.kind !== 'calibration');
  const known = peak.value !== null && tone.value !== null;
  return figure(peak, {
    id: 'click.over-tone',
    label: 'Peak of the loudest click against that of the take’s tone',
    value: known ? peak.value! - tone.value! : null,
    unit: 'dB',
    bound: peak.bound,
    method: 'switching.clicks',
    capture: [...peak.capture, ...tone.capture],
    parts: known ? [...own(peak), ...own(tone)] : null,
    uncertaintyReason: known ? null : 'no reading',
  });
}
