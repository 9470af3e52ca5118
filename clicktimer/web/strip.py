"""10 page: runs and gaps -> a small picture of the day in lines of an hour, as the data of SVG paths.

Each line is 1000 units wide and 10 high; the page draws it as an inline SVG.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from clicktimer.records import Cycle, Gap
from clicktimer.streaming.state import Pump

WIDTH: Final = 1000
HOUR_S: Final = 3600.0
SHORT_S: Final = 600.0
"""A listening that is shorter than this gets lines of so long."""
MOST_LINES: Final = 24

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Line:
    """One line: where it starts, s; how far it was heard, in units; paths of settled and provisional runs, of rests,
    and of gaps.
    """

    start_s: float
    heard: int
    settled: str
    provisional: str
    rests: str
    gaps: str


def line_length_s(end_s: float) -> float:
    """Length of a line, s."""
    return SHORT_S if end_s <= SHORT_S else HOUR_S


def lines_of(
    cycles: Sequence[Cycle], gaps: Sequence[Gap], settled_s: set[float] | None, end_s: float, pump: Pump
) -> list[Line]:
    """The lines of a listening, the last ones where there are many.

    settled_s: times of the clicks that are settled, None where all are. pump: its state at the end.
    """
    length_s = line_length_s(end_s)
    last = max(int((end_s - 1e-6) // length_s), 0)
    runs, rests = (
        list(_runs(cycles, end_s if pump == "on" else None)),
        list(_rests(cycles, end_s if pump == "off" else None)),
    )
    lost = [(g.from_s, g.from_s + 1.0 if g.to_s is None else g.to_s) for g in gaps]
    sure = [r for r in runs if settled_s is None or settled_s.issuperset(r)]
    unsure = [r for r in runs if settled_s is not None and not settled_s.issuperset(r)]
    lines = []
    for number in range(max(last - MOST_LINES + 1, 0), last + 1):
        start_s = number * length_s
        heard = round(min((end_s - start_s) / length_s, 1.0) * WIDTH)
        paths = (_path(spans, start_s, length_s) for spans in (sure, unsure, rests, lost))
        lines.append(Line(start_s, heard, *paths))
    return lines


def _runs(cycles: Sequence[Cycle], until_s: float | None) -> Iterator[Span]:
    for cycle in cycles:
        if cycle.cut_in_s is not None and cycle.cut_out_s is not None:
            yield cycle.cut_in_s, cycle.cut_out_s
    if until_s is not None and cycles and cycles[-1].cut_in_s is not None and cycles[-1].cut_out_s is None:
        yield cycles[-1].cut_in_s, until_s


def _rests(cycles: Sequence[Cycle], until_s: float | None) -> Iterator[Span]:
    for cycle in cycles:
        if cycle.cut_out_s is not None and cycle.rest_s is not None:
            yield cycle.cut_out_s, cycle.cut_out_s + cycle.rest_s
    if until_s is not None and cycles and cycles[-1].cut_out_s is not None and cycles[-1].rest_s is None:
        yield cycles[-1].cut_out_s, until_s


def _path(spans: Sequence[Span], start_s: float, length_s: float) -> str:
    """Bars from top to bottom; none is thinner than a unit and a half, or it would not be seen."""
    scale = WIDTH / length_s
    bars = []
    for first, last in spans:
        if last <= start_s or first >= start_s + length_s:
            continue
        x = max((first - start_s) * scale, 0.0)
        width = max(min((last - start_s) * scale, float(WIDTH)) - x, 1.5)
        bars.append(f"M{x:.1f} 0h{width:.1f}v10h-{width:.1f}z")
    return "".join(bars)
