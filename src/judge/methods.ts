/**
 * How each kind of figure is made, for the report: one note per method id.
 *
 * @module
 */
import { NOTCH_Q } from '../measure/distortion.js';
import type { MethodNote } from './results.js';

export const methods: readonly MethodNote[] = [
  {
    id: 'noise.level',
    title: 'Noise floor',
    text: 'Idle capture, mean removed, Welch average of half-overlapped Hann segments of about 1.4 s; the density is multiplied by the square of the weighting’s analytic curve and summed from 20 Hz to 20 kHz. The bench’s own noise, from bench.idle on the same input, is taken off as power; where less than 3 dB is left, the level read is an upper bound. Thumps, crackle and dropouts are left out and listed. Level = dBFS (AES17) + full scale of the input in dBu.',
    source: 'A: IEC 61672-1:2013 5.5 and Annex E. CCIR-RMS: ITU-R BS.468-4 network lowered by 5.63 dB, true rms (AES17). Spectral estimate: Welch 1967.',
  },
  {
    id: 'noise.quasi-peak',
    title: '468 quasi-peak noise',
    text: 'The idle capture is weighted by the complex response of the 468 network, raised to at least 176.4 kHz, rectified, and passed through two peak detectors in cascade; the mean of the reading after 1.5 s is given as the rms of the steady 1 kHz sine that reads the same.',
    source: 'ITU-R BS.468-4. The detector’s four time constants were fitted to the burst readings of its Tables 2 and 3, which are from memory; residuals up to 0.25 dB.',
  },
  {
    id: 'noise.density',
    title: 'Noise density at 1 kHz',
    text: 'Mean density of the third-octave around 1 kHz, lines and their skirts left out; level of one hertz of it.',
    source: 'Welch 1967; bands IEC 61260-1:2014.',
  },
  {
    id: 'noise.bands',
    title: 'Noise per third-octave',
    text: 'The density of the idle capture summed over each third-octave band from 25 Hz to 16 kHz, whole bins and shares of those at the edges, hum and whine included. The bench’s own is taken off as power, as for the noise floor.',
    source: 'Bands: IEC 61260-1:2014, base ten.',
  },
  {
    id: 'noise.lines',
    title: 'Hum, whine and hiss',
    text: 'Local floor: running median of 100 bins, brought to the mean by the chi-square ratio. A bin is part of a line where it exceeds that floor by the factor that noise exceeds once in 10⁹ bins. The mains frequency is the one within 1.5 % of nominal whose multiples explain most of the lines; lines at its multiples up to the 40th are hum, all others whine, grouped in families of whole multiples. Each line’s power is what its bins hold above the floor, found again without lines. Hiss is the unweighted noise less hum, whine and what the window’s skirts leave beside each line: c/(πd·(d² − 1))² at d bins, c read from its own bins. How far it wandered, and at what phase two skirts meet, is in the uncertainty; where they hide the hiss it is an upper bound.',
    source: 'Derived here; mains tolerance EN 50160.',
  },
  {
    id: 'noise.steadiness',
    title: 'Steadiness',
    text: 'The capture is cut into tenths of a second. One whose power, or power of its first difference, stands out of the scatter of all by 7 robust standard deviations and 1 dB, or that holds a step larger than 6.7 times the rms step, is crackle (more in the steps), a thump (more in the power) or a dropout (less), and is left out of the floor. Drift is the mean level of the last quarter over that of the first.',
    source: 'Derived here.',
  },
  {
    id: 'noise.sources',
    title: 'Sources of the noise',
    text: 'In powers the idle captures are sums of the same sources: bench B; buffer out B + O; every loop out B + O + I; loop k in B + O + g²·I + L, with the loop’s gain g from its take. Non-negative least squares, each capture weighed by one over its variance, gives what the bench (B), the output (O), the input stage (I) and each loop (L) add; the interval is that of the fit without bounds. Every loop in is left out of the fit and predicted; noise adds in power, lines of one origin between the least and the most that their phases allow. Where the capture lies outside, the loops interact.',
    source: 'Derived here; non-negative least squares by Lawson and Hanson (1974).',
  },
  {
    id: 'take.level',
    title: 'Tone level',
    text: 'Four-parameter sine fit to the 997 Hz tone of the take, Hann-weighted.',
    source: 'IEEE Std 1057 (scheme from memory); level convention AES17.',
  },
  {
    id: 'take.gain',
    title: 'Gain at 1 kHz',
    text: 'Tone of the state over the tone of the bench looped to itself, for the same level played; without a bench take, from the calibrations of output and input.',
    source: 'Insertion gain, by definition.',
  },
  {
    id: 'take.snr',
    title: 'Signal-to-noise ratio',
    text: 'Level of the take’s tone over the A-weighted noise floor of the same state and output.',
    source: 'IEC 60268-3 (definition from memory), with the take’s tone as the stated reference output.',
  },
  {
    id: 'take.thd',
    title: 'Total harmonic distortion',
    text: 'Second to tenth harmonic of the 997 Hz tone, as far as they lie below 20 kHz, each by a Hann-windowed projection at the fitted frequency; the noise read beside each harmonic is taken off as power. Referred to the fundamental. The bench’s own distortion is taken off as power; the phase at which its harmonics meet the board’s is not known and is a part of the uncertainty. Within 6 dB of the bench’s own, the ratio read is an upper bound.',
    source: 'IEC 60268-3 (definition from memory).',
  },
  {
    id: 'take.harmonics',
    title: 'Harmonics against frequency',
    text: 'Of the sweep’s impulse response the harmonic of order n stands L·ln n before the fundamental (L = 1 s) and is cut out there, orders 2 to 5, as far as they lie below 20 kHz. Power against that of the fundamental that comes out at the same played frequency, mean over a sixth of an octave, less what the silences of the take say of the noise there. Where what is left is less than three standard uncertainties, it is a bound. The bench’s own harmonics are drawn beside it and not taken off.',
    source: 'Synchronised sweep: Novak, Lotton, Simon, JAES 63 (2015) 786.',
  },
  {
    id: 'take.thd-n',
    title: 'THD+N, FFT rule',
    text: 'The fitted 997 Hz tone is taken out of the recording; what is left is averaged by Welch’s method in half-overlapped Hann segments of about 0.7 s. Its lines from 4 Hz to f0/1.5 and from 1.5·f0 to 20 kHz are summed as power and set over the whole signal from 4 Hz to 20 kHz. The bench’s own residual is taken off as power; its share that passes the board, and the phase between its harmonics and the board’s, are parts of the uncertainty. Where less than 3 dB is left above the bench, the ratio read is an upper bound.',
    source: 'IEC 61606-2:2009 4.7.3 (text of a national adoption).',
  },
  {
    id: 'take.thd-n.notch',
    title: 'THD+N, notch rule',
    text: `As by the FFT rule, but the spectrum, 20 Hz to 20 kHz, is weighed by a second-order notch at the tone with Q = ${NOTCH_Q}, |x|/√(x² + 1/Q²) with x = f/f0 − f0/f, as an analytic curve. Such a notch takes 0.5 dB from the second harmonic and 0.15 dB from the third.`,
    source: 'AES17-2015 5.2.8 and 6.3 (Q between 1.2 and 3; from memory).',
  },
  {
    id: 'take.sinad',
    title: 'SINAD',
    text: 'Power of the fitted tone over that of everything the fit leaves, 4 Hz to 20 kHz with nothing left out: −THD+N referred to the tone, noise close to the tone included. The bench’s own residual is taken off as for THD+N.',
    source: 'IEEE Std 1057 (definition from memory).',
  },
  {
    id: 'stairs.headroom',
    title: 'Headroom',
    text: 'The level stairs: 997 Hz rising by 1 dB every half second. Each stair’s tone and its harmonics, second to tenth, as for THD. Headroom is the level of the tone where they first come to 1 % of it. Between the last stair under 1 % and the first over it the upper wave’s own curve is followed: f(x) = Σ aₙ·Tₙ(x/A), aₙ its harmonics to the 20th, tried at smaller x. One stair alone over 1 % is taken for a disturbance. If the bench looped to itself has 1 % within 2 dB of there, or the stairs end before, the figure is a lower bound.',
    source: '1 %: common practice, no source. Harmonics of a memoryless curve as its Chebyshev coefficients: closed form. THD as IEC 60268-3 (definition from memory).',
  },
  {
    id: 'stairs.clipping',
    title: 'How it clips',
    text: 'Second, fourth … tenth harmonic against third, fifth … ninth, as powers, one stair after the first over 1 %. A curve that is the same for both halves of the wave makes odd harmonics only; over −10 dB one half clips clearly first.',
    source: 'Symmetry of the Fourier series, closed form; the threshold is derived here.',
  },
  {
    id: 'stairs.dynamic-range',
    title: 'Dynamic range',
    text: 'Headroom less the A-weighted noise floor of the same state and output; the calibration cancels.',
    source: 'By definition.',
  },
  {
    id: 'tone-loss.droop',
    title: 'Droop and −3 dB corner',
    text: 'Response of the state through the source plug, divided by that of the same plug into the straight lead, from its own level at 200–500 Hz. Responses come from the synchronised exponential sweep by division of spectra, the linear part cut out by a window over the lag.',
    source: 'Novak, Lotton, Simon, JAES 63 (2015) 786; insertion loss by definition.',
  },
  {
    id: 'tone-loss.capacitance',
    title: 'Shunt capacitance and input resistance',
    text: 'Weighted least squares of |1 + R·Y| with Y = G + j2πfC to the levels of one state taken through two or more known resistances R (no plug, with the generator’s own, being one), 200 Hz to 20 kHz; what the board itself does is the same in all and drops out. Each plug may depart from what is stated as far as its tolerance allows.',
    source: 'First-order network, derived here; uncertainty from the normal equations, tolerances as further observations.',
  },
  {
    id: 'output.resistance',
    title: 'Output resistance',
    text: 'Level with a known load across the recorder’s input over the level without it, q: |q|² = |1 + Z·Y1|²/|1 + Z·Y2|², 100 Hz–10 kHz, by weighted least squares; Y1 is the recorder’s input, Y2 that beside the load. Z = R + jX; besides R one reactance that shows in the bass and one that shows in the treble are fitted, in series or across the output, each way by its likelihood. Without them R = R1·R2·(1 − q)/(q·R1 − R2).',
    source: 'Voltage divider, derived here.',
  },
  {
    id: 'player.translation',
    title: 'What the player hears',
    text: 'The fitted G + j2πfC is put behind the instrument of board.yaml (pickup, pots and lead, volume and tone at 10) in place of the source plug; the circuit gives the voltage at the input jack, and the measured response of the board from there to the output multiplies it. Loss is against the same lead straight into an amplifier of 1 MΩ, computed, each from its own level at 200–500 Hz; in 2–5 kHz it is the mean of the level in dB, every octave weighing the same. The resonance is the highest peak, if it has 1.25 dB or more. Uncertainty: covariance of the fit through the slopes of each figure.',
    source: 'Linear network analysis; pickup equivalent after Lemme. Propagation JCGM 100:2008 5.2.',
  },
  {
    id: 'design.capacitance',
    title: 'Capacitance beyond the board file',
    text: 'Fitted capacitance of the state less what the circuit of board.yaml has at the same jack (wiring, buffer or driver inputs). For the buffer’s input: less the stated wiring only. For a loop: what it adds to the board with every loop out, less its stated wiring. In metres: over the capacitance per metre of the board’s own wiring, or 100 pF/m.',
    source: 'Linear network analysis; 100 pF/m is usual (common practice, no source).',
  },
  {
    id: 'design.noise',
    title: 'Hiss over thermal noise',
    text: 'Unweighted hiss of the board with its input terminated, less (in dB) the thermal noise of every resistor of the path of board.yaml at 290 K with its input shorted, the stated noise of its buffer included; and less that of the player’s pickup and pots at the same output, the instrument at volume and tone 10.',
    source: 'Johnson 1928, Nyquist 1928: 4kTR; transfer to the output by linear network analysis.',
  },
  {
    id: 'match.level',
    title: 'Level match',
    text: 'Ratio of the two outputs’ responses in one take, the bench’s own difference divided out; mean power over 200 Hz–5 kHz, every octave weighing the same, and per third-octave.',
    source: 'Derived here; bands IEC 61260-1:2014.',
  },
  {
    id: 'match.delay',
    title: 'Delay and polarity',
    text: 'Straight line through the phase of the ratio, 500 Hz to 12 kHz, by weighted least squares: its slope is the delay, the multiple of 180° nearest to its value at frequency zero the polarity. If it lies further than 45° from either, no polarity is given. First notch of the sum: 1/(2·delay), or 1/delay for opposite polarity.',
    source: 'Derived here; phase-slope estimator after Knapp and Carter 1976.',
  },
  {
    id: 'loop.gain',
    title: 'A loop in against out',
    text: 'Response with the loop alone in, over the response with every loop out: mean power over 200 Hz–5 kHz; the third-octave that departs most from it; where unity is expected, the one that departs most from 0 dB; and the level at 5, 10 and 20 kHz from that at 200–500 Hz. A level less than 6 dB over what the noise alone would show is an upper bound.',
    source: 'Derived here.',
  },
  {
    id: 'loop.noise-change',
    title: 'Noise of a loop, in against out',
    text: 'A-weighted noise with the loop alone in over that with every loop out, as power, both as recorded: a device adds noise, a short takes away what was there.',
    source: 'Derived here.',
  },
  {
    id: 'loop.hum',
    title: 'Least hum of a loop',
    text: 'Lines of one frequency add as voltages of unknown phase: where a harmonic of the mains has the amplitude a with the loop in and r with every loop out, the loop adds |a − r| at least. Five standard uncertainties, a tenth of r (the mains’ own voltage) and what the loop’s gain does to r are taken off; the squares of what is left are added over the harmonics.',
    source: 'Derived here; range of the mains voltage: EN 50160, from memory.',
  },
  {
    id: 'loop.slope',
    title: 'Slope of a lost signal',
    text: 'Where less than −20 dB comes through a loop: straight line through the levels of the octave bands of 125 Hz to 8 kHz, noise taken off as power, over log frequency, by weighted least squares. About +6 dB per octave is what a parted conductor passes by its capacitance; about 0 is what is left past a short.',
    source: 'First-order networks, derived here.',
  },
  {
    id: 'switch.level',
    title: 'What a switch does to the level',
    text: 'Response with the switch inverted, or the lift engaged, over that at rest: mean power over 200 Hz–5 kHz.',
    source: 'Derived here.',
  },
  {
    id: 'lift.hum',
    title: 'What a ground lift does to hum',
    text: 'Power of all mains lines with the lift engaged over that without it. Where lines show in one of the two captures only, the ratio is a bound; where in neither, there is none.',
    source: 'Derived here.',
  },
  {
    id: 'switching.clicks',
    title: 'Clicks of footswitches',
    text: 'The switching capture through a second-order high-pass of 100 Hz, in blocks of 5 ms: a block belongs to a click where its level stands out of the median by nine robust spreads (3 dB at least), or a sample by 6.7 times the rms of the floor. Blocks within 0.15 s are one press. The peak is the highest crest of the loudest click: of a polynomial of the fourth power laid through the samples of that crest by least squares; where fewer than five lie on it, of the sine through three; at a jump, which has no crest, the largest sample, give or take the 9 % by which a recorder’s filter overshoots. What the floor adds is read by the same weights over quiet stretches. Given as the level of a sine of that peak. Clicks are given to loops only where as many were found as the step has presses, or where the step is of one loop.',
    source: 'Derived here; the order of presses is that of the step.',
  },
  {
    id: 'switching.energy',
    title: 'Energy of a click',
    text: 'Spectrum of 0.3 s from 20 ms before the click, A-weighted by the analytic curve, 100 Hz to 20 kHz, summed to an energy; what stretches of the floor of the same length show is taken off. As the level of a steady noise that has that energy in one second; and over what the floor has in an eighth of a second, the time constant F.',
    source: 'A: IEC 61672-1:2013 5.5 and Annex E; sound exposure and time constant F as there (definitions from memory). Parseval.',
  },
  {
    id: 'loop.delay',
    title: 'Latency of a loop',
    text: 'Where one output does not pass the loop: delay between it and one that does, by the slope of the phase (see delay and polarity), with the loop in, less the same with every loop out. Given where it is 30 µs or more, and five standard uncertainties. A take is placed by its own markers, which come through the loop as well: without an output beside the loop a latency does not show.',
    source: 'Derived here; phase-slope estimator after Knapp and Carter 1976.',
  },
  {
    id: 'loop.echo',
    title: 'Bleed and crosstalk beside a latency',
    text: 'Weighted least squares of a response, 300 Hz to 8 kHz, by a smooth complex curve (eight Chebyshev terms in log frequency) and arrivals at known times, each flat or rising with frequency. Bleed: the response of the output with every loop out, over the bench where that was captured, with an arrival one latency after the first, and those of other loops of known latency beside it. Crosstalk: the ratio of the output that passes the loop to one that does not, with the loop in; an arrival one latency before the first is the direct signal past the loop, one as long after it what the other output hears of the loop. Mean power against the first arrival; noise taken off; where less than 6 dB over the noise, an upper bound. Needs a latency of 0.5 ms; of loops within 0.13 ms of each other the one whose latency leaves the least is taken.',
    source: 'Derived here.',
  },
  {
    id: 'output.isolation',
    title: 'Isolation between outputs',
    text: 'A known load is put on one output: its voltage changes as if a generator stood there, and whatever another output changes by has come across. Change of the loaded output over that of the other, both as |loaded/free − 1|, mean power over 200 Hz–5 kHz, noise taken off; the start of the two takes is made one by the phase of the loaded output. Where the other’s change is less than 6 dB over the noise, a lower bound; and where it is a quarter turn away, as through a capacitance, since two takes share no start and what the loaded output takes back is then seen as well: up to 6 dB between two alike.',
    source: 'Substitution theorem; derived here.',
  },
  {
    id: 'output.crosstalk',
    title: 'Crosstalk between outputs',
    text: 'A take is played into the jack of one output, the board’s input shorted: what another output then gives over what is at that jack, both recorded at once, the bench’s own difference divided out. Mean power of the third-octave at 1 kHz, and of the loudest from 100 Hz to 10 kHz; noise taken off; less than 6 dB over the noise is an upper bound. Slope: straight line through the levels of the octave bands of 125 Hz to 8 kHz that stand out, over log frequency: about +6 dB per octave is what a capacitance passes, about 0 a resistance. Isolation is the same ratio over 200 Hz–5 kHz, the other way round: by the substitution theorem a change of one output reaches the other so. What crosses in the recorder and in its leads is in all of them.',
    source: 'Crosstalk attenuation: IEC 60268-3 (definition from memory), there between channels driven at their inputs; driven at the outputs: common practice, no source.',
  },
  {
    id: 'take.dropouts',
    title: 'Dropouts during a take',
    text: 'Level of the tone, and of the sweep from 500 Hz on, in windows of 10 ms: a dropout is where it falls by 2.5 dB below the median of the 0.2 s around. Not of states with an effect in, which may have notches of their own.',
    source: 'Derived here.',
  },
  {
    id: 'flex.events',
    title: 'Dropouts and crackles while leads are moved',
    text: 'The steady tone is fitted in windows of 4 ms every 2 ms. A dropout is where it falls by 3 dB or more below its median of the last 2 s; a crackle where what is not tone rises over four times its own median and over −60 dB of the tone, while the tone stands. Events of one kind less than 50 ms apart are one.',
    source: 'Derived here; the thresholds are common practice, no source.',
  },
];
