"""The candidates that are weighed, with everything that is computed once for them: the ``DetectionContext``."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection import pump_state, similarity, small_statistics, switch_score
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.onset_strength import F32, F64
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.pump_state import AT_ONCE
from clicktimer.detection.waveforms import Waveforms

SCORE_LOWEST, SCORE_STEP, SCORE_STEPS = -12.5, 0.5, 50
"""Histogram of switch scores."""


@dataclass(frozen=True, slots=True)
class DetectionContext:
    """The short-listed candidates and everything that is computed once for them.

    candidates: the n that are short-listed. fingerprints: of them. rise_db: (n,) mean rise over the room. row: (n,)
    level step in which each lies. levels: of the whole recording. duration_s: its length. switch_score: (n,) likeness
    to a snap-action switch, whatever the switch. burst: (n,) how many clicks of a chattering burst each stands for.
    score_counts: (SCORE_STEPS,) how many of all candidates, short-listed or not, have which switch score. waveforms: of
    those. params: of the detector.
    """

    candidates: Candidates
    fingerprints: similarity.Fingerprints
    rise_db: F32
    row: np.ndarray
    levels: pump_state.Levels
    duration_s: float
    switch_score: F32
    burst: np.ndarray
    score_counts: F64
    waveforms: Waveforms
    params: DetectionParams


def shortlist(
    candidates: Candidates, levels: pump_state.Levels, duration_s: float, params: DetectionParams
) -> DetectionContext:
    """Return the candidates most like a switch and those at changes of level; a chattering burst counts as one."""
    p = params.shortlist
    scores = switch_score.switch_scores(candidates, params.switch_score)
    score_counts = small_statistics.counts(scores, SCORE_LOWEST, SCORE_STEP, SCORE_STEPS)
    row = levels.position(candidates.time_s)
    if len(candidates) > p.most_candidates:
        most = max(p.most_candidates, int(duration_s / 3600.0 * p.most_per_h))
        change = np.empty(len(candidates), np.float32)
        for at in range(0, len(change), AT_ONCE):
            some = slice(at, at + AT_ONCE)
            z = np.clip(np.abs(levels.change_db_at(row[some]) / levels.spread_db), 0.0, p.change_cap)
            change[some] = np.sqrt(np.mean(z**2, axis=1))
        keep = np.sort(np.argsort(-(scores + change), kind="stable")[:most])
    else:
        keep = np.arange(len(candidates))
    first, burst = _bursts(candidates.take(keep), scores[keep], params)
    keep = keep[first]
    short = candidates.take(keep)
    return DetectionContext(
        candidates=short,
        fingerprints=similarity.fingerprints_of(short, params.similarity),
        rise_db=short.rise_db,
        row=row[keep],
        levels=levels,
        duration_s=duration_s,
        switch_score=scores[keep],
        burst=burst[first],
        score_counts=score_counts,
        waveforms=Waveforms(short, params),
        params=params,
    )


def _bursts(short: Candidates, scores: F32, params: DetectionParams) -> tuple[np.ndarray, np.ndarray]:
    """Return which candidates are not the rest of a chattering click, and how many clicks each stands for.

    A switch that chatters clicks two to five times within a second. What follows within a second, sounds alike and
    is no stronger belongs to the first, otherwise it would count as that much unexplained noise. If a clock ticks
    just before a click, only their waveforms separate the two.
    """
    p = params.shortlist
    burst = np.ones(len(short), np.int64)
    gone = np.zeros(len(short), bool)
    strong = np.flatnonzero(scores > p.chatter_score)
    pairs = _followers(short, scores, strong, params)
    members = np.unique(np.array(pairs, np.int64))
    waveforms = Waveforms(short.take(members), params)
    for i, j in pairs:
        if gone[i] or gone[j]:
            continue
        one, other = np.searchsorted(members, (i, j))
        if not float(waveforms.among(int(one), np.array([other]))[0]) < p.chatter_wave:  # also if it is not known (NaN)
            gone[j] = True
            burst[i] += 1
    return np.flatnonzero(~gone), burst


def _followers(short: Candidates, scores: F32, strong: np.ndarray, params: DetectionParams) -> list[tuple[int, int]]:
    """Return pairs of strong candidates of which the later may be the chatter of the earlier, by their features."""
    p = params.shortlist
    vectors = similarity.seed_vectors(similarity.fingerprints_of(short.take(strong), params.similarity))
    time_s = short.time_s[strong]
    pairs = []
    for at in range(len(strong)):
        for after in range(at + 1, len(strong)):
            if time_s[after] - time_s[at] > p.chatter_s:
                break
            i, j = int(strong[at]), int(strong[after])
            alike = float(vectors[at] @ vectors[after])
            if scores[j] < scores[i] + p.chatter_stronger and alike > p.chatter_alike:
                pairs.append((i, j))
    return pairs
