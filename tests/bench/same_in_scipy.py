#!/usr/bin/env python3
"""What `boardproof measure` computes, written in NumPy and SciPy: the other side of `npm run bench`.

    same_in_scipy.py <job> [--no-quasi-peak]        all captures, figures as JSON on stdout
    same_in_scipy.py <job> --parts <repeats>        seconds per part, medians, as JSON on stdout

Written to be fast: channels together in one transform, sums as matrix products, no Python loop over samples but in the quasi-peak
detector, two processes. `<job>/conditions.json` says what board.yaml and bench.yaml say (bench.mjs writes it).
"""
import json
import os
import sys
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from multiprocessing import Pool

import numpy as np
import soundfile
from scipy import fft, ndimage, signal, special

NOISE_LOW, NOISE_HIGH = 20.0, 20000.0


def db(power):
    return 10 * np.log10(power)


# --- Curves ------------------------------------------------------------------------------------------------------------

fL, fH, fA, D = 10**1.5, 10**3.9, 10**2.45, 2**-0.5
_b = (1e6 + fL**2 * fH**2 / 1e6 - D * (fL**2 + fH**2)) / (1 - D)
_c = fL**2 * fH**2
F1, F4 = (-_b - np.sqrt(_b * _b - 4 * _c)) / 2, (-_b + np.sqrt(_b * _b - 4 * _c)) / 2
F2, F3 = (fA * (3 - 5**0.5) / 2) ** 2, (fA * (3 + 5**0.5) / 2) ** 2


def a_weighting(f):
    def raw(s):
        return F4 * s * s / ((s + F1) * np.sqrt((s + F2) * (s + F3)) * (s + F4))

    return raw(f * f) / raw(1e6)


def itu468(f):
    p = 1j * f
    coefficients = [1.306612257412824e-19, 2.118150887518656e-11, 5.559488023498642e-4]
    even = 4.737338981378384e-24 * p**6 + 2.043828333606125e-15 * p**4 + 1.363894795463638e-7 * p**2 + 1
    odd = coefficients[0] * p**5 + coefficients[1] * p**3 + coefficients[2] * p
    return 10 ** (18.238675 / 20) * 1.246332637532143e-4 * p / (even + odd)


def ccir_rms(f):
    return np.abs(itu468(f)) * 10 ** (-5.63 / 20)


def notch(f, f0, q=2):
    x = np.abs(f / f0 - f0 / np.maximum(f, 1e-9))
    return x / np.hypot(x, 1 / q)


# --- Idle captures -----------------------------------------------------------------------------------------------------


def read(path):
    x, fs = soundfile.read(path, always_2d=True)
    return np.ascontiguousarray(x.T), fs


def spread(v):
    return 1.482602218505602 * np.median(np.abs(v - np.median(v)))


def unsteady(x, fs):
    """Blocks of 100 ms, one row per channel, that thumps, crackle or drop-outs have spoilt."""
    size = round(0.1 * fs)
    count = x.shape[1] // size
    blocks = x[:, : count * size].reshape(len(x), count, size)
    steps = np.diff(x[:, : count * size], prepend=0).reshape(blocks.shape)
    power = db(np.maximum(blocks.var(axis=2), 1e-30))
    mean_step = (steps * steps).mean(axis=2)
    step = db(np.maximum(mean_step, 1e-30))
    largest = np.abs(steps).max(axis=2)
    bad = np.zeros((len(x), count), bool)
    for c in range(len(x)):
        over_power = power[c] - np.median(power[c])
        over_step = step[c] - np.median(step[c])
        slack_power, slack_step = (max(1, 7 * spread(v[c])) for v in (power, step))
        click = largest[c] > 6.7 * np.sqrt(np.median(mean_step[c]))
        bad[c] = (np.abs(over_power) > slack_power) | (over_step > slack_step) | click
    return bad.any(axis=0), size


def welch(x, fs, size, bad=None, block=1):
    """One-sided density and the number of segments; segments that touch a bad block are left out."""
    if bad is None or not bad.any():
        f, density = signal.welch(x, fs, "hann", size)
        return f, density, (x.shape[-1] - size) // (size // 2) + 1
    f, t, s = signal.spectrogram(x, fs, "hann", size, size // 2, detrend="constant", scaling="density", mode="psd")
    first = (np.round(t * fs) - size // 2).astype(int)
    clean = [not bad[a // block : (a + size - 1) // block + 1].any() for a in first]
    return f, s[..., clean].mean(axis=-1), sum(clean)


def freedom(segments):
    return 36 * segments**2 / (19 * segments - 1)


def local_floor(density, nu):
    floor = ndimage.median_filter(density, size=(1,) * (density.ndim - 1) + (101,), mode="reflect")
    return floor / (1 - 2 / (9 * nu)) ** 3


def find_lines(density, floor, bin_hz, nu, low, high):
    threshold = 1.08 * special.chdtri(nu, 1e-9) / nu
    first, last = max(3, int(np.ceil(low / bin_hz))), min(len(density) - 4, int(high / bin_hz))
    over = np.flatnonzero(density[first : last + 1] > threshold * floor[first : last + 1]) + first
    lines = []
    for run in np.split(over, np.flatnonzero(np.diff(over) > 2) + 1) if len(over) else []:
        peak = run[np.argmax(density[run])]
        a, b = min(run[0], peak - 3), max(run[-1], peak + 3)
        excess = density[a : b + 1] - floor[a : b + 1]
        below, at, above = np.sqrt(np.maximum(0, density[peak - 1 : peak + 2] - floor[peak - 1 : peak + 2]))
        r = max(above, below) / at
        offset = min(0.5, max(0, (2 * r - 1) / (r + 1))) * (1 if above >= below else -1)
        snr = density[peak] / floor[peak]
        lines.append((
            (peak + offset) * bin_hz, max(0, excess.sum() * bin_hz), db(snr), bin_hz * max(1e-4, 0.45 / np.sqrt(snr * nu)), a, b))
    return lines


def mains_of(lines, nominal, bin_hz):
    """Frequency of the mains that explains most lines, and which line is which harmonic (0 for none)."""
    if not lines:
        return None, np.zeros(0, int)
    hz, _, over, uncertainty = np.array(lines)[:, :4].T
    trial = np.arange(nominal * 0.985, nominal * 1.015, bin_hz / 80)[:, None]
    harmonic = np.round(hz / trial)
    off = np.abs(hz - harmonic * trial)
    fits = (harmonic >= 1) & (harmonic <= 40) & (off <= 0.75 * bin_hz + 3 * uncertainty)
    score = (fits * np.minimum(30, over) * (1 - off / bin_hz / 4)).sum(axis=1)
    score[~(((fits & (harmonic <= 3)).sum(axis=1) > 0) | (fits.sum(axis=1) >= 3))] = 0
    best = np.argmax(score)
    if score[best] <= 0:
        return None, np.zeros(len(lines), int)
    n = np.where(fits[best], harmonic[best], 0)
    weight = np.where(n > 0, 1 / uncertainty**2, 0)
    f0 = (weight * n * hz).sum() / (weight * n * n).sum()
    n = np.round(hz / f0)
    fits = (n >= 1) & (n <= 40) & (np.abs(hz - n * f0) <= 0.75 * bin_hz + 3 * uncertainty)
    return f0, np.where(fits, n, 0).astype(int)


def band_weights(f, bin_hz, low, high):
    """Share of each bin that lies inside a band, times its width."""
    return np.clip(np.minimum(high, f + bin_hz / 2) - np.maximum(low, f - bin_hz / 2), 0, bin_hz)


def weighted_sums(density, f, bin_hz):
    width = band_weights(f, bin_hz, NOISE_LOW, NOISE_HIGH)
    curves = np.stack([np.ones_like(f), a_weighting(f) ** 2, ccir_rms(f) ** 2]) * width
    return density @ curves.T


def idle_figures(path, mains):
    x, fs = read(path)
    size = 2 ** round(np.log2(1.365 * fs))
    while size > 4096 and x.shape[1] < 6.5 * size:
        size //= 2
    bad, block = unsteady(x, fs)
    f, density, segments = welch(x, fs, size, bad, block)
    nu, bin_hz = freedom(segments), fs / size
    floor = local_floor(density, nu)
    sums = weighted_sums(density, f, bin_hz)
    out = []
    for c in range(len(x)):
        lines = find_lines(density[c], floor[c], bin_hz, nu, NOISE_LOW, NOISE_HIGH)
        f0, harmonic = mains_of(lines, mains, bin_hz)
        around = (f >= 891.25) & (f <= 1122.02)
        for line in lines:
            around[line[4] : line[5] + 1] = False
        power = np.array([line[1] for line in lines])
        hum, whine = (float(power[harmonic > 0].sum()), float(power[harmonic == 0].sum())) if len(lines) else (0.0, 0.0)
        # 1/48 octave for the picture: mean and largest density.
        edges = np.unique(np.searchsorted(f, 20 * 2 ** (np.arange(0, 479) / 48)))
        edges = edges[edges < len(f)]
        out.append({
            "unweighted": sums[c, 0], "a": sums[c, 1], "ccir-rms": sums[c, 2], "density-1k": density[c][around].mean(),
            "hum": hum, "whine": whine, "hiss": max(0.0, sums[c, 0] - hum - whine), "mains": f0,
            "harmonics": {str(n): float(p) for n, p in zip(harmonic, power) if n > 0},
            "mean": db(np.add.reduceat(density[c], edges) / np.diff(np.append(edges, len(f)))).tolist(),
            "peak": db(np.maximum.reduceat(density[c], edges)).tolist(),
        })
    return out


# --- The quasi-peak meter ----------------------------------------------------------------------------------------------


def weighted_at_four_times(x, fs, factor):
    """Through the 468 network at `factor` times the rate, by overlapping blocks."""
    size, guard = 8192, int(np.ceil(0.005 * fs))
    hop = size - 2 * guard
    count = -(-x.shape[1] // hop)
    padded = np.pad(x, ((0, 0), (guard, count * hop + guard - x.shape[1])))
    blocks = np.lib.stride_tricks.sliding_window_view(padded, size, axis=1)[:, ::hop]
    response = itu468(np.arange(size // 2 + 1) * fs / size) * factor
    response[-1] = response[-1].real / 2
    spectrum = np.zeros((*blocks.shape[:2], factor * size // 2 + 1), complex)
    spectrum[..., : size // 2 + 1] = fft.rfft(blocks) * response
    y = fft.irfft(spectrum, factor * size)[..., guard * factor : (guard + hop) * factor]
    return y.reshape(len(x), -1)[:, : x.shape[1] * factor]


UP1, DOWN1, UP2, DOWN2 = 1.484e-3, 0.2914, 0.2378, 0.3439


def detect(level, rate, settle):
    """Mean reading of each row. A recursion cannot be vectorised over time, so every half second of every channel runs as a lane of
    its own, after 3.5 s of warming up (ten time constants), all lanes at once."""
    part, warm = rate // 2, 7
    rows, length = level.shape
    parts = -(-length // part)
    padded = np.zeros((warm + parts, rows, part))
    padded[warm:] = np.pad(np.abs(level), ((0, 0), (0, parts * part - length))).reshape(rows, parts, part).transpose(1, 0, 2)
    by_time = np.ascontiguousarray(padded.reshape(-1, part).T)
    lanes = parts * rows
    up1, up2 = (1 - np.exp(-1 / (t * rate)) for t in (UP1, UP2))
    down1, down2 = (np.exp(-1 / (t * rate)) for t in (DOWN1, DOWN2))
    by_time *= up1
    first, second, a, b, total = (np.zeros(lanes) for _ in range(5))
    counted = np.arange(part)[:, None] + part * np.arange(parts) >= settle * rate
    counted &= np.arange(part)[:, None] + part * np.arange(parts) < length
    counts = np.repeat(counted, rows, axis=1)
    whole = counts.all(axis=1)
    for j in range(warm + 1):
        for i in range(part):
            np.multiply(first, down1, out=a)
            np.multiply(a, 1 - up1, out=b)
            np.add(b, by_time[i, j * rows : j * rows + lanes], out=b)
            np.maximum(a, b, out=first)
            np.multiply(second, down2, out=a)
            np.multiply(a, 1 - up2, out=b)
            np.multiply(first, up2, out=second)
            np.add(b, second, out=b)
            np.maximum(a, b, out=second)
            if j == warm:
                np.add(total, second if whole[i] else second * counts[i], out=total)
    return total.reshape(parts, rows).sum(axis=0) / counts.reshape(part, parts, rows).sum(axis=(0, 1))


def steady_reading(rate):
    sine = np.sqrt(2) * np.abs(np.sin(2 * np.pi * 1000 * np.arange(rate // 1000) / rate))
    up1, up2 = (1 - np.exp(-1 / (t * rate)) for t in (UP1, UP2))
    down1, down2 = (np.exp(-1 / (t * rate)) for t in (DOWN1, DOWN2))
    first = second = 0.0
    for _ in range(4000):
        for v in sine.tolist():
            first *= down1
            first += up1 * max(0.0, v - first)
            second *= down2
            second += up2 * max(0.0, first - second)
    return second


STEADY = {}


def quasi_peak(paths):
    """Squared readings, a list per path; all channels of all paths at once."""
    levels = []
    for path in paths:
        x, fs = read(path)
        factor = 1
        while factor * fs < 176400:
            factor *= 2
        levels.append(weighted_at_four_times(x, fs, factor))
    rate = factor * fs
    if rate not in STEADY:
        STEADY[rate] = steady_reading(rate)
    mean = detect(np.concatenate(levels), rate, 1.5) / STEADY[rate]
    return np.split(mean**2, np.cumsum([len(v) for v in levels])[:-1])


# --- Takes: markers ----------------------------------------------------------------------------------------------------

SYNC_S, SYNC_LOW, SYNC_HIGH, GAP_S, SYMBOL_S, BITS = 0.25, 400.0, 4000.0, 0.02, 0.016, 40
TONE_AT, TONE_S, TONE_HZ, SWEEP_AT, END_AT, MARKER_S = 1.5, 2.0, 997.0, 3.75, 12.75, 0.25 + 0.02 + 40 * 0.016


def fade(t, length, rise, fall):
    return np.sin(np.pi / 2 * np.clip(t / rise, 0, 1)) ** 2 * np.sin(np.pi / 2 * np.clip((length - t) / fall, 0, 1)) ** 2


def chirp(t, length, low, high, edge):
    return np.sin(2 * np.pi * (low * t + (high - low) / length / 2 * t * t)) * fade(t, length, edge, edge)


def sync(end, rate):
    t = np.arange(int(np.ceil(SYNC_S * rate)) + 1) / rate
    return chirp(t, SYNC_S, *((SYNC_LOW, SYNC_HIGH) if end == "start" else (SYNC_HIGH, SYNC_LOW)), 0.01)


def search_markers(x, fs):
    """Where the syncs are, by the correlation coefficient in 300 to 4500 Hz: (likeness, channel, frame) for start and end."""
    frames = x.shape[1]
    n = fft.next_fast_len(frames + int(SYNC_S * fs) + 1, real=True)
    low, high = int(np.ceil(300 * n / fs)), int(4500 * n / fs)
    points = fft.next_fast_len(high + 1)
    step = n / points

    def analytic(bins):
        z = np.zeros((*bins.shape[:-1], points), complex)
        z[..., low : high + 1] = bins
        return fft.ifft(z, overwrite_x=True)

    spectrum = fft.rfft(x, n)[:, low : high + 1]
    y = analytic(spectrum)
    energy = np.cumsum(y.real**2 + y.imag**2, axis=1)
    length = int((SYNC_S * fs) / step)
    local = np.maximum(energy[:, length:] - energy[:, :-length], 1e-12 * energy[:, -1:])
    found = {}
    for end in ("start", "end"):
        template = fft.rfft(sync(end, fs), n)[low : high + 1]
        s = analytic(template)
        c = analytic(spectrum * template.conj())[:, :-length]
        likeness = np.sqrt((c.real**2 + c.imag**2) / (local * (s.real**2 + s.imag**2).sum()))
        hits = []
        for channel, row in enumerate(likeness):
            peaks, _ = signal.find_peaks(row, height=0.3, distance=max(1, int(0.1 * fs / step)))
            hits += [(row[p], channel, p * step) for p in peaks]
        found[end] = max(hits)
    return found


def time_sync(end, x, rate, near):
    """The exact time of a sync: maximum of the envelope of its correlation between samples, by Newton steps."""
    frames = min(len(x), int(np.ceil(near + (SYNC_S + 0.05) * rate)))
    n = fft.next_fast_len(int(frames + SYNC_S * rate) + 1, real=True)
    low, high = int(np.ceil(SYNC_LOW * n / rate)), int(SYNC_HIGH * n / rate)
    z = (fft.rfft(x[:frames], n) * fft.rfft(sync(end, rate), n).conj())[low : high + 1]
    w = 2 * np.pi / n * (np.arange(low, high + 1) - (low + high) / 2)
    width = rate / (SYNC_HIGH - SYNC_LOW)
    moments = np.stack([z, 1j * w * z, -w * w * z])
    trial = near + np.arange(-24, 25) * width / 8
    # e^(jwτ) on a regular grid of τ: one turn after another, as a running product.
    turn = np.exp(1j * w * width / 8)
    at = z * np.exp(1j * w * trial[0])
    values = np.empty(len(trial))
    for i in range(len(trial)):
        values[i] = abs(at.sum())
        at *= turn
    best = trial[np.argmax(values)]
    for _ in range(20):
        a, b, c = moments @ np.exp(1j * w * best)
        slope, curve = 2 * (a.conjugate() * b).real, 2 * (abs(b) ** 2 + (a.conjugate() * c).real)
        if not curve < 0:
            break
        move = np.clip(-slope / curve, -width / 8, width / 8)
        best += move
        if abs(move) < 1e-7:
            break
    return best


def read_word(x, rate, frame):
    at = frame + (SYNC_S + GAP_S + np.arange(BITS)[:, None] * SYMBOL_S) * rate
    first = np.ceil(at).astype(int)
    n = np.arange(int(SYMBOL_S * rate))
    samples = x[first + n]
    strength = []
    for low, high in ((3000, 1000), (1000, 3000)):
        t = (first + n - at) / rate
        parts = [(samples * chirp(t - d, SYMBOL_S, low, high, 0.002) * ((t >= d))).sum(axis=1) for d in (0, 0.000125)]
        strength.append(np.hypot(*parts))
    data = np.packbits(strength[1] > strength[0])
    crc = 0xFF
    for byte in data[:4]:
        crc ^= int(byte)
        for _ in range(8):
            crc = ((crc << 1) ^ 0x07) & 0xFF if crc & 0x80 else (crc << 1) & 0xFF
    if crc != data[4]:
        return None
    return {"step": int(data[0]) * 256 + int(data[1]), "top": 20224 + 16 * int(data[2]), "level": -0.25 * int(data[3])}


def locate(x, fs):
    found = search_markers(x, fs)
    margin, window = 0.05 * fs, int(np.ceil((MARKER_S + 0.15) * fs))
    places, channel, word = {}, None, None
    for end, (_, c, frame) in found.items():
        start = max(0, round(frame - margin))
        piece = x[c, start : start + window]
        exact = time_sync(end, piece, fs, frame - start)
        said = read_word(piece, fs, exact)
        if said and channel is None:
            channel, word = c, said
        places[end] = start + exact
    begin, ratio = places["start"], 1.0

    def retime(r):
        times = []
        for end in ("start", "end"):
            start = max(0, round(places[end] - margin))
            times.append(start + time_sync(end, x[channel, start : start + window], fs * r, places[end] - start))
        return times[0], (times[1] - times[0]) / (END_AT * fs)

    for _ in range(4):
        before = ratio
        begin, ratio = retime(before)
        if abs(ratio - before) < 1e-9:
            break
    start = round(begin + (TONE_AT + 0.05) * ratio * fs)
    tone = x[channel, start : start + round((TONE_S - 0.1) * fs)]
    fit = fit_sine(tone, fs, TONE_HZ / ratio)
    by_tone = TONE_HZ / fit[0]
    begin, ratio = retime(by_tone)
    if abs(ratio - by_tone) * END_AT * fs >= 0.5:
        raise ValueError("samples lost")
    # The tone's clock is the finer one; the start is where both markers agree best with it.
    return begin + (ratio - by_tone) * END_AT * fs / 2, by_tone, word


# --- Takes: tone and sweep ---------------------------------------------------------------------------------------------


def fit_sine(x, fs, start_hz):
    """Four-parameter fit, Hann-weighted: frequency, amplitude, phase at sample 0, offset."""
    n = np.arange(len(x))
    w = signal.get_window("hann", len(x))
    middle = (len(x) - 1) / 2
    omega = 2 * np.pi * start_hz / fs
    a = b = 0.0
    for number in range(20):
        turned = np.exp(1j * omega * n)
        c, s = turned.real, turned.imag
        columns = np.stack([c, s, np.ones_like(c)] + ([(n - middle) * (b * c - a * s)] if number else []))
        weighted = columns * w
        solved = np.linalg.solve(weighted @ columns.T, weighted @ x)
        a, b, offset = solved[:3]
        if number == 0:
            continue
        turn = solved[3] * middle
        a, b = a * np.cos(turn) + b * np.sin(turn), b * np.cos(turn) - a * np.sin(turn)
        omega += solved[3]
        if abs(solved[3]) * len(x) < 1e-9:
            break
    return omega * fs / 2 / np.pi, np.hypot(a, b), np.arctan2(-b, a), offset


def project(x, w, fs, hz):
    """Squared amplitudes at given frequencies: the sum over 256 samples as a matrix product, then over the blocks."""
    block = 256
    y = np.zeros(-(-len(x) // block) * block)
    y[: len(x)] = w * x
    omega = 2 * np.pi * np.asarray(hz) / fs
    inner = y.reshape(-1, block) @ np.exp(-1j * np.outer(np.arange(block), omega))
    outer = np.exp(-1j * np.outer(np.arange(len(inner)) * block, omega))
    return np.abs(2 * (inner * outer).sum(axis=0) / w.sum()) ** 2


BESIDE = np.array([-11.3, -7.7, 7.7, 11.3])


def tone_figures(x, fs, expected_hz):
    hz, amplitude, phase, offset = fit_sine(x, fs, expected_hz)
    w = signal.get_window("hann", len(x))
    orders = np.arange(2, 11)
    orders = orders[orders * hz < min(20000, 0.46 * fs)]
    found = project(x, w, fs, orders * hz)
    noise = project(x, w, fs, (orders[:, None] * hz + BESIDE).ravel()).reshape(-1, 4).mean(axis=1)
    left = x - offset - amplitude * np.cos(2 * np.pi * hz / fs * np.arange(len(x)) + phase)
    beside = project(left, w, fs, hz + BESIDE).mean()
    size = 2 ** int(np.log2(len(left) / 2))
    f, density, segments = welch(left, fs, size)
    nu, bin_hz = freedom(segments), fs / size
    find_lines(density, local_floor(density, nu), bin_hz, nu, 4, 20000)
    whole = density @ band_weights(f, bin_hz, 4, 20000)
    apart = density @ (band_weights(f, bin_hz, 4, hz / 1.5) + band_weights(f, bin_hz, 1.5 * hz, 20000))
    notched = density @ (band_weights(f, bin_hz, 20, 20000) * notch(f, hz) ** 2)
    squares = float((found - noise).sum())
    variance = (2 * np.maximum(0, found - noise) * noise + 1.25 * noise**2).sum()
    return {"amplitude": amplitude, "beside": beside, "squares": squares, "squaresUncertainty": np.sqrt(variance), "whole": whole,
            "apart": apart, "notched": notched}


NAMED = [20, 100, 200, 500, 997, 1000, 2000, 5000, 10000, 20000]
GRID = np.array(sorted(NAMED + [f for f in 20 * 1000 ** (np.arange(479) / 478) if all(abs(f / n - 1) > 0.003 for n in NAMED)]))


def raised_cosine(x):
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(x, 0, 1))


def sweep_response(y, fs, rate, first, sweep_frame, top, amplitude):
    """Complex response of every channel on the grid, its noise gain, and the lag of the impulse response's peak."""
    frames = y.shape[1]
    duration = np.log(top / 10)
    t = (np.arange(frames) + first - sweep_frame) / rate
    played = np.zeros(frames)
    a, b = np.searchsorted(t, [0, duration])
    inside = t[a:b]
    played[a:b] = amplitude * np.sin(2 * np.pi * 10 * np.exp(inside))
    edge = np.searchsorted(inside, [0.25, duration - 0.01])
    played[a : a + edge[0]] *= fade(inside[: edge[0]], duration, 0.25, 0.01)
    played[a + edge[1] : b] *= fade(inside[edge[1] :], duration, 0.25, 0.01)
    n = fft.next_fast_len(int(frames + 0.85 * rate) + 1, real=True)
    x = fft.rfft(played, n)
    f = np.arange(len(x)) * rate / n
    band = raised_cosine((f - 10.5) / 6.5) * raised_cosine((0.998 * top - f) / (0.01 * top))
    square = x.real**2 + x.imag**2
    inverse = np.divide(band, square, out=np.zeros_like(band), where=band > 0) * x.conj()
    h = fft.irfft(fft.rfft(y, n) * inverse, n)
    lag = np.arange(int(np.ceil(-0.55 * rate)), int(0.85 * rate) + 1)
    window = raised_cosine((lag / rate + 0.55) / 0.3) * raised_cosine((0.85 - lag / rate) / 0.35)
    kept = h[:, lag] * window
    padded = np.zeros_like(h)
    padded[:, lag] = kept
    spectrum = fft.rfft(padded)
    at = GRID * n / rate
    k = at.astype(int)
    w = at - k
    response = (1 - w) * spectrum[:, k] + w * spectrum[:, k + 1]
    gain = (window**2).sum() * rate / 2 / square[k]
    return response, gain, lag[np.argmax(np.abs(kept), axis=1)] / rate


def silence_density(pieces, fs):
    size = 2 ** int(np.log2(0.09 * fs))
    parts = [welch(p, fs, size) for p in pieces]
    total = sum(p[2] for p in parts)
    density = sum(p[1] * p[2] for p in parts) / total
    bin_hz = fs / size
    half = np.maximum(2, 0.115 * GRID / bin_hz)
    first = np.maximum(1, np.round(GRID / bin_hz - half)).astype(int)
    last = np.minimum(density.shape[1] - 1, np.round(GRID / bin_hz + half)).astype(int)
    sums = np.cumsum(np.pad(density, ((0, 0), (1, 0))), axis=1)
    return (sums[:, last + 1] - sums[:, first]) / (last + 1 - first)


def take_figures(path):
    x, fs = read(path)
    begin, ratio, word = locate(x, fs)
    rate = fs * ratio
    amplitude = 10 ** (word["level"] / 20)
    duration = np.log(word["top"] / 10)
    sweep_frame = begin + SWEEP_AT * rate
    first = int(sweep_frame - 0.2 * rate)
    frames = int(np.ceil((0.2 + duration + 0.9) * rate))
    response, gain, lag = sweep_response(x[:, first : first + frames], fs, rate, first, sweep_frame, word["top"], amplitude)
    tone_from = int(np.ceil(begin + (TONE_AT + 0.05) * rate))
    tones = x[:, tone_from : tone_from + int((TONE_S - 0.1) * rate)]
    silences = [x[:, int(np.ceil(begin + a * rate)) :][:, : int((b - a) * rate)]
                for a, b in ((MARKER_S + 0.1, TONE_AT - 0.02), (SWEEP_AT + duration + 0.6, END_AT - 0.02))]
    variance = gain * silence_density(silences, fs)
    return [{"level": word["level"], "start": begin, "ratio": ratio, "response": response[c], "variance": variance[c], "lag": lag[c],
             **tone_figures(tones[c], fs, TONE_HZ / ratio)} for c in range(len(x))]


# --- Readings ----------------------------------------------------------------------------------------------------------

LOG_WEIGHT = np.log(np.append(GRID[1:], GRID[-1]) / np.append(GRID[0], GRID[:-1])) / 2


def mean_power(r, low, high):
    inside = (GRID >= low) & (GRID <= high)
    return (LOG_WEIGHT[inside] * np.abs(r[inside]) ** 2).sum() / LOG_WEIGHT[inside].sum()


def thirds(r):
    mid = 1000 * 10 ** (np.arange(-16, 13) / 10)
    return np.array([db(mean_power(r, m * 10**-0.05, m * 10**0.05)) for m in mid])


def divide(a, b):
    r = a["response"] / b["response"]
    square = np.abs(b["response"]) ** 2
    return r, a["variance"] / square + np.abs(r) ** 2 * b["variance"] / square, a["lag"] - b["lag"]


def response_curve(take, bench, normalised):
    r = divide(take, bench)[0]
    return 2 * db(np.abs(r)) - (db(mean_power(r, 200, 500)) if normalised else 0)


def phase_line(r, variance, lag):
    inside = (GRID >= 500) & (GRID <= 12000)
    f, r, variance = GRID[inside], r[inside], variance[inside]
    phase = np.unwrap(np.angle(r * np.exp(2j * np.pi * f * lag)))
    weight = f / 1000 / (variance / 2 / np.abs(r) ** 2 + 9e-8)
    slope, intercept = np.polyfit(f, phase, 1, w=np.sqrt(weight))
    wrapped = (intercept + np.pi) % (2 * np.pi) - np.pi
    sign = 1 if abs(wrapped) < np.pi / 4 else -1 if abs(wrapped) > 3 * np.pi / 4 else None
    return lag - slope / 2 / np.pi, sign


def shunt_fit(r, variance, plug, generator):
    """Capacitance behind a plug, Gauss-Newton on C and G in dB."""
    inside = (GRID >= 200) & (GRID <= 20000)
    f, level = GRID[inside], 2 * db(np.abs(r[inside]))
    sigma = np.hypot(0.0002, 20 / np.log(10) * np.sqrt(variance[inside] / 2) / np.abs(r[inside]))
    total = plug + generator

    def model(c, g):
        b = 2 * np.pi * f * c
        return db(((1 + generator * g) ** 2 + (generator * b) ** 2) / ((1 + total * g) ** 2 + (total * b) ** 2))

    c, g = 100e-12, 1e-6
    for _ in range(60):
        jacobian = np.stack([(model(c + 1e-13, g) - model(c - 1e-13, g)) / 2e-13, (model(c, g + 1e-10) - model(c, g - 1e-10)) / 2e-10])
        scaled = jacobian / sigma
        norm = np.sqrt((scaled**2).sum(axis=1))
        step = np.linalg.lstsq((scaled / norm[:, None]).T, (level - model(c, g)) / sigma, rcond=None)[0] / norm
        before, c, g = c, max(c / 4, c + step[0]), max(-1e-5, g + step[1])
        if abs(c - before) < 1e-6 * before:
            break
    return c, g


def over_bench(power, bench):
    return power if bench is None or power < 10**0.3 * bench else power - bench


def noise_readings(add, state, output, idle, bench, offset):
    for key in ("unweighted", "a", "ccir-rms", "468-qpk", "density-1k", "hiss"):
        if key in idle:
            add(f"noise.{key}", state, None, output, offset + db(2 * over_bench(idle[key], bench and bench[key])))
    for key in ("hum", "whine"):
        if idle[key] > 0:
            add(f"noise.{key}", state, None, output, offset + db(2 * over_bench(idle[key], bench[key] if bench and bench[key] > 0 else None)))
    if idle["mains"]:
        add("hum.mains-frequency", state, None, output, idle["mains"])
        for n, power in idle["harmonics"].items():
            add(f"noise.hum.h{n}", state, None, output, offset + db(2 * power))


def distortion_readings(add, state, source, output, take, bench):
    tone = take["amplitude"] ** 2
    if take["squares"] >= 3 * take["squaresUncertainty"]:
        add("thd", state, source, output, db(take["squares"] / tone))
    for name, key in (("thd-n", "apart"), ("thd-n.notch", "notched"), ("sinad", "whole")):
        power = take[key]
        if bench is not None:
            through = bench[key] * tone / bench["amplitude"] ** 2
            if power >= 10**0.3 * max(through, bench[key]):
                power = power - (through + bench[key]) / 2
        add(name, state, source, output, db(tone / 2 / power) if key == "whole" else db(power / (tone / 2 + take["whole"])))


def readings(job, idles, takes):
    out = []

    def add(name, state, source, output, value):
        out.append({"id": name, "state": state, "source": source, "output": output, "value": None if value is None else float(value)})

    inputs = job["inputs"]
    for step, captured in idles.items():
        state = step.split(".")[0]
        for i, channel in enumerate(inputs):
            bench = idles["bench.idle"][i] if state != "bench" and "bench.idle" in idles else None
            noise_readings(add, state, channel["output"], captured[i], bench, channel["fullScaleDbu"])
    for step, captured in takes.items():
        state, _, source = step.removesuffix(".take").partition("+")
        source = source or None
        bench = takes["bench.take"]
        for i, channel in enumerate(inputs):
            take, at = captured[i], (state, source, channel["output"])
            if source is None:
                distortion_readings(add, *at, take, bench[i] if state != "bench" else None)
                add("level.tone", *at, channel["fullScaleDbu"] + 2 * db(take["amplitude"]))
            if state == "bench":
                continue
            ratio, variance, lag = divide(take, bench[i])
            if source is None:
                add("gain.1k", *at, 2 * db(take["amplitude"] / bench[i]["amplitude"]) - take["level"] + bench[i]["level"])
                add("polarity", *at, phase_line(ratio, variance, lag)[1])
                if state.startswith("loop-") and "rest.take" in takes:
                    r = divide(take, takes["rest.take"][i])
                    level, bands = db(mean_power(r[0], 200, 5000)), thirds(r[0])
                    add("loop.gain", *at, level)
                    add("loop.worst-band", *at, (bands - level)[np.argmax(np.abs(bands - level))])
                    add("loop.polarity", *at, phase_line(*r)[1])
                continue
            if state != "lead":
                r = divide(take, takes[f"lead+{source}.take"][i])[0]
                reference = db(mean_power(r, 200, 500))
                loss = 2 * db(np.abs(r)) - reference
                for hz in (5000, 10000, 20000):
                    add(f"droop.{hz // 1000}k", *at, loss[np.searchsorted(GRID, hz)])
                below = np.flatnonzero((GRID >= 500) & (loss < -db(2)))
                if len(below):
                    k = below[0]
                    w = (loss[k - 1] + db(2)) / (loss[k - 1] - loss[k])
                    add("corner.-3db", *at, GRID[k - 1] * (GRID[k] / GRID[k - 1]) ** w)
            direct = takes.get(f"{state}.take", bench)[i]
            r = divide(take, direct)
            c, g = shunt_fit(r[0], r[1], job["plugs"][source], job["generatorOhm"])
            add("capacitance", *at, 1e12 * c)
            add("input-resistance", *at, 1e-3 / g)
        if source is None and state != "bench" and not state.startswith("invert-"):
            for a, b in job["match"]:
                i, j = (next(k for k, c in enumerate(inputs) if c["output"] == name) for name in (a, b))
                (rb, vb, lb), (ra, va, la) = divide(captured[j], captured[i]), divide(bench[j], bench[i])
                r = rb / ra
                variance = vb / np.abs(ra) ** 2 + np.abs(r) ** 2 * va / np.abs(ra) ** 2
                bands = thirds(r)
                delay, sign = phase_line(r, variance, lb - la)
                pair = (state, None, f"{a}:{b}")
                add("match.level", *pair, db(mean_power(r, 200, 5000)))
                add("match.level-worst-band", *pair, bands[np.argmax(np.abs(bands))])
                add("match.polarity", *pair, sign)
                add("match.delay", *pair, 1e6 * delay)
    value = {(r["id"], r["state"], r["source"], r["output"]): r["value"] for r in out}
    for (name, *at), level in value.items():
        if name == "level.tone" and at[0] != "bench" and ("noise.a", *at) in value:
            add("snr.a", *at, level - value["noise.a", *at])
    return out


def estimate(task):
    kind, steps, job, mains = task
    paths = [os.path.join(job, "captures", f"{s}.wav") for s in steps]
    if kind == "quasi-peak":
        return kind, steps, quasi_peak(paths)
    return kind, steps, idle_figures(paths[0], mains) if kind == "idle" else take_figures(paths[0])


def whole(folder, with_quasi_peak):
    with open(os.path.join(folder, "conditions.json")) as f:
        job = json.load(f)
    steps = sorted(s[:-4] for s in os.listdir(os.path.join(folder, "captures")) if s.endswith(".wav"))
    idle_steps = [s for s in steps if s.endswith(".idle")]
    tasks = [(s.split(".")[-1], [s], folder, job["mainsHz"]) for s in steps]
    if with_quasi_peak:
        tasks = [("quasi-peak", idle_steps[i::2], folder, None) for i in (0, 1)] + tasks
    idles, takes, loud = {}, {}, {}
    with Pool(2) as pool:
        for kind, steps, got in pool.imap_unordered(estimate, tasks):
            if kind == "quasi-peak":
                loud.update(zip(steps, got))
            else:
                (idles if kind == "idle" else takes)[steps[0]] = got
    for step, values in loud.items():
        for c, value in enumerate(values):
            idles[step][c]["468-qpk"] = value
    curves = [{"step": s, "output": i["output"], "hz": GRID.tolist(), "db": response_curve(takes[s][c], takes["bench.take"][c], "+" in s).tolist()}
              for s in takes for c, i in enumerate(job["inputs"]) if s != "bench.take"]
    spectra = [{"step": s, "output": i["output"], "mean": idles[s][c]["mean"], "peak": idles[s][c]["peak"]} for s in idles for c, i in enumerate(job["inputs"])]
    json.dump({"readings": readings(job, idles, takes), "responses": curves, "spectra": spectra}, sys.stdout)


def parts(folder, repeats):
    """Seconds of each part by itself, on one capture of each kind; the median of the repeats after one warm-up."""
    idle_path, take_path = (os.path.join(folder, "captures", f"rest.{k}.wav") for k in ("idle", "take"))
    x, fs = read(idle_path)
    size = 2 ** round(np.log2(1.365 * fs))
    f, density, segments = welch(x, fs, size)
    nu, bin_hz = freedom(segments), fs / size
    y, _ = read(take_path)
    begin, ratio, word = locate(y, fs)
    rate, duration = fs * ratio, np.log(word["top"] / 10)
    sweep_frame = begin + SWEEP_AT * rate
    first = int(sweep_frame - 0.2 * rate)
    sweep = np.ascontiguousarray(y[:, first : first + int(np.ceil((1.1 + duration) * rate))])
    tone_from = int(np.ceil(begin + (TONE_AT + 0.05) * rate))
    tones = np.ascontiguousarray(y[:, tone_from : tone_from + int((TONE_S - 0.1) * rate)])

    def lines():
        floor = local_floor(density, nu)
        return [find_lines(d, p, bin_hz, nu, NOISE_LOW, NOISE_HIGH) for d, p in zip(density, floor)]

    work = {
        "reading WAV": lambda: (read(idle_path), read(take_path)),
        "steadiness": lambda: unsteady(x, fs),
        "Welch": lambda: welch(x, fs, size),
        "weighted sums": lambda: weighted_sums(density, f, bin_hz),
        "local floor, lines": lines,
        "quasi-peak": lambda: quasi_peak([idle_path]),
        "markers": lambda: locate(y, fs),
        "sweep": lambda: sweep_response(sweep, fs, rate, first, sweep_frame, word["top"], 10 ** (word["level"] / 20)),
        "tone": lambda: [tone_figures(t, fs, TONE_HZ / ratio) for t in tones],
    }
    seconds = {}
    for name, run in work.items():
        slow = name == "quasi-peak"
        if not slow:
            run()
        times = []
        for _ in range(1 if slow else repeats):
            began = time.perf_counter()
            run()
            times.append(time.perf_counter() - began)
        seconds[name] = float(np.median(times))
    json.dump(seconds, sys.stdout)


if __name__ == "__main__":
    if "--parts" in sys.argv:
        parts(sys.argv[1], int(sys.argv[sys.argv.index("--parts") + 1]))
    else:
        whole(sys.argv[1], "--no-quasi-peak" not in sys.argv)
