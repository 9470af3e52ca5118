"""10 pictures: a measurement in, the whole listening as a line out: runs as blocks, clicks, what is missing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from clicktimer.assessment.measurement import Measurement
from clicktimer.records import Click
from clicktimer.reporting.figures import style
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.figures.states import STATES, State, corrected, count_text, states
from clicktimer.reporting.formatting import clock_text, position_text, started_time
from clicktimer.reporting.messages.catalogue import Messages

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ONE_ROW_S: Final = 1200.0
MOST_ROWS: Final = 12
ROWS_S: Final = (300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0, 21_600.0, 43_200.0, 86_400.0)
"""How long a row may be; the first that makes no more than twelve rows is taken, else a day."""
LEAST_LAST: Final = 0.01
"""Of a row: a remainder shorter than this gets no row of its own; the row before it is so much longer."""
TICKS_S: Final = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 10_800.0, 21_600.0)
LONGEST_NAMED: Final = 14  # runs that are told one by one
NAME_IN: Final = 0.42  # so much room the length of a run takes
WIDE_IN, LEFT_ONE_IN, LEFT_ROWS_IN = 6.25, 0.25, 0.8
FILL: Final[dict[State, str]] = {
    "whole": style.BLUE,
    "doubtful": style.SKY,
    "pump sound": style.PAPER,
    "open": style.PAPER,
}
OPEN: Final[dict[str, Any]] = {
    "ls": "",
    "marker": "o",
    "ms": 4.5,
    "color": style.PAPER,
    "markeredgecolor": style.INK,
    "zorder": 5,
}
"""A run of which one end was not heard: a ring at the end that was."""
HATCH: Final[dict[State, str]] = {"whole": "", "doubtful": "", "pump sound": style.HATCH_BY_SOUND, "open": ""}


def time_line(m: Measurement, messages: Messages = Messages()) -> Picture:
    """Show the whole listening in order of time; what is longer than 20 minutes is folded into rows."""
    row_s = _row_s(m.source.duration_s)
    kinds, by_hand = states(m), len(corrected(m))
    caption = messages.text("figure.line.caption", length_s=m.source.duration_s)
    if row_s < m.source.duration_s:
        caption = f"{caption} {messages.text('figure.line.caption-rows', row_s=row_s)}"
    draw = style.written(lambda: _draw(m, row_s, messages), messages)
    return Picture("time-line", caption, _alt(m, kinds, by_hand, messages), draw)


def _row_s(duration_s: float) -> float:
    if duration_s <= (1 + LEAST_LAST) * ONE_ROW_S:
        return max(duration_s, 1.0)
    return next((row for row in ROWS_S if duration_s <= (MOST_ROWS + LEAST_LAST) * row), ROWS_S[-1])


def rows_of(duration_s: float, row_s: float) -> int:
    """How many rows a listening fills, both in seconds."""
    return max(1, math.ceil(duration_s / row_s - LEAST_LAST))


def fold(from_s: float, to_s: float, row_s: float, rows: int) -> Iterator[tuple[int, float, float]]:
    """Cut a stretch at the ends of the rows: row, and from and to as seconds from the row's beginning."""
    first, last = (min(int(at_s // row_s), rows - 1) for at_s in (from_s, to_s))
    for row in range(first, last + 1):
        begin_s, end_s = row * row_s, (row + 1) * row_s if row < rows - 1 else math.inf
        if begin_s < to_s or row == first:
            yield row, max(0.0, from_s - begin_s), min(end_s, to_s) - begin_s


def _on_line(m: Measurement, from_s: float, to_s: float, row_s: float) -> Iterator[tuple[int, float, float]]:
    """The part of a stretch that lies in the listening, folded; nothing where none does."""
    low, high = max(from_s, 0.0), min(to_s, m.source.duration_s)
    return fold(low, high, row_s, rows_of(m.source.duration_s, row_s)) if low <= high else iter(())


def _clicks(m: Measurement) -> tuple[tuple[Click, ...], tuple[Click, ...]]:
    """Clicks that count, and those that a person struck out."""
    if m.correction is None:
        return (*m.clicks, *m.edges), ()
    return tuple(c.click for c in m.correction.clicks), m.correction.deleted


def _draw(m: Measurement, row_s: float, messages: Messages) -> Figure:
    rows = rows_of(m.source.duration_s, row_s)
    single = rows == 1
    deep = 0.75 if single else rows * 0.25
    entries = _key(m, single, messages)
    low = 0.45 + style.key_room_in(entries)
    figure = style.canvas(deep + low + 0.2)
    left = LEFT_ONE_IN if single else LEFT_ROWS_IN
    axes = style.axes_in(figure, left, low, WIDE_IN - left, deep)
    style.strip_down(axes)
    longest_s = max(row_s, m.source.duration_s - (rows - 1) * row_s)
    axes.set(xlim=(0.0, longest_s), ylim=(rows - 0.35 if not single else 0.5, -0.65 if not single else -1.0))
    for row, a, b in fold(0.0, m.source.duration_s, row_s, rows):
        axes.plot([a, b], [row, row], color=style.REST, lw=0.8, zorder=1)
    _gaps(axes, m, row_s)
    _runs(axes, m, row_s, single, messages)
    _marks(axes, m, row_s, single)
    _scale(axes, m, row_s, rows, single, messages)
    style.key(figure, entries)
    return figure


def _gaps(axes: Axes, m: Measurement, row_s: float) -> None:
    least_s = 0.01 * row_s  # a short one, or one of unknown length, is drawn wider than it is, or nobody would see it
    for gap in m.gaps:
        to_s = gap.from_s if gap.to_s is None else gap.to_s
        for row, a, b in _on_line(m, gap.from_s, to_s, row_s):
            wide = max(b - a, least_s)
            axes.barh(
                row,
                wide,
                0.8,
                (a + b - wide) / 2,
                color=style.LOST,
                edgecolor=style.SOFT,
                hatch=style.HATCH_LOST,
                lw=0.5,
                zorder=4,
            )


def _runs(axes: Axes, m: Measurement, row_s: float, single: bool, messages: Messages) -> None:
    by_hand, kinds = corrected(m), states(m)
    for i, (cycle, kind) in enumerate(zip(m.cycles, kinds, strict=True)):
        if cycle.cut_in_s is None or cycle.cut_out_s is None:
            known_s = cycle.cut_in_s if cycle.cut_in_s is not None else cycle.cut_out_s
            if known_s is not None:
                for row, a, _ in _on_line(m, known_s, known_s, row_s):
                    axes.plot(a, row, **OPEN)
            continue
        hatch = HATCH[kind] or (style.HATCH_CORRECTED if i in by_hand else "")
        for row, a, b in _on_line(m, cycle.cut_in_s, cycle.cut_out_s, row_s):
            axes.barh(
                row,
                b - a,
                0.5,
                a,
                color=FILL[kind],
                edgecolor=style.INK if hatch else style.BLUE,
                hatch=hatch,
                lw=0.5,
                zorder=3,
            )
    if single:
        _names(axes, m, row_s, messages)
    if not m.cycles and not any(_clicks(m)):
        words = messages.text("figure.line.no-click")
        axes.text(0.5, 0.62, words, transform=axes.transAxes, ha="center", va="bottom", color=style.SOFT)


def _names(axes: Axes, m: Measurement, row_s: float, messages: Messages) -> None:
    """The number and the length of each run over it, where there is room for all of them; else for none."""
    told = [
        ((c.cut_in_s + c.cut_out_s) / 2, i, c.run_s)
        for i, c in enumerate(m.cycles, start=1)
        if c.cut_in_s is not None
        and c.cut_out_s is not None
        and c.run_s is not None
        and 0.0 <= c.cut_in_s <= c.cut_out_s <= m.source.duration_s
    ]
    room_in = [(b[0] - a[0]) / row_s * (WIDE_IN - LEFT_ONE_IN) for a, b in pairwise(told)]
    if min(room_in, default=1.0) < NAME_IN:
        return
    for middle_s, number, run_s in told:
        axes.text(middle_s, -0.36, messages.number(f"{run_s:.1f} s"), ha="center", va="bottom", fontsize=style.SMALL_PT)
        axes.text(middle_s, -0.72, str(number), ha="center", va="bottom", fontsize=style.SMALL_PT, color=style.SOFT)


def _marks(axes: Axes, m: Measurement, row_s: float, single: bool) -> None:
    ours, deleted = _clicks(m)
    for click in ours:
        for row, a, _ in _on_line(m, click.time_s, click.time_s, row_s):
            if click.kind == "unknown":
                axes.plot(a, row, marker="D", ms=4, color=style.PAPER, markeredgecolor=style.INK, zorder=5)
            elif single:
                mark = "^" if click.kind == "cut-in" else "v"
                face = style.INK if click.how == "clicks" else style.PAPER
                axes.plot(a, row + 0.37, marker=mark, ms=4, color=face, markeredgecolor=style.INK, markeredgewidth=0.7)
    for click in deleted:
        for row, a, _ in _on_line(m, click.time_s, click.time_s, row_s):
            axes.plot(a, row, marker="x", ms=5, color=style.SOFT, zorder=5)


def _scale(axes: Axes, m: Measurement, row_s: float, rows: int, single: bool, messages: Messages) -> None:
    step_s = next((t for t in TICKS_S if row_s / t <= 8.5), TICKS_S[-1])
    ticks = [i * step_s for i in range(int(row_s / step_s + 1e-6) + 1)]
    started = started_time(m.source.started_at)
    if single:
        axes.set_xticks(ticks, [position_text(t)[:-2] for t in ticks])
        axes.set_xlabel(messages.text("figure.line.axis"))
        axes.set_yticks([])
        return
    unit, per = ("hours", 3600.0) if row_s >= 21_600.0 else ("minutes", 60.0)
    axes.set_xticks(ticks, [f"{t / per:g}" for t in ticks])
    axes.set_xlabel(messages.text(f"figure.line.axis-{unit}"))
    axes.set_yticks(range(rows), [_row_name(i, row_s, started, m.source.duration_s, messages) for i in range(rows)])
    axes.tick_params(left=False)


def _row_name(row: int, row_s: float, started: datetime | None, duration_s: float, messages: Messages) -> str:
    if started is not None:
        return clock_text(row * row_s, started, with_day=duration_s > 86_400.0)[:-3]  # without the seconds
    if row_s >= 86_400.0:
        return messages.text("figure.line.row-day", number=row + 1)
    if row_s >= 3600.0:
        return messages.text("figure.line.row-hours", hours=row * row_s / 3600)
    return messages.text("figure.line.row-minutes", minutes=row * row_s / 60)


def _key(m: Measurement, single: bool, messages: Messages) -> list[style.Entry]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    kinds = states(m)
    ours, deleted = _clicks(m)
    words = [messages.text(f"figure.key.{name}") for name in ("pump-ran", "doubtful", "pump-sound")]
    entries: list[style.Entry] = [
        (Patch(facecolor=FILL[kind], edgecolor=style.INK if HATCH[kind] else style.BLUE, hatch=HATCH[kind], lw=0.5), w)
        for kind, w in zip(STATES, words, strict=False)
        if kind in kinds
    ]
    if corrected(m):
        patch = Patch(facecolor=style.BLUE, edgecolor=style.INK, hatch=style.HATCH_CORRECTED, lw=0.5)
        entries.append((patch, messages.text("figure.key.by-hand")))
    for kind, mark in (("cut-in", "^"), ("cut-out", "v")):
        if single and any(c.kind == kind for c in ours):
            entries.append(
                (Line2D([], [], ls="", marker=mark, ms=4, color=style.INK), messages.text(f"figure.key.{kind}"))
            )
    if "open" in kinds:
        entries.append((Line2D([], [], **OPEN), messages.text("figure.key.other-end")))
    if m.gaps:
        patch = Patch(facecolor=style.LOST, edgecolor=style.SOFT, hatch=style.HATCH_LOST, lw=0.5)
        entries.append((patch, messages.text("figure.key.missing")))
    if any(c.kind == "unknown" for c in ours):
        diamond = Line2D([], [], ls="", marker="D", color=style.PAPER, markeredgecolor=style.INK, ms=4)
        entries.append((diamond, messages.text("figure.key.unknown")))
    if deleted:
        cross = Line2D([], [], ls="", marker="x", color=style.SOFT, ms=5)
        entries.append((cross, messages.text("figure.key.deleted")))
    return entries


def _alt(m: Measurement, kinds: tuple[State, ...], by_hand: int, messages: Messages) -> str:
    text, lengths = messages.text, sorted(c.run_s for c in m.cycles if c.run_s is not None)
    runs = count_text(kinds, by_hand, messages)
    said = [text("figure.line.alt", length_s=m.source.duration_s, runs=runs)]
    if lengths:
        said.append(text("figure.line.alt-lengths", shortest_s=lengths[0], longest_s=lengths[-1]))
    if len(m.cycles) <= LONGEST_NAMED:
        parts = [
            text("figure.line.alt-run", number=i, at_s=c.cut_in_s, run_s=c.run_s)
            for i, c in enumerate(m.cycles, start=1)
            if c.cut_in_s is not None and c.run_s is not None
        ]
        if parts:
            said.append(text("figure.line.alt-runs", runs="; ".join(parts)))
    ours, deleted = _clicks(m)
    unknown = sum(c.kind == "unknown" for c in ours)
    if unknown:
        said.append(text("figure.line.alt-unknown", count=unknown))
    if deleted:
        said.append(text("figure.line.alt-deleted", count=len(deleted)))
    for gap in m.gaps[:5]:
        if gap.to_s is None:
            said.append(text("figure.line.alt-gap-unknown", at_s=gap.from_s))
        else:
            said.append(text("figure.line.alt-gap", at_s=gap.from_s, length_s=gap.to_s - gap.from_s))
    if len(m.gaps) > 5:
        said.append(text("figure.line.alt-gaps", count=len(m.gaps) - 5))
    return " ".join(said)
