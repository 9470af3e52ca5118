"""Stage 3, the weighing: how much more a candidate resembles these clicks than all the other sounds do, in nats.

By three things that have little to do with each other: the print (likeness.py), the wave (waves.py), the loudness; and
by how much of a snap it is (snap.py). Each is a density among the clicks over a density among the other candidates of
this very recording: what is common here proves nothing here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection import similarity, small_statistics
from clicktimer.detection.onset_strength import F32, F64
from clicktimer.detection.shortlist import SNAP_LOWEST, SNAP_STEP, SNAP_STEPS, DetectionContext

_SNAP_MIDDLE, _SNAP_SPREAD = 3.5, 2.3
"""Snap score of the true clicks of the develop half: median, and spread below it."""
_MOST_TEMPLATES = 12
_MOST_PRINT, _MOST_AGAINST, _MOST_WAVE, _MOST_LEVEL = 4.0, 4.0, 7.0, 2.0
"""No one comparison may say more than this, in nats."""


def snap_likelihood(field: DetectionContext, members: np.ndarray, used: np.ndarray) -> F64:
    """log( density of the snap score among these clicks / rate of the unexplained candidates of that score )."""
    centre = SNAP_LOWEST + SNAP_STEP * (np.arange(SNAP_STEPS) + 0.5)
    counts = field.snap_counts - small_statistics.counts(field.snap[used], SNAP_LOWEST, SNAP_STEP, SNAP_STEPS)
    kernel = np.exp(-0.5 * ((centre[:, None] - centre[None, :]) / 1.0) ** 2)
    kernel /= kernel.sum(axis=1, keepdims=True)
    rate = (kernel @ np.maximum(counts, 0.0) / 0.5 + 0.15) / field.duration_s
    below = np.minimum(centre - _SNAP_MIDDLE, 0.0)  # of all switches of the develop half; better is no reason for doubt
    broad = 0.9 * np.exp(-0.5 * (below / _SNAP_SPREAD) ** 2) / 10.0 + 0.1 / 18.0
    if len(members) >= 2:
        middle = small_statistics.median(field.snap[members])
        spread = max(1.4826 * small_statistics.median(np.abs(field.snap[members] - middle)), 2.0)
        # Better than usual is no reason for doubt: the upper side is wide.
        wide = np.where(centre > middle, 2.5 * spread, spread)
        bell = np.exp(-0.5 * ((centre - middle) / wide) ** 2) / (1.75 * spread * 2.5066)
        density = 0.85 * bell + 0.15 * broad
    else:
        density = broad
    return np.asarray(np.interp(field.snap, centre, np.log(density / rate)), np.float64)


def like_score(
    field: DetectionContext,
    members: np.ndarray,
    others: np.ndarray,
    *,
    templates: int = _MOST_TEMPLATES,
    rows: np.ndarray | None = None,
) -> F64:
    """How much more each candidate sounds like these clicks than like the others: by print, wave and loudness, in
    nats.

    others: (n,) which candidates are no such clicks. templates: with so many of the members, the clearest, waves are
    compared. rows: only these candidates are weighed, the members among them, in order; all where it is None.
    """
    rows = np.arange(len(field.cand)) if rows is None else rows
    if len(members) < 2:
        return np.zeros(len(rows))
    sample = _Sample(rows, np.searchsorted(rows, members), others[rows])
    by_print = np.clip(_print_score(field, members, sample), -_MOST_PRINT, _MOST_PRINT)
    return by_print + _wave_score(field, members, sample, templates) + _level_score(field, sample)


@dataclass(frozen=True, slots=True)
class _Sample:
    """The candidates that are weighed: rows of the field, where among them the members are, and which are others."""

    rows: np.ndarray
    members: np.ndarray
    others: np.ndarray


def _wave_score(field: DetectionContext, members: np.ndarray, sample: _Sample, templates: int) -> F64:
    """log( density of the waves' likeness among these clicks / among the others )."""
    none = np.zeros(len(sample.rows))
    has = np.array([field.waves.has(int(m)) for m in members])
    if np.count_nonzero(has) < 2:
        return none
    clearest = np.flatnonzero(has)[np.argsort(-field.rise[members[has]], kind="stable")[:templates]]
    known, at = members[clearest], sample.members[clearest]
    if len(sample.rows) < len(field.cand):
        columns = field.waves.some_alike(known, sample.rows)
    else:
        columns = field.waves.all_alike(known)
    columns[np.arange(len(known)), at] = np.nan  # a click must not vouch for itself
    columns = -np.sort(-columns, axis=0)  # NaN last
    use = np.maximum((np.count_nonzero(~np.isnan(columns), axis=0) + 1) // 2, 1)
    sums = np.cumsum(np.nan_to_num(columns), axis=0)
    alike = sums[use - 1, np.arange(columns.shape[1])] / use
    heard = ~np.isnan(columns[0])
    centre = 0.025 * (np.arange(40) + 0.5)
    kernel = np.exp(-0.5 * ((centre[:, None] - centre[None, :]) / 0.04) ** 2)
    kernel /= kernel.sum(axis=0, keepdims=True)
    prior = np.exp(-0.5 * ((centre - 0.45) / 0.09) ** 2)
    prior = prior / prior.sum() + 0.01 / len(centre)
    other = kernel @ small_statistics.counts(alike[sample.others & heard], 0.0, 0.025, 40) + 3.0 * prior
    other /= other.sum() * 0.025
    mine = alike[at]
    middle = small_statistics.median(mine)
    spread = max(1.4826 * small_statistics.median(np.abs(mine - middle)), 0.07)
    wide = np.where(centre > middle, 1.0, spread)  # better than usual is no reason for doubt
    same = 0.92 * np.exp(-0.5 * ((centre - middle) / wide) ** 2) / (spread * 2.5066) + 0.08
    score = np.clip(np.log(same / other), -_MOST_AGAINST, _MOST_WAVE)
    none[heard] = np.interp(alike[heard], centre, score)
    return none


def _level_score(field: DetectionContext, sample: _Sample) -> F64:
    """log( density of the loudness among these clicks / among the others )."""
    level = field.cand.peak_db[sample.rows]
    centre = -100.0 + 2.0 * (np.arange(51) + 0.5)
    kernel = np.exp(-0.5 * ((centre[:, None] - centre[None, :]) / 2.5) ** 2)
    kernel /= kernel.sum(axis=0, keepdims=True)
    other = kernel @ small_statistics.counts(level[sample.others], -100.0, 2.0, 51) + 3.0 / len(centre)
    other /= other.sum()
    middle = small_statistics.median(level[sample.members])
    spread = max(1.4826 * small_statistics.median(np.abs(level[sample.members] - middle)), 2.5)
    same = np.exp(-0.5 * ((centre - middle) / spread) ** 2)
    same = 0.85 * same / same.sum() + 0.15 / len(centre)
    score = np.clip(np.log(same / other), -_MOST_LEVEL, _MOST_LEVEL)
    return np.asarray(np.interp(level, centre, score), np.float64)


def _print_score(field: DetectionContext, members: np.ndarray, sample: _Sample) -> F64:
    """log( density of the distance to these clicks among themselves / among the unexplained candidates of like
    loudness ).
    """
    weights = np.clip(field.rise[members], 3.0, None)
    distance, _ = similarity.distances(field.prints, similarity.pattern_of(field.prints, members, weights), sample.rows)
    if len(members) <= 12:  # a click must not vouch for itself
        for m in range(len(members)):
            rest = np.delete(members, m)
            pattern = similarity.pattern_of(field.prints, rest, np.delete(weights, m))
            own = similarity.distances(field.prints, pattern, members[m : m + 1])[0]
            distance[sample.members[m]] = own[0]
    rise = field.rise[sample.rows]
    d_bins = np.arange(0.0, 16.5, 0.5)
    r_bins = np.arange(0.0, 28.0, 2.0)
    d_mid, r_mid = d_bins[:-1] + 0.25, r_bins[:-1] + 1.0
    table = np.histogram2d(rise[sample.others], distance[sample.others], (r_bins, d_bins))[0]
    k_r = np.exp(-0.5 * ((r_mid[:, None] - r_mid[None, :]) / 2.5) ** 2)
    k_d = np.exp(-0.5 * ((d_mid[:, None] - d_mid[None, :]) / 0.6) ** 2)
    k_d /= k_d.sum(axis=1, keepdims=True)
    table = k_r @ table @ k_d
    prior = np.exp(-0.5 * ((d_mid - 6.5) / 2.5) ** 2) + 0.01
    table += 3.0 * prior / prior.sum()
    table /= table.sum(axis=1, keepdims=True) * 0.5
    other = table[
        np.clip((rise / 2.0).astype(int), 0, len(r_mid) - 1),
        np.clip((distance * 2).astype(int), 0, len(d_mid) - 1),
    ]
    # How far clicks of one kind lie apart depends on the recording: noise suppression and codecs change each
    # differently.
    typical = float(np.clip(small_statistics.median(distance[sample.members]), 2.0, 3.5))
    same = _gamma(distance, 6.0, typical * 1.1) * 0.92 + 0.08 / 16.0
    return np.asarray(np.clip(np.log(same / other), -6.0, 6.0), np.float64)


def _gamma(x: F32, shape: float, mean: float) -> F64:
    scale = mean / shape
    y = np.maximum(x.astype(np.float64), 1e-3) / scale
    log_norm = float(np.sum(np.log(np.arange(1, int(shape)))))
    return np.exp((shape - 1) * np.log(y) - y - log_norm) / scale
