"""The reference signals a second time, in another language: same definition, same bytes.

Written from reference-signals/README.md and the constants of the series; NumPy's + - * / on float64 are those of IEEE 754,
so every sample must come out with the same bits, and every file with the same SHA-256.

    python3 tests/outside/numpy/reference_signals.py [folder]

writes reference-signals.json and versions.json there, by default beside this file.
"""
import hashlib
import json
import math
import platform
import struct
import sys
from pathlib import Path

import numpy as np

TWO_PI = 6.283185307179586
LN2 = 0.6931471805599453


def horner(coefficients, x):
    total = np.zeros_like(x)
    for c in coefficients:
        total = total * x + c
    return total


# sin a = a + a·s·(−1/3! + s/5! − …), cos a = 1 + s·(−1/2! + s/4! − …), s = a²; highest order first.
SINE = [(-1) ** ((n - 1) // 2) / math.factorial(n) for n in range(19, 1, -2)]
COSINE = [(-1) ** (n // 2) / math.factorial(n) for n in range(18, 0, -2)]
EXPONENTIAL = [1 / math.factorial(n) for n in range(15, 0, -1)]


def sin_turns(turns):
    r = turns - np.floor(turns)
    sign = np.where(r >= 0.5, -1.0, 1.0)
    r = np.where(r >= 0.5, r - 0.5, r)
    r = np.where(r > 0.25, 0.5 - r, r)
    a = TWO_PI * r
    s = a * a
    near = a + a * s * horner(SINE, s)
    b = TWO_PI * (0.25 - r)
    s = b * b
    far = 1 + s * horner(COSINE, s)
    return sign * np.where(r <= 0.125, near, far)


def exp(x):
    x = np.asarray(x, dtype=np.float64)
    k = np.floor(x / LN2 + 0.5)
    r = x - k * 0.693147180369123816490 - k * 1.90821492927058770002e-10
    return np.ldexp(1 + r * horner(EXPONENTIAL, r), k.astype(int))


def ln(x):
    k, m = 0, x
    while m >= 1.4142135623730951:
        m, k = m / 2, k + 1
    z = (m - 1) / (m + 1)
    s = z * z
    total = 0.0
    for n in range(27, 2, -2):
        total = (total + 1 / n) * s
    return k * LN2 + 2 * z * (1 + total)


def peak_of(dbfs):
    return float(exp(np.array(dbfs * 2.302585092994046 / 20)))


def fade(t, length, fade_in, fade_out):
    gain = np.ones_like(t)
    rise = 0.5 - 0.5 * sin_turns(0.25 + t / fade_in / 2)
    fall = 0.5 - 0.5 * sin_turns(0.25 + (length - t) / fade_out / 2)
    gain = np.where(t < fade_in, gain * rise, gain)
    return np.where(t > length - fade_out, gain * fall, gain)


def chirp(t, length, low, high):
    return sin_turns(low * t + ((high - low) / length / 2) * t * t)


def within(t, length, wave):
    return np.where((t < 0) | (t > length), 0.0, wave)


SYNC_S, GAP_S, SYMBOL_S, BITS = 0.25, 0.02, 0.016, 40
MARKER_S = SYNC_S + GAP_S + BITS * SYMBOL_S


def word_of(code, level, top):
    data = [code >> 8, code & 255, (top - 20224) // 16, round(-level * 4)]
    crc = 255
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = ((crc << 1) ^ 7) & 255 if crc & 128 else (crc << 1) & 255
    return [byte >> (7 - b) & 1 for byte in data + [crc] for b in range(8)]


def marker(end, word, t):
    low, high = (400, 4000) if end == "start" else (4000, 400)
    sync = within(t, SYNC_S, chirp(t, SYNC_S, low, high) * fade(t, SYNC_S, 0.01, 0.01))
    u = t - SYNC_S - GAP_S
    index = np.floor(u / SYMBOL_S)
    inside = (index >= 0) & (index < BITS)
    bit = np.array(word)[np.clip(index, 0, BITS - 1).astype(int)]
    v = u - index * SYMBOL_S
    up = chirp(v, SYMBOL_S, 1000, 3000)
    down = chirp(v, SYMBOL_S, 3000, 1000)
    symbol = within(v, SYMBOL_S, np.where(bit == 1, up, down) * fade(v, SYMBOL_S, 0.002, 0.002))
    return np.where(t <= SYNC_S, sync, np.where(inside, symbol, 0.0))


def sweep_top(rate):
    return 16 * math.floor(min(0.46 * rate, 24000) / 16)


class Canvas:
    def __init__(self, rate, lead, length):
        self.rate, self.lead = rate, lead
        self.out = np.zeros(math.floor((length + 2 * lead) * rate + 0.5))

    def put(self, at, length, wave):
        first = max(0, math.ceil((self.lead + at) * self.rate))
        last = min(len(self.out) - 1, math.floor((self.lead + at + length) * self.rate))
        n = np.arange(first, last + 1, dtype=np.float64)
        self.out[first : last + 1] = wave(n / self.rate - self.lead - at)


def take(rate, level):
    canvas = Canvas(rate, 1, 12.75 + MARKER_S)
    peak, top = peak_of(level), sweep_top(rate)
    word = word_of(0, level, top)
    length = 1 * ln(top / 10)
    canvas.put(0, MARKER_S, lambda t: peak * marker("start", word, t))
    canvas.put(1.5, 2, lambda t: peak * within(t, 2, sin_turns(997 * t) * fade(t, 2, 0.01, 0.01)))
    canvas.put(3.75, length, lambda t: peak * within(t, length, sin_turns(10 * exp(t)) * fade(t, length, 0.25, 0.01)))
    canvas.put(12.75, MARKER_S, lambda t: peak * marker("end", word, t))
    return canvas.out


def tone(rate, level):
    n = np.arange(30 * rate, dtype=np.float64)
    return peak_of(level) * sin_turns(997 * n / rate) * fade(n / rate, 30, 0.5, 0.5)


def stairs(rate, level):
    canvas = Canvas(rate, 1, 17.5 + MARKER_S)
    word = word_of(0, level, 20224)
    peaks = np.array([peak_of(level + d) for d in range(-10, 20) if level + d <= -1])
    total = len(peaks) * 0.5

    def climb(t):
        t = np.maximum(0, t)
        k = np.minimum(len(peaks) - 1, np.floor(t / 0.5)).astype(int)
        before, own = peaks[np.maximum(0, k - 1)], peaks[k]
        since = np.minimum(t - k * 0.5, 0.02)
        ramp = np.where(since < 0.02, 0.5 - 0.5 * sin_turns(0.25 + since / 0.02 / 2), 1.0)
        return sin_turns(997 * t) * (before + (own - before) * ramp) * fade(t, total, 0.02, 0.02)

    canvas.put(0, MARKER_S, lambda t: peak_of(level) * marker("start", word, np.maximum(0, t)))
    canvas.put(1.5, total, climb)
    canvas.put(17.5, MARKER_S, lambda t: peak_of(level) * marker("end", word, np.maximum(0, t)))
    return canvas.out


def dither(count):
    """Whole multiples of 1/65536 LSB, from the number of the frame."""
    mask = np.uint64(0xFFFFFFFF)
    z = (np.arange(count, dtype=np.uint64) * np.uint64(0x9E3779B9) + np.uint64(0x5EED997)) & mask
    z = ((z ^ (z >> np.uint64(16))) * np.uint64(0x21F0AAAD)) & mask
    z = ((z ^ (z >> np.uint64(15))) * np.uint64(0x735A2D97)) & mask
    z ^= z >> np.uint64(15)
    return (z >> np.uint64(16)).astype(np.float64) - (z & np.uint64(0xFFFF)).astype(np.float64)


def wav(samples, rate, bits):
    if bits == "32f":
        data = samples.astype("<f4").tobytes()
        fmt = struct.pack("<HHIIHHH", 3, 1, rate, 4 * rate, 4, 32, 0)
    else:
        scale = 2.0 ** (int(bits) - 1)
        codes = np.floor(samples * scale + dither(len(samples)) / 65536 + 0.5).astype("<i4")
        if bits == "16":
            data = codes.astype("<i2").tobytes()
            fmt = struct.pack("<HHIIHH", 1, 1, rate, 2 * rate, 2, 16)
        else:
            data = codes.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
            guid = bytes.fromhex("0100000000001000800000aa00389b71")
            fmt = struct.pack("<HHIIHHHHI", 0xFFFE, 1, rate, 3 * rate, 3, 24, 22, 24, 4) + guid
    # Whatever is not plain integer PCM says its number of frames in a "fact" chunk.
    extra = b"" if bits == "16" else struct.pack("<4sII", b"fact", 4, len(samples))
    body = b"WAVE" + struct.pack("<4sI", b"fmt ", len(fmt)) + fmt + extra + struct.pack("<4sI", b"data", len(data)) + data + b"\0" * (len(data) % 2)
    return struct.pack("<4sI", b"RIFF", len(body)) + body


def main():
    files = {}
    for name, render in (("take", take), ("tone", tone), ("stairs", stairs)):
        files[name] = {}
        for rate in (44100, 48000, 88200, 96000, 192000):
            samples = render(rate, -20)
            files[name][str(rate)] = {bits: hashlib.sha256(wav(samples, rate, bits)).hexdigest() for bits in ("16", "24", "32f")}
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    versions = {"python": platform.python_version(), "numpy": np.__version__}
    (folder / "reference-signals.json").write_text(json.dumps({"levelDbfs": -20, "files": files}, indent=1) + "\n")
    (folder / "versions.json").write_text(json.dumps(versions, indent=1) + "\n")


if __name__ == "__main__":
    main()
