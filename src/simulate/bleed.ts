/**
 * A loop that is heard while it is out: its device goes on being fed, and its output reaches the path past the open contact.
 *
 * The device may delay what it passes on, which a network cannot, so it stands in the network twice: fed from the path, into
 * nothing; and as the resistance that its output and the leak put across the path. What it gives then comes in there as a current of
 * its own (superposition), with a delay of its own.
 *
 * @module
 */

import type { PathNetwork } from '../circuit/board-network.js';
import { GROUND, resistor } from '../circuit/elements.js';
import { responses, toGround, transferImpedance, type ComplexCurve, type Port } from '../circuit/response.js';
import { bufferSection, type BufferPart } from '../circuit/sections.js';
import { times } from './bench-response.js';

/** What the device of a loop hangs on while the loop is out, so that its voltage can be read. */
const OPEN_OHM = 1e9;

export interface Bleed {
  readonly loop: string;
  readonly device: BufferPart;
  /** Of the open contact. */
  readonly leakOhm: number;
}

const nameOf = (loop: string): string => `loop ${loop} while out`;
const acrossOhm = ({ device, leakOhm }: Bleed): number => leakOhm + device.outputResistanceOhm;

/** The path with those of the loops in it that are out. */
export function withBleeds(path: PathNetwork, bleeds: readonly Bleed[]): PathNetwork {
  const added = bleeds.flatMap((bleed) => {
    const node = path.bypassed.get(bleed.loop);
    if (node === undefined) return [];
    const name = nameOf(bleed.loop);
    const { elements, output } = bufferSection(name, node, bleed.device);
    return [...elements, resistor(`${name}.open`, output, GROUND, OPEN_OHM), resistor(`${name}.leak`, node, GROUND, acrossOhm(bleed))];
  });
  return added.length === 0 ? path : { ...path, network: [...path.network, ...added] };
}

/** Volts at each port per volt of the source that come past the open contact of a loop; null where that loop is in. */
export function bledThrough(path: PathNetwork, bleed: Bleed, ports: readonly Port[], frequenciesHz: Float64Array): ComplexCurve[] | null {
  const node = path.bypassed.get(bleed.loop);
  if (node === undefined) return null;
  const [given] = responses(path.network, path.source, [toGround(`${nameOf(bleed.loop)}.output`)], frequenciesHz);
  return ports.map((port) => {
    const { re, im } = times(given, transferImpedance(path.network, toGround(node), port, frequenciesHz));
    return { re: re.map((v) => v / acrossOhm(bleed)), im: im.map((v) => v / acrossOhm(bleed)) };
  });
}
