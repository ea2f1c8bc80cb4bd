/**
 * The equations of a network (modified nodal analysis; Ho, Ruehli and Brennan, 1975, from memory): one unknown per node
 * voltage, and one per branch current of an inductor, a voltage source, a voltage amplifier or a transformer.
 * A(ω) = G + jω·B with G and B real.
 *
 * @module
 */

import { problem } from '../problems.js';
import { equilibrate, luDecompose, luSolve, luSolveTransposed } from './complex-lu.js';
import { GROUND, nodesOf, tiesOf, type Element, type Network } from './elements.js';

/** A network made ready to be solved at any frequency. Not shared between threads: it holds its own scratch. */
export interface Equations {
  /** Number of unknowns. */
  readonly size: number;
  readonly network: Network;
  /** Index of a node's voltage, −1 for ground. Throws circuit.unknown-node. */
  nodeIndex(node: string): number;
  /** Index of the current through a named source, inductor, amplifier or transformer primary. Throws circuit.unknown-source. */
  branchIndex(name: string): number;
  /** Builds and decomposes A at a frequency. Throws circuit.frequency and circuit.singular. */
  setFrequency(frequencyHz: number): void;
  /** Solves A·x = b in place. */
  solve(bRe: Float64Array, bIm: Float64Array): void;
  /** Solves Aᵀ·y = b in place: y is how much each equation's excitation shows in the output that b selects. */
  solveTransposed(bRe: Float64Array, bIm: Float64Array): void;
}

const hasBranch = (element: Element): boolean =>
  element.kind === 'inductor' ||
  element.kind === 'voltage-source' ||
  element.kind === 'voltage-amplifier' ||
  element.kind === 'ideal-transformer';

/** Refuses a node that no chain of elements ties to ground, and two elements of one name. */
function checkTopology(network: Network): void {
  const names = new Set<string>();
  const neighbours = new Map<string, string[]>();
  const firstPart = new Map<string, string>();
  for (const element of network) {
    if (names.has(element.name)) throw problem('circuit.duplicate', { part: element.name });
    names.add(element.name);
    for (const node of nodesOf(element)) {
      if (!firstPart.has(node)) firstPart.set(node, element.name);
      if (!neighbours.has(node)) neighbours.set(node, []);
    }
    for (const [a, b] of tiesOf(element)) {
      neighbours.get(a)!.push(b);
      neighbours.get(b)!.push(a);
    }
  }
  const reached = new Set<string>([GROUND]);
  const open = [GROUND];
  for (let node = open.pop(); node !== undefined; node = open.pop()) {
    for (const next of neighbours.get(node) ?? []) {
      if (!reached.has(next)) {
        reached.add(next);
        open.push(next);
      }
    }
  }
  for (const [node, part] of firstPart) {
    if (!reached.has(node)) throw problem('circuit.floating', { node, part });
  }
}

/**
 * Numbers the unknowns in the order in which the elements name them and stamps G and B.
 *
 * @throws circuit.duplicate, circuit.floating.
 */
export function equationsOf(network: Network): Equations {
  checkTopology(network);

  const nodes = new Map<string, number>();
  const branches = new Map<string, number>();
  let size = 0;
  for (const element of network) {
    for (const node of nodesOf(element)) {
      if (node !== GROUND && !nodes.has(node)) nodes.set(node, size++);
    }
    if (hasBranch(element)) branches.set(element.name, size++);
  }

  const n = size;
  const g = new Float64Array(n * n);
  const b = new Float64Array(n * n);
  const index = (node: string): number => (node === GROUND ? -1 : nodes.get(node)!);
  const add = (matrix: Float64Array, row: number, col: number, value: number): void => {
    if (row >= 0 && col >= 0) matrix[row * n + col] += value;
  };
  const addAdmittance = (matrix: Float64Array, p: number, q: number, value: number): void => {
    add(matrix, p, p, value);
    add(matrix, q, q, value);
    add(matrix, p, q, -value);
    add(matrix, q, p, -value);
  };
  /** The branch current leaves node p and enters node q; the branch's equation is about v(p) − v(q). */
  const addBranch = (p: number, q: number, branch: number): void => {
    add(g, p, branch, 1);
    add(g, q, branch, -1);
    add(g, branch, p, 1);
    add(g, branch, q, -1);
  };

  for (const element of network) {
    switch (element.kind) {
      case 'resistor':
        addAdmittance(g, index(element.a), index(element.b), 1 / element.ohm);
        break;
      case 'capacitor':
        addAdmittance(b, index(element.a), index(element.b), element.farad);
        break;
      case 'inductor': {
        const branch = branches.get(element.name)!;
        addBranch(index(element.a), index(element.b), branch);
        add(b, branch, branch, -element.henry);
        break;
      }
      case 'voltage-source':
        addBranch(index(element.plus), index(element.minus), branches.get(element.name)!);
        break;
      case 'current-source':
        break;
      case 'voltage-amplifier': {
        const branch = branches.get(element.name)!;
        addBranch(index(element.plus), index(element.minus), branch);
        add(g, branch, index(element.sensePlus), -element.gain);
        add(g, branch, index(element.senseMinus), element.gain);
        break;
      }
      case 'transconductor': {
        const out = [index(element.plus), index(element.minus)] as const;
        const sense = [index(element.sensePlus), index(element.senseMinus)] as const;
        add(g, out[0], sense[0], -element.siemens);
        add(g, out[0], sense[1], element.siemens);
        add(g, out[1], sense[0], element.siemens);
        add(g, out[1], sense[1], -element.siemens);
        break;
      }
      case 'ideal-transformer': {
        // Branch current i flows into the primary; ratio·i flows out of the secondary: power in is power out.
        const branch = branches.get(element.name)!;
        addBranch(index(element.primaryPlus), index(element.primaryMinus), branch);
        const s = [index(element.secondaryPlus), index(element.secondaryMinus)] as const;
        add(g, branch, s[0], -element.ratio);
        add(g, branch, s[1], element.ratio);
        add(g, s[0], branch, -element.ratio);
        add(g, s[1], branch, element.ratio);
        break;
      }
    }
  }

  const nodeAt = new Map<number, string>([...nodes].map(([node, at]) => [at, node]));
  const branchAt = new Map<number, string>([...branches].map(([name, at]) => [at, name]));
  const entries = Int32Array.from([...g.keys()].filter((at) => g[at] !== 0 || b[at] !== 0));
  const aRe = new Float64Array(n * n);
  const aIm = new Float64Array(n * n);
  const pivots = new Int32Array(n);
  const rowScale = new Float64Array(n);
  const columnScale = new Float64Array(n);

  const scaled = (scale: Float64Array, re: Float64Array, im: Float64Array): void => {
    for (let k = 0; k < n; k++) {
      re[k] *= scale[k];
      im[k] *= scale[k];
    }
  };

  return {
    size: n,
    network,
    nodeIndex(node) {
      if (node === GROUND) return -1;
      const at = nodes.get(node);
      if (at === undefined) throw problem('circuit.unknown-node', { node });
      return at;
    },
    branchIndex(name) {
      const at = branches.get(name);
      if (at === undefined) throw problem('circuit.unknown-source', { source: name });
      return at;
    },
    setFrequency(frequencyHz) {
      if (!(Number.isFinite(frequencyHz) && frequencyHz >= 0)) throw problem('circuit.frequency', { frequencyHz });
      const omega = 2 * Math.PI * frequencyHz;
      aRe.set(g);
      aIm.fill(0);
      for (const entry of entries) aIm[entry] = omega * b[entry];
      equilibrate(n, entries, aRe, aIm, rowScale, columnScale);
      const failed = luDecompose(n, aRe, aIm, pivots);
      if (failed >= 0) throw problem('circuit.singular', { frequencyHz, where: nodeAt.get(failed) ?? branchAt.get(failed)! });
    },
    solve(bRe, bIm) {
      scaled(rowScale, bRe, bIm);
      luSolve(n, aRe, aIm, pivots, bRe, bIm);
      scaled(columnScale, bRe, bIm);
    },
    solveTransposed(bRe, bIm) {
      scaled(columnScale, bRe, bIm);
      luSolveTransposed(n, aRe, aIm, pivots, bRe, bIm);
      scaled(rowScale, bRe, bIm);
    },
  };
}
