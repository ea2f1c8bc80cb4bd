#!/usr/bin/env python3
"""Writes what SoX reads of samples that the tests can make again: `stat` on noise with an offset, and the gain of its filters at
single tones.

Run with Debian's python3 (python3-numpy) and sox; levels.json records the version. `stat` prints six decimals.
"""
import json
import os
import re
import subprocess
import sys

import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = sys.argv[1] if len(sys.argv) > 1 else HERE
RATE = 48000
sys.path.append(os.path.dirname(HERE))
from whole_noise import whole_noise  # noqa: E402 -- beside the folders of the oracles


def stat(samples, effects):
    """The figures of `stat` after the effects, for samples as 64-bit floats."""
    run = subprocess.run(
        ["sox", "-t", "raw", "-r", str(RATE), "-c", "1", "-e", "floating-point", "-b", "64", "-", "-n"] + effects + ["stat"],
        input=np.asarray(samples, dtype="<f8").tobytes(),
        capture_output=True,
        check=True,
    )
    lines = [line.split(":") for line in run.stderr.decode().splitlines() if ":" in line]
    return {" ".join(name.split()): float(value) for name, value in (line[:2] for line in lines) if re.fullmatch(r"-?[0-9.]+", value.strip())}


version = subprocess.run(["sox", "--version"], capture_output=True, check=True).stdout.decode().split()[-1]
cases = []
for seed, n in ((1, 48000), (2, 96000), (3, 20011)):
    got = stat(whole_noise(n, seed) / 2.0**23, [])
    cases.append({"seed": seed, "frames": n, "rms": got["RMS amplitude"], "largest": got["Maximum amplitude"], "least": got["Minimum amplitude"], "mean": got["Mean amplitude"]})

filters = []
for effect in (["highpass", "-1", "100"], ["lowpass", "-1", "5000"], ["highpass", "-2", "80", "0.707q"], ["lowpass", "-2", "6000", "0.707q"], ["equalizer", "1000", "1q", "6"]):
    rows = []
    for hz in (25, 50, 80, 100, 200, 500, 1000, 2000, 4000, 5000, 6000, 8000, 10000, 12500, 16000, 20000):
        x = 0.4 * np.sin(2 * np.pi * hz * np.arange(3 * RATE) / RATE)
        before, after = stat(x, ["trim", "2", "1"]), stat(x, effect + ["trim", "2", "1"])
        rows.append([hz, 20 * float(np.log10(after["RMS amplitude"] / before["RMS amplitude"]))])
    filters.append({"effect": " ".join(effect), "rows": rows})

with open(os.path.join(OUT, "levels.json"), "w") as f:
    json.dump({"soxVersion": version, "rate": RATE, "stat": cases, "filters": filters}, f, indent=1)
    f.write("\n")
