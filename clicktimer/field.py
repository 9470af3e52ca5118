"""Stage 3, the short list: the candidates worth weighing, with all that is computed once for them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer import likeness, pump, small, snap
from clicktimer.candidates import Candidates
from clicktimer.kernel import F32, F64
from clicktimer.waves import Waves

_MOST_CANDIDATES, _MOST_PER_H = 1500, 1000
"""Of true clicks of hard recordings 97 % are among the first 1000 of an hour, 98 % among the first 3000."""
_CHATTER_S = 1.0
SNAP_LOWEST, SNAP_STEP, SNAP_STEPS = -12.5, 0.5, 50
"""Steps in which snap scores are counted."""
_OTHER_WAVE = 0.6
"""Likeness of the waves below which two sounds are not the same click again."""


@dataclass(frozen=True, slots=True)
class Field:
    """The short list with all that is computed once."""

    cand: Candidates
    prints: likeness.Prints
    rise: F32
    row: np.ndarray
    levels: pump.Levels
    duration_s: float
    snap: F32  # likeness to a snap-action switch, whatever the switch
    burst: np.ndarray  # how many clicks of a chattering burst it stands for
    snap_counts: F64  # how many of all candidates, short-listed or not, have which
    waves: Waves


def shortlist(candidates: Candidates, levels: pump.Levels, duration_s: float) -> Field:
    """The candidates worth weighing: the most snap-like, those at changes of level; a burst as one."""
    snaps = snap.snap_score(candidates)
    counts = small.counts(snaps, SNAP_LOWEST, SNAP_STEP, SNAP_STEPS)
    row = levels.position(candidates.time_s)
    if len(candidates) > _MOST_CANDIDATES:
        most = max(_MOST_CANDIDATES, int(duration_s / 3600.0 * _MOST_PER_H))
        z = np.clip(np.abs(levels.change_db_at(row) / levels.spread_db), 0.0, 6.0)
        size = np.sqrt(np.mean(z**2, axis=1))
        keep = np.sort(np.argsort(-(snaps + size), kind="stable")[:most])
    else:
        keep = np.arange(len(candidates))
    short = candidates.take(keep)
    prints = likeness.linear_prints(short)
    waves = Waves(short)
    first, burst = _bursts(short.time_s, snaps[keep], likeness.seed_vectors(prints), waves)
    keep, short, prints, waves = keep[first], short.take(first), likeness.taken(prints, first), waves.take(first)
    return Field(short, prints, short.rise_db, row[keep], levels, duration_s, snaps[keep], burst[first], counts, waves)


def _bursts(time_s: F64, snaps: F32, vectors: F32, waves: Waves) -> tuple[np.ndarray, np.ndarray]:
    """Which candidates are not the rest of a chattering click, and how many clicks each stands for.

    A switch that chatters clicks two to five times within a second. What follows within a second, sounds alike and
    is no stronger belongs to the first: it would otherwise be counted as so much unexplained noise. Where a clock ticks
    just before a click only their waves tell the two apart.
    """
    n = len(time_s)
    burst = np.ones(n, np.int64)
    gone = np.zeros(n, bool)
    strong = np.flatnonzero(snaps > 1.0)
    for at, i in enumerate(strong):
        if gone[i]:
            continue
        for j in strong[at + 1 :]:
            if time_s[j] - time_s[i] > _CHATTER_S:
                break
            if not gone[j] and snaps[j] < snaps[i] + 8.0 and float(vectors[i] @ vectors[j]) > 0.7:
                wave = float(waves.among(int(i), np.array([j]))[0])
                if not wave < _OTHER_WAVE:  # also where it is not known
                    gone[j] = True
                    burst[i] += 1
    return np.flatnonzero(~gone), burst
