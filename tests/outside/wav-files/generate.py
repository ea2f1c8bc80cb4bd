#!/usr/bin/python3
"""Writes small WAV files with SoX, FFmpeg and libsndfile, and what libsndfile reads from each (truth.json).

Run with Debian's python3 (python3-soundfile, python3-numpy, sox, ffmpeg, sndfile-programs), with the folder to write to
as an argument, this one if left out. versions.json records the tools. Same tools, same bytes.

A few layouts are written by none of the three; they are cut from their files byte by byte, and truth.json says so in
"made". The truth is libsndfile's, of the file itself or, where libsndfile cannot read it, of the named twin that holds
the same samples. FFmpeg's reading of every file is compared with it here: a difference that is not named ends the script.
"""
import hashlib
import json
import os
import platform
import struct
import subprocess
import sys

import numpy as np
import soundfile as sf

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = sys.argv[1] if len(sys.argv) > 1 else HERE
truth = []


def path(name):
    return os.path.join(OUT, name + ".wav")


def run(*arguments, stdin=None, may_fail=False):
    done = subprocess.run(arguments, input=stdin, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    if done.returncode and not may_fail:
        sys.exit(f"{' '.join(arguments)}\n{done.stderr.decode()}")
    return done.stdout


def samples(frames, channels, seed, bits=None):
    """Noise with both ends of full scale, zero and the smallest step in it; as multiples of 2^(1-bits) if given."""
    x = np.random.RandomState(seed).uniform(-1, 1, (frames, channels))
    step = 2.0 ** (1 - (bits or 24))
    x.flat[: 6 * channels] = np.tile([-1, 1 - step, 0, step, -step, 0.5], channels)
    return np.round(x / step) * step if bits else x


# --- the three writers


def by_sox(name, rate, x, *options):
    raw = ["-t", "raw", "-e", "floating-point", "-b", "64", "-r", str(rate), "-c", str(x.shape[1]), "-"]
    run("sox", "-V1", "-D", *raw, *options, path(name), stdin=x.tobytes())
    record(name, "SoX " + " ".join(options))


def by_ffmpeg(name, rate, x, *options, stream=False):
    raw = ["-f", "f64le", "-ar", str(rate), "-ac", str(x.shape[1]), "-i", "-"]
    written = run("ffmpeg", "-v", "error", "-y", *raw, "-f", "wav", *options, "-" if stream else path(name), stdin=x.tobytes())
    if stream:
        put(name, written)


def by_libsndfile(name, rate, x, subtype, form="WAV", before=(), after=()):
    with sf.SoundFile(path(name), "w", rate, x.shape[1], subtype, format=form) as f:
        for key, value in before:
            setattr(f, key, value)
        f.write(x)
        for key, value in after:
            setattr(f, key, value)
    whole = bytearray(get(name))
    peak = whole.find(b"PEAK")
    if peak > 0:  # the chunk holds the time of writing: another file each second
        whole[peak + 12 : peak + 16] = struct.pack("<I", 1700000000)
    put(name, whole)


# --- byte by byte


def get(name):
    with open(path(name), "rb") as f:
        return f.read()


def put(name, content):
    with open(path(name), "wb") as f:
        f.write(content)


def chunk(name, content, pad=b"\0"):
    return name + struct.pack("<I", len(content)) + content + (pad if len(content) % 2 else b"")


def insert(source, target, before, *chunks):
    """A copy with chunks in front of the one named, or at the end."""
    whole = get(source)
    at = len(whole) if before is None else whole.index(before)
    whole = whole[:at] + b"".join(chunks) + whole[at:]
    put(target, whole[:4] + struct.pack("<I", len(whole) - 8) + whole[8:])


def bext(date, time):
    content = b"boardproof test".ljust(320, b"\0") + date + time
    return chunk(b"bext", content.ljust(602, b"\0"))


# --- what was read from it


def sha256(x):
    return hashlib.sha256(np.ascontiguousarray(x, "<f8").tobytes()).hexdigest()


def record(name, made, twin=None, ffmpeg=True, **header):
    """Notes libsndfile's samples; `header` holds what else a reader has to find."""
    with sf.SoundFile(path(twin or name)) as f:
        x = f.read(dtype="float64", always_2d=True)
        rate = f.samplerate
    f64 = run("ffmpeg", "-v", "error", "-i", path(name), "-f", "f64le", "-c:a", "pcm_f64le", "-", may_fail=not ffmpeg)
    if np.array_equal(np.frombuffer(f64, "<f8"), x.ravel()) != ffmpeg:
        sys.exit(f"{name}: FFmpeg and libsndfile {'differ' if ffmpeg else 'agree now'}")
    truth.append(
        {
            "file": name + ".wav",
            "made": made,
            "readBy": "libsndfile" + (f" from {twin}.wav" if twin else "") + (", FFmpeg" if ffmpeg else ""),
            "sampleRateHz": rate,
            "channels": x.shape[1],
            "frames": len(x),
            **header,
            "firstFrames": [[float(v) for v in row[:4]] for row in x[:8]],
            "sha256": sha256(x),
        }
    )


# SoX: plain headers up to 16 bits and two channels, extensible above
by_sox("sox-16-mono-44100", 44100, samples(211, 1, 1, 16), "-b", "16")
by_sox("sox-16-stereo-48000", 48000, samples(200, 2, 2, 16), "-b", "16")
by_sox("sox-16-32ch-48000", 48000, samples(40, 32, 3, 16), "-b", "16")
by_sox("sox-24-mono-odd-44100", 44100, samples(201, 1, 4, 24), "-b", "24")
by_sox("sox-24-stereo-48000", 48000, samples(200, 2, 5, 24), "-b", "24")
by_sox("sox-24-8ch-96000", 96000, samples(60, 8, 6, 24), "-b", "24")
by_sox("sox-32-stereo-96000", 96000, samples(150, 2, 7, 31), "-b", "32")
by_sox("sox-f32-stereo-88200", 88200, samples(150, 2, 8, 24), "-e", "floating-point", "-b", "32")
by_sox("sox-f64-mono-192000", 192000, samples(150, 1, 9, 31), "-e", "floating-point", "-b", "64")

# SoX writing to a pipe that is cut: the size stays at 0x7FFFF000, in whole frames
endless = subprocess.Popen(
    ["sox", "-V1", "-D", "-R", "-n", "-r", "48000", "-c", "2", "-b", "24", "-t", "wav", "-", "synth", "sine", "997", "sine", "1499"],
    stdout=subprocess.PIPE,
    stderr=subprocess.DEVNULL,
)
put("sox-24-stereo-killed-48000", endless.stdout.read(1500))
endless.stdout.close()
endless.wait()
record("sox-24-stereo-killed-48000", "SoX, pipe closed after 1500 bytes", unfinished=True)

# FFmpeg: LIST before the samples; bext; RF64; pipes whose sizes are never filled in
for name, rate, x, options in [
    ("ffmpeg-16-stereo-list-48000", 48000, samples(200, 2, 11, 16), ["-c:a", "pcm_s16le", "-metadata", "title=odd title"]),
    ("ffmpeg-24-stereo-88200", 88200, samples(200, 2, 12, 24), ["-c:a", "pcm_s24le"]),
    ("ffmpeg-24-mono-176400", 176400, samples(199, 1, 13, 24), ["-c:a", "pcm_s24le"]),
    ("ffmpeg-32-stereo-192000", 192000, samples(150, 2, 14, 32), ["-c:a", "pcm_s32le"]),
    ("ffmpeg-f32-8ch-48000", 48000, samples(50, 8, 15), ["-c:a", "pcm_f32le"]),
    ("ffmpeg-f64-stereo-176400", 176400, samples(120, 2, 16), ["-c:a", "pcm_f64le"]),
    ("ffmpeg-rf64-16-mono-44100", 44100, samples(200, 1, 17, 16), ["-c:a", "pcm_s16le", "-rf64", "always"]),
    ("ffmpeg-rf64-24-stereo-48000", 48000, samples(200, 2, 18, 24), ["-c:a", "pcm_s24le", "-rf64", "always"]),
    ("ffmpeg-rf64-f32-stereo-96000", 96000, samples(150, 2, 19), ["-c:a", "pcm_f32le", "-rf64", "always"]),
]:
    by_ffmpeg(name, rate, x, *options)
    record(name, "FFmpeg " + " ".join(options), **({"container": "RF64"} if "rf64" in name else {}))

stamp = ["-write_bext", "1", "-metadata", "origination_date=2024-03-09", "-metadata", "origination_time=18:05:59"]
by_ffmpeg("ffmpeg-24-stereo-bext-96000", 96000, samples(150, 2, 20, 24), "-c:a", "pcm_s24le", *stamp)
record("ffmpeg-24-stereo-bext-96000", "FFmpeg " + " ".join(stamp), recordedAt="2024-03-09T18:05:59")

by_ffmpeg("ffmpeg-24-stereo-stream-48000", 48000, samples(150, 2, 21, 24), "-c:a", "pcm_s24le", stream=True)
record("ffmpeg-24-stereo-stream-48000", "FFmpeg into a pipe", unfinished=True)
by_ffmpeg("ffmpeg-twin-of-rf64-stream", 48000, samples(150, 2, 22, 16), "-c:a", "pcm_s16le")
record("ffmpeg-twin-of-rf64-stream", "FFmpeg")
by_ffmpeg("ffmpeg-rf64-16-stereo-stream-48000", 48000, samples(150, 2, 22, 16), "-c:a", "pcm_s16le", "-rf64", "always", stream=True)
record(
    "ffmpeg-rf64-16-stereo-stream-48000",
    "FFmpeg -rf64 always into a pipe",
    twin="ffmpeg-twin-of-rf64-stream",
    ffmpeg=False,  # all three tools believe the length of 0, though the samples are there
    container="RF64",
    unfinished=True,
)

# libsndfile: plain headers for 24 bits, PEAK chunks, text before and after the samples
for name, rate, x, arguments in [
    ("sndfile-16-mono-44100", 44100, samples(211, 1, 31, 16), {"subtype": "PCM_16"}),
    ("sndfile-24-stereo-plain-48000", 48000, samples(200, 2, 32, 24), {"subtype": "PCM_24"}),
    ("sndfile-24-mono-odd-text-after-48000", 48000, samples(201, 1, 33, 24), {"subtype": "PCM_24", "after": [("comment", "odd one")]}),
    ("sndfile-16-stereo-text-before-48000", 48000, samples(150, 2, 34, 16), {"subtype": "PCM_16", "before": [("title", "abc")]}),
    ("sndfile-32-stereo-wavex-192000", 192000, samples(150, 2, 35, 32), {"subtype": "PCM_32", "form": "WAVEX"}),
    ("sndfile-24-32ch-wavex-96000", 96000, samples(40, 32, 36, 24), {"subtype": "PCM_24", "form": "WAVEX"}),
    ("sndfile-f32-stereo-hot-48000", 48000, 3 * samples(150, 2, 37), {"subtype": "FLOAT"}),
    ("sndfile-f64-stereo-hot-44100", 44100, 1e-300 * samples(150, 2, 38), {"subtype": "DOUBLE"}),
    ("sndfile-f32-8ch-wavex-88200", 88200, 1e-40 * samples(50, 8, 39), {"subtype": "FLOAT", "form": "WAVEX"}),
    ("sndfile-rf64-24-8ch-48000", 48000, samples(50, 8, 40, 24), {"subtype": "PCM_24", "form": "RF64"}),
    ("sndfile-rf64-f64-mono-96000", 96000, samples(120, 1, 41), {"subtype": "DOUBLE", "form": "RF64"}),
]:
    by_libsndfile(name, rate, x, **arguments)
    record(name, f"libsndfile {arguments}", **({"container": "RF64"} if "rf64" in name else {}))

run("sndfile-metadata-set", "--bext-orig-date", "2023-11-30", "--bext-orig-time", "07:08:09", path("sndfile-16-mono-44100"), path("sndfile-16-mono-bext-44100"))
record("sndfile-16-mono-bext-44100", "libsndfile, sndfile-metadata-set", recordedAt="2023-11-30T07:08:09")

# Layouts that none of the three writes
whole = get("ffmpeg-rf64-24-stereo-48000")
put("bw64-24-stereo-48000", b"BW64" + whole[4:])
record("bw64-24-stereo-48000", "ffmpeg-rf64-24-stereo-48000 renamed", twin="ffmpeg-rf64-24-stereo-48000", container="BW64")

for name, subtype, container_bits, valid in [("24-in-32", "PCM_32", 32, 24), ("20-in-24", "PCM_24", 24, 20), ("12-in-16", "PCM_16", 16, 12)]:
    target = f"{name}-stereo-48000"
    by_libsndfile(target, 48000, samples(150, 2, 50 + valid, valid), subtype, "WAVEX")
    whole = bytearray(get(target))
    assert struct.unpack_from("<HHH", whole, 34) == (container_bits, 22, container_bits)
    struct.pack_into("<H", whole, 38, valid)
    put(target, whole)
    # FFmpeg takes 24 valid bits in 32 for a 24-bit float, and gives NaN for whole numbers.
    record(target, f"libsndfile WAVEX {subtype}, {valid} valid bits written into the header", ffmpeg=valid != 24, validBits=valid)

plain = "sox-16-stereo-48000"
insert(plain, "odd-chunk-first-48000", b"fmt ", chunk(b"note", b"odd"))
record("odd-chunk-first-48000", f"{plain} with an odd chunk before fmt")
insert(plain, "odd-chunk-between-48000", b"data", chunk(b"LIST", b"INFOxyz"))
record("odd-chunk-between-48000", f"{plain} with an odd chunk before data")
insert(plain, "odd-chunk-no-pad-48000", b"data", chunk(b"iXML", b"<x/>\n", pad=b""))
record("odd-chunk-no-pad-48000", f"{plain} with an odd chunk whose pad byte is missing", twin=plain, ffmpeg=False)
insert(plain, "crowded-48000", b"fmt ", chunk(b"JUNK", bytes(92)), bext(b"2025-12-31", b"23-59-58"), chunk(b"iXML", b"<BWFXML/>"))
record("crowded-48000", f"{plain} after JUNK, bext and iXML", recordedAt="2025-12-31T23:59:58")
insert("sox-24-mono-odd-44100", "bext-after-44100", None, chunk(b"LIST", b"INFO"), bext(b"2025:01:02", b"03:04:05"))
record("bext-after-44100", "sox-24-mono-odd-44100 with LIST and bext after the samples", recordedAt="2025-01-02T03:04:05")

with open(os.path.join(OUT, "truth.json"), "w") as f:
    f.write("[\n" + ",\n".join(json.dumps(one) for one in truth) + "\n]\n")
with open(os.path.join(OUT, "versions.json"), "w") as f:
    tools = {
        "sox": run("sox", "--version").decode().split("SoX")[-1].strip(),
        "ffmpeg": run("ffmpeg", "-version").decode().split()[2],
        "libsndfile": sf.__libsndfile_version__,
        "soundfile": sf.__version__,
        "numpy": np.__version__,
        "python": platform.python_version(),
    }
    json.dump(tools, f, indent=1)
    f.write("\n")
