"""The chain, live: which way a click went, by the sound that began or ended with it, before the switch is known.

The decision on recordings needs several clicks. While listening, the first can be told within two seconds where the
pump is plainly heard: right after a snap a steady sound begins, in many bands together, or such a sound ends. A latch
with a fan behind it does the same: what is told so is provisional, and taken back when the sound ends without a click.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.detection import pump_state
from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.switch_score import snap_score
from clicktimer.records import Kind

HISTORY_S: Final = 60.0
"""How much each band changes by itself is learnt from so much of the past ..."""
LEAST_HISTORY_S: Final = 5.0
"""... and at least so much must have been heard before the click."""
LATE_S: Final = 1.8
"""So long after a click the level after it is known."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of a change of level, see Change, and of the click that it came with: its snap score."""

    snap: float
    size: float
    step_db: float
    agreeing: float
    bands: int
    most_wander_db: float


ENOUGH: Final = (Asked(2.0, 6.0, 4.0, 0.9, 6, 2.5), Asked(4.5, 5.0, 2.5, 0.85, 5, 4.0))
"""One of these must be met: with a sharper snap a lesser change will do. On 58 composed recordings of the develop half,
44 near and 14 hard, the first alone told 372 of the 827 times that a true click stood out, both 440: all of them the
right way. Of 2695 other sounds 3 were taken for a click, by either. Where nothing is met the kind is left open."""
LEAST_SNAP: Final = min(one.snap for one in ENOUGH)
"""Less of a snap is not looked at."""
NEAR_S: Final = 1.2
"""Of several sounds so near to the change only the most snap-like is told."""
BACK: Final = 0.6
"""The sound has ended when the level is back by this share of its step."""
LOOK_S: Final = 5.0

Segments = list[LevelSegment]


@dataclass(frozen=True, slots=True)
class Change:
    """How the level changed with a click.

    size: rms of the six bands that changed most, in standard deviations of how each changes by itself. step_db: mean
    change of the telling bands, those that changed by 3 standard deviations; bands: how many these are; agreeing: the
    share of them that went the same way. wander_db: how much their mean moves within the 1.5 s on either side.
    telling: (bands,) bool; before_db, after_db: (bands,) the levels.
    """

    size: float
    step_db: float
    agreeing: float
    bands: int
    wander_db: float
    telling: np.ndarray
    before_db: F32
    after_db: F32

    def plain(self, snap: float) -> bool:
        """Whether a steady sound plainly began or ended with a click of this snap score."""
        return any(
            snap >= one.snap
            and self.size >= one.size
            and abs(self.step_db) >= one.step_db
            and self.agreeing >= one.agreeing
            and self.bands >= one.bands
            and self.wander_db <= one.most_wander_db
            for one in ENOUGH
        )


def change_at(segments: Segments, time_s: float) -> Change | None:
    """The change of level at a click, from the level track of the stretch it lies in; None where too little is known.

    segments: cut to the last minute or so. Looks at 1.5 s on both sides of the click, the quarter second of the click
    itself left out.
    """
    levels = pump_state.gather([s for s in segments if s.start_s <= time_s < s.start_s + len(s.codes) * s.step_s])
    if levels is None:
        return None
    w = pump_state.STEP_WINDOW
    row = int(levels.position(np.array([time_s]))[0])
    if row < max(w, LEAST_HISTORY_S / float(levels.step_s[0])) or row + 1 + w > len(levels.db):
        return None
    before, after = levels.db[row - w : row], levels.db[row + 1 : row + 1 + w]
    before_db, after_db = np.median(before, axis=0), np.median(after, axis=0)
    step = after_db - before_db
    z = np.clip(step / levels.spread_db, -12.0, 12.0)
    telling = np.abs(z) >= 3.0
    if not telling.any():
        return None
    way = np.sign(z[telling].sum() or 1.0)
    return Change(
        size=float(np.sqrt(np.mean(np.sort(z**2)[-6:]))),
        step_db=float(step[telling].mean()),
        agreeing=float(np.mean(np.sign(z[telling]) == way)),
        bands=int(telling.sum()),
        wander_db=float(max(after[:, telling].mean(axis=1).std(), before[:, telling].mean(axis=1).std())),
        telling=telling,
        before_db=before_db,
        after_db=after_db,
    )


class BySound:
    """Tells kinds by the sound, each the other way than the one before; remembers the sound that goes on."""

    def __init__(self) -> None:
        self._last: Kind | None = None
        self._on: tuple[float, Change] | None = None
        self._looked_s = 0.0
        self._back_before = False

    def waits(self, end_s: float) -> bool:
        """Whether it is time to look if the sound that began has ended."""
        return self._on is not None and end_s - self._looked_s >= LOOK_S

    def kind(self, time_s: float, candidates: Candidates, segments: Segments) -> Kind | None:
        """The kind of the click at time_s, LATE_S after it; None where the sound does not tell."""
        near = candidates.take(np.abs(candidates.time_s - time_s) <= NEAR_S)
        if not len(near):
            return None
        snaps = snap_score(near)
        best = int(np.argmax(snaps))
        if snaps[best] < LEAST_SNAP or abs(float(near.time_s[best]) - time_s) > 0.03:
            return None
        change = change_at(segments, time_s)
        if change is None or not change.plain(float(snaps[best])):
            return None
        kind: Kind = "cut-in" if change.step_db > 0.0 else "cut-out"
        if kind == self._last:
            return None
        if kind == "cut-out" and self._on is not None and not _is_back(self._on[1], change.after_db):
            return None  # something else ended; what began before goes on
        self._last = kind
        self._on = (time_s, change) if kind == "cut-in" else None
        self._back_before = False
        return kind

    def ended(self, segments: Segments, end_s: float) -> float | None:
        """The time of the cut-in that was told last, where its sound has ended and no click was told with that."""
        if self._on is None or not self.waits(end_s):
            return None
        self._looked_s = end_s
        levels = pump_state.gather(segments[-1:])
        if levels is None or len(levels.db) < pump_state.STEP_WINDOW:
            return None
        back = _is_back(self._on[1], np.median(levels.db[-pump_state.STEP_WINDOW :], axis=0))
        ended = back and self._back_before  # twice, for the click that ends it is told two seconds late
        self._back_before = back
        if not ended:
            return None
        time_s = self._on[0]
        self._on = self._last = None
        return time_s


def _is_back(began: Change, level_db: F32) -> bool:
    fallen_db = (began.after_db - level_db)[began.telling].mean()
    return bool(fallen_db >= BACK * began.step_db)
