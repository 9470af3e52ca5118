"""Coefficients of the detector's filters. Written out here because importing scipy.signal costs a second of start-up.

Held against ``scipy.signal.butter`` in tests/detection/test_candidate_finder.py.
"""

from __future__ import annotations

import math

import numpy as np

from clicktimer.detection.onset_strength import F32


def band_pass(low_hz: float, high_hz: float, rate_hz: int) -> F32:
    """Band-pass of two sections: a Butterworth low-pass of order 2, shifted and taken through the bilinear transform.

    Returns (6,): gain, a1, a2 of each section; the numerator of each is gain * (1 - z^-2). Unit gain at the centre.
    Source: the textbook construction (poles of the analogue low-pass, band transform, bilinear transform).
    """
    warp_low, warp_high = (2.0 * rate_hz * math.tan(math.pi * f / rate_hz) for f in (low_hz, high_hz))
    width, centre_squared = warp_high - warp_low, warp_low * warp_high
    pole = complex(-math.sqrt(0.5), math.sqrt(0.5)) * width / 2.0
    root = np.sqrt(pole * pole - centre_squared + 0j)
    centre = 2.0 * math.atan(math.sqrt(centre_squared) / (2.0 * rate_hz))
    z_inverse = complex(math.cos(centre), -math.sin(centre))
    out = np.empty(6, dtype=np.float64)
    for section, analogue in enumerate((pole + root, pole - root)):
        digital = (2.0 * rate_hz + analogue) / (2.0 * rate_hz - analogue)
        a1, a2 = -2.0 * digital.real, abs(digital) ** 2
        response = (1.0 - z_inverse**2) / (1.0 + a1 * z_inverse + a2 * z_inverse**2)
        out[3 * section : 3 * section + 3] = 1.0 / abs(response), a1, a2
    return out.astype(np.float32)
