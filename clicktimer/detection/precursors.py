"""A sound that comes shortly before nearly every click of a kind, and is always the same, is the click itself.

A relay or a contactor clicks a fraction of a second after the switch that pulls it, often louder; a pipe knocks
after the cut-out. Nothing of the kind comes before the switch.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import Solution

_WITHIN_S = (0.05, 1.0)
"""Nearer is the approach of the same contact, not another click."""
_SHARE = 0.6
_LEAST = 3
_LEAST_ALIKE = 0.6
_LESS_SNAP = 4.0
_FAINTER_DB = 8.0
_MOST_ELSEWHERE = 1.4
"""Of all sounds like the leader, most must lead."""


def led_by(field: DetectionContext, solution: Solution) -> Solution:
    """The same solution, each kind of click moved to the sound that leads it, where there is one."""
    for which in (0, 1):
        members = solution.members[which]
        leaders = _leaders(field, members, solution.path.kind) if len(members) >= _LEAST else {}
        if leaders:
            solution = _moved(solution, which, leaders)
    return solution


def _leaders(field: DetectionContext, members: np.ndarray, kind: np.ndarray) -> dict[int, int]:
    """For each click that has one, the candidate that leads it."""
    time_s = field.cand.time_s
    before: dict[int, list[int]] = {}
    for m in members.tolist():
        first, last = np.searchsorted(time_s, [time_s[m] - _WITHIN_S[1], time_s[m] - _WITHIN_S[0]])
        own = [j for j in range(first, last) if not kind[j] and field.waves.has(j)]
        loud = field.cand.peak_db > field.cand.peak_db[m] - _FAINTER_DB
        before[m] = [j for j in own if loud[j] and field.snap[j] > field.snap[m] - _LESS_SNAP]
    every = np.array(sorted({j for some in before.values() for j in some}), np.int64)
    best: dict[int, int] = {}
    for j in every.tolist():
        alike = dict(zip(every.tolist(), field.waves.among(j, every).tolist(), strict=True)) | {j: 1.0}
        found = {
            m: max(some, key=alike.__getitem__)
            for m, some in before.items()
            if any(alike[k] > _LEAST_ALIKE for k in some)
        }
        # A clock ticks before every click, too, and between them.
        if len(found) > len(best) and (
            np.count_nonzero(field.waves.alike(j) > _LEAST_ALIKE) <= _MOST_ELSEWHERE * len(members)
        ):
            best = found
    return best if len(best) >= max(_LEAST, _SHARE * len(members)) else {}


def _moved(solution: Solution, which: int, leaders: dict[int, int]) -> Solution:
    path = solution.path
    kind, chance_in, chance_out = path.kind.copy(), path.chance_in.copy(), path.chance_out.copy()
    chance = (chance_in, chance_out)[which]
    score = solution.score[which].copy()
    for follower, leader in leaders.items():
        kind[leader], kind[follower] = kind[follower], 0
        chance[leader], chance[follower] = max(chance[leader], chance[follower]), 0.0
        score[leader] = max(score[leader], score[follower])
    both = (score, solution.score[1]) if which == 0 else (solution.score[0], score)
    moved = np.array(sorted(leaders.get(int(m), int(m)) for m in solution.members[which]), np.int64)
    members = (moved, solution.members[1]) if which == 0 else (solution.members[0], moved)
    return replace(
        solution,
        path=replace(path, kind=kind, chance_in=chance_in, chance_out=chance_out),
        score=both,
        members=members,
    )
