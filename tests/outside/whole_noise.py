"""The noise that generators of several oracles share; tests/helpers/lcg.ts makes the same."""
import numpy as np


def whole_noise(n, seed):
    """Noise in whole numbers, 24 bits: uniform over half of full scale, with an offset of a hundredth of it."""
    out = np.empty(n, dtype=np.int64)
    x = seed
    for i in range(n):
        x = (1664525 * x + 1013904223) & 0xFFFFFFFF
        out[i] = (x >> 9) - 4194304 + 83886
    return out
