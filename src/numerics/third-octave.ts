/**
 * Third-octave bands: exact mid-band frequencies and edges, base ten. IEC 61260-1:2014 5.2 to 5.6.
 *
 * @module
 */
export interface ThirdOctave {
  /** Label in hertz as printed on equipment. */
  readonly nominalHz: number;
  readonly midHz: number;
  readonly lowHz: number;
  readonly highHz: number;
}

/** Labels of one decade, x = 0…9. */
const NOMINAL = [1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8];

/** Band x: mid-band 1000·G^(x/3) with G = 10^0.3; x = 0 is 1 kHz, −17 is 20 Hz, 13 is 20 kHz. */
export function thirdOctave(x: number): ThirdOctave {
  const decade = Math.floor(x / 10);
  const nominalHz = Number((NOMINAL[x - 10 * decade]! * 1000 * 10 ** decade).toPrecision(4));
  return { nominalHz, midHz: 1000 * 10 ** (x / 10), lowHz: 1000 * 10 ** ((x - 0.5) / 10), highHz: 1000 * 10 ** ((x + 0.5) / 10) };
}

/** The bands whose edges lie within two frequencies. */
export function thirdOctavesWithin(lowHz: number, highHz: number): ThirdOctave[] {
  const bands: ThirdOctave[] = [];
  for (let x = -30; x <= 20; x++) {
    const band = thirdOctave(x);
    if (band.lowHz >= lowHz && band.highHz <= highHz) bands.push(band);
  }
  return bands;
}
