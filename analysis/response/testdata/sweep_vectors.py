"""Reference vectors for the sweep response, computed with scipy.

Run with a Python that has scipy 1.10 or later:
    python3 sweep_vectors.py > sweep_vectors.json

chirp: samples of an exponential sweep by scipy.signal.chirp.
sos: a third-order Butterworth high-pass at 45 Hz, a peaking resonance at
2.2 kHz and a second-order low-pass at 9 kHz, as second-order sections, and
their response by scipy.signal.sosfreqz and group delay by phase difference.
"""
import json

import numpy as np
import scipy
from scipy import signal

RATE = 48000
F1, F2, T = 20.0, 20000.0, 5.0

t = np.arange(0, int(T * RATE), 7919) / RATE
chirp = signal.chirp(t, F1, T, F2, method="logarithmic", phi=-90)

b, a = signal.iirpeak(2200, 12, fs=RATE)
resonance = np.array([[1 * a[0] + 3 * b[0], a[1] + 3 * b[1], a[2] + 3 * b[2], *a]])
sos = np.vstack([
    signal.butter(3, 45, "highpass", fs=RATE, output="sos"),
    resonance,
    signal.butter(2, 9000, "lowpass", fs=RATE, output="sos"),
])
hz = np.geomspace(25, 19500, 60)
_, h = signal.sosfreqz(sos, worN=hz, fs=RATE)
d = 1e-3
_, up = signal.sosfreqz(sos, worN=hz + d, fs=RATE)
_, down = signal.sosfreqz(sos, worN=hz - d, fs=RATE)
delay = -np.angle(up / down) / (2 * np.pi * 2 * d)

print(json.dumps({
    "_source": "scipy.signal %s: chirp, butter, iirpeak, sosfreqz; see sweep_vectors.py" % scipy.__version__,
    "rate_hz": RATE, "f1_hz": F1, "f2_hz": F2, "seconds": T,
    "chirp_step": 7919, "chirp": chirp.tolist(),
    "sos": sos.tolist(), "hz": hz.tolist(),
    "magnitude_db": (20 * np.log10(np.abs(h))).tolist(),
    "group_delay_ms": (1000 * delay).tolist(),
}, indent=1))
