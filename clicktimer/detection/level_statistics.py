"""Medians and robust spreads of levels, by counting: levels are whole half decibels, changes whole quarters of one.

A day has 345,600 steps in 21 bands. Counting visits each once and allocates nothing of that size.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from clicktimer.detection.candidates import U8
from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32, I64
from clicktimer.detection.small_statistics import MAD_TO_SD

I16 = npt.NDArray[np.int16]

CODE_DB, CHANGE_DB = 0.5, 0.25
_LOWEST_DB = -128.0


def levels(codes: U8, chosen: npt.NDArray[np.bool_]) -> tuple[F32, F32]:
    """Return median and robust standard deviation, dB, of each band.

    codes: (n, bands). chosen: (n,) bool, the steps that count.
    """
    counts = np.zeros((codes.shape[1], 256), np.int64)
    _count_codes(codes, chosen, counts)
    middle, spread = _middle_and_spread(counts)
    return (CODE_DB * middle + _LOWEST_DB).astype(np.float32), (CODE_DB * spread).astype(np.float32)


def changes(quarters: I16) -> tuple[F32, F32]:
    """Return the same of changes of level, (n, bands), given in quarters of a decibel."""
    counts = np.zeros((quarters.shape[1], 1024), np.int64)
    _count_quarters(quarters, counts)
    middle, spread = _middle_and_spread(counts)
    return (CHANGE_DB * (middle - 512.0)).astype(np.float32), (CHANGE_DB * spread).astype(np.float32)


@compiled
def _count_codes(codes: U8, chosen: npt.NDArray[np.bool_], counts: I64) -> None:
    for k in range(codes.shape[0]):
        if chosen[k]:
            for b in range(codes.shape[1]):
                counts[b, codes[k, b]] += 1


@compiled
def _count_quarters(quarters: I16, counts: I64) -> None:
    for k in range(quarters.shape[0]):
        for b in range(quarters.shape[1]):
            counts[b, quarters[k, b] + 512] += 1


def _middle_and_spread(counts: I64) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return median and spread of each band, in units of a count's place; NaN if nothing was counted."""
    places = np.arange(counts.shape[1], dtype=np.float64)
    middle, spread = np.full(len(counts), np.nan), np.full(len(counts), np.nan)
    for b, of_band in enumerate(counts):
        if not of_band.any():
            continue
        middle[b] = _middle(places, of_band)
        away = np.abs(places - middle[b])
        order = np.argsort(away, kind="stable")
        spread[b] = MAD_TO_SD * _middle(away[order], of_band[order])
    return middle, spread


def _middle(values: npt.NDArray[np.float64], counts: I64) -> float:
    """Return the median of ascending values, given how often each occurs."""
    upto = np.cumsum(counts)
    ranks = ((upto[-1] - 1) // 2, upto[-1] // 2)
    return float(values[np.searchsorted(upto, ranks, side="right")].mean())


@compiled
def note_changes(codes: U8, width: int, quarters: I16) -> None:
    """Write to ``quarters`` the median of the ``width`` steps after each step less that of as many before it.

    The step itself is left out. codes: (n, bands). quarters: (n, bands), quarters of a decibel; rows near the ends are
    left as they are. width: even.
    """
    n = codes.shape[0]
    window = np.zeros(width, np.int64)
    twice = np.zeros(max(n - width + 1, 0), np.int64)  # the median, of the window that begins there
    for b in range(codes.shape[1]):
        for first in range(n - width + 1):
            for k in range(width):
                value = np.int64(codes[first + k, b])
                at = k
                while at > 0 and window[at - 1] > value:
                    window[at] = window[at - 1]
                    at -= 1
                window[at] = value
            twice[first] = window[width // 2 - 1] + window[width // 2]
        for k in range(width, n - width):
            quarters[k, b] = twice[k + 1] - twice[k - width]
