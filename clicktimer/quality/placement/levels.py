"""What the device does to the sound, from the level track: a gain that rides, noise that is suppressed."""

from __future__ import annotations

import numpy as np

from clicktimer.detection import pump_state
from clicktimer.detection.candidates import N_BANDS, N_LEVELS, Candidates
from clicktimer.detection.onset_strength import F32, F64
from clicktimer.quality.placement.params import Recorder


def gain_dips(levels: pump_state.Levels, candidates: Candidates, over_db: F64, params: Recorder) -> F64:
    """How far the room sinks after each of the loudest sounds and comes back, dB, negative where it does not.

    In the middle band, half a second to a second after the sound, below both what was before and what is 3 to 4 s
    after: a sound in the room only ever adds, so only a gain that was turned down and up again does that.
    """
    strong = np.flatnonzero(over_db > params.loud_db)
    strong = strong[np.argsort(-over_db[strong], kind="stable")[: 4 * params.loudest]]
    dips = []
    for row in levels.position(candidates.time_s[strong]):
        segment = int(np.searchsorted(levels.first, row, side="right") - 1)
        if row - 6 < levels.first[segment] or row + 17 > levels.first[segment + 1]:
            continue
        before = np.median(levels.db[row - 6 : row - 1], axis=0)
        after = np.median(levels.db[row + 2 : row + 5], axis=0)
        later = np.median(levels.db[row + 13 : row + 17], axis=0)
        dips.append(float(np.median(np.minimum(before, later) - after)))
    return np.array(dips[: params.loudest])


def unsteadiness_db(levels: pump_state.Levels, first_band: int) -> float:
    """How much the level above 1 kHz changes from one quarter of a second to the next, median over time, dB.

    The noise of a room is steady to half a decibel; what is left of it when a device mutes one frequency after the
    other is not.
    """
    high = _high(levels.db, first_band)
    if len(high) < 8:
        return 0.0
    return float(np.median(np.minimum(np.abs(np.diff(high, axis=0)), 4.0).mean(axis=1)))


def room_db(levels: pump_state.Levels, first_band: int) -> F64:
    """Level above 1 kHz of each step, dB of full scale."""
    total: F64 = 10.0 * np.log10((10.0 ** (_high(levels.db, first_band) / 10.0)).sum(axis=1) + 1e-20)
    return total


def _high(db: F32, first_band: int) -> F32:
    """Return the bands of the click from ``first_band`` on: the track ends with those that the recording can hold."""
    return db[:, N_LEVELS - N_BANDS + first_band :]
