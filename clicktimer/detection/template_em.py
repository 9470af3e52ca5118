"""Stage 3, the learning: decode the most likely sequence, learn what its clicks sound like, decode again.

The short list of candidates is weighed by three things: how much each resembles a snap switch at all (snap.py), how
much it resembles the clicks that the sequence has so far (likeness.py), each against how often the *other* sounds
of this recording do so, and whether the pump's level changes with it (pump.py, sequence.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection import pump_state, small_statistics, viterbi
from clicktimer.detection.evidence import like_score, snap_likelihood
from clicktimer.detection.onset_strength import F64
from clicktimer.detection.shortlist import DetectionContext

HAZARD_PER_S = 1.0 / 60.0
"""How often a switch clicks, to an order of magnitude: only its logarithm counts."""
_MISS = 0.05
"""Share of clicks that are not among the candidates (about 3 % in hard recordings)."""
_LEAST_RUN_S = 1.5
AROUND_S = 1.2
"""What follows a click within this time may be its echo or its chatter."""
_APPROACH_S = 0.1
_LEFT_OUT = 0.7
_PLAIN_APART = 4.5
_DULL = -0.3
"""Snap score below which clicks that come with a faint pump may as well be words."""
_EDGE_S = 0.4
"""A click and the change of level that goes with it lie within this time."""
_BURST_S = 6.0
_SUSTAINED_S = 8.0
_RAMP_STEPS = 3
"""Level steps after a click in which the pump may still be starting or running down."""
_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class Seed:
    """A sound that recurs: its members, and how alike every candidate is to it."""

    members: np.ndarray
    like: F64


@dataclass(frozen=True, slots=True)
class Solution:
    """A decoded sequence with what was learnt on the way: every candidate's likeness and score as either kind."""

    path: viterbi.Path
    track: pump_state.Track | None
    like: tuple[F64, F64]
    score: tuple[F64, F64]
    members: tuple[np.ndarray, np.ndarray]


def learn(
    field: DetectionContext,
    track: pump_state.Track | None,
    seeds: tuple[Seed, Seed] | None,
    start: tuple[float, float],
    rounds: int = _ROUNDS,
) -> Solution | None:
    """Decode, learn, decode again. seeds: what cut-in and cut-out may sound like, to begin with."""
    n = len(field.cand)
    levels = field.levels
    llr = track.llr if track is not None else np.zeros(len(levels), np.float32)
    silent = float(np.log(HAZARD_PER_S * levels.step_s[0] * _MISS))
    # The click comes first, then the pump's sound changes: what the level says just after a click is not held against
    # it.
    ahead = [llr[np.minimum(field.row + k, len(llr) - 1)] for k in range(_RAMP_STEPS)]
    ramp = (sum(np.maximum(-a, 0.0) for a in ahead), sum(np.maximum(a, 0.0) for a in ahead))
    members: tuple[np.ndarray, np.ndarray] = (np.zeros(0, np.int64), np.zeros(0, np.int64))
    like = (np.zeros(n), np.zeros(n))
    if seeds is not None:
        members, like = (seeds[0].members, seeds[1].members), (seeds[0].like, seeds[1].like)
    best: Solution | None = None
    turn = 0
    while turn < rounds:
        used = np.unique(np.concatenate(members))
        loud = [snap_likelihood(field, m, used) for m in members]
        score = tuple(np.clip(np.log(HAZARD_PER_S) + loud[k] + like[k], -15.0, 12.0) for k in (0, 1))
        path = viterbi.decode(
            llr,
            levels.first,
            field.row,
            field.cand.time_s,
            score[0] + ramp[0],
            score[1] + ramp[1],
            silent=silent,
            least_s=_LEAST_RUN_S,
            step_s=float(levels.step_s[0]),
            start=start,
            posteriors=turn == rounds - 1 and rounds > 1,
        )
        before, members = members, (np.flatnonzero(path.kind == 1), np.flatnonzero(path.kind == 2))
        if not len(members[0]) and not len(members[1]):
            return None
        best = Solution(path, track, like, (score[0], score[1]), members)
        turn += 1
        if turn < rounds and turn > 1 and all(np.array_equal(a, b) for a, b in zip(before, members, strict=True)):
            turn = rounds - 1  # nothing more is to be learnt
        elif turn < rounds:
            others = np.ones(n, bool)
            others[np.concatenate(members)] = False
            like = (like_score(field, members[0], others), like_score(field, members[1], others))
    return best


def worth_of(field: DetectionContext, solution: Solution) -> float:
    """What the clicks explain, in nats, comparable between guesses.

    A level that comes and goes with a click at each edge speaks for a pump; how much depends on how often so good a
    click stands at an edge by chance, or because whatever noise begins there begins with it. An edge without a
    click speaks against the guess, unless it is one of a short burst.
    """
    path = solution.path
    picks = np.flatnonzero(path.kind)
    chosen = np.where(path.kind == 1, solution.score[0], solution.score[1])[picks]
    worth = float(np.minimum(chosen, 8.0).sum())
    doubt = 3.0 if solution.track is None else 1.5
    if solution.track is not None:
        less = max(_DULL - small_statistics.median(field.snap[picks]), 0.0)
        worth -= 2.0 * doubtful(solution.track) * len(picks) * less
    for kind in (1, 2):
        members = np.flatnonzero(path.kind == kind)
        if len(members):  # what recurs may still be no switch: words and barks recur too
            worth -= doubt * np.sqrt(len(members)) * max(0.5 - small_statistics.median(field.snap[members]), 0.0)
    worth -= _LEFT_OUT * _left_out(field, solution)
    if solution.track is None:
        return worth - 2.5 * len(path.silent_rows)
    others = np.ones(len(field.cand), bool)
    others[picks] = False
    rivals = np.sort(field.snap[others])
    above = len(rivals) - np.searchsorted(rivals, field.snap[picks] - 0.5) + 0.3
    chance = above * (2.0 * _EDGE_S / field.duration_s + 0.7 / (field.snap_counts.sum() + 1.0))
    worth += float(np.clip(-np.log(chance), 0.0, 5.0).sum())
    worth += _sustained_bonus(field, solution)
    lone = lone_changes(path.silent_rows, field)
    # A level that comes and goes mostly without a click is not that of the pump.
    many = max(len(path.silent_rows) - 0.3 * len(picks), 0.0) * (1.0 + 3.0 * doubtful(solution.track))
    return worth - 2.5 * float(lone.sum()) - 0.5 * float((~lone).sum()) - 6.0 * many


def doubtful(track: pump_state.Track) -> float:
    """From 0, where the pump is heard plainly, to 1, where its level is hardly apart: words have such a level too."""
    return min(max((_PLAIN_APART - track.apart) / 1.5, 0.0), 1.0)


def _left_out(field: DetectionContext, solution: Solution) -> float:
    """What the sounds say that resemble the clicks and yet are none of them, in nats.

    A switch takes turns: all that sounds like it is in the sequence. Of crackle that recurs, half is left over.
    """
    picks = field.cand.time_s[solution.path.kind > 0]
    at = np.searchsorted(picks, field.cand.time_s, side="right")
    since = field.cand.time_s - np.where(at > 0, picks[np.maximum(at - 1, 0)], -np.inf)
    until = np.where(at < len(picks), picks[np.minimum(at, len(picks) - 1)], np.inf) - field.cand.time_s
    away = (since > AROUND_S) & (until > _APPROACH_S)
    score = np.maximum(solution.score[0], solution.score[1])[away]
    return float(np.clip(score, 0.0, 8.0).sum())


def lone_changes(rows: np.ndarray, field: DetectionContext) -> np.ndarray:
    """Which changes without a click are not one of a short burst: (n,) bool."""
    near = np.diff(rows) * float(field.levels.step_s[0]) < _BURST_S
    burst = np.concatenate([near, [False]]) | np.concatenate([[False], near])
    return np.asarray(~burst[: len(rows)])


def _sustained_bonus(field: DetectionContext, solution: Solution) -> float:
    """For each click between a long quiet and a long sound: barks and words end within seconds, a pump goes on."""
    path, track = solution.path, solution.track
    if track is None or track.apart < 2.0:
        return 0.0
    picks = np.flatnonzero(path.kind)
    changes = np.unique(np.concatenate([field.row[picks], path.silent_rows, field.levels.first]))
    at = np.searchsorted(changes, field.row[picks])
    before = field.row[picks] - changes[np.maximum(at - 1, 0)]
    after = changes[np.minimum(at + 1, len(changes) - 1)] - field.row[picks]
    steps = _SUSTAINED_S / float(field.levels.step_s[0])
    return float(np.sum((before >= steps) & (after >= steps))) * (3.0 if track.apart > 6.0 else 2.5)
