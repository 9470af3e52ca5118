"""The chain, live: a listening that goes on -> what was heard before, by which the switch is known at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.records import Click, Gap
from clicktimer.storage.reader import read_folder
from clicktimer.streaming.state import told_clicks


@dataclass(frozen=True)
class Earlier:
    """Clicks that were told, gaps, and what was heard around those clicks: candidates and pieces of the level track."""

    clicks: tuple[Click, ...] = ()
    gaps: tuple[Gap, ...] = ()
    candidates: Candidates = field(default_factory=Candidates.none)
    levels: tuple[LevelSegment, ...] = ()


def earlier_of(path: Path, *, around_s: float, most: int) -> Earlier:
    """What lies in a folder, as far as the next decision will ask for it: ``most`` clicks and ``around_s`` about each.

    Raises StoreError.
    """
    stored = read_folder(path)
    clicks = told_clicks(stored.events)
    pieces = merged_pieces([(c.time_s - around_s, c.time_s + around_s) for c in clicks[-most:]], stored.end_s)
    inside = np.zeros(len(stored.candidates), bool)
    for first, last in pieces:
        inside |= (stored.candidates.time_s >= first) & (stored.candidates.time_s <= last)
    levels = [cut for s in stored.levels for first, last in pieces if (cut := cut_levels(s, first, last)) is not None]
    return Earlier(clicks, stored.gaps, stored.candidates.take(inside), tuple(levels))


def merged_pieces(wanted: Sequence[tuple[float, float]], end_s: float) -> list[tuple[float, float]]:
    """Stretches of time in order, not overlapping, between 0 and end_s."""
    merged: list[tuple[float, float]] = []
    for first, last in sorted(wanted):
        first, last = max(first, 0.0), min(last, end_s)
        if merged and first <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(last, merged[-1][1]))
        elif last > first:
            merged.append((first, last))
    return merged


def cut_levels(segment: LevelSegment, first_s: float, last_s: float) -> LevelSegment | None:
    """The steps of a level track that lie between two times, or None."""
    start = max(int(np.ceil((first_s - segment.start_s) / segment.step_s)), 0)
    stop = min(int((last_s - segment.start_s) / segment.step_s), len(segment.codes))
    if stop - start < 1:
        return None
    return LevelSegment(
        segment.start_s + start * segment.step_s, segment.step_s, segment.codes[start:stop], segment.used
    )
