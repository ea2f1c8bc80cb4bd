"""What libsndfile finds in a WAV file, as JSON: python3 read-wav.py FILE [FIRST COUNT]"""
import json
import sys

import soundfile as sf

with sf.SoundFile(sys.argv[1]) as f:
    first, count = (int(a) for a in sys.argv[2:4]) if len(sys.argv) > 2 else (0, f.frames)
    f.seek(first)
    x = f.read(count, dtype="float64", always_2d=True)
    print(json.dumps({"format": f.format, "subtype": f.subtype, "rate": f.samplerate, "frames": f.frames, "samples": x.T.tolist()}))
