/**
 * What each method was held to, and by how much it differed: for the method notes of a report. Made by `npm run accuracy` with
 * reports/accuracy.json; do not edit.
 *
 * @module
 */
export const methodChecks: Readonly<Record<string, readonly string[]>> = {
  'design.capacitance': [
    'Shunt capacitance (cables behind 10 kΩ and more, without noise, through one plug) against first-order RC, published table (closed form): at most under 1e-9 of the capacitance off, 1.0e-5 allowed.',
    'Circuits, level (26 networks, 20 Hz to 20 kHz) against ngspice AC (ngspice-39): at most 8.6e-9 dB off, 0.01 allowed.',
    'Simulated with good and poor signal-to-noise: 94 to 95.6 % of the 95 % intervals hold the truth, 1600 trials and more each.',
  ],
  'design.noise': [
    'Circuits, level (26 networks, 20 Hz to 20 kHz) against ngspice AC (ngspice-39): at most 8.6e-9 dB off, 0.01 allowed.',
    'Circuits, noise (26 networks) against ngspice noise (ngspice-39): at most 1.5e-6 dB off, 0.05 allowed.',
  ],
  'lift.hum': [
    'Simulated with good and poor signal-to-noise: 95 to 95.2 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'loop.delay': [
    'Simulated with good and poor signal-to-noise: 96.8 to 97.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'loop.echo': [
    'Simulated with good and poor signal-to-noise: 95 to 96 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'loop.gain': [
    'Response from the sweep, level (second-order section, 61 frequencies, 20 Hz to 20 kHz) against SciPy freqz (1.10.1): at most 0.0018 dB off, 0.003 allowed.',
    'Response from the sweep, level (five filters, 25 Hz to 20 kHz, down to −60 dB; SoX heard them tone by tone) against SoX highpass, lowpass, equalizer (v14.4.2): at most 2.8e-4 dB off, 0.02 allowed.',
    'Simulated with good and poor signal-to-noise: 92.5 to 97.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'loop.noise-change': [
    'Simulated with good and poor signal-to-noise: 94 to 97.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'loop.slope': [
    'Simulated with good and poor signal-to-noise: 95.3 to 96 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'match.delay': [
    'Response from the sweep, phase (second-order section, 61 frequencies, 20 Hz to 20 kHz) against SciPy freqz (1.10.1): at most 0.0019 ° off, 0.02 allowed.',
    'Delay between two outputs (0.05 to 0.45 sample at 48 kHz, wide and narrow bands) against delay put in as phase (closed form): at most under 1e-9 sample off, 0.05 allowed.',
    'Simulated with good and poor signal-to-noise: 95.3 to 95.8 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'match.level': [
    'Response from the sweep, level (second-order section, 61 frequencies, 20 Hz to 20 kHz) against SciPy freqz (1.10.1): at most 0.0018 dB off, 0.003 allowed.',
    'Response from the sweep, level (five filters, 25 Hz to 20 kHz, down to −60 dB; SoX heard them tone by tone) against SoX highpass, lowpass, equalizer (v14.4.2): at most 2.8e-4 dB off, 0.02 allowed.',
    'Simulated with good and poor signal-to-noise: 95.5 to 97.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'noise.density': [
    'Noise floor: unweighted, A-weighted, CCIR-RMS (floor with hum, whine and DC; 44.1, 48, 96 kHz) against SciPy welch (1.10.1): at most 2.1e-4 dB off, 0.002 allowed.',
    'Density per bin (floor with hum, whine and DC; single bins from 50 Hz up) against SciPy welch (1.10.1): at most under 1e-9 of the density off, 1.0e-8 allowed.',
    'Simulated with good and poor signal-to-noise: 95.5 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'noise.level': [
    'A weighting (34 frequencies, 10 Hz to 20 kHz) against IEC 61672-1 Table 3 (2013): at most 0.05 dB off, 0.05 allowed.',
    'A weighting (60 frequencies, 10 Hz to 96 kHz) against SciPy, analogue zeros and poles (1.10.1): at most under 1e-9 dB off, 1.0e-9 allowed.',
    '468 weighting (21 frequencies, 31.5 Hz to 31.5 kHz) against ITU-R BS.468-4 Table 1 (1986): at most 0.05 dB off, 0.05 allowed.',
    '468 weighting (60 frequencies, 20 Hz to 40 kHz) against NumPy, the ladder of Fig. 1a as a chain of two-ports (1.24.2): at most 1.8e-7 dB off, 2.0e-5 allowed.',
    'CCIR-RMS weighting (1 kHz) against AES17 5.2.7, −5.63 dB (2015 (from memory)): at most 1.8e-7 dB off, 0.005 allowed.',
    'Noise floor: unweighted, A-weighted, CCIR-RMS (floor with hum, whine and DC; 44.1, 48, 96 kHz) against SciPy welch (1.10.1): at most 2.1e-4 dB off, 0.002 allowed.',
    'Degrees of freedom of a bin (1 to 1024 segments) against Welch 1967, Harris 1978 (closed form): at most 0.005 ν off, 0.051 allowed.',
    'Rms, peak and mean of what is read from a file (16 and 24 bit, 32 and 64 bit float) against libsndfile (1.2.0): at most under 1e-9 of full scale off, 1.0e-9 allowed.',
    'Rms, peak and mean (noise of 24 bits with an offset) against SoX stat (v14.4.2): at most 4.2e-7 of full scale off, 6.0e-7 allowed.',
    'Rms and peak level (noise of 24 bits with an offset) against FFmpeg astats (5.1.9-0+deb12u1): at most 4.8e-7 dB off, 2.0e-6 allowed.',
    'Simulated with good and poor signal-to-noise: 94.5 to 96.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'noise.lines': [
    'Noise floor: unweighted, A-weighted, CCIR-RMS (floor with hum, whine and DC; 44.1, 48, 96 kHz) against SciPy welch (1.10.1): at most 2.1e-4 dB off, 0.002 allowed.',
    'Density per bin (floor with hum, whine and DC; single bins from 50 Hz up) against SciPy welch (1.10.1): at most under 1e-9 of the density off, 1.0e-8 allowed.',
    'Chi-square and Student’s t quantiles (tails from 0.999 to 10⁻¹², ν from 2 to 10⁵; t at 95 %, ν from 4) against SciPy stats (1.10.1): at most 3.1e-4 of the quantile off, 0.001 allowed.',
    'Simulated with good and poor signal-to-noise: 93.9 to 96.5 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'noise.quasi-peak': [
    '468 weighting (21 frequencies, 31.5 Hz to 31.5 kHz) against ITU-R BS.468-4 Table 1 (1986): at most 0.05 dB off, 0.05 allowed.',
    '468 weighting (60 frequencies, 20 Hz to 40 kHz) against NumPy, the ladder of Fig. 1a as a chain of two-ports (1.24.2): at most 1.8e-7 dB off, 2.0e-5 allowed.',
    '468 quasi-peak meter, single bursts (5 kHz, 1 to 200 ms; 44.1 kHz, 48 kHz, 192 kHz) against ITU-R BS.468-4 Table 2 (1986 (from memory)): at most 0.25 dB off, 0.25 allowed.',
    '468 quasi-peak meter, repeated bursts (5 kHz, 5 ms, 2 to 100 a second; 44.1 kHz, 48 kHz, 192 kHz) against ITU-R BS.468-4 Table 3 (1986 (from memory)): at most 0.1 dB off, 0.25 allowed.',
    'Simulated with good and poor signal-to-noise: 95.5 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'noise.sources': [
    'Simulated with good and poor signal-to-noise: 93.8 to 99.9 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'noise.steadiness': [
    'Simulated with good and poor signal-to-noise: 97.3 to 98 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'output.crosstalk': [
    'Simulated with good and poor signal-to-noise: 94.5 to 97.5 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'output.isolation': [
    'Simulated with good and poor signal-to-noise: 94.8 to 95.5 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'output.resistance': [
    'Simulated with good and poor signal-to-noise: 95.3 to 96.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'player.translation': [
    'Circuits, level (26 networks, 20 Hz to 20 kHz) against ngspice AC (ngspice-39): at most 8.6e-9 dB off, 0.01 allowed.',
    'Circuits, phase (26 networks, 20 Hz to 20 kHz) against ngspice AC (ngspice-39): at most 3.7e-8 ° off, 0.1 allowed.',
    'Simulated with good and poor signal-to-noise: 94 to 96 % of the 95 % intervals hold the truth, 1600 trials and more each.',
  ],
  'stairs.clipping': [
    'Simulated with good and poor signal-to-noise: 95.3 to 95.5 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'stairs.dynamic-range': [
    'Simulated with good and poor signal-to-noise: 94.1 to 97.1 % of the 95 % intervals hold the truth, 800 trials and more each.',
  ],
  'stairs.headroom': [
    'Simulated with good and poor signal-to-noise: 94.6 to 100 % of the 95 % intervals hold the truth, 800 trials and more each.',
  ],
  'switch.level': [
    'Simulated with good and poor signal-to-noise: 95.3 to 96.8 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'switching.clicks': [
    'Simulated with good and poor signal-to-noise: 93.8 to 95 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'switching.energy': [
    'Simulated with good and poor signal-to-noise: 93 to 95.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'take.gain': [
    'Amplitude of a tone, four-parameter fit (tone with harmonics, noise and hum; 44.1, 48, 96 kHz) against SciPy curve_fit (1.10.1): at most under 1e-9 of the amplitude off, 1.0e-8 allowed.',
    'Response from the sweep, level (second-order section, 61 frequencies, 20 Hz to 20 kHz) against SciPy freqz (1.10.1): at most 0.0018 dB off, 0.003 allowed.',
    'Response from the sweep, level (five filters, 25 Hz to 20 kHz, down to −60 dB; SoX heard them tone by tone) against SoX highpass, lowpass, equalizer (v14.4.2): at most 2.8e-4 dB off, 0.02 allowed.',
    'Simulated with good and poor signal-to-noise: 95 to 95.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'take.harmonics': [
    'Harmonics against frequency (library) (y = x + 0.1·x² + 0.05·x³, orders 1 to 3, 50 Hz to 6 kHz) against trigonometry (closed form): at most 1.4e-4 dB off, 0.01 allowed.',
  ],
  'take.level': [
    'Rms, peak and mean of what is read from a file (16 and 24 bit, 32 and 64 bit float) against libsndfile (1.2.0): at most under 1e-9 of full scale off, 1.0e-9 allowed.',
    'Rms, peak and mean (noise of 24 bits with an offset) against SoX stat (v14.4.2): at most 4.2e-7 of full scale off, 6.0e-7 allowed.',
    'Rms and peak level (noise of 24 bits with an offset) against FFmpeg astats (5.1.9-0+deb12u1): at most 4.8e-7 dB off, 2.0e-6 allowed.',
    'Frequency of a tone (997 Hz to 15 kHz, 20 ms, taken from 48 to 44.1 kHz) against FFmpeg aresample (5.1.9-0+deb12u1): at most under 1e-9 of the frequency off, 1.0e-6 allowed.',
    'Amplitude of a tone (997 Hz to 15 kHz, 20 ms, taken from 48 to 44.1 kHz) against FFmpeg aresample (5.1.9-0+deb12u1): at most 1.3e-5 dB off, 0.001 allowed.',
    'Amplitude of a tone, four-parameter fit (tone with harmonics, noise and hum; 44.1, 48, 96 kHz) against SciPy curve_fit (1.10.1): at most under 1e-9 of the amplitude off, 1.0e-8 allowed.',
    'Simulated with good and poor signal-to-noise: 95.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'take.sinad': [
    'THD+N by both rules, SINAD (tone with harmonics, noise and hum; 44.1, 48, 96 kHz) against SciPy: curve_fit, welch, freqs (1.10.1): at most 7.6e-9 dB off, 1.0e-6 allowed.',
    'Simulated with good and poor signal-to-noise: 95.5 to 96.8 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'take.snr': [
    'Amplitude of a tone, four-parameter fit (tone with harmonics, noise and hum; 44.1, 48, 96 kHz) against SciPy curve_fit (1.10.1): at most under 1e-9 of the amplitude off, 1.0e-8 allowed.',
    'Simulated with good and poor signal-to-noise: 96.3 to 97 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'take.thd': [
    'THD (y = x + 0.1·x² + 0.05·x³, and a square wave of harmonics) against trigonometry (closed form): at most 2.3e-8 dB off, 0.001 allowed.',
    'Simulated with good and poor signal-to-noise: 94 to 95.5 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'take.thd-n': [
    'THD+N by both rules, SINAD (tone with harmonics, noise and hum; 44.1, 48, 96 kHz) against SciPy: curve_fit, welch, freqs (1.10.1): at most 7.6e-9 dB off, 1.0e-6 allowed.',
    'Simulated with good and poor signal-to-noise: 95 to 96.8 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'take.thd-n.notch': [
    'THD+N by both rules, SINAD (tone with harmonics, noise and hum; 44.1, 48, 96 kHz) against SciPy: curve_fit, welch, freqs (1.10.1): at most 7.6e-9 dB off, 1.0e-6 allowed.',
    'Simulated with good and poor signal-to-noise: 96.8 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'tone-loss.capacitance': [
    'Shunt capacitance (cables behind 10 kΩ and more, without noise, through one plug) against first-order RC, published table (closed form): at most under 1e-9 of the capacitance off, 1.0e-5 allowed.',
    'Simulated with good and poor signal-to-noise: 94.2 to 96 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
  'tone-loss.droop': [
    'Response from the sweep, level (second-order section, 61 frequencies, 20 Hz to 20 kHz) against SciPy freqz (1.10.1): at most 0.0018 dB off, 0.003 allowed.',
    'Response from the sweep, level (five filters, 25 Hz to 20 kHz, down to −60 dB; SoX heard them tone by tone) against SoX highpass, lowpass, equalizer (v14.4.2): at most 2.8e-4 dB off, 0.02 allowed.',
    'Droop of a cable (11 cables behind 1 kΩ and more; 5, 10, 20 kHz) against first-order RC, published table (closed form): at most 0.0018 dB off, 0.0051 allowed.',
    'Simulated with good and poor signal-to-noise: 93.8 to 96.3 % of the 95 % intervals hold the truth, 400 trials and more each.',
  ],
};
