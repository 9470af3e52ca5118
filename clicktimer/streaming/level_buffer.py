"""The chain, live: the level track as far as a decision will ask for it; what is older is on disk only."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from clicktimer.detection.candidates import LevelSegment
from clicktimer.streaming.resume import cut_levels

Pieces = Sequence[tuple[float, float]]
"""Stretches of time, from and to, s."""


class LevelTrack:
    """Takes the level track bit by bit and gives it in stretches without a hole."""

    def __init__(self, earlier: Iterable[LevelSegment] = ()) -> None:
        self._stretches: list[list[LevelSegment]] = [[one] for one in earlier]

    def add(self, new: LevelSegment) -> None:
        """Take further steps; they go on where the last ones ended, or begin a new stretch."""
        last = self._stretches[-1][-1] if self._stretches else None
        if last is not None and last.used == new.used and abs(_end_s(last) - new.start_s) < 0.2 * new.step_s:
            self._stretches[-1].append(new)
        else:
            self._stretches.append([new])

    def cut(self, pieces: Pieces) -> list[LevelSegment]:
        """What lies in these stretches of time."""
        return [cut for one in self._joined() for first, last in pieces if (cut := cut_levels(one, first, last))]

    def recent(self, from_s: float) -> list[LevelSegment]:
        """What came after from_s."""
        end_s = max((_end_s(stretch[-1]) for stretch in self._stretches), default=0.0)
        for stretch in self._stretches[-2:]:
            stretch[:] = [_join(stretch)] if len(stretch) > 256 else stretch
        late = [
            _join([s for s in stretch if _end_s(s) > from_s])
            for stretch in self._stretches[-2:]
            if _end_s(stretch[-1]) > from_s
        ]
        return [cut for one in late if (cut := cut_levels(one, from_s, end_s + one.step_s))]

    def prune(self, pieces: Pieces) -> None:
        """Keep what lies in these stretches of time."""
        self._stretches = [[one] for one in self.cut(pieces)]

    def _joined(self) -> list[LevelSegment]:
        for stretch in self._stretches:
            stretch[:] = [_join(stretch)]
        return [stretch[0] for stretch in self._stretches]


def _end_s(segment: LevelSegment) -> float:
    return segment.start_s + len(segment.codes) * segment.step_s


def _join(parts: Sequence[LevelSegment]) -> LevelSegment:
    if len(parts) == 1:
        return parts[0]
    first = parts[0]
    return LevelSegment(first.start_s, first.step_s, np.concatenate([p.codes for p in parts]), first.used)
