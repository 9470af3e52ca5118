"""The chain, live: which way a click went, by its likeness to the clicks of this switch that are known already.

The whole decision costs a third of a second, and in a lively room there is no time for it after each sound. But a
switch clicks alike every time: once a click of each kind has been told, the wave of a new one (clicktimer.waves) agrees
with theirs as no other sound does. Told so within half a second, provisionally; the next whole decision confirms it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.candidates import Candidates
from clicktimer.records import Kind
from clicktimer.snap import snap_score
from clicktimer.waves import Waves

LEAST_LIKE: Final = 0.70
"""Least likeness of waves to a known click, 0 to 1. In 47 composed recordings of the develop half, near and hard, 564
of 607 clicks with a wave were that alike to one of their kind before, and of 5864 other sounds none (likest: 0.67)."""
LEAST_SNAP: Final = -1.0
"""What is less of a snap by its shape is not looked at."""
APART: Final = 0.08
"""The kind whose clicks it resembles more by this much is its kind; by less, its turn decides."""
KEPT: Final = 8
"""Clicks of each kind that are remembered, the last ones."""
AGAIN_S: Final = 1.0
"""A snap so soon after a click of the same switch is chatter."""
UNLIKE, LEAST_SURE = 0.5, 2
"""Less like than this to every known click, of which there are so many of each kind, it is not the switch: no decision
of its own is spent on it (of the 607 clicks above 8 were so unlike, all of them far from the switch)."""
SAME_S: Final = 0.02


@dataclass(frozen=True, slots=True)
class Compared:
    """told: index and kind of the sounds that are the switch. unlike: indices of those that plainly are not."""

    told: tuple[tuple[int, Kind], ...]
    unlike: tuple[int, ...]


class ByLook:
    """Remembers what the last clicks of each kind look like, and tells a new one by that."""

    def __init__(self) -> None:
        self._known: dict[Kind, list[Candidates]] = {"cut-in": [], "cut-out": [], "unknown": []}
        self._taught: set[tuple[float, Kind]] = set()

    def learn(self, time_s: float, kind: Kind, candidates: Candidates) -> None:
        """A click was told by a whole decision: remember its wave, where one is kept."""
        if (time_s, kind) in self._taught:
            return
        near = np.abs(candidates.time_s - time_s)
        if not len(near) or near.min() > SAME_S or candidates.wave_hz[near.argmin()] <= 0.0:
            return
        self.forget(time_s)
        self._taught.add((time_s, kind))
        self._known[kind] = [*self._known[kind], candidates.take(np.array([near.argmin()]))][-KEPT:]

    def forget(self, time_s: float) -> None:
        """What was told of this click was withdrawn, or is to be learnt anew."""
        self._taught = {t for t in self._taught if abs(t[0] - time_s) > SAME_S}
        for kind, known in self._known.items():
            self._known[kind] = [c for c in known if abs(float(c.time_s[0]) - time_s) > SAME_S]

    @property
    def knows(self) -> bool:
        """Whether any click is known."""
        return any(self._known.values())

    def compared(self, new: Candidates, last: Kind) -> Compared:
        """Which of the new sounds are the switch, and which are not. last: the kind told last before them."""
        worth = np.flatnonzero((new.wave_hz > 0.0) & (snap_score(new) >= LEAST_SNAP))
        if not len(worth) or not self.knows:
            return Compared((), ())
        of = [kind for kind, clicks in self._known.items() for _ in clicks]
        waves = Waves(Candidates.join([*(c for clicks in self._known.values() for c in clicks), new.take(worth)]))
        told: list[tuple[int, Kind]] = []
        unlike: list[int] = []
        sure = min(len(self._known["cut-in"]), len(self._known["cut-out"])) >= LEAST_SURE
        for n, index in enumerate(worth.tolist()):
            likeness = np.nan_to_num(waves.among(len(of) + n, np.arange(len(of)))).tolist()
            best: dict[Kind, float] = {}
            for kind, like in zip(of, likeness, strict=True):
                best[kind] = max(best.get(kind, 0.0), like)
            chatter = told and float(new.time_s[index] - new.time_s[told[-1][0]]) < AGAIN_S
            which = None if chatter else _which(best, last)
            if which is not None:
                told.append((index, which))
                last = which
            elif sure and max(best.values()) < UNLIKE:
                unlike.append(index)
        return Compared(tuple(told), tuple(unlike))


def _which(best: dict[Kind, float], last: Kind) -> Kind | None:
    """The kind by the best likeness to the clicks of each; None where it is no click of it, or may be either."""
    if max(best.values()) < LEAST_LIKE:
        return None
    kind = max(best, key=lambda k: best[k])
    if kind == "unknown":
        return kind
    other: Kind = "cut-out" if kind == "cut-in" else "cut-in"
    if other not in best:  # the other one may sound the same
        return None if last == kind else kind
    if best[kind] - best[other] < APART and last in (kind, other):
        return other if last == kind else kind
    return kind
