#!/usr/bin/env python3
"""Writes what FFmpeg's astats filter reads of samples that the tests can make again, and tones that its aresample filter took to
another rate.

Run with Debian's python3 (python3-numpy) and ffmpeg; levels.json records the version and every argument.
"""
import json
import os
import subprocess
import sys

import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = sys.argv[1] if len(sys.argv) > 1 else HERE
sys.path.append(os.path.dirname(HERE))
from whole_noise import whole_noise  # noqa: E402 -- beside the folders of the oracles


def ffmpeg(samples, rate, filters, output):
    return subprocess.run(
        ["ffmpeg", "-hide_banner", "-v", "info", "-f", "f64le", "-ar", str(rate), "-ac", "1", "-i", "-", "-af", filters] + output,
        input=np.asarray(samples, dtype="<f8").tobytes(),
        capture_output=True,
        check=True,
    )


cases = []
for seed, n in ((1, 48000), (2, 96000), (3, 20011)):
    said = ffmpeg(whole_noise(n, seed) / 2.0**23, 48000, "astats=measure_perchannel=none", ["-f", "null", "-"]).stderr.decode()
    got = {line.split("]")[1].split(":")[0].strip(): line.rsplit(":", 1)[1].strip() for line in said.splitlines() if line.startswith("[Parsed_astats") and ":" in line}
    cases.append({"seed": seed, "frames": n, "rmsDb": float(got["RMS level dB"]), "peakDb": float(got["Peak level dB"]), "mean": float(got["DC offset"])})

RESAMPLE = "aresample=44100:filter_size=256:phase_shift=12:cutoff=0.98:exact_rational=1"
tones = []
for hz in (997, 5003, 15013):
    x = 0.5 * np.sin(2 * np.pi * hz * np.arange(48000) / 48000)
    y = np.frombuffer(ffmpeg(x, 48000, RESAMPLE, ["-f", "f64le", "-"]).stdout, dtype="<f8")
    # A fiftieth of a second from the middle, away from where the filter begins and ends.
    tones.append({"hz": hz, "amplitude": 0.5, "samples": [round(float(v), 12) for v in y[20000:20882]]})

version = subprocess.run(["ffmpeg", "-version"], capture_output=True, check=True).stdout.decode().split()[2]
with open(os.path.join(OUT, "levels.json"), "w") as f:
    json.dump({"ffmpegVersion": version, "astats": cases, "resample": RESAMPLE, "rate": 44100, "tones": tones}, f)
    f.write("\n")
