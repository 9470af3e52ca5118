"""The chain, live: which way a click went, by its likeness to the clicks of this switch that are known already.

The whole decision costs a third of a second, and in a lively room there is no time for it after each sound. But a
switch clicks alike every time: once a click of each kind has been told, the wave of a new one agrees
with theirs as no other sound does. Told so within half a second, provisionally; the next whole decision confirms it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.detection.candidates import Candidates
from clicktimer.detection.switch_score import snap_score
from clicktimer.detection.waveforms import Waves
from clicktimer.records import Click, Kind

LEAST_LIKE: Final = 0.70
"""Least likeness of waves to a known click, 0 to 1. In 47 composed recordings of the develop half, near and hard, 564
of 607 clicks with a wave were that alike to one of their kind before, and of 5864 other sounds none (likest: 0.67)."""
LEAST_SNAP: Final = -1.0
"""What is less of a snap by its shape is not looked at."""
APART: Final = 0.08
"""The kind whose clicks it resembles more by this much is its kind; by less, its turn decides."""
KEPT: Final = 6
"""Clicks of each kind that are remembered, the last ones."""
AGAIN_S: Final = 1.0
"""A snap so soon after a click of the same switch is chatter."""
UNLIKE, LEAST_SURE = 0.5, 2
"""Less like than this to every known click, of which there are so many of each kind, it is not the switch: no decision
of its own is spent on it (of the 607 clicks above 8 were so unlike, all of them far from the switch)."""
STRANGERS, MOST_STRANGERS = 0.65, 1
"""So many sounds that are no click, of those that a decision looks at, may be so alike to a click that is learnt."""
MOST_IN_A_ROW, RATTLE_S = 6, 20.0
"""More clicks than this in so many seconds are told by whole decisions only."""
KINDS: Final[tuple[Kind, ...]] = ("cut-in", "cut-out", "unknown")
MEMBER_S: Final = 0.02
"""A told click lies so near to its candidate: it may be told at the moment that the others of its kind are told at."""


@dataclass(frozen=True, slots=True)
class Compared:
    """told: index and kind of the sounds that are the switch. unlike: indices of those that plainly are not."""

    told: tuple[tuple[int, Kind], ...]
    unlike: tuple[int, ...]


class ByLook:
    """Remembers what the last clicks of each kind look like, and tells a new one by that."""

    def __init__(self) -> None:
        self._known: dict[Kind, list[Candidates]] = {}
        self._told_s: list[float] = []

    def learn(self, clicks: Sequence[Click], candidates: Candidates) -> None:
        """A whole decision has told these clicks among these candidates: from now on they are what is known.

        A click that other sounds resemble as well teaches nothing: something in the house drips or rattles like it.
        """
        if not clicks:
            return
        times_s = np.array([c.time_s for c in clicks])
        apart_s = np.min(np.abs(candidates.time_s[:, None] - times_s), axis=1, initial=np.inf)
        waves = Waves(candidates)
        self._known, self._told_s = {}, []
        for kind in KINDS:
            for click in [c for c in clicks if c.kind == kind][-KEPT:]:
                member = int(np.argmin(np.abs(candidates.time_s - click.time_s))) if len(candidates) else -1
                if member < 0 or apart_s[member] > MEMBER_S or not waves.has(member):
                    continue
                alike = np.nan_to_num(waves.alike(member))
                if np.count_nonzero((alike >= STRANGERS) & (apart_s > AGAIN_S)) <= MOST_STRANGERS:
                    self._known.setdefault(kind, []).append(candidates.take(np.array([member])))

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
        sure = min(len(self._known.get("cut-in", ())), len(self._known.get("cut-out", ()))) >= LEAST_SURE
        for n, index in enumerate(worth.tolist()):
            likeness = np.nan_to_num(waves.among(len(of) + n, np.arange(len(of)))).tolist()
            best: dict[Kind, float] = {}
            for kind, like in zip(of, likeness, strict=True):
                best[kind] = max(best.get(kind, 0.0), like)
            chatter = told and float(new.time_s[index] - new.time_s[told[-1][0]]) < AGAIN_S
            which = None if chatter or self._too_many(float(new.time_s[index])) else _which(best, last)
            if which is not None:
                told.append((index, which))
                self._told_s.append(float(new.time_s[index]))
                last = which
            elif sure and max(best.values()) < UNLIKE:
                unlike.append(index)
        return Compared(tuple(told), tuple(unlike))

    def _too_many(self, time_s: float) -> bool:
        """Whether so many were told of late, and no decision since, that it is rather a rattle."""
        return sum(1 for t in self._told_s if t > time_s - RATTLE_S) >= MOST_IN_A_ROW


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
