#!/usr/bin/env python3
"""Reference values for the spectra: python3 vectors.py > vectors.json

Needs numpy and scipy (made with scipy 1.10.1, numpy 1.24.2).
"""
import json
import numpy as np
from scipy import signal

rng = np.random.default_rng(20)
rate = 48000.0
n = np.arange(700)
x = np.round(0.2 + 0.4 * np.cos(2 * np.pi * 0.0371 * n + 0.7) + 0.1 * rng.standard_normal(n.size), 6)

cases = []
for window, length in (("hann", 128), ("hann", 125), ("blackmanharris", 128), ("flattop", 100), ("boxcar", 90), ("hamming", 64)):
    for detrend in ("constant", False):
        for average in ("mean", "median"):
            _, p = signal.welch(x, fs=rate, window=window, nperseg=length, noverlap=length // 2,
                                detrend=detrend, average=average, scaling="density")
            cases.append({"window": window, "length": length, "detrend": detrend == "constant",
                          "median": average == "median", "psd": p.tolist()})

print(json.dumps({
    "source": "scipy.signal.welch",
    "rate_hz": rate, "x": x.tolist(), "welch": cases,
}))
