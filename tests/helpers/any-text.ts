import fc from 'fast-check';

/** Any sequence of UTF-16 units, lone surrogates and control characters among them; mostly plain ASCII. */
export const anyText = (maxLength: number): fc.Arbitrary<string> =>
  fc
    .array(fc.oneof({ weight: 4, arbitrary: fc.integer({ min: 0x20, max: 0x7e }) }, { weight: 1, arbitrary: fc.integer({ min: 0, max: 0xffff }) }), { maxLength })
    .map((units) => String.fromCharCode(...units));
