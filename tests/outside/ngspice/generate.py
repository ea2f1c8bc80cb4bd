#!/usr/bin/env python3
"""Solves networks with ngspice (AC and noise) and writes what it found to circuits.json; and instruments behind
their leads and boards (tone_figures.py), to tone.json.

    python3 tests/outside/ngspice/generate.py            writes circuits.json beside this file
    python3 tests/outside/ngspice/generate.py --check    regenerates and fails where the committed numbers do not follow

Every case is a list of elements, written once here; this script turns it into SPICE lines, the test turns the same list
into our own elements. Two things are told to SPICE differently on purpose: a transformer is a pair of coupled inductors
(ours is leakage, magnetising inductance and an ideal transformer), and the noise of a source is the thermal noise of a
resistor of en^2 / (4 k T) ohm, copied by a controlled source (ours is a density).

Temperature 27 C (SPICE's default, 300.15 K). Needs ngspice and Python's standard library only.
"""

import json
import math
import pathlib
import random
import re
import subprocess
import sys
import tempfile

import diode_clippers
import tone_figures

HERE = pathlib.Path(__file__).resolve().parent
TARGET = HERE / "circuits.json"
TONE_TARGET = HERE / "tone.json"
CLIPPERS_TARGET = HERE / "diode-clippers.json"
BOLTZMANN = 1.380649e-23
TEMPERATURE_K = 300.15
SWEEP = "dec 8 2 100k"


def R(name, a, b, ohm):
    return {"kind": "resistor", "name": name, "a": a, "b": b, "value": ohm}


def C(name, a, b, farad):
    return {"kind": "capacitor", "name": name, "a": a, "b": b, "value": farad}


def L(name, a, b, henry):
    return {"kind": "inductor", "name": name, "a": a, "b": b, "value": henry}


def V(name, plus, minus, noise=0):
    return {"kind": "voltage-source", "name": name, "plus": plus, "minus": minus, "noise": noise}


def I(name, plus, minus, noise=0):
    return {"kind": "current-source", "name": name, "plus": plus, "minus": minus, "noise": noise}


def E(name, plus, minus, sense_plus, sense_minus, gain):
    return {"kind": "voltage-amplifier", "name": name, "plus": plus, "minus": minus,
            "sensePlus": sense_plus, "senseMinus": sense_minus, "value": gain}


def G(name, plus, minus, sense_plus, sense_minus, siemens):
    return {"kind": "transconductor", "name": name, "plus": plus, "minus": minus,
            "sensePlus": sense_plus, "senseMinus": sense_minus, "value": siemens}


def T(name, a, b, c, d, magnetising, leakage, ratio):
    return {"kind": "transformer", "name": name, "a": a, "b": b, "c": c, "d": d,
            "magnetising": magnetising, "leakage": leakage, "ratio": ratio}


def rc(ohm, farad):
    return [V("in", "src", "0"), R("r", "src", "out", ohm), C("c", "out", "0", farad)]


def pickup(tone_ohm, upper, lower, lead, load_ohm, load_c):
    """Pickup 8.2k 3.1 H 110 pF; tone 22 nF; volume as upper and lower parts; lead to load or buffer."""
    return [
        V("in", "coil", "0"), L("lp", "coil", "wire", 3.1), R("rp", "wire", "hot", 8200), C("cp", "hot", "0", 110e-12),
        R("rt", "hot", "tone", tone_ohm), C("ct", "tone", "0", 22e-9),
        R("vu", "hot", "wiper", upper), R("vl", "wiper", "0", lower),
        C("cl", "wiper", "0", lead), R("rin", "wiper", "0", load_ohm), C("cin", "wiper", "0", load_c),
    ]


def buffered(tone_ohm, upper, lower, lead):
    """The same into a buffer of 1 Mohm, 30 pF, 220 ohm, 9 nV and 0.5 pA per root hertz, and a 10 kohm load."""
    return pickup(tone_ohm, upper, lower, lead, 1e6, 30e-12) + [
        I("in_current", "wiper", "0", 0.5e-12),
        V("in_voltage", "sense", "wiper", 9e-9),
        E("gain", "inner", "0", "sense", "0", 1), R("rout", "inner", "out", 220), R("load", "out", "0", 1e4),
    ]


def transformer(ratio, driver, load):
    return [
        V("in", "src", "0"), R("rd", "src", "p", driver), R("rp", "p", "pri", 60),
        T("t", "pri", "0", "sec", "0", 20, 2e-3, ratio),
        R("rs", "sec", "out", 60), C("cw", "out", "0", 150e-12), R("load", "out", "0", load),
    ]


def random_passive(seed):
    """A tree of resistors to ground (so that every node has a DC path), and twice as many branches of any kind."""
    rng = random.Random(seed)
    count = rng.randint(4, 10)
    nodes = [f"n{k}" for k in range(count)]
    log = lambda low, high: math.exp(rng.uniform(math.log(low), math.log(high)))
    elements = [V("in", nodes[0], "0")]
    for k in range(1, count):
        elements.append(R(f"rt{k}", nodes[k], rng.choice((["0"] + nodes)[: k + 1]), float(f"{log(100, 1e6):.4g}")))
    for k in range(2 * count):
        a, b = rng.sample(["0"] + nodes, 2)
        kind = rng.randrange(3)
        if kind == 0:
            elements.append(R(f"r{k}", a, b, float(f"{log(100, 1e6):.4g}")))
        elif kind == 1:
            elements.append(C(f"c{k}", a, b, float(f"{log(20e-12, 100e-9):.4g}")))
        else:
            elements.append(R(f"rl{k}", a, f"m{k}", float(f"{log(50, 2e4):.4g}")))
            elements.append(L(f"l{k}", f"m{k}", b, float(f"{log(1e-3, 10):.4g}")))
    return elements, nodes[-1]


def gyrator(ohm, farad, g):
    """Two transconductors back to back turn a capacitor into an inductance of farad / g^2."""
    return [
        V("in", "src", "0"), R("r", "src", "out", ohm),
        G("g1", "0", "x", "out", "0", -g), G("g2", "out", "0", "x", "0", -g),
        C("c", "x", "0", farad), R("rx", "x", "0", 1e6),
    ]


def into_output(farad, shared):
    """100 ohm into the jack of one output of 100 ohm, another of 4.7 kohm beside it: a capacitance between the two, a return that they share."""
    return [
        V("in", "src", "back"), R("rg", "src", "a", 100), R("za", "a", "0", 100), R("zb", "b", "0", 4700),
        R("la", "a", "back", 1e6), R("lb", "b", "back", 1e6), R("rs", "back", "0", shared), C("c", "a", "b", farad),
        E("read", "out", "0", "b", "back", 1),
    ]


def cases():
    yield "rc-10k-600p", rc(1e4, 600e-12), "out"
    yield "rc-125k-1n", rc(125e3, 1e-9), "out"
    yield "rlc-series", [V("in", "src", "0"), R("r", "src", "a", 1000), L("l", "a", "out", 0.1), C("c", "out", "0", 10e-9), R("rl", "out", "0", 1e5)], "out"
    yield "rlc-parallel", [V("in", "src", "0"), R("r", "src", "out", 1e4), L("l", "out", "m", 2.4), R("rl", "m", "0", 100), C("c", "out", "0", 300e-12)], "out"
    yield "pickup-full-up", pickup(5e5, 5, 5e5, 475e-12, 1e6, 30e-12), "wiper"
    # Logarithmic taper, 81^x: at 7 of 10 the wiper stands at (81^0.7 - 1) / 80 of the resistance.
    down = (81 ** 0.7 - 1) / 80
    yield "pickup-volume-7", pickup(5e5, 5e5 * (1 - down), 5e5 * down, 475e-12, 1e6, 30e-12), "wiper"
    yield "pickup-tone-down", pickup(5, 5, 5e5, 475e-12, 1e6, 30e-12), "wiper"
    yield "pickup-buffer", buffered(5e5, 5e5 * (1 - down), 5e5 * down, 475e-12), "out"
    yield "buffer-alone", [
        V("in", "src", "0"), R("rs", "src", "wiper", 1e4), R("rin", "wiper", "0", 1e6), C("cin", "wiper", "0", 30e-12),
        I("in_current", "wiper", "0", 0.5e-12), V("in_voltage", "sense", "wiper", 9e-9),
        E("gain", "inner", "0", "sense", "0", 1), R("rout", "inner", "out", 220), R("load", "out", "0", 1e4)], "out"
    yield "into-output", into_output(220e-12, 0.5), "out"
    yield "transformer-1-1", transformer(1, 100, 1e6), "out"
    yield "transformer-step-down", transformer(4.5, 600, 2400), "out"
    yield "transformer-inverted", transformer(-1, 100, 1e4), "out"
    yield "gyrator", gyrator(1e4, 100e-9, 2e-4), "out"
    for seed in range(1, 13):
        elements, out = random_passive(seed)
        yield f"random-{seed}", elements, out


def spice_lines(elements, kelvin=TEMPERATURE_K):
    lines = []
    for e in elements:
        name, kind = e["name"], e["kind"]
        if kind in ("resistor", "capacitor", "inductor"):
            lines.append(f"{kind[0] if kind != 'inductor' else 'l'}{name} {e['a']} {e['b']} {e['value']!r}")
        elif kind == "voltage-source" and e["noise"] == 0:
            lines.append(f"v{name} {e['plus']} {e['minus']} dc 0 ac {1 if name == 'in' else 0}")
        elif kind == "voltage-source":
            lines.append(f"rnoise_{name} noise_{name} 0 {e['noise'] ** 2 / (4 * BOLTZMANN * kelvin)!r}")
            lines.append(f"e{name} {e['plus']} {e['minus']} noise_{name} 0 1")
        elif kind == "current-source":
            lines.append(f"rnoise_{name} noise_{name} 0 1k")
            volts = math.sqrt(4 * BOLTZMANN * kelvin * 1000)
            lines.append(f"g{name} {e['minus']} {e['plus']} noise_{name} 0 {e['noise'] / volts!r}")
        elif kind == "voltage-amplifier":
            lines.append(f"e{name} {e['plus']} {e['minus']} {e['sensePlus']} {e['senseMinus']} {e['value']!r}")
        elif kind == "transconductor":
            # SPICE counts the current from the first node through the source to the second.
            lines.append(f"g{name} {e['minus']} {e['plus']} {e['sensePlus']} {e['senseMinus']} {e['value']!r}")
        elif kind == "transformer":
            lm, ll, ratio = e["magnetising"], e["leakage"], e["ratio"]
            c, d = (e["c"], e["d"]) if ratio > 0 else (e["d"], e["c"])
            lines.append(f"l{name}p {e['a']} {e['b']} {lm + ll!r}")
            lines.append(f"l{name}s {c} {d} {lm / ratio ** 2!r}")
            lines.append(f"k{name} l{name}p l{name}s {math.sqrt(lm / (lm + ll))!r}")
        else:
            raise ValueError(kind)
    return lines


def run(elements, out):
    with tempfile.TemporaryDirectory() as folder:
        deck = "\n".join([
            "* boardproof case", *spice_lines(elements), ".control", "set wr_singlescale", "set wr_vecnames", "set numdgt=12",
            f"ac {SWEEP}", f"wrdata {folder}/ac.txt v({out})",
            f"noise v({out}) vin {SWEEP}", "setplot noise1", f"wrdata {folder}/noise.txt onoise_spectrum",
            "quit", ".endc", ".end", ""])
        path = pathlib.Path(folder) / "case.cir"
        path.write_text(deck)
        done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True)
        try:
            ac = [[float(x) for x in line.split()] for line in (pathlib.Path(folder) / "ac.txt").read_text().splitlines()[1:]]
            noise = [[float(x) for x in line.split()] for line in (pathlib.Path(folder) / "noise.txt").read_text().splitlines()[1:]]
        except (FileNotFoundError, ValueError):
            sys.exit(f"ngspice gave no figures:\n{deck}\n{done.stdout}\n{done.stderr}")
    return ac, noise


def generate():
    version = re.search(r"ngspice-\S+", subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout).group(0)
    digits = lambda x: float(f"{x:.9e}")
    result = []
    for name, elements, out in cases():
        ac, noise = run(elements, out)
        result.append({
            "name": name, "output": out, "elements": elements,
            "frequencyHz": [digits(row[0]) for row in ac], "re": [digits(row[1]) for row in ac], "im": [digits(row[2]) for row in ac],
            # ngspice spaces the frequencies of a noise run slightly differently from those of an AC run.
            "noiseFrequencyHz": [digits(row[0]) for row in noise], "noiseVPerRtHz": [digits(row[1]) for row in noise],
        })
    return {
        "generatedBy": "python3 tests/outside/ngspice/generate.py", "oracle": version, "temperatureK": TEMPERATURE_K, "sweep": SWEEP,
        "cases": result,
    }


def text_of(document):
    cases_text = ",\n".join(" " + json.dumps(case) for case in document["cases"])
    head = {key: value for key, value in document.items() if key != "cases"}
    return json.dumps(head)[:-1] + ', "cases": [\n' + cases_text + "\n]}\n"


def differences(old, new):
    """Names of figures that moved by more than 1e-6 of the curve's largest value."""
    found = []
    if [c["elements"] for c in old["cases"]] != [c["elements"] for c in new["cases"]]:
        return ["the list of cases"]
    for a, b in zip(old["cases"], new["cases"]):
        for key in ("frequencyHz", "re", "im", "noiseFrequencyHz", "noiseVPerRtHz"):
            size = max(abs(x) for x in b[key])
            if any(abs(x - y) > 1e-6 * size for x, y in zip(a[key], b[key])):
                found.append(f"{b['name']}: {key}")
    return found


if __name__ == "__main__":
    fresh = generate()
    tone = tone_figures.generate(spice_lines, (R, C, L, V, E))
    tone = {"generatedBy": fresh["generatedBy"], "oracle": fresh["oracle"], **tone}
    clippers = {"generatedBy": fresh["generatedBy"], "oracle": fresh["oracle"], **diode_clippers.generate()}
    if "--check" in sys.argv[1:]:
        moved = differences(json.loads(TARGET.read_text()), json.loads(json.dumps(fresh)))
        moved += [] if json.loads(TONE_TARGET.read_text())["cases"] == tone["cases"] else ["tone.json"]
        moved += [] if json.loads(CLIPPERS_TARGET.read_text())["cases"] == clippers["cases"] else ["diode-clippers.json"]
        if moved:
            sys.exit("circuits.json no longer follows from ngspice: " + "; ".join(moved))
        print(f"circuits.json follows from {fresh['oracle']}.")
    else:
        TARGET.write_text(text_of(fresh))
        TONE_TARGET.write_text(text_of(tone))
        CLIPPERS_TARGET.write_text(text_of(clippers))
        print(f"{len(fresh['cases'])} cases written with {fresh['oracle']}.")
