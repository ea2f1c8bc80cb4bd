"""Hum of a board and of the devices in its loops, which meet at phases that nobody knows: what each capture then shows, harmonic by
harmonic, and how far the difference of two captures lies from what the device itself makes. Drawn by Monte Carlo; nothing of the program
is used. A harmonic of amplitude A at the output with every loop out and B from a device is seen as |A + B exp(j phi)|^2.

Run with the folder to write to: hum-phases.json.
"""

import json
import pathlib
import sys

import numpy as np

out = pathlib.Path(sys.argv[1])
rng = np.random.default_rng(20260707)

# Mean squares per harmonic, in units of 1e-12 of full scale: at rest, and of the devices of three loops.
BOARDS = [
    ("one strong harmonic in a loop, beside a weak one at rest", [50], [4.0], [[100.0], [0.0], [9.0]]),
    ("alike at rest and in the loops", [50, 150, 250, 350], [9.0, 4.0, 2.0, 1.0], [[9.0, 4.0, 2.0, 1.0], [1.0, 3.0, 2.0, 0.5], [20.0, 9.0, 5.0, 2.0]]),
    ("ripple beside magnetic hum, which share one harmonic", [50, 100, 150, 200], [16.0, 0.0, 6.0, 0.0], [[0.0, 30.0, 0.0, 8.0], [2.0, 25.0, 0.0, 6.0], [40.0, 0.0, 20.0, 0.0]]),
]
DRAWS, SHOWN = 40000, 120

cases = []
for name, hz, rest, loops in BOARDS:
    a = np.sqrt(np.array(rest))
    b = np.sqrt(np.array(loops))
    phase = np.exp(2j * np.pi * rng.random((DRAWS, *b.shape)))
    waves = b[None] * phase
    seen = np.abs(a[None, None, :] + waves) ** 2
    together = np.abs(a[None, :] + waves.sum(axis=1)) ** 2
    error = seen.sum(axis=2) - a @ a - (b**2).sum(axis=1)[None]
    cases.append({
        "name": name,
        "hz": hz,
        "rest": rest,
        "loops": loops,
        "rmsError": [float(f"{v:.4e}") for v in np.sqrt((error**2).mean(axis=0))],
        "largestTogether": float(f"{together.sum(axis=1).max():.5e}"),
        "leastTogether": float(f"{together.sum(axis=1).min():.5e}"),
        # As the captures show them, one draw after the other: loop by loop, harmonic by harmonic; then with every loop in.
        "seen": [[[float(f"{v:.4e}") for v in loop] for loop in draw] for draw in seen[:SHOWN]],
        "together": [[float(f"{v:.4e}") for v in draw] for draw in together[:SHOWN]],
    })
(out / "hum-phases.json").write_text(json.dumps({"numpy": np.__version__, "cases": cases}, separators=(",", ":")) + "\n")
