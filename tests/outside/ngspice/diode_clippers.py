"""Diode clippers in ngspice: the static curve of each, by a DC sweep, and, by transient runs of a sine, the level at which its
distortion (second to tenth harmonic over the tone) first is 1 %. Called by generate.py.
"""

import cmath
import math
import pathlib
import subprocess
import tempfile

HZ = 1000
POINTS = 2000  # per period
STEP_V = 0.005
DIODE = ".model small d is=2.52n n=1.752 rs=0.568"

CLIPPERS = {
    "one diode each way": ["r1 in out 4.7k", "d1 out 0 small", "d2 0 out small", "rl out 0 1meg"],
    "one diode against two": ["r1 in out 4.7k", "d1 out 0 small", "d2 0 m small", "d3 m out small", "rl out 0 1meg"],
}


def run(circuit, source, analysis):
    with tempfile.TemporaryDirectory() as folder:
        data = pathlib.Path(folder) / "out.txt"
        deck = ["* diode clipper", f"vin in 0 {source}", *circuit, DIODE, ".options reltol=1e-6 abstol=1e-12 vntol=1e-8",
                ".control", "set wr_singlescale", "set numdgt=12", *analysis, f"wrdata {data} v(out)", "quit", ".endc", ".end", ""]
        path = pathlib.Path(folder) / "deck.cir"
        path.write_text("\n".join(deck))
        subprocess.run(["ngspice", "-b", str(path)], capture_output=True, check=True)
        return [[float(x) for x in line.split()] for line in data.read_text().splitlines()]


def harmonics(circuit, amplitude):
    """Amplitudes of the tone and its second to tenth harmonic; the last of three periods."""
    step = 1 / (HZ * POINTS)
    rows = run(circuit, f"dc 0 sin(0 {amplitude!r} {HZ})", [f"tran {step!r} {3 / HZ!r} 0 {step!r}", "linearize v(out)"])
    y = [row[1] for row in rows][2 * POINTS : 3 * POINTS]
    return [abs(sum(v * cmath.exp(-2j * math.pi * n * k / POINTS) for k, v in enumerate(y))) * 2 / POINTS for n in range(1, 11)]


def one_percent(circuit):
    low, high = 0.02, 2.0
    for _ in range(18):
        middle = math.sqrt(low * high)
        tone, *rest = harmonics(circuit, middle)
        if math.sqrt(sum(h * h for h in rest)) > 0.01 * tone:
            high = middle
        else:
            low = middle
    return low, harmonics(circuit, low)[0]


def generate():
    cases = []
    for name, circuit in CLIPPERS.items():
        curve = run(circuit, "0", [f"dc vin -1 1 {STEP_V}"])
        volts_in, tone = one_percent(circuit)
        cases.append({
            "name": name, "circuit": circuit, "fromV": -1, "stepV": STEP_V, "curveV": [round(row[1], 8) + 0.0 for row in curve],
            # Halving ends at 1e-5 of the level.
            "onePercent": {"inV": float(f"{volts_in:.4e}"), "toneV": float(f"{tone:.4e}")},
        })
    return {"cases": cases}
