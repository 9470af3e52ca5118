"""Relays and pipes often sound a fraction of a second after the switch; such clicks are moved to the switch itself.

If a similar sound precedes most clicks of one kind, it is the click. A relay or contactor clicks a fraction of a second
after the switch that pulls it, often louder; a pipe knocks after the cut-out. Nothing of that kind precedes the switch.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import Solution


def moved_to_precursors(context: DetectionContext, solution: Solution) -> Solution:
    """Return the same solution, with each kind of click moved to its precursor if it has one."""
    for which in (0, 1):
        members = solution.members[which]
        found = {}
        if len(members) >= context.params.precursors.least:
            found = _precursors(context, members, solution.path.kind)
        if found:
            solution = _moved(solution, which, found)
    return solution


def _precursors(context: DetectionContext, members: np.ndarray, kind: np.ndarray) -> dict[int, int]:
    """Return the precursor of each click that has one; empty if too few clicks have one."""
    p = context.params.precursors
    before = {m: _sounds_before(context, m, kind) for m in members.tolist()}
    every = np.array(sorted({j for some in before.values() for j in some}), np.int64)
    best: dict[int, int] = {}
    for j in every.tolist():
        alike = dict(zip(every.tolist(), context.waveforms.among(j, every).tolist(), strict=True)) | {j: 1.0}
        found = {
            m: max(some, key=alike.__getitem__) for m, some in before.items() if any(alike[k] > p.alike for k in some)
        }
        # A clock ticks before every click, too, and between them.
        if len(found) > len(best) and (
            np.count_nonzero(context.waveforms.alike(j) > p.alike) <= p.most_elsewhere * len(members)
        ):
            best = found
    return best if len(best) >= max(p.least, p.share * len(members)) else {}


def _sounds_before(context: DetectionContext, click: int, kind: np.ndarray) -> list[int]:
    """Return the candidates shortly before a click that are no clicks, have a waveform and are not much fainter."""
    p = context.params.precursors
    time_s, peak_db, score = context.candidates.time_s, context.candidates.peak_db, context.switch_score
    first, last = np.searchsorted(time_s, [time_s[click] - p.farthest_s, time_s[click] - p.nearest_s])
    return [
        j
        for j in range(first, last)
        if not kind[j]
        and context.waveforms.has(j)
        and peak_db[j] > peak_db[click] - p.fainter_db
        and score[j] > score[click] - p.less_score
    ]


def _moved(solution: Solution, which: int, precursors: dict[int, int]) -> Solution:
    path = solution.path
    kind, chance_in, chance_out = path.kind.copy(), path.chance_in.copy(), path.chance_out.copy()
    chance = (chance_in, chance_out)[which]
    score = solution.score[which].copy()
    for click, precursor in precursors.items():
        kind[precursor], kind[click] = kind[click], 0
        chance[precursor], chance[click] = max(chance[precursor], chance[click]), 0.0
        score[precursor] = max(score[precursor], score[click])
    both = (score, solution.score[1]) if which == 0 else (solution.score[0], score)
    moved = np.array(sorted(precursors.get(int(m), int(m)) for m in solution.members[which]), np.int64)
    members = (moved, solution.members[1]) if which == 0 else (solution.members[0], moved)
    return replace(
        solution,
        path=replace(path, kind=kind, chance_in=chance_in, chance_out=chance_out),
        score=both,
        members=members,
    )
