declare module 'wav-decoder' {
  interface AudioData {
    numberOfChannels: number;
    length: number;
    sampleRate: number;
    channelData: Float32Array[];
  }
  export const decode: {
    /** A whole RIFF file with a plain format chunk; `symmetric` divides both half-waves by 2^(bits-1). */
    sync(file: ArrayBuffer, options?: { symmetric?: boolean }): AudioData;
  };
}
