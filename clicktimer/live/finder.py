"""The chain, live: the same detector as for recordings, with a look at what it has not yet handed out.

Nothing is detected here: only read earlier, so that a click can be shown while it still rings, and so that what the
detector holds back (it hands candidates out by whole seconds) is on disk before a power cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.candidates import Candidates, LevelSegment
from clicktimer.onsets import OnsetFinder


@dataclass(frozen=True, slots=True)
class Sudden:
    """A sudden rise that has just been heard: its time to about 10 ms, and its mean rise over the room in dB."""

    time_s: float
    rise_db: float


class LiveFinder(OnsetFinder):
    """An OnsetFinder that may be looked into."""

    def sudden(self, after_s: float, least_db: float) -> list[Sudden]:
        """Rises of at least ``least_db`` after ``after_s`` that are the highest within 20 ms on both sides."""
        s = self.stretch
        if s is None:
            return []
        frame_s = s.frame_len / s.rate_hz
        first_frame, rise = s.rises()
        known, apart = len(rise), s.apart
        first = max(int((after_s - s.start_s) / frame_s) - first_frame, apart)
        if known - apart <= first:
            return []
        found = []
        for i in np.flatnonzero(rise[first : known - apart] >= least_db) + first:
            around = rise[max(i - apart, 0) : i + apart + 1]
            if rise[i] == around.max():
                found.append(Sudden(s.start_s + (first_frame + int(i)) * frame_s, float(rise[i])))
        return found

    def pending(self) -> Candidates:
        """Candidates that are described but not handed out yet: of each whole second only the strongest few will be."""
        return Candidates.none() if self.stretch is None else self.stretch.waiting()

    def newer_levels(self, start_s: float | None, steps: int) -> LevelSegment | None:
        """The part of the present stretch's level track after its first ``steps`` steps; all of it where the stretch
        does not begin at ``start_s``; None where there is no more of it."""
        s = self.stretch
        return None if s is None else s.newer_levels(steps if start_s == s.start_s else 0)

    def stretch_start_s(self) -> float | None:
        """Where the present stretch of sound began; None between stretches."""
        return None if self.stretch is None else self.stretch.start_s

    def level_db(self) -> float | None:
        """The room's level in the click's bands over the last quarter second, dB of full scale."""
        return None if self.stretch is None else self.stretch.level_db(0.25)
