"""Proof of a long recording: the part of it that is heard anew, where most of its clicks lie.

A day heard twice takes many minutes. Its copies are counted in one whole part instead, and that is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from clicktimer.assessment.measurement import Measurement
from clicktimer.quality.proof.result import Again
from clicktimer.records import (
    Block,
    Click,
    Gap,
)
from clicktimer.settings import PumpState

PART_S: Final = 4.0 * 3600.0
"""Longer recordings are proved on a part of this length."""
LEAD_S: Final = 300.0
"""Sound before the first of its clicks, in which the detector gets to know the room."""

Span = tuple[float, float]


def busiest_part(times_s: Sequence[float], end_s: float, longest_s: float = PART_S) -> Span | None:
    """Return the part (from, to; s) that holds most of these moments, the earliest of such; None: the whole is heard.

    The whole is heard where it is no longer than ``longest_s``, or where no part holds two moments.

    >>> busiest_part([100.0, 5000.0, 5060.0, 9000.0], 10_000.0, 1000.0)
    (4700.0, 5700.0)
    """
    if end_s <= longest_s:
        return None
    best, most = 0.0, 0
    for time_s in times_s:
        from_s = min(max(0.0, time_s - LEAD_S), end_s - longest_s)
        count = sum(from_s < other < from_s + longest_s for other in times_s)
        if count > most:
            best, most = from_s, count
    return (best, best + longest_s) if most >= 2 else None


def only(again: Again, span_s: Span) -> Again:
    """The blocks of that part alone, its beginning at 0 s; the sound behind it is not read."""

    def blocks() -> Iterator[Block]:
        return _cut(again(), *span_s)

    return blocks


def _cut(blocks: Iterable[Block], from_s: float, to_s: float) -> Iterator[Block]:
    begun = False
    for block in blocks:
        if block.start_s >= to_s:
            return
        first = max(0, round((from_s - block.start_s) * block.rate_hz))
        last = min(len(block.samples), round((to_s - block.start_s) * block.rate_hz))
        if first >= last:
            continue
        gap = _moved(block.gap_before, from_s) if begun and block.gap_before is not None else None
        begun = True
        start_s = block.start_s + first / block.rate_hz - from_s
        yield Block(block.samples[first:last], block.rate_hz, max(start_s, 0.0), gap)


def _moved(gap: Gap, by_s: float) -> Gap:
    return Gap(gap.from_s - by_s, None if gap.to_s is None else gap.to_s - by_s, gap.why)


def measured_in(m: Measurement, span_s: Span) -> Measurement:
    """What was told of that part: its clicks, edges and gaps, with times from its beginning. Nothing else is moved."""
    from_s, to_s = span_s

    def inside(clicks: Sequence[Click]) -> tuple[Click, ...]:
        return tuple(replace(c, time_s=c.time_s - from_s) for c in clicks if from_s < c.time_s < to_s)

    gaps = tuple(_moved(gap, from_s) for gap in m.gaps if from_s <= gap.from_s < to_s)
    source = replace(m.source, duration_s=to_s - from_s)
    return replace(m, source=source, clicks=inside(m.clicks), edges=inside(m.edges), gaps=gaps)


def state_at(m: Measurement, span_s: Span, pump_at_start: PumpState | None) -> PumpState | None:
    """What is known of the pump where the part begins, from what was known of it where the recording began.

    Nothing where nothing was known: then the detector is not told more than it was told the first time.
    """
    if pump_at_start is None or span_s[0] <= 0.0:
        return pump_at_start
    after = [c for c in sorted((*m.clicks, *m.edges), key=lambda c: c.time_s) if c.time_s > span_s[0]]
    known = [c.kind for c in after[:1] if c.kind != "unknown"]
    return None if not known else "off" if known[0] == "cut-in" else "on"
