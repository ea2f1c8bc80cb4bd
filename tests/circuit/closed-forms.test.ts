/** Networks whose answer is a formula or a published row. */
import { describe, expect, it } from 'vitest';
import { GROUND, capacitor, idealTransformer, inductor, resistor, transconductor, voltageAmplifier, voltageSource } from '../../src/circuit/elements.js';
import { noiseMatrix, outputNoise } from '../../src/circuit/noise.js';
import { impedance, inputImpedance, response, toGround } from '../../src/circuit/response.js';
import { bufferSection, leadSection, loadSection, seriesResistance } from '../../src/circuit/sections.js';
import { BOLTZMANN_J_PER_K } from '../../src/units/constants.js';

const hz = (...values: number[]): Float64Array => Float64Array.from(values);
const db = (re: number, im = 0): number => 20 * Math.log10(Math.hypot(re, im));

/** Double precision through a handful of equations: 1e-12 relative leaves two digits to spare. */
const EXACT = 1e-12;

describe('a source resistance into a lead', () => {
  // Rows of the first-order RC table (f_c = 1/(2πRC), droop = −10·lg(1 + (f/f_c)²); computed, printed to 0.001 dB):
  // source ohm, length m, pF/m, corner Hz, droop at 5, 10, 20 kHz in dB.
  const rows: [number, number, number, number, number, number, number][] = [
    [100, 10, 100, 1591549.4, 0.0, 0.0, -0.001],
    [1000, 6, 160, 165786.4, -0.004, -0.016, -0.063],
    [10000, 3, 100, 53051.6, -0.038, -0.152, -0.577],
    [10000, 6, 100, 26525.8, -0.152, -0.577, -1.955],
    [50000, 6, 100, 5305.2, -2.761, -6.583, -11.822],
    [125000, 10, 100, 1273.2, -12.154, -17.972, -23.94],
    [250000, 6, 160, 663.1, -17.623, -23.587, -29.593],
  ];

  it.each(rows)('%f ohm, %f m of %f pF/m', (ohm, lengthM, pF, cornerHz, ...droops) => {
    const plug = seriesResistance('plug', 'source', ohm);
    const lead = leadSection('lead', plug.output, { lengthM, capacitanceFPerM: pF * 1e-12 });
    const network = [voltageSource('v', 'source', GROUND), ...plug.elements, ...lead.elements];
    const { re, im } = response(network, 'v', toGround(lead.output), hz(5000, 10000, 20000, cornerHz));
    droops.forEach((droop, k) => {
      // Half a digit of the table.
      expect(Math.abs(db(re[k], im[k]) - droop), `got ${db(re[k], im[k])} dB, want ${droop} dB`).toBeLessThan(0.00051);
    });
    // The corner is printed to 0.1 Hz: at 663 Hz that is 1.5e-4 of it, 0.0007 dB.
    expect(Math.abs(db(re[3], im[3]) + 10 * Math.log10(2))).toBeLessThan(0.001);
  });

  it('loses 0.0864 dB of a 10 kΩ source in a 1 MΩ input, 1.938 dB of 250 kΩ (the same table)', () => {
    for (const [ohm, loss] of [
      [10e3, 0.0864],
      [250e3, 1.938],
    ]) {
      const network = [voltageSource('v', 'source', GROUND), resistor('r', 'source', 'in', ohm), ...loadSection('load', 'in', { ohm: 1e6 }).elements];
      const { re } = response(network, 'v', toGround('in'), hz(0, 1000));
      expect(Math.abs(db(re[0]) + loss)).toBeLessThan(0.0006);
      expect(Math.abs(db(re[1]) + loss)).toBeLessThan(0.0006);
    }
  });
});

describe('a pickup and its lead resonate at 1/(2π√(LC))', () => {
  // Worked check of the guitar electronics table: 2.4 H with 300 pF 5931.4 Hz, with 2400 pF 2097.1 Hz.
  it.each([
    [300e-12, 5931.4],
    [2400e-12, 2097.1],
  ])('2.4 H with %f F', (farad, resonanceHz) => {
    const network = [
      voltageSource('v', 'coil', GROUND),
      inductor('l', 'coil', 'wire', 2.4),
      resistor('r', 'wire', 'out', 6000),
      capacitor('c', 'out', GROUND, farad),
    ];
    const at = Float64Array.from({ length: 2001 }, (_, k) => resonanceHz * (0.99 + k * 1e-5));
    // At resonance the output lags by exactly 90°: the real part crosses zero.
    const { re } = response(network, 'v', toGround('out'), at);
    const crossing = re.findIndex((value, k) => k > 0 && value <= 0 && re[k - 1] > 0);
    // Printed to 0.1 Hz and searched in steps of 1e-5.
    expect(Math.abs(at[crossing] - resonanceHz)).toBeLessThan(0.05 + resonanceHz * 1e-5);
  });

  it('series RLC: |H| and phase of the formula, from 0 Hz to 1 MHz', () => {
    const [ohm, henry, farad] = [8200, 3.1, 585e-12];
    const network = [
      voltageSource('v', 'a', GROUND),
      inductor('l', 'a', 'b', henry),
      resistor('r', 'b', 'c', ohm),
      capacitor('c', 'c', GROUND, farad),
    ];
    const frequencies = hz(0, 0.1, 20, 1000, 3737.3, 20000, 1e6);
    const { re, im } = response(network, 'v', toGround('c'), frequencies);
    frequencies.forEach((f, k) => {
      const w = 2 * Math.PI * f;
      const [dRe, dIm] = [1 - w * w * henry * farad, w * ohm * farad];
      const size2 = dRe * dRe + dIm * dIm;
      const scale = 1 / Math.sqrt(size2);
      expect(Math.abs(re[k] - dRe / size2) / scale, `re at ${f} Hz`).toBeLessThan(EXACT);
      expect(Math.abs(im[k] + dIm / size2) / scale, `im at ${f} Hz`).toBeLessThan(EXACT);
    });
  });
});

describe('impedances', () => {
  it('an ideal transformer shows the square of its ratio', () => {
    const network = [
      voltageSource('v', 'p', GROUND),
      idealTransformer('t', ['p', GROUND], ['s', GROUND], -3),
      resistor('load', 's', GROUND, 600),
    ];
    const { re, im } = inputImpedance(network, 'v', hz(10, 1000));
    expect(re[1]).toBeCloseTo(5400, 8);
    expect(im[1]).toBeCloseTo(0, 8);
    expect(response(network, 'v', toGround('s'), hz(1000)).re[0]).toBeCloseTo(-1 / 3, 12);
  });

  it('a buffer hides what is before it: input R ‖ C, output R', () => {
    const buffer = bufferSection('buffer', 'in', { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 220 });
    const network = [voltageSource('v', 'in', GROUND), ...buffer.elements];
    const f = 5000;
    const y = { re: 1e-6, im: 2 * Math.PI * f * 30e-12 };
    const size2 = y.re * y.re + y.im * y.im;
    const zIn = inputImpedance(network, 'v', hz(f));
    expect(Math.abs(zIn.re[0] / (y.re / size2) - 1)).toBeLessThan(EXACT);
    expect(Math.abs(zIn.im[0] / (-y.im / size2) - 1)).toBeLessThan(EXACT);
    expect(impedance(network, toGround(buffer.output), hz(f)).re[0]).toBeCloseTo(220, 9);
  });

  it('two transconductors and a capacitor are a coil of C/g²', () => {
    const [g, farad] = [2e-4, 100e-9];
    const network = [
      voltageSource('v', 'in', GROUND),
      transconductor('g1', [GROUND, 'x'], ['in', GROUND], -g),
      transconductor('g2', ['in', GROUND], ['x', GROUND], -g),
      capacitor('c', 'x', GROUND, farad),
    ];
    const { im } = inputImpedance(network, 'v', hz(1000));
    expect(Math.abs(im[0]) / (2 * Math.PI * 1000 * (farad / (g * g)))).toBeCloseTo(1, 10);
  });

  it('amplifier gain is that of its sense terminals', () => {
    const network = [
      voltageSource('v', 'a', GROUND),
      resistor('r1', 'a', 'b', 1000),
      resistor('r2', 'b', GROUND, 3000),
      voltageAmplifier('e', ['out', GROUND], ['a', 'b'], 8),
      resistor('load', 'out', GROUND, 1e4),
    ];
    expect(response(network, 'v', toGround('out'), hz(1000)).re[0]).toBeCloseTo(2, 12);
  });
});

describe('thermal noise', () => {
  // Rows of the Johnson noise table (e = √(4kTR), SI value of k): ohm, nV/√Hz at 290 K and at 300 K.
  it.each([
    [100, 1.2655, 1.2872],
    [600, 3.0999, 3.1529],
    [10000, 12.6552, 12.8716],
    [1000000, 126.5525, 128.7159],
  ])('%f ohm', (ohm, at290, at300) => {
    const network = [resistor('r', 'out', GROUND, ohm)];
    const nV = (kelvin: number): number => outputNoise(network, toGround('out'), hz(1000), kelvin).densityVPerRtHz[0] * 1e9;
    // Printed to four decimals.
    expect(Math.abs(nV(290) - at290)).toBeLessThan(0.00006);
    expect(Math.abs(nV(300) - at300)).toBeLessThan(0.00006);
  });

  it('a 1 MΩ input shunted by a 10 kΩ source makes the noise of their parallel (the same table)', () => {
    const network = [resistor('source', 'in', GROUND, 1e4), resistor('input', 'in', GROUND, 1e6)];
    const { densityVPerRtHz, contributions } = outputNoise(network, toGround('in'), hz(1000), 290);
    const parallel = 1e10 / 1.01e6;
    expect(densityVPerRtHz[0] / Math.sqrt(4 * BOLTZMANN_J_PER_K * 290 * parallel)).toBeCloseTo(1, 12);
    expect(contributions.map(({ part }) => part)).toEqual(['source', 'input']);
    // Each part carries its share of the power: conductance over conductance.
    expect((contributions[0].densityVPerRtHz[0] / densityVPerRtHz[0]) ** 2).toBeCloseTo(1 / 1.01, 10);
  });

  it('the rms over all frequencies of R ‖ C is √(kT/C), whatever R is', () => {
    const farad = 1e-9;
    for (const ohm of [1e3, 1e6]) {
      const network = [resistor('r', 'out', GROUND, ohm), capacitor('c', 'out', GROUND, farad)];
      // The integral of 1/(1 + x²) over x = tan(u) is that of 1 over u: midpoints in u.
      const count = 400;
      const corner = 1 / (2 * Math.PI * ohm * farad);
      const u = Float64Array.from({ length: count }, (_, k) => ((k + 0.5) / count) * (Math.PI / 2));
      const { densityVPerRtHz } = outputNoise(network, toGround('out'), u.map((x) => corner * Math.tan(x)), 300);
      let power = 0;
      u.forEach((x, k) => (power += (densityVPerRtHz[k] ** 2 * corner * (Math.PI / 2 / count)) / Math.cos(x) ** 2));
      expect(power / ((BOLTZMANN_J_PER_K * 300) / farad)).toBeCloseTo(1, 9);
    }
  });

  it('a 1/f corner doubles the power at the corner', () => {
    const network = [voltageSource('v', 'out', GROUND, { densityPerRtHz: 10e-9, cornerHz: 100 }), resistor('r', 'out', GROUND, 1)];
    const { densityVPerRtHz } = outputNoise(network, toGround('out'), hz(1e7, 100, 10));
    expect(densityVPerRtHz[0]).toBeCloseTo(10e-9, 13);
    expect(densityVPerRtHz[1] / 10e-9).toBeCloseTo(Math.SQRT2, 10);
    expect(densityVPerRtHz[2] / 10e-9).toBeCloseTo(Math.sqrt(11), 10);
  });

  it('the noise matrix holds each output on its diagonal, and what they share beside it', () => {
    const shared = bufferSection('shared', 'in', {
      inputResistanceOhm: 1e6,
      inputCapacitanceF: 0,
      outputResistanceOhm: 100,
      noise: { densityPerRtHz: 20e-9, cornerHz: 0 },
    });
    const network = [
      resistor('termination', 'in', GROUND, 100),
      ...shared.elements,
      resistor('ra', shared.output, 'a', 1e4),
      resistor('rb', shared.output, 'b', 1e4),
      capacitor('ca', 'a', GROUND, 1e-9),
    ];
    const frequencies = hz(100, 15915.494);
    const matrix = noiseMatrix(network, [toGround('a'), toGround('b')], frequencies);
    ['a', 'b'].forEach((node, i) => {
      const alone = outputNoise(network, toGround(node), frequencies).densityVPerRtHz;
      frequencies.forEach((_, k) => expect(Math.sqrt(matrix.re[i * 3][k]) / alone[k]).toBeCloseTo(1, 12));
    });
    // The buffer's noise is in both, the 10 kΩ of each in one: coherence is shared over all.
    const termination = (4 * BOLTZMANN_J_PER_K * 290) / (1 / 100 + 1 / 1e6);
    const common = 20e-9 ** 2 + termination + 4 * BOLTZMANN_J_PER_K * 290 * 100;
    const alone = 4 * BOLTZMANN_J_PER_K * 290 * 1e4;
    // At 100 Hz a's low-pass takes 4e-5 of the power, and what 1 nF draws through the shared 100 Ω is less still.
    expect(matrix.re[1][0] / common).toBeCloseTo(1, 4);
    expect(matrix.re[3][0] / (common + alone)).toBeCloseTo(1, 5);
    // At the corner of a's low-pass (15.9 kHz) a lags b by 45°, but for the shared 100 Ω (1 %): ⟨a·b*⟩ points at −45°.
    expect(matrix.im[1][1] / matrix.re[1][1]).toBeCloseTo(-1, 1);
    expect(matrix.im[2][1]).toBeCloseTo(-matrix.im[1][1], 30);
  });
});
