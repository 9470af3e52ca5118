"""What the device does to the sound, from the level track: a gain that rides, noise that is suppressed."""

from __future__ import annotations

import numpy as np

from clicktimer.detection import pump_state
from clicktimer.detection.candidates import N_BANDS, N_LEVELS, Candidates
from clicktimer.detection.onset_strength import F32, F64
from clicktimer.detection.params import default_params

ABOVE = default_params().bands.first_above(1000.0)
"""The first of the click's bands above 1 kHz."""

_LOUD_DB = 20.0
_LOUDEST = 40


def gain_dips(levels: pump_state.Levels, candidates: Candidates, over_db: F64) -> F64:
    """How far the room sinks after each of the loudest sounds and comes back, dB, negative where it does not.

    In the middle band, half a second to a second after the sound, below both what was before and what is 3 to 4 s
    after: a sound in the room only ever adds, so only a gain that was turned down and up again does that.
    """
    strong = np.flatnonzero(over_db > _LOUD_DB)
    strong = strong[np.argsort(-over_db[strong], kind="stable")[: 4 * _LOUDEST]]
    dips = []
    for row in levels.position(candidates.time_s[strong]):
        segment = int(np.searchsorted(levels.first, row, side="right") - 1)
        if row - 6 < levels.first[segment] or row + 17 > levels.first[segment + 1]:
            continue
        before = np.median(levels.db[row - 6 : row - 1], axis=0)
        after = np.median(levels.db[row + 2 : row + 5], axis=0)
        later = np.median(levels.db[row + 13 : row + 17], axis=0)
        dips.append(float(np.median(np.minimum(before, later) - after)))
    return np.array(dips[:_LOUDEST])


def unsteadiness_db(levels: pump_state.Levels) -> float:
    """How much the level above 1 kHz changes from one quarter of a second to the next, median over time, dB.

    The noise of a room is steady to half a decibel; what is left of it when a device mutes one frequency after the
    other is not.
    """
    high = _high(levels.db)
    if len(high) < 8:
        return 0.0
    return float(np.median(np.minimum(np.abs(np.diff(high, axis=0)), 4.0).mean(axis=1)))


def room_db(levels: pump_state.Levels) -> F64:
    """Level above 1 kHz of each step, dB of full scale."""
    total: F64 = 10.0 * np.log10((10.0 ** (_high(levels.db) / 10.0)).sum(axis=1) + 1e-20)
    return total


def _high(db: F32) -> F32:
    """The bands above 1 kHz: the last of the track, which ends with those of the click that the recording can hold."""
    return db[:, N_LEVELS - N_BANDS + ABOVE :]
