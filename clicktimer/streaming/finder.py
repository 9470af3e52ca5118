"""The chain, live: the same detectors as for recordings, with a look at what they have not yet handed out.

Nothing is detected here: only read earlier, so that a click can be shown while it still rings, and so that what the
detector holds back (it hands candidates out by whole seconds) is on disk before a power cut. And what was handed out is
let go of: a listening may last for days, and its levels and tones lie on disk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.spectral_lines import ToneFinder, ToneSegment


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
        does not begin at ``start_s``; None where there is no more of it.
        """
        s = self.stretch
        return None if s is None else s.level_track.newer(steps if start_s == s.start_s else 0)

    def forget_levels(self) -> None:
        """Let go of the level track so far, all of which was handed out: ``levels`` gives only what comes after it."""
        self._done_segments.clear()
        if self.stretch is not None:
            self.stretch.level_track.forget()

    def stretch_start_s(self) -> float | None:
        """Where the present stretch of sound began; None between stretches."""
        return None if self.stretch is None else self.stretch.start_s

    def level_db(self) -> float | None:
        """The room's level in the click's bands over the last quarter second, dB of full scale."""
        return None if self.stretch is None else self.stretch.level_db(0.25)


class LiveTones(ToneFinder):
    """A ToneFinder that hands its lines out as they come, and remembers none of them."""

    def __init__(self, params: DetectionParams | None = None) -> None:
        super().__init__(params)
        self._handed: tuple[float, int] = (0.0, 0)

    def newer(self) -> list[tuple[float, ToneSegment]]:
        """The steps that were not handed out yet, each with the start of its stretch."""
        new = []
        for one in self.lines():
            done = self._handed[1] if self._handed[0] == one.start_s else 0
            count = len(one.freq_codes)
            self._handed = (one.start_s, done + count)
            if count:
                from_s = one.start_s + done * one.step_s
                new.append((one.start_s, ToneSegment(from_s, one.step_s, one.freq_codes, one.over_codes)))
        self._done.clear()
        if self._stretch is not None:
            self._stretch.forget()
        return new
