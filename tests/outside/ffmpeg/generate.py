#!/usr/bin/env python3
"""Writes the integrated loudness that FFmpeg's ebur128 filter reads from signals that the tests can make again.

Run with Debian's python3 (python3-numpy) and ffmpeg; loudness.json records the version. The filter keeps block loudness in a
histogram of 0.01 LU, so its figures are that coarse. Samples go in as 64-bit floats, so nothing is rounded or resampled.
"""
import json
import os
import subprocess
import sys

import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = sys.argv[1] if len(sys.argv) > 1 else HERE


def lcg(n, seed):
    """Uniform in [-1, 1) from the 32-bit generator x <- 1664525 x + 1013904223 (Numerical Recipes)."""
    out = np.empty(n)
    x = seed
    for i in range(n):
        x = (1664525 * x + 1013904223) & 0xFFFFFFFF
        out[i] = x / 2147483648.0 - 1.0
    return out


def tone(rate, hz, parts):
    """A sine of the given peak levels (dBFS) for the given seconds, one after the other, its phase going on."""
    lengths = [round(s * rate) for _, s in parts]
    n = np.arange(sum(lengths))
    level = np.concatenate([np.full(k, 10 ** (db / 20)) for k, (db, _) in zip(lengths, parts)])
    return level * np.sin(2 * np.pi * hz * n / rate)


def noise(rate, parts):
    """White noise of the given peaks (dBFS) for the given seconds."""
    lengths = [round(s * rate) for _, s in parts]
    level = np.concatenate([np.full(k, 10 ** (db / 20)) for k, (db, _) in zip(lengths, parts)])
    return level * lcg(sum(lengths), 2024)


def ebur128(rate, channels):
    x = np.stack(channels, 1)
    run = subprocess.run(
        ["ffmpeg", "-v", "error", "-f", "f64le", "-ar", str(rate), "-ac", str(x.shape[1]), "-i", "-"]
        + ["-af", "ebur128=metadata=1,ametadata=mode=print:key=lavfi.r128.I:file=-", "-f", "null", "-"],
        input=x.astype("<f8").tobytes(),
        capture_output=True,
        check=True,
    )
    return float(run.stdout.decode().strip().splitlines()[-1].split("=")[1])


RATES = (44100, 48000, 96000, 192000)
# Peak in dBFS, seconds. The last falls below the relative gate, then below the absolute one.
TONE_PARTS = [[-20.0, 3.0], [-26.0, 3.0]]
NOISE_PARTS = [[-20.0, 2.0], [-50.0, 1.5], [-24.0, 2.0], [-90.0, 1.0]]
cases = []
for rate in RATES:
    for hz in (60, 997, 4000, 12000):
        x = tone(rate, hz, TONE_PARTS)
        cases.append({"rate": rate, "channels": 2, "hz": hz, "parts": TONE_PARTS, "lufs": ebur128(rate, [x, x])})
    x = noise(rate, NOISE_PARTS)
    cases.append({"rate": rate, "channels": 1, "hz": None, "parts": NOISE_PARTS, "lufs": ebur128(rate, [x])})
    # Five channels: left, right, centre and two surrounds, the noise and its opposite in turn.
    cases.append({"rate": rate, "channels": 5, "hz": None, "parts": NOISE_PARTS, "lufs": ebur128(rate, [x, -x, x, -x, x])})

version = subprocess.run(["ffmpeg", "-version"], capture_output=True, check=True).stdout.decode().split()[2]
with open(os.path.join(OUT, "loudness.json"), "w") as f:
    json.dump({"ffmpegVersion": version, "filter": "ebur128=metadata=1", "cases": cases}, f, indent=1)
    f.write("\n")
