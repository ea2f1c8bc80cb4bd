/**
 * The one table of errors. Every refusal a user can meet has a row here: a stable code, the exit code it ends
 * with, and one sentence that says which file or key, what is wrong with it, and what to do.
 *
 * Codes are `<layer>.<what>`; a code is never reused for another meaning.
 *
 * @module
 */

/** Exit codes of the command line. */
export const exitCode = {
  /** Done, and within limits. */
  done: 0,
  /** Measured, and outside limits. */
  outsideLimits: 1,
  /** Usage error, or an invalid board or bench file. */
  usage: 2,
  /** An unreadable or unusable capture, or a device that is missing or lost. */
  unusable: 3,
  /** Measured, but not decided: too close, limited by the bench, or captures missing. */
  undecided: 4,
  /** A bug of ours. */
  internal: 70,
  /** Interrupted by the user. */
  interrupted: 130,
} as const;

interface Row {
  readonly exit: 2 | 3 | 70 | 130;
  readonly says: (details: never) => string;
}

const row = <D>(exit: Row['exit'], says: (details: D) => string): { exit: Row['exit']; says: (details: D) => string } => ({
  exit,
  says,
});

/** A time within a recording; what is found a fraction of a sample before its beginning is at 0. */
const time = (atS: number, digits: number): string => Math.max(0, atS).toFixed(digits);

/** Every error the program can report, by code. Keep the sections in layer order. */
export const problemTable = {
  // units
  'units.quantity': row<{ text: string; fault: string }>(2, (d) => `"${d.text}" ${d.fault}.`),
  // numerics and signals
  'signals.rate': row<{ said: string; lowestHz: number; highestHz: number }>(
    2,
    (d) => `The signals cannot be rendered at ${d.said} Hz; give a whole number of Hz from ${d.lowestHz} to ${d.highestHz}.`,
  ),
  'signals.level': row<{ said: string; lowestDbfs: number; stepDb: number }>(
    2,
    (d) => `The signals cannot be rendered at ${d.said} dBFS; give a level from ${d.lowestDbfs} to 0 in steps of ${d.stepDb} dB, which their markers can say.`,
  ),
  'signals.bits': row<{ said: string; allowed: readonly string[] }>(
    2,
    (d) => `The signals cannot be rendered in "${d.said}" bits; give one or more of ${d.allowed.join(', ')}, separated by commas.`,
  ),
  'signals.in-captures': row<{ folder: string }>(
    2,
    (d) => `${d.folder} is where a job keeps what was recorded, so signals to be played must not go there; give another folder.`,
  ),
  'signals.file-differs': row<{ file: string; more: number }>(
    2,
    (d) =>
      `${d.file}${d.more === 0 ? ' exists and holds' : ` and ${d.more} more exist and hold`} something else than the signals asked for; nothing was written: give another folder, or move ${d.more === 0 ? 'it' : 'them'} away.`,
  ),
  // wav
  'wav.empty-file': row<{ file: string }>(3, (d) => `${d.file} is empty (0 bytes); record or copy it again.`),
  'wav.not-wav': row<{ file: string; looksLike: string | null }>(
    3,
    (d) => `${d.file} is not a WAV file${d.looksLike === null ? '' : ` but looks like ${d.looksLike}`}; export it as WAV, 24-bit or 32-bit float.`,
  ),
  'wav.damaged': row<{ file: string; position: number }>(
    3,
    (d) => `${d.file} is damaged: at byte ${d.position}, before any samples, there is no valid chunk; copy or export it again.`,
  ),
  'wav.chunk-past-end': row<{ file: string; chunk: string }>(
    3,
    (d) => `${d.file} ends inside its "${d.chunk}" chunk, before any samples; it was cut short or is damaged: copy it again.`,
  ),
  'wav.no-format': row<{ file: string }>(
    3,
    (d) => `${d.file} does not say, before its samples, how they are written (no "fmt " chunk there); export it again.`,
  ),
  'wav.two-formats': row<{ file: string }>(
    3,
    (d) => `${d.file} says twice how its samples are written (two "fmt " chunks); export it again.`,
  ),
  'wav.no-data': row<{ file: string }>(3, (d) => `${d.file} has a header but no samples (no "data" chunk); record or copy it again.`),
  'wav.two-recordings': row<{ file: string }>(
    3,
    (d) => `${d.file} holds more than one recording (a second "data" chunk); export each to a file of its own.`,
  ),
  'wav.no-ds64': row<{ file: string }>(
    3,
    (d) => `${d.file} is a 64-bit WAV file without a usable "ds64" chunk, so its length is unknown; export it again.`,
  ),
  'wav.no-samples': row<{ file: string }>(3, (d) => `${d.file} holds no samples (not one whole frame); record it again.`),
  'wav.cut-short': row<{ file: string; frames: number; present: number; missing: number }>(
    3,
    (d) => `${d.file} is cut short: its header says ${d.frames} frames, ${d.present} are there, ${d.missing} are missing; copy or record it again.`,
  ),
  'wav.wrapped-size': row<{ file: string }>(
    3,
    (d) => `${d.file} is longer than 4 GiB, which its header cannot say, so its true length is unknown; export it as RF64.`,
  ),
  'wav.format-short': row<{ file: string; bytes: number }>(
    3,
    (d) => `${d.file} has a "fmt " chunk of only ${d.bytes} bytes, which is too short to say how its samples are written; export it again.`,
  ),
  'wav.encoding': row<{ file: string; encoding: string }>(
    3,
    (d) => `${d.file} is coded as ${d.encoding}; export it as plain PCM (16, 24 or 32-bit) or float.`,
  ),
  'wav.bits': row<{ file: string; bits: number; encoding: 'pcm' | 'float' }>(
    3,
    (d) => `${d.file} has ${d.bits}-bit ${d.encoding === 'pcm' ? 'integer' : 'float'} samples; record with 16, 24 or 32-bit integers or 32 or 64-bit float.`,
  ),
  'wav.valid-bits': row<{ file: string; validBits: number; bits: number }>(
    3,
    (d) => `${d.file} claims ${d.validBits} valid bits in samples of ${d.bits} bits, so their scale is unknown; export it again.`,
  ),
  'wav.channels': row<{ file: string; channels: number }>(
    3,
    (d) => `${d.file} has ${d.channels} channels; 1 to 32 can be read.`,
  ),
  'wav.rate': row<{ file: string; sampleRateHz: number }>(
    3,
    (d) => `${d.file} has a sample rate of ${d.sampleRateHz} Hz; record at 44100 to 192000 Hz.`,
  ),
  'wav.block-align': row<{ file: string; blockAlign: number; channels: number; bits: number }>(
    3,
    (d) =>
      `${d.file} contradicts itself: ${d.channels} channel(s) of ${d.bits} bits cannot make frames of ${d.blockAlign} bytes; export it again as 24-bit or 32-bit float.`,
  ),
  'wav.not-finite': row<{ file: string; frame: number; channel: number; value: number }>(
    3,
    (d) => `${d.file} holds a sample that is no number (${d.value}, frame ${d.frame}, channel ${d.channel}); record or export it again.`,
  ),
  'wav.read-short': row<{ file: string; position: number }>(
    3,
    (d) => `${d.file} could not be read past byte ${d.position}; it became shorter while being read, or its disk or card fails: copy it again.`,
  ),
  'wav.range': row<{ file: string; startFrame: number; frames: number; inFile: number }>(
    70,
    (d) => `Frames ${d.startFrame} to ${d.startFrame + d.frames} of ${d.file} were asked for, which has ${d.inFile}.`,
  ),
  'wav.block-frames': row<{ blockFrames: number }>(70, (d) => `Blocks of ${d.blockFrames} frames were asked for; ask for a whole number above 0.`),
  'wav.write': row<{ why: string }>(70, (d) => `A WAV file cannot be written: ${d.why}.`),
  // circuit
  'circuit.value': row<{ part: string; quantity: string; value: number; unit: string; allowed: string }>(
    2,
    (d) => `${d.part}: ${d.quantity} is ${d.value}${d.unit === '' ? '' : ` ${d.unit}`}, but must be ${d.allowed}; correct that part's value.`,
  ),
  'circuit.floating': row<{ node: string; part: string }>(
    2,
    (d) => `The node "${d.node}" (at ${d.part}) has no path to ground, so it has no voltage; connect it, or remove the part.`,
  ),
  'circuit.duplicate': row<{ part: string }>(2, (d) => `Two parts of the circuit are named "${d.part}"; give each its own name.`),
  'circuit.singular': row<{ frequencyHz: number; where: string }>(
    2,
    (d) =>
      `The circuit has no single solution at ${d.frequencyHz} Hz around "${d.where}"; look for voltage sources or coils in a closed loop, or a node reached only through capacitors at 0 Hz.`,
  ),
  'circuit.frequency': row<{ frequencyHz: number }>(2, (d) => `A frequency is ${d.frequencyHz} Hz; ask for frequencies of 0 Hz or above.`),
  'circuit.unknown-node': row<{ node: string }>(70, (d) => `The circuit has no node "${d.node}".`),
  'circuit.unknown-source': row<{ source: string }>(70, (d) => `The circuit has no source "${d.source}".`),
  'circuit.state': row<{ state: string; known: readonly string[] }>(
    2,
    (d) => `The board has no state "${d.state}"; it has ${d.known.join(', ')}.`,
  ),
  'circuit.no-instrument': row<Record<string, never>>(
    2,
    () => `board.yaml has no "instrument", so what the player plugs in is unknown; add its pickup, or use a source plug.`,
  ),
  // board
  'board.faults': row<{ file: string; faults: readonly { message: string }[] }>(
    2,
    (d) =>
      d.faults.length === 1
        ? `${d.faults[0]!.message}`
        : `${d.file} has ${d.faults.length} faults; "boardproof check" lists them all. The first: ${d.faults[0]!.message}`,
  ),
  // measure
  'capture.channel-count': row<{ file: string; has: number; needs: number }>(
    3,
    (d) => `${d.file} has ${d.has} channel${d.has === 1 ? '' : 's'}, but bench.yaml hears a board output on channel ${d.needs}; record all channels, or correct inputs[].channel.`,
  ),
  'capture.no-markers': row<{ file: string }>(
    3,
    (d) => `${d.file} holds no take: neither its start nor its end marker was found; record the whole take from marker to marker, or, if nothing was played, say what it is, as in --step rest.idle.`,
  ),
  'capture.take-unheard': row<{ file: string; step: string }>(
    3,
    (d) => `${d.file} holds nothing of the take for ${d.step}: neither marker was found; record it again from marker to marker, or, if it was played and the board lets nothing through, file it as it is.`,
  ),
  'take.unheard': row<{ file: string }>(3, (d) => `${d.file}: nothing of the take is heard; it was filed as it is.`),
  'capture.take-cut-short': row<{ file: string; atS: number }>(3, (d) => `${d.file} ends inside the take that begins at ${time(d.atS, 2)} s; record until 1 s after the end marker.`),
  'capture.take-begun-late': row<{ file: string; atS: number }>(
    3,
    (d) => `${d.file} begins inside a take, whose end marker is at ${time(d.atS, 2)} s; start the recorder before the take and record it again.`,
  ),
  'capture.take-broken': row<{ file: string; atS: number; end: 'start' | 'end' }>(
    3,
    (d) =>
      `${d.file}: the ${d.end} marker of a take at ${time(d.atS, 2)} s has no ${d.end === 'start' ? 'end' : 'start'} marker at its distance, so a part of the take is missing; record it again.`,
  ),
  'capture.samples-lost': row<{ file: string; frames: number | null; atS: number; jumpS: number | null }>(
    3,
    (d) =>
      `${d.file}: ${d.frames === null ? 'samples are missing from, or too many in,' : `${Math.abs(d.frames)} sample${Math.abs(d.frames) === 1 ? ' is' : 's are'} ${d.frames < 0 ? 'missing from' : 'too many in'}`} the take at ${time(d.atS, 2)} s (${d.jumpS === null ? 'its markers and its tone disagree' : `its sound jumps at ${time(d.jumpS, 2)} s`}); record it again with a larger audio buffer.`,
  ),
  'capture.not-in-one-piece': row<{ file: string; output: string; atS: number }>(
    3,
    (d) =>
      `${d.file}: the sound of output ${d.output} jumps at ${time(d.atS, 2)} s, as where a recorder or player loses or repeats a moment, or a contact opens; record it again, with a larger audio buffer, or if the board itself does it, file it as it is.`,
  ),
  'capture.clipped': row<{ file: string; output: string; frame: number; atS: number }>(
    3,
    (d) => `${d.file}: output ${d.output} clips at sample ${d.frame} (${time(d.atS, 3)} s); turn the recorder's input gain down and record it again.`,
  ),
  'capture.silent': row<{ file: string; output: string }>(3, (d) => `${d.file}: output ${d.output} is digital silence; check its lead and the recorder channel, then record it again.`),
  'capture.too-quiet': row<{ file: string; output: string; levelDbfs: number; noiseDbfs: number }>(
    3,
    (d) =>
      `${d.file}: output ${d.output} is too quiet, ${d.levelDbfs <= d.noiseDbfs ? `no tone is heard over its noise at ${d.noiseDbfs.toFixed(1)} dBFS; check its lead, or what is switched before it` : `its tone reads ${d.levelDbfs.toFixed(1)} dBFS over noise at ${d.noiseDbfs.toFixed(1)} dBFS; check the lead, or raise the level played or the recorder's gain`}.`,
  ),
  'capture.too-short': row<{ file: string; seconds: number; neededS: number }>(
    3,
    (d) => `${d.file} is ${d.seconds.toFixed(1)} s long, too short for an idle capture; record at least ${d.neededS} s, better 20 s.`,
  ),
  'capture.hole': row<{ file: string; output: string; frames: number; atS: number }>(
    3,
    (d) => `${d.file}: output ${d.output} drops out for ${d.frames} samples at ${time(d.atS, 3)} s; record it again, with a larger audio buffer if it is the recorder.`,
  ),
  'capture.mono-summed': row<{ file: string; first: string; second: string }>(
    3,
    (d) => `${d.file}: outputs ${d.first} and ${d.second} are the same samples, so the recorder summed or copied them to mono; record them on separate channels.`,
  ),
  'capture.level-not-steady': row<{ file: string; output: string; db: number }>(
    3,
    (d) => `${d.file}: the level of output ${d.output} moves by ${d.db.toFixed(1)} dB within the capture; switch off automatic gain and noise suppression in the recorder and record it again.`,
  ),
  'capture.gated': row<{ file: string; output: string }>(
    3,
    (d) => `${d.file}: parts of output ${d.output} are digital silence while others are not; switch off noise suppression or the gate in the recorder and record it again.`,
  ),
  'capture.nothing-steady': row<{ file: string; output: string }>(
    3,
    (d) => `${d.file}: output ${d.output} has no steady stretch to read a noise floor from; leave the board untouched while recording and record it again.`,
  ),
  'capture.outputs-swapped': row<{ file: string; first: string; second: string; earlier: string }>(
    3,
    (d) => `${d.file}: outputs ${d.first} and ${d.second} look swapped against ${d.earlier}; swap their leads at the recorder and record it again.`,
  ),
  'capture.polarity-same': row<{ file: string; step: string; output: string; instead: readonly string[] }>(
    3,
    (d) =>
      `${d.file}: output ${d.output} has the same polarity as in rest.take${d.instead.length === 0 ? '' : ` (${d.instead.join(', ')} inverted instead)`}, where ${d.step} wants it inverted: is its polarity switch set to inverted? Set it and record again; or it was inverted when rest.take was recorded: then record rest.take again; or, if both are right, file it as it is.`,
  ),
  'capture.polarity-turned': row<{ file: string; step: string; outputs: readonly string[] }>(
    3,
    (d) =>
      `${d.file}: output${d.outputs.length === 1 ? '' : 's'} ${d.outputs.join(', ')} ${d.outputs.length === 1 ? 'is' : 'are'} inverted against rest.take, where ${d.step} changes no polarity${/^invert-/.test(d.step) ? ' but that of its own output' : ''}: is a polarity switch set to inverted, or a lead wired the other way round? Mend it and record again; or it was so when rest.take was recorded: then record rest.take again; or, if the board does it, file it as it is.`,
  ),
  'capture.polarity-loop': row<{ file: string; step: string; outputs: readonly string[]; upright: readonly string[] }>(
    3,
    (d) =>
      `${d.file}: output${d.outputs.length === 1 ? '' : 's'} ${d.outputs.join(', ')} ${d.outputs.length === 1 ? 'is' : 'are'} inverted against rest.take, and ${d.upright.join(', ')} ${d.upright.length === 1 ? 'is' : 'are'} not: a loop may invert what passes it, and so does a polarity switch set to inverted; look at the switch; if it is as in rest.take, it is the loop that inverts, and the take may be filed as it is.`,
  ),
  'capture.load-not-heard': row<{ file: string; step: string; output: string; load: string; changeDb: number; leastDb: number; sourceOhm: number; instead: readonly string[] }>(
    3,
    (d) =>
      `${d.file}: output ${d.output} reads as in rest.take to ${Math.abs(d.changeDb).toFixed(2)} dB, where ${d.load} takes ${d.leastDb.toFixed(2)} dB off an output of ${d.sourceOhm} Ω${d.instead.length === 0 ? '' : `; output ${d.instead.join(', ')} fell instead`}: is the load connected? Connect it and record again, or, if it is and the output is stiffer than that, file it as it is.`,
  ),
  'capture.plug-not-heard': row<{ file: string; step: string; outputs: readonly string[]; plug: string; without: string; leastDb: number; inputOhm: number }>(
    3,
    (d) =>
      `${d.file}: output${d.outputs.length === 1 ? ' ' : 's '}${d.outputs.join(', ')} ${d.outputs.length === 1 ? 'reads' : 'read'} as in ${d.without}, bass to treble, where ${d.plug} takes ${d.leastDb.toFixed(2)} dB off an input of ${(d.inputOhm / 1000).toFixed(0)} kΩ: is the plug in series with the bench output? Put it in and record again, or, if it is and the input is of more than that, file it as it is.`,
  ),
  'capture.tone-in-idle': row<{ file: string; outputs: readonly string[]; hz: number; overDb: number }>(
    3,
    (d) =>
      `${d.file}: output${d.outputs.length === 1 ? '' : 's'} ${d.outputs.join(' and ')} ${d.outputs.length === 1 ? 'carries' : 'carry'} a steady tone of ${d.hz.toFixed(0)} Hz, ${d.overDb.toFixed(0)} dB above everything else, where nothing should play; stop what plays (a generator, or this program in another window) and record it again.`,
  ),
  'capture.jack-not-loaded': row<{ file: string; step: string; output: string }>(
    3,
    (d) =>
      `${d.file}: in ${d.step} output ${d.output} takes nothing off the generator against bench.take: is the plug of the Y lead home in the jack of ${d.output}? Put it in and record again, or, if it is and the output is of many kilohms, file it as it is.`,
  ),
  'capture.wrong-mains': row<{ file: string; output: string; foundHz: number; saidHz: number }>(
    3,
    (d) => `${d.file}: output ${d.output} hums at multiples of ${d.foundHz.toFixed(2)} Hz, but board.yaml says mains: ${d.saidHz} Hz; correct the key "mains", or file the right recording.`,
  ),
  'capture.take-in-idle': row<{ file: string; step: string; atS: number; what: 'a take' | 'level stairs' }>(
    3,
    (d) => `${d.file} holds ${d.what} at ${time(d.atS, 2)} s, so it is no ${d.step}; leave --step out, or give the step of ${d.what === 'a take' ? 'the take' : 'the stairs'}.`,
  ),
  'capture.unknown-take': row<{ file: string; atS: number; code: number; step: string | null }>(
    3,
    (d) =>
      d.code === 0
        ? `${d.file}: the take at ${time(d.atS, 2)} s is of the general file, whose markers do not say which step it is; say it, as in --step rest.take ("boardproof steps" lists the ids).`
        : `${d.file}: the take at ${time(d.atS, 2)} s was rendered for ${d.step === null ? '' : `${d.step}, `}a step that this board does not have; import it into its own job, ${d.step === null ? '' : 'correct board.yaml, '}or say which step it is with --step.`,
  ),
  'capture.step-mismatch': row<{ file: string; atS: number; said: string; given: string }>(
    3,
    (d) => `${d.file}: the take at ${time(d.atS, 2)} s says it is ${d.said}, not ${d.given}; leave --step out, or give the right one.`,
  ),
  'capture.not-a-repeat': row<{ step: string; file: string }>(
    3,
    (d) => `This recording of ${d.step} is already counted as ${d.file}, so it is no repeat; record the step again, or import without --repeat.`,
  ),
  'capture.of-other-job': row<{ file: string; job: string }>(
    3,
    (d) => `${d.file} lies in the folder of another job, ${d.job}; see that it is of this board, as the markers of a take name the step and no board.`,
  ),
  'capture.misfiled': row<{ file: string; said: string; step: string }>(
    3,
    (d) => `${d.file} is of ${d.said}, as its markers say, and not of ${d.step}; take it out of the folder and file it with "boardproof import", which goes by the markers.`,
  ),
  // judge
  'judge.no-state': row<{ job: string; state: string; known: readonly string[]; nearest: string | null }>(
    2,
    (d) =>
      `The results of ${d.job} have no state "${d.state}"${d.nearest === null ? '' : ` (did you mean ${d.nearest}?)`}; they have ${d.known.join(', ') || 'none'}.`,
  ),
  // report
  'report.no-results': row<{ job: string }>(2, (d) => `${d.job} has no results.json; run "boardproof measure ${d.job}" first.`),
  'report.results-damaged': row<{ file: string; place: string | null; fault: string }>(
    2,
    (d) => `${d.file} is damaged: ${d.place === null || d.place === '' ? '' : `${d.place} `}${d.fault}; run "boardproof measure" again.`,
  ),
  'report.results-format': row<{ file: string; format: string; reads: string }>(
    2,
    (d) => `${d.file} is in the format "${d.format}", but this version reads ${d.reads}; run "boardproof measure" again, or use the version that wrote it.`,
  ),
  'report.over-input': row<{ file: string; what: 'report' | 'table' }>(
    2,
    (d) => `The ${d.what} would take the place of ${d.file}, which is no ${d.what}; nothing was written: give it another name.`,
  ),
  // simulate
  'simulate.fault': row<{ fault: string; where: string; known: readonly string[] }>(
    2,
    (d) => `The fault "${d.fault}" is at ${d.where}, which the simulated board does not have; it has ${d.known.join(', ') || 'none'}.`,
  ),
  'simulate.plug': row<{ plug: string; known: readonly string[] }>(
    2,
    (d) => `The step uses the source plug "${d.plug}", which bench.yaml does not list; it lists ${d.known.join(', ') || 'none'}.`,
  ),
  // capture
  'capture.no-library': row<{ reason: string }>(
    3,
    (d) => `The audio library does not run on this computer (${d.reason}); play and record with another program, and file the recordings with "boardproof import".`,
  ),
  'capture.audio-stuck': row<{ seconds: number }>(3, (d) => `The audio system did not answer${d.seconds > 0 ? ` within ${d.seconds} s` : ''}; unplug and replug the interface, then try again.`),
  'capture.no-devices': row<{ does: 'play' | 'record' | 'play or record' }>(
    3,
    (d) =>
      `No audio device that can ${d.does} was found; connect and switch on the interface, and see that no other program holds it, then run "boardproof devices". Without one, "boardproof signals" and "boardproof import" work with any player and recorder.`,
  ),
  'capture.unknown-device': row<{ name: string; does: 'play' | 'record'; known: readonly string[]; nearest: string | null }>(
    3,
    (d) =>
      `There is no device "${d.name}" that can ${d.does}${d.nearest === null ? '' : ` (did you mean "${d.nearest}"?)`}; there ${d.known.length === 1 ? 'is' : 'are'} ${d.known.map((k) => `"${k}"`).join(', ')}. Switch it on, or choose with "boardproof devices <job> --${d.does} <name>".`,
  ),
  'capture.choose-device': row<{ does: 'play' | 'record'; known: readonly string[]; inJob: boolean }>(
    2,
    (d) => `Several devices can ${d.does}: ${d.known.map((k) => `"${k}"`).join(', ')}; choose one with ${d.inJob ? `"boardproof devices <job> --${d.does} <name>"` : `--${d.does} <name>`}.`,
  ),
  'capture.bench-not-written': row<{ keys: string }>(2, (d) => `bench.yaml could not be changed where it stands; write into it by hand: ${d.keys}.`),
  'capture.not-heard': row<{ step: string; device: string; hums: readonly string[] }>(
    3,
    (d) => `The signal of ${d.step} did not come back on any input${d.hums.length === 0 ? '' : `, and output${d.hums.length === 1 ? '' : 's'} ${d.hums.join(' and ')} hum${d.hums.length === 1 ? 's' : ''} as with a plug that is not home`}: see that bench output and recorder inputs are patched as the step says, that "${d.device}" is the right device${/^(bench|lead)[.+]/.test(d.step) ? '' : ', and that the board has power'}.`,
  ),
  'capture.open-failed': row<{ device: string; does: 'play' | 'record'; reason: string }>(
    3,
    (d) => `${d.device} does not open to ${d.does}: ${d.reason.replace(/\.$/, '')}; see that it is connected, that no other program holds it, and that it has the channels and the sample rate of bench.yaml.`,
  ),
  'capture.rate': row<{ device: string; askedHz: number; gotHz: number }>(
    3,
    (d) => `${d.device} runs at ${d.gotHz} Hz, not at ${d.askedHz} Hz; set it to ${d.askedHz} Hz, or write sampleRate: ${d.gotHz} in bench.yaml.`,
  ),
  'capture.device-lost': row<{ names: readonly string[]; atS: number }>(
    3,
    (d) => `The audio stopped after ${time(d.atS, 1)} s (${d.names.join(' and ')}): a device was unplugged or switched off, or the sound server ended; reconnect it and run the same command again.`,
  ),
  'capture.input-silent': row<{ device: string; seconds: number }>(
    3,
    (d) => `${d.device} gave nothing but digital silence for ${d.seconds} s; see that it is the right device, that its inputs are not muted, and that it is still connected.`,
  ),
  'capture.overload': row<{ output: string; playedDbfs: number }>(
    3,
    (d) => `Output ${d.output} reached full scale of the recorder, so the sound was stopped (${d.playedDbfs} dBFS was played); turn the recorder's input gain down and record again.`,
  ),
  'capture.clips': row<{ channel: number; output: string; atS: number; playing: boolean }>(
    3,
    (d) =>
      `Input ${d.channel} (output ${d.output}) clips at ${time(d.atS, 1)} s, so ${d.playing ? `the sound was stopped; turn the gain of that input down` : `recording was stopped; nothing plays, so look for a plug that is not home and for a gain that is far too high, touch nothing while it records`}, and record again.`,
  ),
  'capture.heard-no-more': row<{ step: string; atS: number }>(
    3,
    (d) => `The sound of ${d.step} was heard coming, but at ${time(d.atS, 1)} s nothing is heard on any input any more: a lead came out, a switch was thrown or something shut the sound off; see to it and record again.`,
  ),
  'capture.tone-gone': row<{ step: string; outputs: readonly string[]; atS: number }>(
    3,
    (d) => `${d.step}: the tone is gone on ${d.outputs.join(', ')} from ${time(d.atS, 1)} s to the end, so it cannot be told when a contact was lost; put the lead back in, see that the tone is heard, and record it again.`,
  ),
  'capture.frames-skipped': row<{ frames: number; atS: number }>(
    3,
    (d) => `The computer did not keep up: ${d.frames} samples were skipped ${time(d.atS, 1)} s into the recording; close other programs and record again.`,
  ),
  'capture.no-signal': row<{ name: string; known: readonly string[]; nearest: string | null }>(
    2,
    (d) => `There is no signal "${d.name}"${d.nearest === null ? '' : ` (did you mean ${d.nearest}?)`}; there are ${d.known.join(', ')}.`,
  ),
  'capture.broken-off': row<{ kept: string }>(3, (d) => `Stopped; what there was is kept as ${d.kept}.`),
  'capture.disk': row<{ file: string; reason: string }>(
    3,
    (d) => `The recording stopped because ${d.file} could not be written further: ${d.reason}; make room, then run the same command again.`,
  ),
  'capture.disk-room': row<{ folder: string; needsMb: number; freeMb: number }>(
    3,
    (d) => `The disk of ${d.folder} has ${d.freeMb} MB left, and the recording needs ${d.needsMb} MB; nothing was played: make room first.`,
  ),
  'capture.ceiling': row<{ what: string; levelDbfs: number; ceilingDbfs: number; rises: boolean }>(
    2,
    (d) =>
      `${d.what} would be played at up to ${d.levelDbfs} dBFS, above the ceiling of ${d.ceilingDbfs} dBFS (output.ceiling in the job's bench.yaml); nothing was played: raise the ceiling there, or ${d.rises ? 'play it lower' : 'allow it once'} with --level.`,
  ),
  'capture.hum': row<{ file: string; outputs: readonly string[]; overDb: number; playing: boolean }>(
    3,
    (d) =>
      `${d.file}: output${d.outputs.length === 1 ? '' : 's'} ${d.outputs.join(' and ')} hum${d.outputs.length === 1 ? 's' : ''}, ${d.overDb.toFixed(0)} dB above everything else in the noise; ${d.playing ? 'push every plug home' : 'see that the shorting plug is in, and every plug pushed home'} (a sleeve without contact hums like this), and record it again.`,
  ),
  'capture.no-press': row<{ file: string; seconds: number }>(
    3,
    (d) => `${d.file}: no press of a switch was heard in ${d.seconds.toFixed(0)} s; were the footswitches pressed while it recorded, with the outputs patched? If the switches are silent, file it as it is.`,
  ),
  'capture.loop-heard': row<{ file: string; step: string; loop: string; asIn: string }>(
    3,
    (d) => `${d.file}: the board sounds as in ${d.asIn}, so loop ${d.loop} seems to be in, which ${d.step} wants out; switch it out and record it again.`,
  ),
  'capture.loop-not-heard': row<{ file: string; step: string; loop: string; asIn: string }>(
    3,
    (d) => `${d.file}: the board sounds exactly as in ${d.asIn}, so loop ${d.loop} seems to be out, which ${d.step} wants in; switch it in and record it again.`,
  ),
  'capture.converted': row<{ file: string; output: string; sinadDb: number }>(
    3,
    (d) =>
      `${d.file}: the bench looped to itself is clean to ${d.sinadDb.toFixed(0)} dB only (output ${d.output}), as when a sample rate is converted on the way; set the device to the sampleRate of bench.yaml, and leave effects of the system off.`,
  ),
  'capture.reading-unlikely': row<{ said: string; playedDbfs: number; dbu: number; lowDbu: number; highDbu: number }>(
    2,
    (d) =>
      `"${d.said}" for a tone at ${d.playedDbfs} dBFS would make 0 dBFS ${d.dbu.toFixed(1)} dBu, where ${d.lowDbu} to ${d.highDbu} dBu is usual; look at the unit (mV or V?) and at the lead, and give it again, or write output.fullScale into bench.yaml by hand.`,
  ),
  'capture.reading': row<{ said: string }>(2, (d) => `"${d.said}" is no reading of a voltmeter; type it with its unit${/\d,\d/.test(d.said) ? ' and with a point for the comma' : ''}, as in 0.775 V, 775 mV or -2.2 dBu.`),
  'capture.no-tone': row<{ file: string | null; output: string; why: string }>(
    3,
    (d) => `${d.file === null ? 'On' : `${d.file}: on`} the input of output ${d.output} there is no steady 997 Hz tone to calibrate with (${d.why}); see that the lead carries it${d.file === null ? ' there' : ', and record at least 3 s of it'}.`,
  ),
  // cli
  'cli.usage': row<{ said: string }>(2, (d) => `${d.said}; "boardproof help" lists the commands, and "--help" after a command its options.`),
  'cli.no-terminal': row<{ instead: string }>(2, (d) => `There is no terminal to ask on; ${d.instead}.`),
  'cli.missing': row<{ command: string; what: string; meaning: string; here: readonly string[]; example: string }>(
    2,
    (d) => `${d.command} needs ${d.what}, ${d.meaning}${d.here.length > 0 ? ` (here: ${d.here.join(', ')})` : ''}; as in "${d.example}" ("boardproof help ${d.command}" has more).`,
  ),
  'cli.file': row<{ path: string; reason: string }>(2, (d) => `${d.path} cannot be used: ${d.reason}.`),
  'cli.no-job': row<{ folder: string; missing: string; nearest: string | null }>(
    2,
    (d) => `${d.folder} is no job folder: it has no ${d.missing}${d.nearest === null ? '' : ` (did you mean ${d.nearest}?)`}; name a job folder, or make one with "boardproof new".`,
  ),
  'cli.job-exists': row<{ path: string }>(2, (d) => `${d.path} exists already and is not overwritten; give the new job another name.`),
  'cli.unknown-step': row<{ step: string; nearest: string | null }>(
    2,
    (d) => `The job has no step "${d.step}"${d.nearest === null ? '' : ` (did you mean ${d.nearest}?)`}; "boardproof steps" lists its steps.`,
  ),
  'cli.step-count': row<{ given: number; found: number }>(
    2,
    (d) =>
      `--step names ${d.given} step${d.given === 1 ? '' : 's'}, but the recordings hold ${d.found}; nothing was filed: name one for each take and each idle capture, in their order.`,
  ),
  'cli.outputs': row<{ given: string; files: number; known: string }>(
    2,
    (d) => `--outputs ${d.given} does not name one output for each of the ${d.files} file${d.files === 1 ? '' : 's'}; give mono files and their outputs in the same order, all of ${d.known}.`,
  ),
  'cli.in-captures': row<{ file: string }>(
    2,
    (d) => `${d.file} lies among the captures of the job, where filing it would replace one by another; move it out of the folder, then import it.`,
  ),
  'cli.not-mono': row<{ file: string; channels: number }>(3, (d) => `${d.file} has ${d.channels} channels; --outputs is for mono files, one per output, so leave it out.`),
  'cli.unlike-files': row<{ first: string; second: string }>(
    3,
    (d) => `${d.first} and ${d.second} differ in length or sample rate, so they are not one recording; export both tracks from the same start to the same end.`,
  ),
  'cli.no-captures': row<{ job: string }>(3, (d) => `${d.job} has no captures yet; "boardproof steps ${d.job}" says what to record, and "boardproof import" files it.`),
  'cli.interrupted': row<Record<string, never>>(130, () => `Interrupted.`),
  'cli.internal': row<{ said: string }>(
    70,
    (d) => `This is a bug of boardproof: ${d.said}; please report it with what BOARDPROOF_DEBUG=1 prints.`,
  ),
} satisfies Record<string, Row>;

export type ProblemCode = keyof typeof problemTable;
type Details<C extends ProblemCode> = Parameters<(typeof problemTable)[C]['says']>[0];

/** An error from the table. `message` is the whole sentence for the user. */
export class Problem extends Error {
  readonly code: ProblemCode;
  readonly exit: number;
  readonly details: Readonly<Record<string, unknown>>;

  constructor(code: ProblemCode, message: string, exit: number, details: Readonly<Record<string, unknown>>) {
    super(message);
    this.name = 'Problem';
    this.code = code;
    this.exit = exit;
    this.details = details;
  }

  toJSON(): { code: string; message: string; details: Readonly<Record<string, unknown>> } {
    return { code: this.code, message: this.message, details: this.details };
  }
}

/** Builds (does not throw) the error of that code. */
export function problem<C extends ProblemCode>(code: C, details: Details<C>): Problem {
  const { exit, says } = problemTable[code] as { exit: number; says: (d: Details<C>) => string };
  return new Problem(code, says(details), exit, details as Readonly<Record<string, unknown>>);
}
