/**
 * Physical constants.
 *
 * @module
 */

/** Boltzmann's constant in J/K, exact by definition (SI, 2019). */
export const BOLTZMANN_J_PER_K = 1.380649e-23;

/** Reference temperature for thermal noise, 290 K: the standard noise temperature of noise-figure measurement (IRE 1962, from memory). */
export const REFERENCE_TEMPERATURE_K = 290;
