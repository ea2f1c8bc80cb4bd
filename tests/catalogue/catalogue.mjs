/**
 * The fault catalogue, from the physics of each fault: what is planted, where it can sit, how large it can be, and what a
 * builder should be told and where. It was written before any detector of these faults, and knows none.
 *
 * `places` lists where a fault can sit on a given board; `plant` makes the faults of the simulator for one such place, with
 * parameters drawn from the range; `told` is the kind of finding that is right, and what it must point at.
 *
 * Ranges begin where a fault matters to a player or a shop, not where it can just be seen: hum and whine 5 dB and more over
 * the limit of the set "studio-quiet", noise that raises a state by 6 dB or more, half a decibel of level.
 */

const loopsOf = ({ board }) => board.loops.map(({ id }) => id);
const powered = ({ board }) => board.loops.filter(({ supply }) => supply !== null).map(({ id }) => id);
const unity = ({ board }) => board.loops.filter(({ expect, supply }) => expect === 'unity' && supply !== null).map(({ id }) => id);
const outputsOf = ({ board }) => board.outputs.map(({ id }) => id);
const several = (model) => (model.board.outputs.length > 1 ? outputsOf(model) : []);
/** Outputs that must agree with another: one that is taken before the loops need not. */
const matched = ({ board }) => [...new Set(board.match.flat())];
/** Digital effects beside an output that does not pass them. */
const digital = ({ boardTruth }) => (boardTruth.build.dryOutputs ? Object.keys(boardTruth.loopDelayS) : []);
const lifted = ({ board }) => board.outputs.filter(({ lift }) => lift).map(({ id }) => id);
const switched = ({ board }) => board.outputs.filter(({ polaritySwitch }) => polaritySwitch).map(({ id }) => id);
const outletsFeeding = ({ board }, least) => [...new Set(board.loops.flatMap(({ supply }) => supply ?? []))].filter((outlet) => board.loops.filter(({ supply }) => supply === outlet).length >= least);
const pairsOf = (ids) => ids.flatMap((a, i) => ids.slice(i + 1).map((b) => [a, b]));
const whole = () => [null];
const withBuffer = (model) => (model.board.input.buffer ? [null] : []);
const defeatable = (model) => (model.board.input.buffer?.defeatable ? [null] : []);

/** A family of a switching supply or a clock: the fundamental and what its edges leave of its harmonics. */
const family = ({ across, between, whole: count }) => ({
  // Off the mains' harmonics by more than the mains can wander.
  fundamentalHz: across(700, 6000) + 11.3,
  harmonicsDb: Array.from({ length: count(1, 4) }, (_, k) => (k === 0 ? 0 : -between(4, 9) * k)),
});

/** Cut off straight, or bent close before: below, the stage is as it should be. */
const sharpness = ({ chance, between }) => (chance(0.5) ? Infinity : between(12, 40));
const alike = (draw) => {
  const volts = draw.between(1.2, 1.7);
  return { positiveV: volts, negativeV: volts, sharpness: sharpness(draw) };
};
const unlike = (draw) => {
  const volts = [draw.between(1.2, 1.7), 0];
  volts[1] = volts[0] * draw.between(1.5, 4);
  const [positiveV, negativeV] = draw.sign() < 0 ? volts : volts.reverse();
  return { positiveV, negativeV, sharpness: sharpness(draw) };
};

export const catalogue = [
  // ---- loops, with a signal ----
  {
    kind: 'loop inverted',
    physics: 'Tip and sleeve, or the two legs of a balanced stage, are exchanged: the same signal with its sign turned.',
    range: 'any loop with a device',
    places: powered,
    plant: (loop) => [{ kind: 'loop-inverted', loop }],
    told: (loop) => ({ finding: 'loop-inverted', loop }),
  },
  {
    kind: 'loop dead',
    physics: 'The device has no supply or is muted: nothing passes, and the outputs hear the device’s output resistance only.',
    range: 'any loop with a device',
    places: powered,
    plant: (loop) => [{ kind: 'loop-dead', loop }],
    told: (loop) => ({ finding: 'loop-silent', loop }),
  },
  {
    kind: 'loop open',
    physics: 'The hot conductor of the send has parted: the device’s input floats on its own resistance, and nothing of the signal arrives.',
    range: 'any loop; 10 GΩ',
    places: loopsOf,
    plant: (loop) => [{ kind: 'loop-open', loop }],
    told: (loop) => ({ finding: 'loop-silent', loop }),
  },
  {
    kind: 'send shorted',
    physics: 'A strand of the shield touches the tip: 0.2 Ω across the path, fed by what stands before the loop.',
    range: 'any loop; 0.2 Ω',
    places: loopsOf,
    plant: (loop) => [{ kind: 'loop-shorted', loop }],
    told: (loop) => ({ finding: 'loop-silent', loop }),
  },
  {
    kind: 'loop level',
    physics: 'A trim or a divider in a loop that should change nothing: gain other than one, at every frequency.',
    range: '±0.6 to ±6 dB',
    places: unity,
    plant: (loop, _, { between, sign }) => [{ kind: 'loop-gain', loop, gainDb: sign() * between(0.6, 6) }],
    told: (loop) => ({ finding: 'loop-level', loop }),
  },
  {
    kind: 'loop dull',
    physics: 'A stage or a lead with a corner inside the audio band: first-order fall.',
    range: 'corner 2 to 8 kHz',
    places: unity,
    plant: (loop, _, { across }) => [{ kind: 'loop-dull', loop, cornerHz: across(2000, 8000) }],
    told: (loop) => ({ finding: 'loop-response', loop }),
  },

  {
    kind: 'loop heard while out',
    physics: 'Flux or dirt across the open contact of a loop: its device goes on being fed, and comes back over the leak, late by its latency.',
    range: '20 to 60 kΩ (−56 to −32 dB), digital effects on boards with an output before the loops',
    places: digital,
    plant: (loop, _, { across }) => [{ kind: 'loop-bleeds', loop, ohm: across(20e3, 60e3) }],
    told: (loop) => ({ finding: 'bleed', loop }),
  },

  // ---- outputs, with a signal ----
  {
    kind: 'output level',
    physics: 'A trim or a resistor of one output stage: its level differs at every frequency.',
    range: '±0.5 to ±6 dB, outputs that must agree with another',
    places: matched,
    plant: (output, _, { between, sign }) => [{ kind: 'output-gain', output, gainDb: sign() * between(0.5, 6) }],
    told: (output) => ({ finding: 'level', output }),
  },
  {
    kind: 'output inverted',
    physics: 'A winding or a jack of one output is turned over.',
    range: 'two outputs or more',
    places: several,
    plant: (output) => [{ kind: 'output-inverted', output }],
    told: (output) => ({ finding: 'polarity', output }),
  },
  {
    kind: 'outputs crossed',
    physics: 'The jacks of two outputs are wired the one for the other: the switches of one act on what the other gives.',
    range: 'two outputs, one with a polarity switch',
    places: (model) => pairsOf(outputsOf(model)).filter((pair) => pair.some((id) => switched(model).includes(id))),
    plant: (outputs) => [{ kind: 'outputs-crossed', outputs }],
    told: (outputs) => ({ finding: 'crossed', output: outputs }),
  },
  {
    kind: 'output dull',
    physics: 'A stage with a corner inside the audio band at one output.',
    range: 'corner 2 to 8 kHz, two outputs or more',
    places: several,
    plant: (output, _, { across }) => [{ kind: 'output-dull', output, cornerHz: across(2000, 8000) }],
    told: (output) => ({ finding: 'output-response', output }),
  },
  {
    kind: 'output without bass',
    physics: 'A coupling capacitor that has dried out makes a high-pass with what it feeds.',
    range: '1 MΩ with 0.5 to 1.5 nF (corner 110 to 320 Hz), two outputs or more',
    places: (model) => (model.board.outputs.length > 1 ? model.board.outputs.filter(({ isolated }) => !isolated).map(({ id }) => id) : []),
    plant: (output, _, { across }) => [{ kind: 'output-thin', output, farad: across(0.5e-9, 1.5e-9) }],
    told: (output) => ({ finding: 'output-response', output }),
  },
  {
    kind: 'output late',
    physics: 'One output passes converters, the other does not: a pure delay.',
    range: '0.1 to 3 ms, outputs that must agree with another',
    places: matched,
    plant: (output, _, { across }) => [{ kind: 'output-latency', output, delayS: across(1e-4, 3e-3) }],
    told: (output) => ({ finding: 'delay', output }),
  },
  {
    kind: 'output with too much in series',
    physics: 'A resistor too large, a dry joint or a stage without a follower in series with the jack: the level falls with what is plugged in.',
    range: '3 to 15 kΩ, outputs without a transformer, two outputs or more',
    places: (model) => (model.board.outputs.length > 1 ? model.board.outputs.filter(({ isolated }) => !isolated).map(({ id }) => id) : []),
    plant: (output, _, { across }) => [{ kind: 'output-resistance', output, ohm: across(3e3, 15e3) }],
    told: (output) => ({ finding: 'output-resistance', output }),
  },
  {
    kind: 'polarity switch dead',
    physics: 'A switch whose contacts do not move: over or not, the output is as it was.',
    range: 'any output with a polarity switch',
    places: switched,
    plant: (output) => [{ kind: 'polarity-switch-dead', output }],
    told: (output) => ({ finding: 'polarity-switch', output }),
  },

  // ---- the input ----
  {
    kind: 'lead before the buffer',
    physics: 'Wiring from the input jack that is longer than designed, or a bad lead: capacitance across the pickup.',
    range: '0.35 to 2 nF',
    places: whole,
    plant: (_, __, { across }) => [{ kind: 'input-capacitance', farad: across(350e-12, 2e-9) }],
    told: () => ({ finding: 'capacitance' }),
  },
  {
    kind: 'lead in a loop',
    physics: 'Too long or bad a lead in a loop that hangs on the pickup, as no buffer stands before it.',
    range: '0.35 to 2 nF, boards without a buffer',
    places: (model) => (model.board.input.buffer ? [] : model.board.loops.filter(({ wiring }) => wiring).map(({ id }) => id)),
    plant: (loop, _, { across }) => [{ kind: 'loop-capacitance', loop, farad: across(350e-12, 2e-9) }],
    told: (loop) => ({ finding: 'capacitance', loop }),
  },
  {
    kind: 'buffer loads the input',
    physics: 'A wrong resistor at the input of the buffer: it damps the pickup.',
    range: '47 to 330 kΩ where 1 MΩ is designed',
    places: withBuffer,
    plant: (_, __, { across }) => [{ kind: 'input-load', ohm: across(47e3, 330e3) }],
    told: () => ({ finding: 'input-load' }),
  },
  {
    kind: 'buffer not defeated',
    physics: 'The relay or switch that should take the buffer out does not move.',
    range: 'defeatable buffers',
    places: defeatable,
    plant: () => [{ kind: 'buffer-stuck' }],
    told: () => ({ finding: 'buffer-stuck' }),
  },

  // ---- hum ----
  {
    kind: 'magnetic hum in a loop',
    physics: 'A lead or a device beside a mains transformer: odd harmonics, with that loop only.',
    range: 'strongest line −90 to −65 dBu',
    places: powered,
    plant: (loop, _, { between }) => [{ kind: 'loop-hum', loop, pattern: 'magnetic', levelDbu: between(-90, -65) }],
    told: (loop) => ({ finding: 'hum', loop }),
  },
  {
    kind: 'ground loop at an output',
    physics: 'Mains current in the shield between the board and what it feeds: odd harmonics at that output, gone once its shield is lifted.',
    range: 'strongest line −90 to −65 dBu, outputs with a lift',
    places: lifted,
    plant: (output, _, { between }) => [{ kind: 'output-hum', output, pattern: 'magnetic', levelDbu: between(-90, -65), liftCures: true }],
    told: (output) => ({ finding: 'hum', output, says: /ground loop/i }),
  },
  {
    kind: 'magnetic hum at an output',
    physics: 'The transformer or the wiring of an output beside mains parts: odd harmonics at that output, lifted or not. A lift switch that does not open looks the same.',
    range: 'strongest line −90 to −65 dBu, outputs with a lift',
    places: lifted,
    plant: (output, _, { between }) => [{ kind: 'output-hum', output, pattern: 'magnetic', levelDbu: between(-90, -65), liftCures: false }],
    told: (output) => ({ finding: 'hum', output, says: /lift/i }),
  },
  {
    kind: 'ripple on one loop',
    physics: 'A rectifier whose filter has failed: twice the mains and its multiples, with every loop on that outlet. Here one.',
    range: 'strongest line −90 to −65 dBu',
    places: (model) => outletsFeeding(model, 1).filter((outlet) => model.board.loops.filter(({ supply }) => supply === outlet).length === 1),
    plant: (outlet, _, { between }) => [{ kind: 'outlet-ripple', outlet, levelDbu: between(-90, -65) }],
    told: (outlet) => ({ finding: 'hum', supply: outlet, says: /ripple/i }),
  },
  {
    kind: 'ripple on a shared outlet',
    physics: 'The same where the outlet feeds several loops.',
    range: 'strongest line −90 to −65 dBu',
    places: (model) => outletsFeeding(model, 2),
    plant: (outlet, _, { between }) => [{ kind: 'outlet-ripple', outlet, levelDbu: between(-90, -65) }],
    told: (outlet) => ({ finding: 'hum', supply: outlet, says: /ripple/i }),
  },
  {
    kind: 'two loops hum together',
    physics: 'The grounds of two devices meet twice: mains current flows only while both are in.',
    range: 'strongest line −85 to −65 dBu, two loops of the board',
    places: (model) => pairsOf(powered(model)),
    plant: (loops, _, { between }) => [{ kind: 'loops-interact', loops, levelDbu: between(-85, -65) }],
    told: () => ({ finding: 'interaction' }),
  },

  // ---- whine ----
  {
    kind: 'whine of a shared outlet',
    physics: 'A clock of one device gets into the supply of the others on its outlet: the same family with each of them.',
    range: 'strongest line −95 to −75 dBu, fundamental 0.7 to 6 kHz, 1 to 4 harmonics',
    places: (model) => outletsFeeding(model, 2),
    plant: (outlet, _, draw) => [{ kind: 'whine', outlet, ...family(draw), levelDbu: draw.between(-95, -75) }],
    told: (outlet) => ({ finding: 'whine', supply: outlet }),
  },
  {
    kind: 'whine of one loop',
    physics: 'A clock in the device itself, with that loop only.',
    range: 'strongest line −95 to −75 dBu, fundamental 0.7 to 6 kHz, 1 to 4 harmonics',
    places: powered,
    plant: (loop, _, draw) => [{ kind: 'loop-whine', loop, ...family(draw), levelDbu: draw.between(-95, -75) }],
    told: (loop) => ({ finding: 'whine', loop }),
  },
  {
    kind: 'two clocks',
    physics: 'Two converters on one outlet beat: each clock, their difference and sum, twice one less the other.',
    range: 'clocks of 3.9 to 9.1 kHz, −90 to −75 dBu, outlets of two loops or more',
    places: (model) => outletsFeeding(model, 2),
    plant: (outlet, _, { between }) => {
      const firstHz = between(3900, 6000) + 3.7;
      return [{ kind: 'two-clocks', outlet, firstHz, secondHz: firstHz + between(900, 3100) + 1.9, levelDbu: between(-90, -75) }];
    },
    told: (outlet) => ({ finding: 'clocks', supply: outlet }),
  },

  // ---- switching ----
  {
    kind: 'click of a footswitch',
    physics: 'A coupling capacitor of the device leaks: the contact of that loop switches a direct voltage.',
    range: '10 to 100 mV, boards of up to six loops',
    places: (model) => (model.board.loops.length <= 6 ? loopsOf(model) : []),
    plant: (loop, _, { across }) => [{ kind: 'loop-click', loop, peakV: across(10e-3, 100e-3) }],
    told: (loop) => ({ finding: 'click', loop }),
  },

  // ---- hiss ----
  {
    kind: 'hissy loop',
    physics: 'A noisy transistor or a carbon resistor in the device: white noise with a 1/f part.',
    range: '0.4 to 2 µV/√Hz at its input, corner 20 to 400 Hz',
    places: powered,
    plant: (loop, _, { across }) => [{ kind: 'loop-noise', loop, densityVPerRtHz: across(0.4e-6, 2e-6), cornerHz: across(20, 400) }],
    told: (loop) => ({ finding: 'hiss', loop }),
  },
  {
    kind: 'hissy input stage',
    physics: 'The buffer’s own transistor: heard at every output with the buffer in.',
    range: '0.4 to 2 µV/√Hz',
    places: withBuffer,
    plant: (_, __, { across }) => [{ kind: 'input-noise', densityVPerRtHz: across(0.4e-6, 2e-6) }],
    told: () => ({ finding: 'hiss' }),
  },
  {
    kind: 'hissy output',
    physics: 'The driver of one output: heard there, in every state, and nowhere else.',
    range: '0.4 to 2 µV/√Hz, two outputs or more',
    places: several,
    plant: (output, _, { across }) => [{ kind: 'output-noise', output, densityVPerRtHz: across(0.4e-6, 2e-6), cornerHz: across(20, 100) }],
    told: (output) => ({ finding: 'hiss', output }),
  },

  // ---- what is not steady ----
  {
    kind: 'crackle in a loop',
    physics: 'A plug or a dry joint that makes and breaks: bursts of sparks, with that loop only.',
    range: '0.5 to 2 bursts a second, 0.2 to 3 mV',
    places: loopsOf,
    plant: (loop, _, { across }) => [{ kind: 'loop-crackle', loop, perS: across(0.5, 2), peakV: across(2e-4, 3e-3) }],
    told: (loop) => ({ finding: 'crackle', loop }),
  },
  {
    kind: 'crackle at an output',
    physics: 'The same at one output: heard there in every state.',
    range: '0.5 to 2 bursts a second, 0.2 to 3 mV, two outputs or more',
    places: several,
    plant: (output, _, { across }) => [{ kind: 'output-crackle', output, perS: across(0.5, 2), peakV: across(2e-4, 3e-3) }],
    told: (output) => ({ finding: 'crackle', output }),
  },
  {
    kind: 'noise that grows',
    physics: 'A device that warms up or a battery that gives out: its noise rises while it is recorded.',
    range: 'from nothing to 0.4 to 2 µV/√Hz within the capture',
    places: powered,
    plant: (loop, _, { across }) => [{ kind: 'loop-drift', loop, densityVPerRtHz: across(0.4e-6, 2e-6) }],
    told: (loop) => ({ finding: 'drift', loop }),
  },

  // ---- too loud ----
  {
    kind: 'loop clips early',
    physics: 'A device on too low a supply: both halves of the wave end at the same voltage.',
    range: '1.2 to 1.7 V, loops that should change nothing',
    places: unity,
    plant: (loop, _, draw) => [{ kind: 'loop-clips', loop, clip: alike(draw) }],
    told: (loop) => ({ finding: 'clipping', loop, says: /both halves/i }),
  },
  {
    kind: 'loop clips on one half',
    physics: 'A transistor of a device whose operating point has moved: one half of the wave ends far before the other.',
    range: '1.2 to 1.7 V, the other half at 1.5 to 4 times that',
    places: unity,
    plant: (loop, _, draw) => [{ kind: 'loop-clips', loop, clip: unlike(draw) }],
    told: (loop) => ({ finding: 'clipping', loop, says: /one half/i }),
  },
  {
    kind: 'output clips early',
    physics: 'The stage of one output on too low a supply.',
    range: '1.2 to 1.7 V, two outputs or more',
    places: several,
    plant: (output, _, draw) => [{ kind: 'output-clips', output, clip: alike(draw) }],
    told: (output) => ({ finding: 'clipping', output, says: /both halves/i }),
  },
  {
    kind: 'output clips on one half',
    physics: 'The stage of one output with its operating point off its middle.',
    range: '1.2 to 1.7 V, the other half at 1.5 to 4 times that, two outputs or more',
    places: several,
    plant: (output, _, draw) => [{ kind: 'output-clips', output, clip: unlike(draw) }],
    told: (output) => ({ finding: 'clipping', output, says: /one half/i }),
  },

  // ---- contacts, with a signal ----
  {
    kind: 'plug of an output drops out',
    physics: 'A plug or jack behind the point where the outputs part that opens while leads are moved.',
    range: 'two to five times, 2 to 40 ms, two outputs or more',
    places: several,
    plant: (output, _, { whole: count }) => [{ kind: 'flex-dropout', output, count: count(2, 5) }],
    told: (output) => ({ finding: 'flex', output }),
  },
  {
    kind: 'plug of the input drops out',
    physics: 'The same in what all outputs share.',
    range: 'two to five times, 2 to 40 ms, two outputs or more',
    places: (model) => (model.board.outputs.length > 1 ? [null] : []),
    plant: (_, __, { whole: count }) => [{ kind: 'flex-dropout', output: null, count: count(2, 5) }],
    told: () => ({ finding: 'flex', says: /every output/i }),
  },
  {
    kind: 'loop makes and breaks',
    physics: 'A dry joint or a worn contact of a loop that opens for moments while the signal passes.',
    range: '0.3 to 1 times a second, 8 to 30 ms, loops that should change nothing',
    places: unity,
    plant: (loop, _, { across }) => [{ kind: 'loop-intermittent', loop, perS: across(0.3, 1), lengthS: across(8e-3, 30e-3) }],
    told: (loop) => ({ finding: 'intermittent', loop }),
  },

  // ---- from one output to another ----
  {
    kind: 'capacitance between outputs',
    physics: 'Wires of two outputs in one bundle without shields, or a capacitor that was meant for the chassis between two tips: it drives the resistance of the other output, 6 dB more per octave.',
    range: '1 to 5 nF, two outputs or more',
    places: (model) => pairsOf(outputsOf(model)),
    plant: (outputs, _, { across }) => [{ kind: 'outputs-coupled', outputs, farad: across(1e-9, 5e-9) }],
    told: (outputs) => ({ finding: 'crosstalk', output: outputs, says: /capacitance/i }),
  },
  {
    kind: 'outputs share a return',
    physics: 'The sleeves of two jacks hang on one thin wire, or on a dry joint: the current of one output lifts the other by as much at every frequency.',
    range: '0.5 to 5 Ω, two outputs or more',
    places: (model) => pairsOf(outputsOf(model)),
    plant: (outputs, _, { across }) => [{ kind: 'outputs-share-return', outputs, ohm: across(0.5, 5) }],
    told: (outputs) => ({ finding: 'crosstalk', output: outputs, says: /return/i }),
  },
];
