"""Stage 2: blocks of sound -> candidates (anything that could be a click) and the level track (for the pump).

``OnsetFinder.feed(block)`` takes sound in pieces of any size, ``flush()`` the rest; the result does not depend on
the cutting. It looks back only: a rise is measured against a running estimate of the room, never against the whole
file, so that one bang cannot hide a click ten seconds away. What is kept is small and of fixed size for each
candidate.
"""

from __future__ import annotations

from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.detection.stretch import Stretch
from clicktimer.records import Block

_LONGEST_FEED_S = 10.0
"""Longer blocks are taken in pieces, so that memory does not grow with the block."""


class OnsetFinder:
    """Candidates and levels from a stream of blocks. Memory does not grow but by what it returns."""

    def __init__(self, params: DetectionParams | None = None) -> None:
        """params: those of params.toml if None."""
        self.params = params or default_params()
        self._stretch: Stretch | None = None
        self._done_segments: list[LevelSegment] = []

    def feed(self, block: Block) -> Candidates:
        """Take the next block; return the candidates that are now settled (about 0.1 s behind the sound)."""
        found: list[Candidates] = []
        stretch = self._stretch
        if stretch is None or block.gap_before is not None or stretch.rate_hz != block.rate_hz:
            if stretch is not None:
                found.append(self.flush())
            stretch = self._stretch = Stretch(self.params, block.rate_hz, block.start_s)
        step = int(_LONGEST_FEED_S * block.rate_hz)
        for first in range(0, len(block.samples), step):
            found.append(stretch.feed(block.samples[first : first + step]))
        return Candidates.join([f for f in found if len(f)])

    def flush(self) -> Candidates:
        """No more sound (or a gap): the rest of the candidates. What comes next starts afresh."""
        if self._stretch is None:
            return Candidates.none()
        rest = self._stretch.flush()
        self._done_segments.append(self._stretch.level_track.segment())
        self._stretch = None
        return rest

    @property
    def stretch(self) -> Stretch | None:
        """The memory of the present stretch of sound; None between stretches."""
        return self._stretch

    def levels(self) -> list[LevelSegment]:
        """The level track so far, one segment for each stretch of sound without a gap."""
        return [*self._done_segments, *([self._stretch.level_track.segment()] if self._stretch is not None else [])]
