"""Stage 3, the short list: the candidates worth weighing, with all that is computed once for them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection import pump_state, similarity, small_statistics, switch_score
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.onset_strength import F32, F64
from clicktimer.detection.waveforms import Waves

_MOST_CANDIDATES, _MOST_PER_H = 1500, 1000
"""Of true clicks of hard recordings 97 % are among the first 1000 of an hour, 98 % among the first 3000."""
_CHATTER_S = 1.0
_AT_ONCE = 20_000
SNAP_LOWEST, SNAP_STEP, SNAP_STEPS = -12.5, 0.5, 50
"""Steps in which snap scores are counted."""
_OTHER_WAVE = 0.6
"""Likeness of the waves below which two sounds are not the same click again."""


@dataclass(frozen=True, slots=True)
class DetectionContext:
    """The short list with all that is computed once."""

    cand: Candidates
    prints: similarity.Prints
    rise: F32
    row: np.ndarray
    levels: pump_state.Levels
    duration_s: float
    snap: F32  # likeness to a snap-action switch, whatever the switch
    burst: np.ndarray  # how many clicks of a chattering burst it stands for
    snap_counts: F64  # how many of all candidates, short-listed or not, have which
    waves: Waves


def shortlist(candidates: Candidates, levels: pump_state.Levels, duration_s: float) -> DetectionContext:
    """The candidates worth weighing: the most snap-like, those at changes of level; a burst as one."""
    snaps = switch_score.snap_score(candidates)
    counts = small_statistics.counts(snaps, SNAP_LOWEST, SNAP_STEP, SNAP_STEPS)
    row = levels.position(candidates.time_s)
    if len(candidates) > _MOST_CANDIDATES:
        most = max(_MOST_CANDIDATES, int(duration_s / 3600.0 * _MOST_PER_H))
        size = np.empty(len(candidates), np.float32)
        for at in range(0, len(size), _AT_ONCE):
            some = slice(at, at + _AT_ONCE)
            z = np.clip(np.abs(levels.change_db_at(row[some]) / levels.spread_db), 0.0, 6.0)
            size[some] = np.sqrt(np.mean(z**2, axis=1))
        keep = np.sort(np.argsort(-(snaps + size), kind="stable")[:most])
    else:
        keep = np.arange(len(candidates))
    first, burst = _bursts(candidates.take(keep), snaps[keep])
    keep = keep[first]
    short = candidates.take(keep)
    prints, waves = similarity.prints_of(short), Waves(short)
    return DetectionContext(
        short, prints, short.rise_db, row[keep], levels, duration_s, snaps[keep], burst[first], counts, waves
    )


def _bursts(short: Candidates, snaps: F32) -> tuple[np.ndarray, np.ndarray]:
    """Which candidates are not the rest of a chattering click, and how many clicks each stands for.

    A switch that chatters clicks two to five times within a second. What follows within a second, sounds alike and
    is no stronger belongs to the first: it would otherwise be counted as so much unexplained noise. Where a clock ticks
    just before a click only their waves tell the two apart.
    """
    burst = np.ones(len(short), np.int64)
    gone = np.zeros(len(short), bool)
    strong = np.flatnonzero(snaps > 1.0)
    pairs = _followers(short, snaps, strong)
    told = np.unique(np.array(pairs, np.int64))
    waves = Waves(short.take(told))
    for i, j in pairs:
        if gone[i] or gone[j]:
            continue
        one, other = np.searchsorted(told, (i, j))
        if not float(waves.among(int(one), np.array([other]))[0]) < _OTHER_WAVE:  # also where it is not known
            gone[j] = True
            burst[i] += 1
    return np.flatnonzero(~gone), burst


def _followers(short: Candidates, snaps: F32, strong: np.ndarray) -> list[tuple[int, int]]:
    """Pairs of strong candidates within a second of which the later may be the rest of the earlier, by their prints."""
    vectors = similarity.seed_vectors(similarity.prints_of(short.take(strong)))
    time_s = short.time_s[strong]
    pairs = []
    for at in range(len(strong)):
        for after in range(at + 1, len(strong)):
            if time_s[after] - time_s[at] > _CHATTER_S:
                break
            i, j = int(strong[at]), int(strong[after])
            if snaps[j] < snaps[i] + 8.0 and float(vectors[at] @ vectors[after]) > 0.7:
                pairs.append((i, j))
    return pairs
