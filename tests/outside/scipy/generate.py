#!/usr/bin/env python3
"""Writes the committed numbers that SciPy and NumPy give for what boardproof computes.

Run with Debian's python3 (python3-scipy, python3-numpy); versions.json records them. Signals are made from whole-number
arithmetic or from formulas, so that the tests can make the very same samples without a file.
"""
import json
import os
import platform
import sys

import numpy as np
import scipy
from scipy import optimize, signal, stats

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = sys.argv[1] if len(sys.argv) > 1 else HERE


def write(name, data):
    with open(os.path.join(OUT, name), "w") as f:
        json.dump(data, f, indent=1)
        f.write("\n")


def lcg(n, seed):
    """Uniform in [-1, 1) from the 32-bit generator x <- 1664525 x + 1013904223 (Numerical Recipes)."""
    out = np.empty(n)
    x = seed
    for i in range(n):
        x = (1664525 * x + 1013904223) & 0xFFFFFFFF
        out[i] = x / 2147483648.0 - 1.0
    return out


write("versions.json", {"numpy": np.__version__, "scipy": scipy.__version__, "python": platform.python_version()})

tails = [0.5, 0.1, 0.025, 1e-3, 1e-6, 1e-9, 1e-12, 0.975, 0.999]
write(
    "distributions.json",
    {
        "chiSquareUpper": [[p, k, float(stats.chi2.isf(p, k))] for k in (2, 3.9, 11, 54, 1000, 1e5) for p in tails],
        "normalUpper": [[p, float(stats.norm.isf(p))] for p in tails],
        "t95": [[k, float(stats.t.ppf(0.975, k))] for k in (3, 4, 6, 10, 30, 100, 1000)],
    },
)

# --- Welch levels: a floor with hum and a whine in it, 6 s at 48 kHz, and the same at 44.1 and 96 kHz.
fL, fH, fA, D = 10**1.5, 10**3.9, 10**2.45, 2**-0.5
b = (1e6 + fL**2 * fH**2 / 1e6 - D * (fL**2 + fH**2)) / (1 - D)
c = fL**2 * fH**2
f1, f4 = ((-b - (b * b - 4 * c) ** 0.5) / 2) ** 0.5, ((-b + (b * b - 4 * c) ** 0.5) / 2) ** 0.5
f2, f3 = fA * (3 - 5**0.5) / 2, fA * (3 + 5**0.5) / 2


def a_weight(f):
    z = [0, 0, 0, 0]
    w1, w2, w3, w4 = (2 * np.pi * v for v in (f1, f2, f3, f4))
    p = [-w1, -w1, -w2, -w3, -w4, -w4]
    _, h = signal.freqs_zpk(z, p, 1, 2 * np.pi * np.maximum(f, 1e-3))
    _, h1 = signal.freqs_zpk(z, p, 1, [2 * np.pi * 1000.0])
    return np.abs(h) / np.abs(h1[0])


def itu468(f):
    """The passive ladder of BS.468-4 Fig. 1a, as a chain of two-port matrices: not the polynomial that boardproof uses."""
    s = 2j * np.pi * np.maximum(np.asarray(f, dtype=float), 1e-3)
    one, zero = np.ones_like(s), np.zeros_like(s)

    def mul(m, n):
        return (m[0] * n[0] + m[1] * n[2], m[0] * n[1] + m[1] * n[3], m[2] * n[0] + m[3] * n[2], m[2] * n[1] + m[3] * n[3])

    def series(z):
        return (one, z, zero, one)

    def shunt(y):
        return (one, zero, y, one)

    m = series(600 * one)
    for part in (
        shunt(s * 13.85e-9),
        series(s * 12.88e-3),
        shunt(s * 26.82e-9),
        series(1 / (s * 33.06e-9)),
        shunt(s * 9.21e-9),
        series(s * 26.49e-3),
        shunt(s * 31.47e-9),
        shunt(one / 600),
    ):
        m = mul(m, part)
    return np.abs(1 / m[0])


cases = []
for rate in (44100, 48000, 96000):
    n = 6 * rate
    t = np.arange(n) / rate
    x = 1e-4 * lcg(n, 12345) + 2e-5 * np.sin(2 * np.pi * 50.2 * t) + 1e-5 * np.sin(2 * np.pi * 3001.3 * t) + 0.01
    size = {44100: 32768, 48000: 32768, 96000: 65536}[rate]
    f, p = signal.welch(x, rate, window="hann", nperseg=size, noverlap=size // 2, detrend="constant", scaling="density")
    df = f[1]

    def level(weight):
        inside = np.clip(np.minimum(20000, f + df / 2) - np.maximum(20, f - df / 2), 0, df)
        return float(10 * np.log10(2 * np.sum(p * weight**2 * inside)))

    cases.append(
        {
            "rate": rate,
            "size": size,
            "unweighted": level(np.ones_like(f)),
            "a": level(a_weight(f)),
            "ccirRms": level(itu468(f) / itu468([2000.0])[0] * 10 ** ((5.629 - 5.63) / 20)),
            "bins": [[int(k), float(p[k])] for k in (0, 1, 37, 69, 1000, 4096, len(p) - 1)],
        }
    )
write("welch.json", {"cases": cases})

write(
    "weighting.json",
    {
        "a": [[float(v), float(20 * np.log10(a_weight(np.array([v]))[0]))] for v in np.geomspace(10, 96000, 60)],
        "itu468": [[float(v), float(20 * np.log10(itu468([v])[0] / itu468([1000.0])[0]))] for v in np.geomspace(20, 40000, 60)],
    },
)

# --- Response from a sweep: the synchronised sweep by its formula, a second-order section by lfilter, and the plain ratio of
# spectra. The test filters the same sweep by the same difference equation.
rate, top = 48000, 22080.0
length = np.log(top / 10.0)
n = int(np.ceil((0.2 + length + 0.9) * rate))
t = np.arange(n) / rate - 0.2


def fade(t, total, fade_in, fade_out):
    g = np.ones_like(t)
    g = np.where(t < fade_in, g * (0.5 - 0.5 * np.cos(np.pi * t / fade_in)), g)
    return np.where(t > total - fade_out, g * (0.5 - 0.5 * np.cos(np.pi * (total - t) / fade_out)), g)


x = np.where((t >= 0) & (t <= length), 0.1 * np.sin(2 * np.pi * 10.0 * np.exp(np.clip(t, 0, length))) * fade(t, length, 0.25, 0.01), 0.0)
b, a = signal.iirpeak(3000.0, 0.7, fs=rate)
b, a = 0.3 * b + 0.6 * a, a
y = signal.lfilter(b, a, x)
size = 2 ** int(np.ceil(np.log2(n + rate)))
h = np.fft.rfft(y, size) / np.fft.rfft(x, size)
_, exact = signal.freqz(b, a, worN=np.array([k * rate / size for k in range(size // 2 + 1)]), fs=rate)
rows = []
for hz in np.geomspace(20, 20000, 61):
    k = int(round(hz * size / rate))
    rows.append([k * rate / size, float(20 * np.log10(abs(h[k]))), float(np.degrees(np.angle(h[k]))), float(20 * np.log10(abs(exact[k]))), float(np.degrees(np.angle(exact[k])))])
write("sweep-response.json", {"rate": rate, "top": top, "b": [float(v) for v in b], "a": [float(v) for v in a], "columns": ["Hz", "SciPy ratio dB", "SciPy ratio degree", "freqz dB", "freqz degree"], "rows": rows})

# --- Distortion: a tone through y = x + 0.002 x^2 + 0.001 x^3, with noise and hum, of whole periods. Two ways: least squares (weighted
# by a Hann window), Welch's estimate of what is left and sums over its bins; and, after the wording of IEC 61606-2, the plain
# sum of the lines of one long transform, which needs the whole periods.
cases = []
for rate in (44100, 48000, 96000):
    n, f0 = 2 * rate, 997.0
    t = np.arange(n) / rate
    x = 0.25 * np.sin(2 * np.pi * f0 * t + 0.3)
    x = x + 0.002 * x**2 + 0.001 * x**3 + 1e-4 * lcg(n, 777) + 2e-5 * np.sin(2 * np.pi * 50 * t)
    w = signal.get_window("hann", n)

    def model(t, a, b, c, f):
        return a * np.cos(2 * np.pi * f * t) + b * np.sin(2 * np.pi * f * t) + c

    p, _ = optimize.curve_fit(model, t[1:], x[1:], p0=[0.07, 0.24, 0.0, 997.01], sigma=1 / np.sqrt(w[1:]), xtol=1e-14, ftol=1e-14)
    left = x - model(t, *p)
    tone = (p[0] ** 2 + p[1] ** 2) / 2
    size = {44100: 32768, 48000: 32768, 96000: 65536}[rate]
    f, density = signal.welch(left, rate, window="hann", nperseg=size, noverlap=size // 2, detrend="constant", scaling="density")
    df = f[1]

    def band(low, high, gain=1.0):
        return float(np.sum(density * gain**2 * np.clip(np.minimum(high, f + df / 2) - np.maximum(low, f - df / 2), 0, df)))

    w0, q = 2 * np.pi * f0, 2.0
    _, notch = signal.freqs([1, 0, w0**2], [1, w0 / q, w0**2], 2 * np.pi * f)
    whole = band(4, 20000)
    lines = np.abs(np.fft.rfft(x)) ** 2 * 2 / n**2
    at = np.arange(len(lines)) * rate / n

    def summed(low, high):
        return float(np.sum(lines[(at >= low) & (at <= high)]))

    cases.append(
        {
            "rate": rate,
            "fitHz": float(p[3]),
            "fitAmplitude": float(np.sqrt(2 * tone)),
            "thdN": 10 * np.log10((band(4, f0 / 1.5) + band(1.5 * f0, 20000)) / (tone + whole)),
            "thdNNotch": 10 * np.log10(band(20, 20000, np.abs(notch)) / (tone + whole)),
            "sinad": 10 * np.log10(tone / whole),
            "thdNLines": 10 * np.log10((summed(4, f0 / 1.5) + summed(1.5 * f0, 20000)) / summed(4, 20000)),
            "thdLines": 10 * np.log10(sum(summed(k * f0 - 0.1, k * f0 + 0.1) for k in range(2, 11)) / summed(f0 - 0.1, f0 + 0.1)),
        }
    )
write("distortion.json", {"cases": cases})


# Non-negative least squares: columns of shares as idle captures have them, and random ones; some unknowns end at zero.
def weighted(a, y, w):
    x, rest = optimize.nnls(a * np.sqrt(w)[:, None], y * np.sqrt(w))
    bounded = optimize.lsq_linear(a * np.sqrt(w)[:, None], y * np.sqrt(w), bounds=(0, np.inf), tol=1e-14)
    assert np.allclose(bounded.x, x, atol=1e-6 * np.max(np.abs(x)))
    return {"x": [float(v) for v in x], "residualSum": float(rest**2)}


systems = []
for m, n, seed in [(4, 3, 1), (8, 6, 2), (20, 18, 3), (12, 5, 4), (30, 19, 5), (6, 6, 6)]:
    draw = lcg(m * n + 2 * m, seed)
    a = np.round(np.abs(draw[: m * n].reshape(m, n)), 3)
    a[:, 0] = 1
    truth = np.maximum(0, lcg(n, seed + 50))
    y = np.round(a @ truth + 0.2 * draw[m * n : m * n + m], 4)
    w = np.round(1 + 20 * np.abs(draw[m * n + m :]), 3)
    systems.append({"columns": a.T.tolist(), "y": y.tolist(), "weights": w.tolist(), **weighted(a, y, w)})
write("nnls.json", {"systems": systems})


# Sources of noise: a board as powers add on it, seen with an error in each of its states, and what nnls makes of that. The design
# is written here from the signal path: a source is amplified by every loop that is in and stands behind it.
boards = []
for seed, gains_db in enumerate([[0.0, 3.0], [-6.0, 0.0, 9.0], [1.0, -2.0, 4.0, 0.5], [0.0, 12.0, -3.0, 0.0, 6.0]], start=1):
    gains = 10 ** (np.array(gains_db) / 10)
    count = len(gains)
    draw = np.abs(lcg(4 * count + 20, 900 + seed))
    made = 1e-12 * 10 ** (2 * draw[: 3 + count])
    made[-1] *= 1e-4  # as good as none: the error of what is seen can only make it negative
    names = ["bench", "output", "input"] + [f"loop{k}" for k in range(count)]

    def heard(inside):
        row = np.zeros(len(names))
        row[:2] = 1
        row[2] = np.prod([gains[k] for k in inside])
        for k in inside:
            row[3 + k] = np.prod([gains[j] for j in inside if j > k])
        return row

    bench_row, out_row = np.zeros(len(names)), np.zeros(len(names))
    bench_row[0] = 1
    out_row[:2] = 1
    design = np.array([bench_row, out_row, heard([])] + [heard([k]) for k in range(count)])
    relative = 0.005 + 0.02 * draw[3 + count : 3 + count + len(design)]
    error = np.append(0.01 * (draw[-len(design) + 1 :] - 0.5), -0.03)
    seen = (design @ made) * (1 + error)
    # Beside the scatter of each capture, 0.2 % of its power where a loop is in: what a sum of powers leaves out of a real board.
    deviation = np.hypot(relative, np.array([0, 0, 0] + [0.002] * count)) * seen / np.max(seen)
    x, _ = optimize.nnls(design / deviation[:, None], seen / np.max(seen) / deviation)
    x = x * np.max(seen)
    every = list(range(count))
    boards.append({
        "gainsDb": gains_db,
        "seen": dict(zip(["bench", "unbuffered", "rest"] + [f"loop-loop{k}" for k in range(count)], ([float(p), float(r)] for p, r in zip(seen, relative)))),
        "sources": dict(zip(names, map(float, x))),
        "sums": [float(heard(inside) @ x) for inside in [every] + [[j for j in every if j != k] for k in every]],
    })
write("attribution.json", {"boards": boards})
