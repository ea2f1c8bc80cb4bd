/** 5 kHz gated for whole cycles, amplitude 0.1, from a tenth of a second on: one burst, or so many a second (ITU-R BS.468-4, Tables 2 and 3). */
export function bursts(rate: number, lengthS: number, onS: number, perSecond: number | null): Float64Array {
  return Float64Array.from({ length: Math.round(lengthS * rate) }, (_, n) => {
    const t = n / rate - 0.1;
    if (t < 0) return 0;
    const since = perSecond === null ? t : t % (1 / perSecond);
    return since < onS ? 0.1 * Math.sin(2 * Math.PI * 5000 * since) : 0;
  });
}

/**
 * By how much the second crest of two periods of 1 kHz stands above their amplitude behind the second-order Butterworth high-pass of 100 Hz
 * that clicks are read through, dB: y″ + √2·ω·y′ + ω²·y = x″ integrated in steps of 10 ns.
 */
export const TWO_PERIODS_CREST_DB = 0.802;
