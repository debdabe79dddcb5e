#!/usr/bin/env python3
"""Makes the decoding vectors in vectors/ with general-purpose libraries.

    python3 vectors.py

Every *.wav was written, and every *.f64 beside it read back, by libsndfile
(version in vectors/made-with.txt) through sf_writef_double, sf_writef_int
and sf_readf_double; sox-*.wav were written by SoX and, where integer, read by it.
A *.f64 holds the samples as little-endian float64, interleaved, full scale
+-1. KIND-CHANNELSch-RATE.wav are of other shapes than two channels at 48 kHz.
valid-*.wav are extensible files whose header was changed to fewer valid bits.
piped-*.wav went from SoX into a pipe, so that nobody could fill in their sizes.
refused-*.bin are the first bytes of files of other kinds.
"""

import array
import ctypes
import ctypes.util
import os
import random
import subprocess
import sys

FRAMES, CHANNELS, RATE = 37, 2, 48000
WAV, WAVEX, RF64, BIG = 0x010000, 0x130000, 0x220000, 0x20000000
KINDS = {
    "u8": WAV | 5, "s16": WAV | 2, "s24": WAV | 3, "s32": WAV | 4, "f32": WAV | 6, "f64": WAV | 7,
    "x-u8": WAVEX | 5, "x-s16": WAVEX | 2, "x-s24": WAVEX | 3, "x-s32": WAVEX | 4, "x-f32": WAVEX | 6, "x-f64": WAVEX | 7,
    "rf64-s16": RF64 | 2, "rf64-s24": RF64 | 3, "rf64-f32": RF64 | 6,
    "rifx-s16": WAV | BIG | 2, "rifx-s24": WAV | BIG | 3, "rifx-s32": WAV | BIG | 4, "rifx-f32": WAV | BIG | 6, "rifx-f64": WAV | BIG | 7,
}
REFUSED = {
    "aiff": 0x020000 | 2, "w64": 0x0B0000 | 2, "caf": 0x180000 | 2, "au": 0x030000 | 2, "flac": 0x170000 | 2, "ogg": 0x200000 | 0x60,
    "mp3": 0x230000 | 0x82, "a-law": WAV | 0x11, "mu-law": WAV | 0x10, "ima-adpcm": WAV | 0x12, "adpcm": WAV | 0x13, "gsm": WAV | 0x20,
}
SHAPES = [("s16", 1, 8000), ("s24", 1, 384000), ("u8", 3, 11025), ("x-f32", 5, 192000), ("x-s32", 8, 96000), ("x-s24", 64, 44100)]
VALID = {"valid-20-in-24": ("x-s24", 20, 3), "valid-24-in-32": ("x-s32", 24, 4)}
SOX = {"sox-u8": ["-b", "8", "-e", "unsigned"], "sox-s16": ["-b", "16"], "sox-s24": ["-b", "24"], "sox-s32": ["-b", "32"],
       "sox-f32": ["-b", "32", "-e", "floating-point"], "sox-rifx-s16": ["-b", "16", "-B"], "sox-rifx-s24": ["-b", "24", "-B"]}


class Info(ctypes.Structure):
    _fields_ = [("frames", ctypes.c_int64), ("samplerate", ctypes.c_int), ("channels", ctypes.c_int),
                ("format", ctypes.c_int), ("sections", ctypes.c_int), ("seekable", ctypes.c_int)]


lib = ctypes.CDLL(ctypes.util.find_library("sndfile") or "libsndfile.so.1")
lib.sf_open.restype = ctypes.c_void_p
lib.sf_open.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.POINTER(Info)]
lib.sf_close.argtypes = [ctypes.c_void_p]
lib.sf_version_string.restype = ctypes.c_char_p
lib.sf_readf_double.restype = lib.sf_writef_double.restype = lib.sf_writef_int.restype = ctypes.c_int64
for f in (lib.sf_readf_double, lib.sf_writef_double, lib.sf_writef_int):
    f.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int64]


def write(path, kind, frames=FRAMES, channels=CHANNELS, rate=RATE):
    rng = random.Random(kind)
    n = frames * channels
    whole = kind & 0xFFFF < 6 or kind & 0xFFFF >= 0x10
    if whole:  # extremes first, then every bit at random
        x = array.array("i", ([-2**31, 2**31 - 1, 0, -1] + [rng.randrange(-2**31, 2**31) for _ in range(n)])[:n])
    else:
        x = array.array("d", ([-1.0, 1.0, 0.0, 1e-30, -3.5] + [rng.uniform(-1, 1) for _ in range(n)])[:n])
    info = Info(0, rate, channels, kind, 0, 0)
    if kind & 0xFFFF == 0x20:
        info.channels, info.samplerate = 1, 8000
    f = lib.sf_open(path.encode(), 0x20, ctypes.byref(info))
    if not f:
        raise OSError("libsndfile does not write " + path)
    (lib.sf_writef_int if whole else lib.sf_writef_double)(f, x.buffer_info()[0], n // info.channels)
    lib.sf_close(f)


def read_back(path):
    info = Info()
    f = lib.sf_open(path.encode(), 0x10, ctypes.byref(info))
    if not f:
        raise OSError("libsndfile does not read " + path)
    x = array.array("d", [0.0] * (info.frames * info.channels))
    if lib.sf_readf_double(f, x.buffer_info()[0], info.frames) != info.frames:
        raise OSError("short read of " + path)
    lib.sf_close(f)
    if sys.byteorder == "big":
        x.byteswap()
    with open(path[:-4] + ".f64", "wb") as out:
        out.write(x.tobytes())


def narrow(path, wide, valid, width):
    """Copies a file with fewer valid bits, the others 0 (wValidBitsPerSample at byte 38)."""
    with open(wide, "rb") as f:
        b = bytearray(f.read())
    b[38:40] = valid.to_bytes(2, "little")
    data = b.index(b"data") + 8
    keep = (1 << 8 * width) - (1 << 8 * width - valid)
    for at in range(data, len(b), width):
        b[at:at + width] = (int.from_bytes(b[at:at + width], "little") & keep).to_bytes(width, "little")
    with open(path, "wb") as f:
        f.write(b)


def main():
    os.chdir(os.path.dirname(os.path.abspath(__file__)))
    os.makedirs("vectors", exist_ok=True)
    os.chdir("vectors")
    for old in os.listdir("."):
        os.remove(old)
    for name, kind in KINDS.items():
        write(name + ".wav", kind)
        read_back(name + ".wav")
    for kind, channels, rate in SHAPES:
        name = "%s-%dch-%d" % (kind, channels, rate)
        write(name + ".wav", KINDS[kind], channels=channels, rate=rate)
        read_back(name + ".wav")
    for name, (wide, valid, width) in VALID.items():
        narrow(name + ".wav", wide + ".wav", valid, width)
        read_back(name + ".wav")
    for name, kind in REFUSED.items():
        write("made", kind, 4000)
        with open("made", "rb") as whole, open("refused-" + name + ".bin", "wb") as head:
            head.write(whole.read(128))
        os.remove("made")
    for name, options in SOX.items():
        subprocess.run(["sox", "-R", "s32.wav", *options, name + ".wav"], check=True, stderr=subprocess.DEVNULL)
        if "f32" in name:  # SoX would clip +1.0
            read_back(name + ".wav")
        else:
            subprocess.run(["sox", name + ".wav", "-t", "raw", "-e", "floating-point", "-b", "64", "-L", name + ".f64"], check=True)
    for kind, bits in (("s16", "16"), ("s24", "24")):
        raw = subprocess.run(["sox", "-R", kind + ".wav", "-t", "raw", "-"], check=True, capture_output=True).stdout
        shape = ["-t", "raw", "-r", str(RATE), "-c", str(CHANNELS), "-e", "signed", "-b", bits]
        with open("piped-" + kind + ".wav", "wb") as out:
            out.write(subprocess.run(["sox", "-R", *shape, "-", "-t", "wav", "-"], input=raw, check=True, capture_output=True).stdout)
        with open("piped-" + kind + ".f64", "wb") as out, open(kind + ".f64", "rb") as whole:
            out.write(whole.read())
    sox = subprocess.run(["sox", "--version"], capture_output=True, text=True, check=True).stdout.strip()
    with open("made-with.txt", "w") as out:
        out.write(lib.sf_version_string().decode() + "\n" + sox.split(":")[-1].strip() + "\n")


main()
