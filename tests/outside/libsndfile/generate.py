#!/usr/bin/env python3
"""Writes the level of what libsndfile reads from files that it wrote itself, of samples that the tests can make again.

Run with Debian's python3 (python3-numpy, python3-soundfile); levels.json records the versions.
"""
import json
import os
import sys
import tempfile

import numpy as np
import soundfile

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = sys.argv[1] if len(sys.argv) > 1 else HERE
sys.path.append(os.path.dirname(HERE))
from whole_noise import whole_noise  # noqa: E402 -- beside the folders of the oracles


cases = []
with tempfile.TemporaryDirectory() as folder:
    for subtype, bits in (("PCM_16", 16), ("PCM_24", 24), ("PCM_32", 32), ("FLOAT", 32), ("DOUBLE", 64)):
        x = whole_noise(48000, 7)
        # On the grid of 16 bits, rounded down: whole numbers in every format.
        x = (x >> 8 << 8) if bits == 16 else x
        file = os.path.join(folder, "x.wav")
        soundfile.write(file, x / 2.0**23, 48000, subtype=subtype)
        read, rate = soundfile.read(file, dtype="float64")
        cases.append({"subtype": subtype, "seed": 7, "frames": len(read), "rms": float(np.sqrt(np.mean(read**2))), "largest": float(read.max()), "least": float(read.min()), "mean": float(read.mean())})

with open(os.path.join(OUT, "levels.json"), "w") as f:
    json.dump({"libsndfileVersion": soundfile.__libsndfile_version__, "soundfileVersion": soundfile.__version__, "cases": cases}, f, indent=1)
    f.write("\n")
