/**
 * From the bench to the player: what was found to hang on the board's input, put behind the player's instrument in place
 * of the source plug, with the response of the board itself as measured.
 *
 *   player's response = |voltage at the input jack / pickup's voltage| · |H|
 *
 * The first factor is the circuit of pickup, pots and lead into G + j2πfC; H is the board's response from jack to output.
 *
 * @module
 */
import { GROUND, capacitor, transconductor } from '../circuit/elements.js';
import { PICKUP_SOURCE, instrumentSection } from '../circuit/instrument.js';
import type { InstrumentPart } from '../circuit/instrument.js';
import { powerResponse, straightPath } from '../circuit/prediction.js';
import { toGround } from '../circuit/response.js';
import { toneFigures } from '../circuit/tone.js';
import type { PowerResponse, ToneFigures } from '../circuit/tone.js';
import type { PlayerCurve } from './curve.js';
import { figure, part } from './figure.js';
import type { Figure, Place, UncertaintyPart } from './figure.js';
import { GRID_HZ } from './frequency-grid.js';
import type { ShuntFit } from './shunt-fit.js';
import type { SmoothResponse } from './smooth-response.js';

/** What a state puts behind the instrument. */
export interface PlayerLoad {
  readonly fit: ShuntFit;
  /** The state's response without a plug over the bench's; null where it is that of a wire. */
  readonly response: SmoothResponse | null;
  /** The generator that this response was taken with, ohm. */
  readonly generatorOhm: number;
}

interface Shunt {
  readonly capacitanceF: number;
  readonly conductanceS: number;
}

/** The response of the instrument at the output, up to a constant factor. */
function responseOf(instrument: InstrumentPart, { response, generatorOhm }: PlayerLoad, { capacitanceF, conductanceS }: Shunt): PowerResponse {
  const section = instrumentSection(instrument);
  const node = section.output;
  const network = [
    ...section.elements,
    capacitor('board.capacitance', node, GROUND, capacitanceF),
    // A fitted conductance may be below zero by chance, which no resistor is.
    ...(conductanceS === 0 ? [] : [transconductor('board.conductance', [node, GROUND], [node, GROUND], -conductanceS)]),
  ];
  const atJack = powerResponse(network, PICKUP_SOURCE, toGround(node));
  return (hz) =>
    atJack(hz).map((p, i) => {
      // The generator has lost this in the same input.
      const inGenerator = (1 + generatorOhm * conductanceS) ** 2 + (generatorOhm * 2 * Math.PI * hz[i] * capacitanceF) ** 2;
      return p * inGenerator * (response === null ? 1 : 10 ** (response.at(hz[i]).levelDb / 10));
    });
}

/** A load's tone figures at what was fitted, and a little off in capacitance and in conductance. */
interface Translated {
  readonly load: PlayerLoad;
  readonly power: PowerResponse;
  readonly tone: ToneFigures;
  readonly steps: readonly { readonly by: number; readonly power: PowerResponse; readonly tone: ToneFigures }[];
}

/** Steps for slopes: small beside what bends the curve, far above rounding. */
const STEP_F = 1e-12;
const STEP_S = 1e-8;

function translate(instrument: InstrumentPart, load: PlayerLoad): Translated {
  const { capacitanceF, conductanceS } = load.fit;
  const at = (shunt: Shunt): { power: PowerResponse; tone: ToneFigures } => {
    const power = responseOf(instrument, load, shunt);
    return { power, tone: toneFigures(power) };
  };
  return {
    load,
    ...at({ capacitanceF, conductanceS }),
    steps: [
      { by: STEP_F, ...at({ capacitanceF: capacitanceF + STEP_F, conductanceS }) },
      { by: STEP_S, ...at({ capacitanceF, conductanceS: conductanceS + STEP_S }) },
    ],
  };
}

/** How a figure follows C and G of one load. */
type Slopes = readonly [perF: number, perS: number];

const noiseVariance = ({ noise }: ShuntFit, [perF, perS]: Slopes): number => Math.max(0, perF * perF * noise.cc + 2 * perF * perS * noise.cg + perS * perS * noise.gg);

/** Standard uncertainties of a figure: from the noise of the fit, and from the plugs. */
const spread = (fit: ShuntFit, slopes: Slopes): { noise: number; plugs: number } => ({
  noise: Math.sqrt(noiseVariance(fit, slopes)),
  plugs: Math.hypot(...fit.plugs.map(({ capacitanceF, conductanceS }) => slopes[0] * capacitanceF + slopes[1] * conductanceS)),
});

interface Wanted {
  readonly id: string;
  readonly label: string;
  readonly unit: string;
  /** From the state's tone figures and those of the straight lead. */
  readonly of: (own: ToneFigures, straight: ToneFigures) => number | null;
  /** Noise of the board's own response in it, as a standard uncertainty. */
  readonly response: (response: SmoothResponse, translated: Translated, straight: ToneFigures) => number;
  /** In place of a value where there is none; absent: no reading. */
  readonly absent?: Pick<Figure, 'value' | 'bound' | 'uncertaintyReason' | 'remarks'>;
}

const NO_PEAK = { value: null, bound: null, uncertaintyReason: 'no resonance', remarks: ['There is no resonance to speak of: no peak of 1.25 dB or more.'] };
const BEYOND = { value: 20000, bound: 'lower' as const, uncertaintyReason: null, remarks: ['Still within 3 dB at 20 kHz.'] };

/** dB per unit of ln f, and its own slope, of the translated response at a frequency. */
function bendAt({ power }: Translated, hz: number): { slope: number; bend: number } {
  const h = 0.01;
  const [below, at, above] = power(Float64Array.of(hz * Math.exp(-h), hz, hz * Math.exp(h))).map((p) => 10 * Math.log10(p));
  return { slope: (above - below) / (2 * h), bend: (above - 2 * at + below) / (h * h) };
}

const levelNoise = (response: SmoothResponse, hz: number): number => Math.hypot(response.at(hz).levelUncertaintyDb, response.referenceUncertaintyDb);

/** A slope laid over a peak moves it to where the peak's own slope is the opposite. */
function peakNoise(response: SmoothResponse, translated: Translated): number {
  const hz = translated.tone.resonance?.frequencyHz ?? NaN;
  return (hz * response.at(hz).slopeUncertainty) / Math.abs(bendAt(translated, hz).bend);
}

const ownFigures: readonly Wanted[] = [
  {
    id: 'player.resonance',
    label: 'Resonance of the player’s instrument',
    unit: 'Hz',
    of: ({ resonance }) => resonance?.frequencyHz ?? null,
    response: peakNoise,
    absent: NO_PEAK,
  },
  {
    id: 'player.resonance-height',
    label: 'Height of that resonance',
    unit: 'dB',
    of: ({ resonance }) => resonance?.heightDb ?? null,
    response: (response, { tone }) => levelNoise(response, tone.resonance?.frequencyHz ?? NaN),
    absent: NO_PEAK,
  },
  {
    id: 'player.corner',
    label: '−3 dB corner of the player’s instrument',
    unit: 'Hz',
    of: ({ cornerHz }) => cornerHz,
    response: (response, translated) => {
      const hz = translated.tone.cornerHz ?? NaN;
      return (hz * levelNoise(response, hz)) / Math.abs(bendAt(translated, hz).slope);
    },
    absent: BEYOND,
  },
];

const againstLead: readonly Wanted[] = [
  {
    id: 'player.loss-2-5k',
    label: 'Loss in 2–5 kHz for the player, against the straight lead',
    unit: 'dB',
    of: (own, straight) => straight.band2to5kDb - own.band2to5kDb,
    response: (response) => Math.hypot(response.bandUncertaintyDb(2000, 5000), response.referenceUncertaintyDb),
  },
  {
    id: 'player.loss-5k',
    label: 'Loss at 5 kHz for the player, against the straight lead',
    unit: 'dB',
    of: (own, straight) => straight.at5kDb - own.at5kDb,
    response: (response) => levelNoise(response, 5000),
  },
  {
    id: 'player.resonance-shift',
    label: 'Shift of the player’s resonance from that on the straight lead',
    unit: '%',
    of: (own, straight) => (own.resonance && straight.resonance ? 100 * (own.resonance.frequencyHz / straight.resonance.frequencyHz - 1) : null),
    response: (response, translated, straight) => (100 * peakNoise(response, translated)) / (straight.resonance?.frequencyHz ?? NaN),
  },
];

/**
 * A fit that leaves this much, dB, and far more than noise does, is of something else than a resistance and a capacitance:
 * behind the tens of kilohms of an instrument it would be some tenths of a decibel.
 */
const WORST_LEFT_DB = 0.03;
const WORST_MISFIT = 4;

/**
 * Readings and the curve of one state on one output.
 *
 * Losses are against the player's own lead into an amplifier of 1 MΩ, as the circuit has it: the bench's straight lead ends
 * in every recorder input at once, which no amplifier is. The state `lead` itself is translated as it is, without losses.
 */
export function playerMeasures(instrument: InstrumentPart, place: Place, own: PlayerLoad): { readonly figures: readonly Figure[]; readonly curve: PlayerCurve | null } {
  const isLead = place.state === 'lead';
  const wanted = isLead ? ownFigures : [...againstLead, ...ownFigures];
  const common = { method: 'player.translation' };
  if (own.fit.misfit > WORST_MISFIT && own.fit.leftDb > WORST_LEFT_DB) {
    const remarks = ['What hangs on the input is more than a resistance and a capacitance, so it was not put behind the instrument.'];
    return { figures: wanted.map(({ id, label, unit }) => figure(place, { ...common, id, label, unit, value: null, parts: null, uncertaintyReason: 'no fit', remarks })), curve: null };
  }
  const translated = translate(instrument, own);
  const straight = straightTone(instrument);
  const remarks = [
    'For the instrument of board.yaml with its volume and tone at 10; how far its parts are from what is stated is not in the uncertainty.',
    ...(isLead ? ['The player’s lead with the bench’s straight lead and every recorder input behind it.'] : []),
    ...(own.response === null && !isLead ? ['The board’s own response was taken to be flat: there is no take of the state without a plug.'] : []),
  ];
  const figures = wanted.flatMap((w) => {
    const value = w.of(translated.tone, straight);
    const said = { ...common, id: w.id, label: w.label, unit: w.unit, remarks };
    if (value === null) return w.absent === undefined ? [] : [figure(place, { ...said, ...w.absent, parts: [], remarks: [...w.absent.remarks, ...remarks] })];
    const parts = partsOf(w, value, translated, straight);
    return [figure(place, { ...said, value, parts, uncertaintyReason: parts === null ? 'the peak is too flat to say' : null })];
  });
  return { figures, curve: curveOf(place, translated) };
}

const straightTone = (instrument: InstrumentPart): ToneFigures => {
  const { network, source, outputs } = straightPath(instrument);
  return toneFigures(powerResponse(network, source, [...outputs.values()][0]));
};

/** Null where a slope cannot be taken, as a peak comes or goes. */
function partsOf(w: Wanted, value: number, translated: Translated, straight: ToneFigures): UncertaintyPart[] | null {
  const { load, steps } = translated;
  const [perF, perS] = steps.map(({ by, tone }) => {
    const off = w.of(tone, straight);
    return off === null ? null : (off - value) / by;
  });
  if (perF === null || perS === null) return null;
  const { noise, plugs } = spread(load.fit, [perF, perS]);
  return [
    part('fit', 'noise in what was fitted', noise),
    part('stated tolerance', 'tolerance of the source plug', plugs),
    ...(load.response ? [part('spectral statistics', 'noise in the board’s own response', w.response(load.response, translated, straight))] : []),
  ];
}

/** Level from that at 200 to 500 Hz, with its 95 % band. */
function curveOf(place: Place, { load, power, tone, steps }: Translated): PlayerCurve {
  const { response, fit } = load;
  const hz = GRID_HZ.filter((f) => response === null || f <= response.highestHz);
  const levelsOf = (p: PowerResponse, referenceLevelDb: number): Float64Array => p(hz).map((v) => 10 * Math.log10(v) - referenceLevelDb);
  const values = levelsOf(power, tone.referenceDb);
  const off = steps.map((step) => levelsOf(step.power, step.tone.referenceDb));
  const slack = Array.from(hz, (f, k) => {
    const slopes: Slopes = [(off[0][k] - values[k]) / steps[0].by, (off[1][k] - values[k]) / steps[1].by];
    const { noise, plugs } = spread(fit, slopes);
    return 2 * Math.hypot(noise, plugs, response === null ? 0 : levelNoise(response, f));
  });
  return {
    id: `player-response/${place.state}${place.source ? `+${place.source}` : ''}/${place.output ?? ''}`,
    kind: 'player-response',
    label: `Player’s instrument, output ${place.output ?? ''}`,
    state: place.state,
    source: place.source,
    output: place.output,
    loop: place.loop,
    x: { label: 'Frequency', unit: 'Hz', values: Array.from(hz) },
    y: { label: 'Level from 200–500 Hz', unit: 'dB', values: Array.from(values) },
    low: Array.from(values, (v, k) => v - slack[k]),
    high: Array.from(values, (v, k) => v + slack[k]),
    peak: null,
    marks: [],
    capture: place.capture,
  };
}
