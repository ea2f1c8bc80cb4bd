/**
 * The files of a new job. A line whose `#` is followed at once by a key is an example: without the `#` it is valid too.
 *
 * @module
 */

/** A text as a double-quoted YAML scalar. */
const quoted = (text: string): string => JSON.stringify(text);

const schemaLine = (schema: string | null): string => (schema === null ? '' : `# yaml-language-server: $schema=${schema}\n`);

/** `schema`: path of a JSON Schema beside the file, or null. */
export const boardTemplate = (name: string, schema: string | null = null): string => `${schemaLine(schema)}# The board that is signed off. "boardproof check" says what is wrong here.
# Write quantities as on a drawing: 8.2k or 8k2, 470p, 22 nF, 0.4 m, 100 mA.

format: boardproof-board/1
board: ${quoted(name)}
#serial: "001"

# Mains frequency where the board is measured: 50 Hz or 60 Hz.
mains: 50 Hz

# What the figures are held against: studio-quiet, stage, or a file of your own
# limits, such as house-limits.yaml in this folder.
limits: studio-quiet

# What the player plugs in: tone loss is then given as the player will hear it.
#instrument:
#  pickup: { resistance: 8.2k, inductance: 3.1 H, capacitance: 110 pF }
#  volume: 500k
#  tone: { resistance: 500k, capacitor: 22 nF }
#  lead: { length: 5 m, capacitance: 95 pF/m }

# The input: the wiring from the jack, and the buffer if there is one.
# "defeatable" is true where a switch takes the buffer out of the path.
#input:
#  wiring: { length: 0.4 m, capacitance: 100 pF/m }
#  buffer: { inputResistance: 1M, inputCapacitance: 30 pF, outputResistance: 220, noise: 9 nV/rtHz, defeatable: true }

# The wiring of the path itself: from the input past the loops to the outputs.
# With the buffer out, the instrument feels it.
#wiring: { length: 1.4 m, capacitance: 100 pF/m }

# The loops in the order of the signal. An id becomes part of file names; a name
# may hold anything. "expect: unity" where the sound should be the same with the
# loop in, "effect" where it may change. "supply" is <supply>.<outlet>.
#loops:
#  - { id: comp, name: compressor, expect: effect, supply: S1.1, current: 80 mA }
#  - { id: eq, name: equaliser set flat, expect: unity, wiring: { length: 0.6 m, capacitance: 100 pF/m } }

# The outputs. "lift" and "polaritySwitch" are true where the output has such a
# switch; "lift" is that of the audio shield, never of the protective earth.
outputs:
  - { id: A, name: amplifier }
#  - { id: B, name: second amplifier, load: 1M, lift: true, polaritySwitch: true, isolated: true }

# Outputs that must agree in level, polarity and time.
#match: [[A, B]]

# The supplies, for the current budget of each outlet.
#supplies:
#  - { id: S1, outlets: [{ id: 1, volts: 9, limit: 100 mA }, { id: 2, volts: 9, limit: 300 mA }] }
`;

export const benchTemplate = (schema: string | null = null): string => `${schemaLine(schema)}# What the board is measured with. "boardproof check" says what is wrong here.

format: boardproof-bench/1
bench: bench 1
#sampleRate: 48000

# The output that plays the test signals. "fullScale" is the level of a sine
# that just reaches digital full scale (0 dBFS), read with a voltmeter while
# nothing else is on the output: 0.775 V is 0 dBu. Leave it out until it is
# measured: "boardproof calibrate" does it, and allows for what the recorder
# inputs take off, from "resistance" here (the output's own) and below. Levels
# are in dBFS until then. Takes are played at "level"; nothing is played above
# "ceiling" unless --level asks for it. "boardproof devices" lists the devices
# that can play and record; --play and --record write the choice here.
#output: { channel: 1, fullScale: 12 dBu ± 0.1 dB, resistance: 100, level: -20 dBFS, ceiling: -20 dBFS }
#recorder: { device: interface }

# Which channel of the recording hears which output of the board, what 0 dBFS of
# that channel is in dBu at its jack, and what it loads an output with: 1M for
# an instrument input, about 10k for a line input.
inputs:
  - { channel: 1, output: A }
#  - { channel: 2, output: B, fullScale: 18 dBu ± 0.1 dB, resistance: 1M }

# Source plugs: a known resistor in series with the bench output, so that the
# bench looks like an instrument. Measure the resistor and write down its value.
plugs:
  - { id: plug10k, resistance: 10k ± 1 % }

# Loads: a known resistor across the recorder input that hears an output. With
# it and without it, the output resistance of the board shows.
#loads:
#  - { id: load1k, output: A, resistance: 1k ± 1 % }

# The short straight lead that the board is compared with.
lead: { length: 0.5 m, capacitance: 100 pF/m }
`;
