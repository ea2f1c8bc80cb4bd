/** The board and the bench of the file format's definition, for tests. Invented. */
export const PIT_BOARD_YAML = `# board.yaml
format: boardproof-board/1
board: Pit Board 7
serial: PB-007
mains: 50 Hz
limits: studio-quiet              # a named set, a file, or written out here
instrument:                       # what the player plugs in
  pickup: { resistance: 8.2k, inductance: 3.1 H, capacitance: 110 pF }
  volume: 500k
  tone: { resistance: 500k, capacitor: 22 nF }
  lead: { length: 5 m, capacitance: 95 pF/m }
input:
  wiring: { length: 0.4 m, capacitance: 100 pF/m }
  buffer: { inputResistance: 1M, inputCapacitance: 30 pF, outputResistance: 220, noise: 9 nV/rtHz, defeatable: true }
loops:                            # in the order of the signal
  - { id: comp, name: compressor, expect: effect, supply: S1.1, current: 80 mA }
  - { id: eq, name: equaliser set flat, expect: unity, wiring: { length: 0.6 m, capacitance: 100 pF/m } }
  - { id: insert, name: insert patched through, expect: unity }
outputs:
  - { id: A, name: stage amplifier, load: 1M, lift: true, polaritySwitch: true, isolated: true }
  - { id: B, name: pit DI, load: 10k }
match: [[A, B]]                   # outputs that must agree
supplies:
  - { id: S1, outlets: [{ id: 1, volts: 9, limit: 100 mA }] }
`;

export const BENCH_YAML = `# bench.yaml
format: boardproof-bench/1
bench: bench 1
sampleRate: 48000
output: { channel: 1, fullScale: 12 dBu ± 0.1 dB, resistance: 100 }
inputs:                           # which recorder channel hears which output
  - { channel: 1, output: A, fullScale: 18 dBu ± 0.1 dB, resistance: 1M }
  - { channel: 2, output: B, fullScale: 18 dBu ± 0.1 dB, resistance: 1M }
plugs:
  - { id: plug10k, resistance: 10k ± 1 % }
lead: { length: 0.5 m, capacitance: 100 pF/m }   # the straight lead of the comparison
`;
