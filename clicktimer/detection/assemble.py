"""Stage 3, the telling: a decoded sequence -> clicks, each with its kind, its time and how sure it is, and edges."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from clicktimer.detection import similarity
from clicktimer.detection.acceptance import DOUBTED, LEAST_CHANCE, SURE_CHANCE
from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import Solution, lone_changes
from clicktimer.records import Click, Kind

EDGE_SD_S = 0.3
"""Standard deviation of a start or stop that only the pump's level tells."""
_LEAST_OWN = -3.0
"""A click is told, unless its chance is high and clicks of its kind are well heard, when its own score (the level
apart) is at least this: else it is only the noise nearest to where the pump stopped.
"""
_LEADS = 6.0
"""A click of less chance is told, too, if nothing within a second comes near it by this many nats."""
_MOST_UNHEARD, _CLEAR_OWN = 0.34, 4.0
_BURST_S = 1.0
_FIRST_S = 0.6
"""A chattering switch snaps again within this time: the first of the snaps is the click."""
_SAME_WAVE = 0.5
"""Likeness of the waves from which one snap is the other again ..."""
_SURELY_SAME_WAVE = 0.65
"""... and from which it is so even where its print is buried under a pump that starts or runs down."""
_APPROACH_S = 0.045
"""What comes nearer before a snap is the contact on its way, not another snap."""
_SLIDE_S = 0.003
_BURIED_DB, _BURIED_SD_S = 9.0, 0.15
"""Where a chattering click stands so little over the room, a snap before it may have been buried altogether."""


def told(
    field: DetectionContext, solution: Solution, order_known: bool, flip: bool
) -> tuple[tuple[Click, ...], tuple[Click, ...]]:
    """The clicks, and the edges: changes of the pump without a click of which one can be sure. flip: the kinds are
    reversed.
    """
    path = solution.path
    clicks, edges = [], []
    again = _again(field, solution)
    sure = _sure_ones(field, solution, again, order_known)
    for i in np.flatnonzero(path.kind).tolist():
        if i in again:
            continue
        kind: Kind = "cut-in" if (path.kind[i] == 1) != flip else "cut-out"
        if i not in sure:
            edges.append(_edge(float(field.cand.time_s[i]), kind, solution))
            continue
        first, burst, chance = sure[i]
        which, chatter = path.kind[i] - 1, max(int(field.burst[i]), len(burst))
        clicks.append(
            Click(
                time_s=float(field.cand.time_s[first] + _as_the_others(field, solution, first, which)),
                kind=kind if order_known else "unknown",
                confidence=min(chance, 0.999),
                # Where an earlier snap of the burst may have been the click, its time is that much less certain.
                timing_sd_s=float(
                    field.cand.timing_sd_s[first]
                    + 0.5 * (field.cand.time_s[first] - field.cand.time_s[burst].min())
                    + (_BURIED_SD_S if chatter > 1 and field.rise[first] < _BURIED_DB else 0.0)
                ),
                chatter=chatter,
                level_db=float(field.rise[i]),
            )
        )
    lone = lone_changes(path.silent_rows, field)
    for row, silent, alone in zip(path.silent_rows, path.silent_kinds, lone, strict=True):
        if any(0.0 <= field.cand.time_s[i] - field.levels.time_of(int(row)) < _BURST_S for i in again):
            continue
        if not alone:  # a few seconds of some other sound: no run is made of it, but none is told across it either
            edges.append(Click(field.levels.time_of(int(row)), "unknown", 0.5, timing_sd_s=EDGE_SD_S, how="pump sound"))
            continue
        kind = "cut-in" if (silent == 1) != flip else "cut-out"
        edges.append(_edge(field.levels.time_of(int(row)), kind, solution))
    return tuple(clicks), tuple(sorted(edges, key=lambda e: e.time_s))


def _sure_ones(
    field: DetectionContext, solution: Solution, again: set[int], order_known: bool
) -> dict[int, tuple[int, np.ndarray, float]]:
    """The picks of which one can be sure that they are clicks, each with the first snap of its burst, the burst, and
    its chance.

    Where one cannot be sure of two in three of a kind, that kind is hardly heard, and what is left of it may be the
    noise nearest to where the pump stopped, too.
    """
    path = solution.path
    sure: dict[int, tuple[int, np.ndarray, float]] = {}
    for which in (0, 1):
        picks = [int(i) for i in np.flatnonzero(path.kind == which + 1) if i not in again]
        told = {i: seen for i in picks if (seen := _seen(field, solution, i, order_known)) is not None}
        if len(told) <= _MOST_UNHEARD * len(picks):
            told = {i: seen for i, seen in told.items() if solution.score[which][i] >= _CLEAR_OWN}
        sure |= told
    return sure


def _seen(
    field: DetectionContext, solution: Solution, pick: int, order_known: bool
) -> tuple[int, np.ndarray, float] | None:
    path, which = solution.path, solution.path.kind[pick] - 1
    first, burst = _burst_of(field, solution, pick)
    # In a burst the paths share their belief among its snaps: that there was a click here is their sum.
    chance = float(min((path.chance_out if which else path.chance_in)[burst].sum(), 1.0))
    if not order_known:
        chance = float(min((path.chance_in + path.chance_out)[burst].sum(), 1.0))
    own = float(solution.score[which][pick])
    of_its_kind = float(np.median(solution.score[which][solution.members[which]]))
    least = DOUBTED if own > _beside(field, solution, which, burst) + _LEADS else LEAST_CHANCE
    if chance < least or (own < _LEAST_OWN and (chance < SURE_CHANCE or of_its_kind < _LEAST_OWN)):
        return None
    return first, burst, chance


def _beside(field: DetectionContext, solution: Solution, which: int, burst: np.ndarray) -> float:
    """The best score of what lies around a burst and is no part of it."""
    time_s = field.cand.time_s
    first, last = np.searchsorted(time_s, [time_s[burst].min() - _BURST_S, time_s[burst].max() + _BURST_S])
    around = np.setdiff1d(np.arange(first, last), burst)
    return float(solution.score[which][around].max(initial=-np.inf))


def _again(field: DetectionContext, solution: Solution) -> set[int]:
    """Picks that are the last one of the same kind again: a switch that chatters, not one that was missed between."""
    picks = np.flatnonzero(solution.path.kind)
    return {
        int(b)
        for a, b in pairwise(picks)
        if solution.path.kind[a] == solution.path.kind[b]
        and field.cand.time_s[b] - field.cand.time_s[a] < _BURST_S
        and float(np.nan_to_num(field.waves.among(int(a), np.array([b])))[0]) > _SAME_WAVE
    }


def _burst_of(field: DetectionContext, solution: Solution, pick: int) -> tuple[int, np.ndarray]:
    """The first of the snaps that the pick is one of, and all of them.

    They sound alike and are about as loud; one that is a click of its own ends the burst. An earlier one is taken for
    the click only if it resembles this kind of click about as well.
    """
    time_s, near, first = field.cand.time_s, [pick], pick
    base = max(pick - 12, 0)
    around = np.arange(base, min(pick + 13, len(time_s)))
    vectors = similarity.seed_vectors(field.prints, around)
    score = solution.score[solution.path.kind[pick] - 1]
    waves = np.nan_to_num(field.waves.among(pick, around))
    for step in (-1, 1):
        k = pick + step
        while 0 <= k - base < len(vectors) and abs(time_s[k] - time_s[pick]) < _BURST_S and not solution.path.kind[k]:
            alike = float(vectors[k - base] @ vectors[pick - base])
            louder = float(field.rise[k] - field.rise[pick])
            apart_s = abs(float(time_s[k] - time_s[pick]))
            wave = float(waves[k - base])
            sure = score[k] > max(score[pick] - 3.0, 0.0)
            if (max(alike, wave + 0.2) > 0.7 or sure) and louder > -8.0 and field.snap[k] > field.snap[pick] - 7.0:
                near.append(k)
                plain = wave > _SAME_WAVE or alike > 0.85 or louder > 4.0 or sure
                same = wave > _SURELY_SAME_WAVE and apart_s > _APPROACH_S
                like = same or score[k] > min(score[pick] - 4.0, 1.0 - alike)
                if step < 0 and plain and like and time_s[pick] - time_s[k] < _FIRST_S:
                    first = k
            k += step
    return first, np.array(near)


def _as_the_others(field: DetectionContext, solution: Solution, pick: int, which: int) -> float:
    """What to add to a click's time, in seconds, so that it is that of the same moment as in the other clicks.

    A contact that slides before it snaps is at one time loud enough to be taken for the onset, at another not. The
    loudest moment tells: it follows the onset after the same time in every click of a kind.
    """
    members = solution.members[which]
    if len(members) < 4:
        return 0.0
    rise_s = field.cand.attack_s - field.cand.approach_s
    usual = float(np.median(rise_s[members]))
    scatter = float(np.median(np.abs(rise_s[members] - usual)))
    off = float(rise_s[pick]) - usual
    return off if abs(off) > _SLIDE_S and scatter < 0.2 * _SLIDE_S else 0.0


def _edge(time_s: float, kind: Kind, solution: Solution) -> Click:
    """A change without a sure click: by the pump's sound where that is heard, else only the fact that something is
    missing.
    """
    if solution.track is None:
        return Click(time_s, "unknown", 0.5, timing_sd_s=EDGE_SD_S, how="pump sound")
    return Click(time_s, kind, 0.8, timing_sd_s=EDGE_SD_S, how="pump sound")
