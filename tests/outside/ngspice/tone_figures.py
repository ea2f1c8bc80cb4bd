"""Instruments behind their leads and boards, solved by ngspice on a fine grid at 290 K, and what the curves mean: level in
2 to 5 kHz and at three frequencies from that at 200 to 500 Hz, the peak, the -3 dB corner, and the noise at the output.

The figures are taken here from ngspice's own points: means over log frequency by the trapezoid rule, the peak by a
parabola through its three highest points, the corner by a straight line in log frequency. Called by generate.py.
"""

import math
import pathlib
import re
import subprocess
import sys
import tempfile

POINTS = 2000  # per decade
SWEEP = f"dec {POINTS} 100 20k"
NOISE_SWEEP = "dec 400 20 20k"
CELSIUS_290_K = 290 - 273.15
DBU_V = math.sqrt(0.6)


def instrument(R, C, L, V, down, lead):
    """Pickup 8.2k 3.1 H 110 pF, tone 500k 22 nF full up, volume 500k passing `down` of its resistance, and a lead."""
    least = 1e-5
    return [
        V("in", "coil", "0"), L("lp", "coil", "wire", 3.1), R("rp", "wire", "hot", 8200), C("cp", "hot", "0", 110e-12),
        R("rt", "hot", "tone", 5e5), C("ct", "tone", "0", 22e-9),
        R("vu", "hot", "wiper", 5e5 * max(1 - down, least)), R("vl", "wiper", "0", 5e5 * max(down, least)),
        C("cl", "wiper", "0", lead),
    ]


def tone_cases(R, C, L, V, E):
    """Lead of 5 m at 95 pF/m; a board with 0.4 m of wiring at 100 pF/m, its buffer of 1 Mohm, 30 pF, 220 ohm and 9 nV, and
    3 m of wiring at its output; straight, the same lead ends in 1 Mohm."""
    for volume, down in ((10, 1.0), (7, (81 ** 0.7 - 1) / 80)):
        yield f"straight-{volume}", instrument(R, C, L, V, down, 475e-12) + [R("amp", "wiper", "0", 1e6)], "wiper"
        yield f"metre-more-{volume}", instrument(R, C, L, V, down, 570e-12) + [R("amp", "wiper", "0", 1e6)], "wiper"
        yield f"buffer-in-{volume}", instrument(R, C, L, V, down, 515e-12) + [
            R("rin", "wiper", "0", 1e6), C("cin", "wiper", "0", 30e-12), V("noise", "sense", "wiper", 9e-9),
            E("gain", "inner", "0", "sense", "0", 1), R("rout", "inner", "out", 220), C("cout", "out", "0", 300e-12), R("load", "out", "0", 1e6)], "out"
        yield f"buffer-out-{volume}", instrument(R, C, L, V, down, 815e-12) + [R("load", "wiper", "0", 1e6)], "wiper"
    yield "shorted", [
        V("in", "src", "0"), R("rs", "src", "in", 0.1), C("ci", "in", "0", 40e-12),
        R("rin", "in", "0", 1e6), C("cin", "in", "0", 30e-12), V("noise", "sense", "in", 9e-9),
        E("gain", "inner", "0", "sense", "0", 1), R("rout", "inner", "out", 220), C("cout", "out", "0", 300e-12), R("load", "out", "0", 1e6)], "out"


def run(lines, out):
    with tempfile.TemporaryDirectory() as folder:
        deck = "\n".join([
            "* boardproof tone case", *lines, f".temp {CELSIUS_290_K}", ".control", "set wr_singlescale", "set wr_vecnames", "set numdgt=12",
            f"ac {SWEEP}", f"wrdata {folder}/ac.txt vdb({out})",
            f"noise v({out}) vin {NOISE_SWEEP}", "setplot noise1", f"wrdata {folder}/noise.txt onoise_spectrum",
            "quit", ".endc", ".end", ""])
        path = pathlib.Path(folder) / "case.cir"
        path.write_text(deck)
        done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True)
        read = lambda name: [[float(x) for x in line.split()] for line in (pathlib.Path(folder) / name).read_text().splitlines()[1:]]
        try:
            return [row[:2] for row in read("ac.txt")], read("noise.txt")
        except (FileNotFoundError, ValueError):
            sys.exit(f"ngspice gave no figures:\n{deck}\n{done.stdout}\n{done.stderr}")


def at(rows, hz):
    for (f, a), (g, b) in zip(rows, rows[1:]):
        if f <= hz <= g * (1 + 1e-9):
            return a + (b - a) * math.log(hz / f) / math.log(g / f)
    raise ValueError(hz)


def mean(rows, low, high, of):
    """Mean of of(dB) over log frequency."""
    inside = [(low, at(rows, low))] + [row for row in rows if low < row[0] < high] + [(high, at(rows, high))]
    area = sum((of(a) + of(b)) / 2 * math.log(g / f) for (f, a), (g, b) in zip(inside, inside[1:]))
    return area / math.log(high / low)


def a_weighting(f):
    """IEC 61672-1 5.5 with the poles of its Annex E; 1 at 1 kHz."""
    def raw(g):
        s = g * g
        return 12194.217 ** 2 * s * s / ((s + 20.598997 ** 2) * math.sqrt((s + 107.65265 ** 2) * (s + 737.86223 ** 2)) * (s + 12194.217 ** 2))
    return raw(f) / raw(1000)


def noise_dbu(rows, weight):
    squares = [(f, (density * weight(f)) ** 2) for f, density in rows]
    return 10 * math.log10(sum((a * f + b * g) / 2 * math.log(g / f) for (f, a), (g, b) in zip(squares, squares[1:])) / DBU_V ** 2)


def figures(ac, noise):
    reference = 10 * math.log10(mean(ac, 200, 500, lambda db: 10 ** (db / 10)))
    inside = [row for row in ac if row[0] >= 500]
    peak = max(range(1, len(inside) - 1), key=lambda k: inside[k][1] if inside[k][1] >= max(inside[k - 1][1], inside[k + 1][1]) else -1e9)
    (_, a), (f, b), (g, c) = inside[peak - 1:peak + 2]
    shift = (a - c) / (2 * (a - 2 * b + c))
    height = b - (a - c) * shift / 4 - reference
    is_peak = a <= b >= c and height >= 1.25
    corner = None
    for (f1, x), (f2, y) in zip(inside, inside[1:]):
        if (not is_peak or f2 > f) and x - reference >= 10 * math.log10(0.5) > y - reference:
            corner = f1 * (f2 / f1) ** ((x - reference - 10 * math.log10(0.5)) / (x - y))
            break
    return {
        "referenceDb": reference,
        "band2to5kDb": mean(ac, 2000, 5000, lambda db: db) - reference,
        "at5kDb": at(ac, 5000) - reference, "at10kDb": at(ac, 10000) - reference, "at20kDb": ac[-1][1] - reference,
        "resonanceHz": f * (g / f) ** shift if is_peak else None, "resonanceHeightDb": height if is_peak else None,
        "cornerHz": corner,
        "noiseDbu": noise_dbu(noise, lambda _: 1), "noiseADbu": noise_dbu(noise, a_weighting),
    }


def generate(spice_lines, builders):
    cases = []
    for name, elements, out in tone_cases(*builders):
        ac, noise = run(spice_lines(elements, 290), out)
        cases.append({"name": name, **{key: None if value is None else float(f"{value:.8e}") for key, value in figures(ac, noise).items()}})
    return {"temperatureK": 290, "sweep": SWEEP, "noiseSweep": NOISE_SWEEP, "cases": cases}
