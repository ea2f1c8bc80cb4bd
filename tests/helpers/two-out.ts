/** A small job with two outputs, for recordings that third-party programs made. Invented. */
export const TWO_OUT_BOARD = `format: boardproof-board/1
board: Two-out trial
mains: 50 Hz
limits: stage
outputs:
  - { id: A, name: first }
  - { id: B, name: second }
match: [[A, B]]
`;

export const TWO_OUT_BENCH = `format: boardproof-bench/1
bench: software
sampleRate: 48000
output: { channel: 1, fullScale: 12 dBu ± 0.1 dB, resistance: 100 }
inputs:
  - { channel: 1, output: A, fullScale: 18 dBu ± 0.1 dB }
  - { channel: 2, output: B, fullScale: 18 dBu ± 0.1 dB }
plugs:
  - { id: plug10k, resistance: 10k ± 1 % }
`;
