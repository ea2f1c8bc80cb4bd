declare module 'fft.js' {
  /** Radix-4 complex FFT of a power-of-two size; arrays are interleaved re, im. */
  export default class FFT {
    constructor(size: number);
    readonly size: number;
    /** Forward, unscaled, e^(−j…) kernel. */
    transform(out: Float64Array, input: Float64Array): void;
    /** Inverse, divided by the size. */
    inverseTransform(out: Float64Array, input: Float64Array): void;
  }
}
