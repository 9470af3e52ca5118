"""While listening: the kind of a click by the sound that began or ended with it, before the switch is known.

Detection in recordings needs several clicks. While listening, the first can be named within two seconds if the pump is
plainly heard: right after a click a steady sound begins, in many bands together, or such a sound ends. A latch with a
fan behind it does the same, so this is provisional, and withdrawn if the sound ends without a click.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection import pump_state
from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.live_params import LevelStep
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.switch_score import switch_scores
from clicktimer.records import Kind

Segments = list[LevelSegment]


@dataclass(frozen=True, slots=True)
class Change:
    """How the level changed with a click.

    size: rms of the bands that changed most, in standard deviations of how each changes by itself. step_db: mean
    change of the decisive bands, those that changed clearly; bands: how many these are; agreeing: the share of them
    that changed in the same direction. wander_db: how much their mean moves within the 1.5 s on either side. decisive:
    (bands,) bool; before_db, after_db: (bands,) the levels.
    """

    size: float
    step_db: float
    agreeing: float
    bands: int
    wander_db: float
    decisive: np.ndarray
    before_db: F32
    after_db: F32

    def is_plain(self, score: float, p: LevelStep) -> bool:
        """Return True if a steady sound plainly began or ended with a click of this switch score."""
        return any(
            score >= p.score[k]
            and self.size >= p.size[k]
            and abs(self.step_db) >= p.step_db[k]
            and self.agreeing >= p.agreeing[k]
            and self.bands >= p.bands[k]
            and self.wander_db <= p.most_wander_db[k]
            for k in range(len(p.score))
        )


def change_at(segments: Segments, time_s: float, params: DetectionParams) -> Change | None:
    """Return the change of level at a click, from the levels of the stretch it lies in; None if too little is known.

    segments: cut to the last minute or so. The 1.5 s on both sides of the click count, without the quarter second of
    the click itself.
    """
    p = params.level_step
    inside = [s for s in segments if s.start_s <= time_s < s.start_s + len(s.codes) * s.step_s]
    levels = pump_state.gather(inside, params.pump_state)
    if levels is None:
        return None
    w = params.pump_state.step_window
    row = int(levels.position(np.array([time_s]))[0])
    if row < max(w, p.least_history_s / float(levels.step_s[0])) or row + 1 + w > len(levels.db):
        return None
    before, after = levels.db[row - w : row], levels.db[row + 1 : row + 1 + w]
    before_db, after_db = np.median(before, axis=0), np.median(after, axis=0)
    step = after_db - before_db
    z = np.clip(step / levels.spread_db, -p.change_cap, p.change_cap)
    decisive = np.abs(z) >= p.decisive
    if not decisive.any():
        return None
    direction = np.sign(z[decisive].sum() or 1.0)
    return Change(
        size=float(np.sqrt(np.mean(np.sort(z**2)[-p.change_bands :]))),
        step_db=float(step[decisive].mean()),
        agreeing=float(np.mean(np.sign(z[decisive]) == direction)),
        bands=int(decisive.sum()),
        wander_db=float(max(after[:, decisive].mean(axis=1).std(), before[:, decisive].mean(axis=1).std())),
        decisive=decisive,
        before_db=before_db,
        after_db=after_db,
    )


class BySound:
    """Names kinds by the sound, each the opposite of the one before; remembers the sound that goes on."""

    def __init__(self, params: DetectionParams) -> None:
        self._all, self._params = params, params.level_step
        self._least_score = min(self._params.score)
        self._last: Kind | None = None
        self._on: tuple[float, Change] | None = None
        self._looked_s = 0.0
        self._back_before = False

    def waits(self, end_s: float) -> bool:
        """Return True if it is time to look whether the sound that began has ended."""
        return self._on is not None and end_s - self._looked_s >= self._params.look_s

    def kind(self, time_s: float, candidates: Candidates, segments: Segments) -> Kind | None:
        """Return the kind of the click at time_s, ``late_s`` after it; None if the sound does not show it."""
        p = self._params
        near = candidates.take(np.abs(candidates.time_s - time_s) <= p.near_s)
        if not len(near):
            return None
        scores = switch_scores(near, self._all.switch_score)
        best = int(np.argmax(scores))
        if scores[best] < self._least_score or abs(float(near.time_s[best]) - time_s) > p.same_s:
            return None
        change = change_at(segments, time_s, self._all)
        if change is None or not change.is_plain(float(scores[best]), p):
            return None
        kind: Kind = "cut-in" if change.step_db > 0.0 else "cut-out"
        if kind == self._last:
            return None
        if kind == "cut-out" and self._on is not None and not _is_back(self._on[1], change.after_db, p.back):
            return None  # something else ended; what began before goes on
        self._last = kind
        self._on = (time_s, change) if kind == "cut-in" else None
        self._back_before = False
        return kind

    def ended(self, segments: Segments, end_s: float) -> float | None:
        """Return the time of the last cut-in if its sound has ended without a click."""
        if self._on is None or not self.waits(end_s):
            return None
        self._looked_s = end_s
        levels = pump_state.gather(segments[-1:], self._all.pump_state)
        window = self._all.pump_state.step_window
        if levels is None or len(levels.db) < window:
            return None
        back = _is_back(self._on[1], np.median(levels.db[-window:], axis=0), self._params.back)
        ended = back and self._back_before  # twice, since the click that ends it is named two seconds late
        self._back_before = back
        if not ended:
            return None
        time_s = self._on[0]
        self._on = self._last = None
        return time_s


def _is_back(began: Change, level_db: F32, share: float) -> bool:
    """Return True if the level is back by this share of its change."""
    fallen_db = (began.after_db - level_db)[began.decisive].mean()
    return bool(fallen_db >= share * began.step_db)
