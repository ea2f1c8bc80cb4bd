/**
 * What a board will do to its player's tone and how much noise its path must make, from its file alone: no capture.
 *
 * Losses are against the straight lead: the player's own lead into an amplifier, no board. Loss is positive where
 * something is lost. Thermal noise is that of every resistor (Johnson, Nyquist) and of a buffer whose noise is stated.
 *
 * @module
 */

import { aWeighting } from '../numerics/weighting.js';
import { voltsToDbu } from '../units/decibels.js';
import { fixed } from '../units/format.js';
import { DEFAULT_LOAD_OHM, pathNetwork, type BoardPath, type Load, type PathNetwork, type PathOptions } from './board-network.js';
import { GROUND, capacitor, transconductor, type Element, type Network } from './elements.js';
import { FULL_UP, potFraction, type Controls, type InstrumentPart } from './instrument.js';
import { outputNoise } from './noise.js';
import { impedance, responses, toGround, type Port } from './response.js';
import type { LeadPart } from './sections.js';
import { evenOctaves, toneFigures, type PowerResponse, type ToneFigures } from './tone.js';

/** A way from the instrument to an amplifier. */
export type Route = 'straight-lead' | 'buffer-in' | 'buffer-out' | 'no-buffer';

/** What of a bench matters to the path. */
export interface BenchPath {
  readonly generatorOhm: number | null;
  readonly plugs: readonly { readonly id: string; readonly ohm: number }[];
  readonly straightLead: LeadPart | null;
  /** Recorder inputs by output id. */
  readonly loads: Readonly<Record<string, Load>>;
}

export interface NoiseLevel {
  /** 20 Hz to 20 kHz. */
  readonly aWeightedDbu: number;
  readonly unweightedDbu: number;
}

/** Loss against the straight lead, dB, each response from its own level at 200 to 500 Hz. */
export interface ToneLoss {
  readonly band2to5kDb: number;
  readonly at5kDb: number;
  readonly at10kDb: number;
  readonly at20kDb: number;
}

/** What hangs on the source at the board's input jack. */
export interface Shunt {
  readonly capacitanceF: number;
  /** Infinity where nothing but capacitance hangs there. */
  readonly resistanceOhm: number;
}

/**
 * One part of the board that the instrument feels, and what would change without it: a capacitance taken away, or the
 * board's input resistance made that of an amplifier. The player's own lead is none: it is in the straight lead as well.
 */
export interface HangingPart {
  readonly part: string;
  /** One of the two is null. */
  readonly capacitanceF: number | null;
  readonly resistanceOhm: number | null;
  /** How much less would be lost in 2 to 5 kHz without it, dB. */
  readonly costs2to5kDb: number;
  /** The resonance without it; null where there is none. */
  readonly resonanceWithoutHz: number | null;
}

export interface MetreMore {
  /** The player's lead longer, or a lead at the output. */
  readonly where: 'before-board' | 'after-board';
  readonly capacitanceF: number;
  /** Further loss in 2 to 5 kHz, dB. */
  readonly loses2to5kDb: number;
  readonly resonanceShiftHz: number | null;
}

/** What a metre less of the player's lead would give back. */
export interface MetreLess {
  readonly capacitanceF: number;
  /** Less loss in 2 to 5 kHz, dB. */
  readonly gains2to5kDb: number;
  readonly resonanceShiftHz: number | null;
}

export interface PlayerPrediction {
  readonly route: Route;
  /** State of the board; `lead` for the straight lead. */
  readonly state: string;
  /** Null for the straight lead. */
  readonly output: string | null;
  /** The volume knob, 0 to 10. */
  readonly volume: number;
  readonly tone: ToneFigures;
  /** Null for the straight lead itself. */
  readonly loss: ToneLoss | null;
  /** Level at 200 to 500 Hz less that of the straight lead, dB. */
  readonly levelDb: number | null;
  readonly noise: NoiseLevel;
  readonly metreMore: readonly MetreMore[];
  /** At volume 10; null where the player's lead is not given, or is no longer than a metre. */
  readonly metreLess: MetreLess | null;
  readonly hanging: readonly HangingPart[];
  readonly curve: { readonly frequencyHz: Float64Array; readonly levelDb: Float64Array };
}

export interface PlugPrediction {
  readonly plug: string;
  readonly route: Exclude<Route, 'straight-lead'>;
  readonly state: string;
  readonly output: string;
  readonly shunt: Shunt;
  /** Against the same plug into the bench's straight lead, from the level at 200 to 500 Hz; negative where something is lost. */
  readonly droop: { readonly at5kDb: number; readonly at10kDb: number; readonly at20kDb: number };
  readonly cornerHz: number | null;
}

export interface Prediction {
  readonly routes: readonly Route[];
  /** Empty where the board file has no instrument. */
  readonly player: readonly PlayerPrediction[];
  readonly plugs: readonly PlugPrediction[];
  /** Noise at the outputs with the input shorted, as in an idle capture. */
  readonly terminated: readonly { readonly route: Route; readonly state: string; readonly output: string; readonly noise: NoiseLevel }[];
  /** What hangs on the player's lead at the board's input jack, with the amplifiers of the board file. */
  readonly input: readonly { readonly route: Exclude<Route, 'straight-lead'>; readonly state: string; readonly shunt: Shunt }[];
  /** One sentence each. */
  readonly assumed: readonly string[];
}

/** Knob positions that are predicted. */
export const VOLUMES: readonly number[] = [10, 7];
const FULL_VOLUME = 10;

/** Per metre, where the player's lead is not given (common practice, no source: 50 to 200 pF/m are seen). */
export const USUAL_LEAD_F_PER_M = 100e-12;

/** A shorting plug, ohm: enough not to be zero, nothing beside any other resistance. */
export const SHORT_OHM = 0.1;

const NOISE_HZ = evenOctaves(20, 20000, 480);
const NOISE_SHARE = Math.log(1000) / NOISE_HZ.length;
/** 1/24 octave from 20 Hz to 20 kHz. */
const CURVE_HZ = Float64Array.from({ length: 241 }, (_, i) => 20 * 1000 ** (i / 240));

/** The ways through a board, the straight lead first. */
export function routesOf(board: BoardPath): readonly (readonly [route: Route, state: string])[] {
  const { buffer } = board.input;
  return [
    ['straight-lead', 'lead'],
    buffer ? ['buffer-in', 'rest'] : ['no-buffer', 'rest'],
    ...(buffer?.defeatable ? [['buffer-out', 'unbuffered'] as const] : []),
  ];
}

/** The power response from the source of a path to a port. */
export const powerResponse =
  (network: Network, source: string, port: Port): PowerResponse =>
  (frequenciesHz) => {
    const [{ re, im }] = responses(network, source, [port], frequenciesHz);
    return re.map((v, i) => v * v + im[i] * im[i]);
  };

/** Level of a density in V/√Hz, integrated over 20 Hz to 20 kHz. */
export function levelOfDensity(density: (frequenciesHz: Float64Array) => Float64Array): NoiseLevel {
  let flat = 0;
  let weighted = 0;
  density(NOISE_HZ).forEach((v, i) => {
    const power = v * v * NOISE_HZ[i] * NOISE_SHARE;
    flat += power;
    weighted += power * aWeighting(NOISE_HZ[i]) ** 2;
  });
  return { aWeightedDbu: voltsToDbu(Math.sqrt(weighted)), unweightedDbu: voltsToDbu(Math.sqrt(flat)) };
}

/** Noise of a path at one of its outputs. */
export const noiseLevel = ({ network, outputs }: PathNetwork, output: string): NoiseLevel =>
  levelOfDensity((frequenciesHz) => outputNoise(network, outputs.get(output)!, frequenciesHz).densityVPerRtHz);

/** The straight lead ends in this output of the one-output board that stands for the amplifier. */
const AMPLIFIER = 'amplifier';

/** The player's own lead into an amplifier. */
export function straightPath(instrument: InstrumentPart, controls: Controls = FULL_UP): PathNetwork {
  const alone: BoardPath = {
    instrument,
    input: { wiring: null, buffer: null },
    loops: [],
    outputs: [{ id: AMPLIFIER, loadOhm: DEFAULT_LOAD_OHM, lift: false, polaritySwitch: false, isolated: false }],
  };
  return pathNetwork(alone, { state: 'lead', source: { kind: 'instrument', controls } });
}

export const lossAgainst = (tone: ToneFigures, straight: ToneFigures): ToneLoss => ({
  band2to5kDb: straight.band2to5kDb - tone.band2to5kDb,
  at5kDb: straight.at5kDb - tone.at5kDb,
  at10kDb: straight.at10kDb - tone.at10kDb,
  at20kDb: straight.at20kDb - tone.at20kDb,
});

/** Where the shunt is read, Hz: high enough for capacitance, far below what a transformer's leakage does. */
const SHUNT_HZ = 2000;

/**
 * The resistance and capacitance at the board's input jack in a state, as its file says: what a source plug works into.
 *
 * @param loads - by output id; others as in the board file.
 */
export function designedShunt(board: BoardPath, state: string, loads: Readonly<Record<string, Load>> = {}, build: PathOptions['build'] = {}): Shunt {
  const path = pathNetwork(board, { state, source: { kind: 'generator', resistanceOhm: 1, plugOhm: null }, loads, build });
  // Without the generator, what is left at the jack is the board.
  const without = path.network.filter(({ name }) => !name.startsWith('generator.'));
  const { re, im } = impedance(without, toGround(path.input), Float64Array.of(SHUNT_HZ));
  const square = re[0] * re[0] + im[0] * im[0];
  const siemens = re[0] / square;
  return { capacitanceF: -im[0] / square / (2 * Math.PI * SHUNT_HZ), resistanceOhm: siemens > 1e-15 ? 1 / siemens : Infinity };
}

/** Predicts everything that the two files allow. */
export function predict(board: BoardPath, bench: BenchPath): Prediction {
  const routes = routesOf(board);
  const boardRoutes = routes.filter((entry): entry is readonly [Exclude<Route, 'straight-lead'>, string] => entry[0] !== 'straight-lead');
  const assumed = new Set<string>();
  const player = board.instrument === null ? [] : playerPredictions(board, board.instrument, routes, assumed);
  const plugs = bench.plugs.flatMap((plug) => boardRoutes.flatMap(([route, state]) => plugPredictions(board, bench, plug, route, state, assumed)));
  const terminated = boardRoutes.flatMap(([route, state]) => {
    const path = pathNetwork(board, { state, source: { kind: 'generator', resistanceOhm: SHORT_OHM, plugOhm: null } });
    for (const sentence of path.assumed) assumed.add(sentence);
    return board.outputs.map(({ id }) => ({ route, state, output: id, noise: noiseLevel(path, id) }));
  });
  const input = boardRoutes.map(([route, state]) => ({ route, state, shunt: designedShunt(board, state) }));
  assumed.add('Noise is that of every resistor at 290 K, about 17 °C, and of a buffer where board.yaml states it; an amplifier that is only assumed makes none.');
  if (board.loops.length > 0) assumed.add('Every loop out, and nothing of it left in the path (true bypass); wiring past the loops adds what it has.');
  return { routes: routes.map(([route]) => route), player, plugs, terminated, input, assumed: [...assumed] };
}

function playerPredictions(board: BoardPath, instrument: InstrumentPart, routes: readonly (readonly [Route, string])[], assumed: Set<string>): PlayerPrediction[] {
  assumed.add('Straight lead: the player’s lead into an amplifier of 1 MΩ.');
  if (instrument.lead === null) assumed.add('No lead between instrument and board, as none is given; each metre more counts 100 pF.');
  if (instrument.tone) assumed.add('Tone control at the pickup, its knob at 10.');
  if (instrument.volumeOhm === null) assumed.add('No volume control, as none is given.');
  else assumed.add(`Volume pot logarithmic: at 7 it passes ${fixed(100 * potFraction('volume', 0.7, FULL_UP.volumeTaper), 0)} % of its resistance.`);
  assumed.add('No lead behind the outputs.');

  const resistances = new Map(routes.filter(([route]) => route !== 'straight-lead').map(([, state]) => [state, designedShunt(board, state).resistanceOhm]));
  const volumes = instrument.volumeOhm === null ? [10] : VOLUMES;
  return volumes.flatMap((volume) => {
    const controls: Controls = { ...FULL_UP, volume: volume / 10 };
    const pathOf = (changed: BoardPath, state: string): PathNetwork =>
      state === 'lead' ? straightPath(changed.instrument!, controls) : pathNetwork(changed, { state, source: { kind: 'instrument', controls } });
    const straight = toneFigures(powerOf(pathOf(board, 'lead'), AMPLIFIER));
    return routes.flatMap(([route, state]) => {
      const path = pathOf(board, state);
      for (const sentence of path.assumed) assumed.add(sentence);
      return [...path.outputs.keys()].map((id): PlayerPrediction => {
        const power = powerOf(path, id);
        const tone = toneFigures(power);
        const isBoard = route !== 'straight-lead';
        return {
          route,
          state,
          output: isBoard ? id : null,
          volume,
          tone,
          loss: isBoard ? lossAgainst(tone, straight) : null,
          levelDb: isBoard ? tone.referenceDb - straight.referenceDb : null,
          noise: noiseLevel(path, id),
          metreMore: metresMore(instrument, path, id, tone, isBoard),
          metreLess: volume === FULL_VOLUME ? metreLess(instrument, path, id, tone) : null,
          hanging: isBoard ? hangingParts(path, id, tone, resistances.get(state)!) : [],
          curve: { frequencyHz: CURVE_HZ, levelDb: power(CURVE_HZ).map((p) => 10 * Math.log10(p) - tone.referenceDb) },
        };
      });
    });
  });
}

const powerOf = ({ network, source, outputs }: PathNetwork, output: string): PowerResponse => powerResponse(network, source, outputs.get(output)!);

/** A metre of lead is its capacitance: its resistance is nothing beside any source here. */
function metresMore(instrument: InstrumentPart, path: PathNetwork, output: string, tone: ToneFigures, isBoard: boolean): MetreMore[] {
  const farad = instrument.lead?.capacitanceFPerM ?? USUAL_LEAD_F_PER_M;
  const behind = path.outputs.get(output)!;
  const places = [{ where: 'before-board' as const, node: path.input }, ...(isBoard ? [{ where: 'after-board' as const, node: behind.plus }] : [])];
  return places.map(({ where, node }) => {
    const longer = toneFigures(powerResponse([...path.network, capacitor('a metre more', node, behind.minus, farad)], path.source, behind));
    return {
      where,
      capacitanceF: farad,
      loses2to5kDb: tone.band2to5kDb - longer.band2to5kDb,
      resonanceShiftHz: tone.resonance && longer.resonance ? longer.resonance.frequencyHz - tone.resonance.frequencyHz : null,
    };
  });
}

function metreLess({ lead }: InstrumentPart, path: PathNetwork, output: string, tone: ToneFigures): MetreLess | null {
  if (lead === null || lead.lengthM <= 1) return null;
  const behind = path.outputs.get(output)!;
  const network = path.network.map((element) => (element.kind === 'capacitor' && element.name === LEAD_CAPACITANCE ? { ...element, farad: element.farad - lead.capacitanceFPerM } : element));
  const shorter = toneFigures(powerResponse(network, path.source, behind));
  return {
    capacitanceF: lead.capacitanceFPerM,
    gains2to5kDb: shorter.band2to5kDb - tone.band2to5kDb,
    resonanceShiftHz: tone.resonance && shorter.resonance ? shorter.resonance.frequencyHz - tone.resonance.frequencyHz : null,
  };
}

/** The player's lead in the network, as instrument.ts names it. */
const LEAD_CAPACITANCE = 'lead.capacitance';

/** Below this neither loss nor resonance shows it, dB and part of the frequency. */
const UNHEARD_DB = 0.005;
const UNHEARD_SHIFT = 5e-4;
const GLANCE_HZ = Float64Array.of(300, 2000, 3500, 5000);

/** What of the board the instrument feels; what a buffer keeps away is none of it. */
function hangingParts(path: PathNetwork, output: string, tone: ToneFigures, resistanceOhm: number): HangingPart[] {
  const port = path.outputs.get(output)!;
  const glance = powerResponse(path.network, path.source, port)(GLANCE_HZ);
  const changed = (network: Network, part: Pick<HangingPart, 'part' | 'capacitanceF' | 'resistanceOhm'>): HangingPart[] => {
    const power = powerResponse(network, path.source, port);
    // Most of what is behind a buffer is dismissed at a glance.
    if (power(GLANCE_HZ).every((p, i) => Math.abs(10 * Math.log10(p / glance[i])) < UNHEARD_DB / 5)) return [];
    const without = toneFigures(power);
    const costs2to5kDb = without.band2to5kDb - tone.band2to5kDb;
    const resonanceWithoutHz = without.resonance?.frequencyHz ?? null;
    const shift = resonanceWithoutHz !== null && tone.resonance ? Math.abs(resonanceWithoutHz / tone.resonance.frequencyHz - 1) : 0;
    return Math.abs(costs2to5kDb) < UNHEARD_DB && shift < UNHEARD_SHIFT ? [] : [{ ...part, costs2to5kDb, resonanceWithoutHz }];
  };
  const isInstrument = ({ name }: Element): boolean => name.startsWith('pickup.') || name.startsWith('tone.') || name.startsWith('lead.');
  const capacitances = path.network.flatMap((element) =>
    element.kind === 'capacitor' && !isInstrument(element)
      ? changed(path.network.filter((other) => other !== element), { part: partName(element.name), capacitanceF: element.farad, resistanceOhm: null })
      : [],
  );
  // A conductance that brings the input to that of an amplifier: where it is negative, a controlled source.
  const excess = 1 / resistanceOhm - 1 / DEFAULT_LOAD_OHM;
  const asAmplifier = excess === 0 ? [] : [transconductor('as an amplifier', [path.input, GROUND], [path.input, GROUND], excess)];
  return [...capacitances, ...changed([...path.network, ...asAmplifier], { part: 'input resistance', capacitanceF: null, resistanceOhm })];
}

/** `input wiring.capacitance` → `input wiring`, `output A driver.input-capacitance` → `driver input of output A`. */
function partName(element: string): string {
  const section = element.slice(0, element.lastIndexOf('.'));
  if (section === 'input buffer') return 'buffer input';
  return section.replace(/^output (.+) (driver|wiring|load|transformer)$/, (_all, id: string, what: string) => `${what === 'driver' ? 'driver input' : what} of output ${id}`);
}

function plugPredictions(
  board: BoardPath,
  bench: BenchPath,
  plug: { readonly id: string; readonly ohm: number },
  route: Exclude<Route, 'straight-lead'>,
  state: string,
  assumed: Set<string>,
): PlugPrediction[] {
  // A generator of no resistance is no network: a tenth of an ohm is as good as none.
  const source = { kind: 'generator', resistanceOhm: Math.max(SHORT_OHM, bench.generatorOhm ?? 0), plugOhm: plug.ohm } as const;
  const path = pathNetwork(board, { state, source, loads: bench.loads });
  for (const sentence of path.assumed) assumed.add(sentence);
  return board.outputs.map(({ id }) => {
    const load = bench.loads[id] ?? { ohm: DEFAULT_LOAD_OHM };
    const lead = pathNetwork(board, { state: 'lead', source, loads: { [id]: load }, straightLead: bench.straightLead });
    const throughBoard = powerOf(path, id);
    const throughLead = powerOf(lead, id);
    const relative = toneFigures((hz) => {
      const reference = throughLead(hz);
      return throughBoard(hz).map((p, i) => p / reference[i]);
    });
    const { at5kDb, at10kDb, at20kDb, cornerHz } = relative;
    return {
      plug: plug.id,
      route,
      state,
      output: id,
      shunt: designedShunt(board, state, bench.loads),
      droop: { at5kDb, at10kDb, at20kDb },
      cornerHz,
    };
  });
}
