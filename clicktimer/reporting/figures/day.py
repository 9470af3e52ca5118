"""10 pictures: the reading of a day in, its pictures out, one by one for a document or all on one sheet."""

from __future__ import annotations

from collections.abc import Callable, Sized
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np

from clicktimer.day.analysis import DayReading
from clicktimer.day.cycle_log import whole_runs
from clicktimer.records import Reason
from clicktimer.reporting.day_formatting import excluded_text, in_units_of, moment, tank_name, unknown_breaks
from clicktimer.reporting.figures import day_panels, style
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.units.format import UnitSystem

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT_IN: Final = 0.8
LONG_IN: Final = 5.05
HEAD_IN, FOOT_IN = 0.22, 0.46
MOST_HOURS_IN_WORDS: Final = 48
LONGEST_STRIP_IN: Final = 7.5  # a month of rows still fits a page


@dataclass(frozen=True, slots=True)
class _Panel:
    """A panel and the words for it. deep_in: height of its axes, inches; foot_in: room for what stands under them."""

    name: str
    title: str
    caption: str
    alt: str
    deep_in: float
    draw: Callable[[Axes, DayReading, Messages], None]
    foot_in: float = FOOT_IN


def day_pictures(day: DayReading, *, units: UnitSystem = "us", messages: Messages = Messages()) -> tuple[Picture, ...]:
    """Return the pictures of a day in the order in which they are read; the last only where other tanks were tried."""
    messages = in_units_of(messages, units)
    panels = _panels(day, messages)
    return tuple(
        Picture(p.name, p.caption, p.alt, style.written(partial(_alone, p, day, messages), messages)) for p in panels
    )


def day_sheet(day: DayReading, name: str, *, units: UnitSystem = "us", messages: Messages = Messages()) -> Picture:
    """Return all pictures of a day on one sheet, under each other, with the name of the recording."""
    messages = in_units_of(messages, units)
    panels = _panels(day, messages)
    alt = " ".join(f"{p.title}. {p.alt}" for p in panels)
    draw = style.written(lambda: _sheet(panels, day, name, messages), messages)
    return Picture("day", messages.text("day.figure.sheet", name=name), alt, draw)


def _alone(panel: _Panel, day: DayReading, messages: Messages) -> Figure:
    figure = style.canvas(panel.deep_in + panel.foot_in + HEAD_IN)
    panel.draw(style.axes_in(figure, LEFT_IN, panel.foot_in, LONG_IN, panel.deep_in), day, messages)
    return figure


def _sheet(panels: tuple[_Panel, ...], day: DayReading, name: str, messages: Messages) -> Figure:
    above = HEAD_IN + 0.2
    height = 0.45 + sum(p.deep_in + p.foot_in + above for p in panels)
    figure = style.canvas(height)
    figure.text(0.2 / style.WIDTH_IN, 1 - 0.3 / height, style.drawable(name, 70), fontsize=11, weight="bold")
    top = height - 0.45
    for p in panels:
        axes = style.axes_in(figure, LEFT_IN, top - above - p.deep_in, LONG_IN, p.deep_in)
        p.draw(axes, day, messages)
        figure.text(0.2 / style.WIDTH_IN, (top - 0.17) / height, p.title, weight="bold")
        top -= above + p.deep_in + p.foot_in
    return figure


def _panels(day: DayReading, messages: Messages) -> tuple[_Panel, ...]:
    text, texts = messages.text, messages.texts
    panels = [
        _strip_panel(day, messages),
        _Panel(
            "day-runs",
            text("day.figure.runs-title"),
            texts([Reason("day.figure.runs"), *_line(day), *_if(day.excluded, "day.figure.dots")]),
            texts(_runs_alt(day)),
            1.7,
            day_panels.runs,
        ),
        _Panel(
            "day-spread",
            text("day.figure.spread-title"),
            texts([Reason("day.figure.spread"), *_line(day), *_if(day_panels.hollow_starts_s(day), "day.figure.bars")]),
            texts(_spread_alt(day)),
            1.3,
            day_panels.spread,
        ),
        _starts_panel(day, messages),
    ]
    if day.replayed:
        panels.append(
            _Panel(
                "day-replay",
                text("day.figure.replay-title"),
                text("day.figure.replay"),
                _replay_alt(day, messages),
                1.5,
                day_panels.replay,
                0.42 if messages.units == "us" else 0.56,
            )
        )
    return tuple(panels)


def _if(shown: Sized, code: str) -> list[Reason]:
    return [Reason(code)] if shown else []


def _strip_panel(day: DayReading, messages: Messages) -> _Panel:
    rows = day_panels.rows_of(day)
    gaps, leak = _if(day.log.gaps, "day.figure.strip-gaps"), day.leak.reported
    leaks = [Reason("day.figure.strip-leak")] if leak else []
    titled = [*_if(day.excluded, "day.figure.strip-title-hollow"), *leaks, *gaps]
    captioned = [*_if(day.excluded, "day.figure.strip-hollow"), *gaps, *leaks]
    caption = [Reason("day.figure.strip", marks="".join(map(messages.text, captioned))), *_clock_changes(day)]
    breaks = [messages.text("notice.joined-times")] if unknown_breaks(day) else []
    return _Panel(
        "day-strip",
        messages.text("day.figure.strip-title", marks="".join(map(messages.text, titled))),
        " ".join([messages.texts(caption), *breaks]),
        _strip_alt(day, messages),
        max(0.48, min(0.34 * rows.count + 0.1, LONGEST_STRIP_IN)),
        day_panels.strip,
    )


def _starts_panel(day: DayReading, messages: Messages) -> _Panel:
    limits = day_panels.hour_limits(day)
    open_ = [a for a in day.starts.counts.by_hour if a.high > a.low]
    shown = Reason("day.figure.starts-limits" if limits else "day.figure.starts")
    return _Panel(
        "day-starts",
        messages.text("day.figure.starts-title"),
        messages.texts([shown, *_if(open_, "day.figure.lines")]),
        messages.texts(_starts_alt(day, limits)),
        1.3,
        day_panels.starts,
    )


def _line(day: DayReading) -> list[Reason]:
    """Return what the line of the run with no water in use shows."""
    if day.run is None:
        return []
    return [Reason("day.figure.line", run_s=(day.run.seconds, day.run.low_s, day.run.high_s))]


def _run_alt(day: DayReading) -> Reason:
    if day.run is None:
        return Reason("day.figure.run-alt-withheld")
    return Reason("day.figure.run-alt", run_s=(day.run.seconds, day.run.low_s, day.run.high_s))


def _clock_changes(day: DayReading) -> list[Reason]:
    """Return the hours that do not exist or come twice, since the clocks were set."""
    rows = day_panels.rows_of(day)
    return [
        Reason(
            "day.figure.clocks-forward" if odd.what == "skipped" else "day.figure.clocks-back",
            date=str(rows.date_of(odd.row)),
        )
        for odd in rows.odd
    ]


def _strip_alt(day: DayReading, messages: Messages) -> str:
    rows, runs = day_panels.rows_of(day), whole_runs(day.log.cycles)
    found = [
        Reason(
            "day.figure.strip-alt",
            rows=rows.count,
            duration_s=day.log.duration_s,
            runs=runs.count,
            duty=day.starts.counts.duty.figure,
        )
    ]
    s = day.leak
    from_at, to_at = moment(day, s.from_s), moment(day, s.to_s)
    if s.reported and day.leak_l_per_min is None:
        found.append(Reason("day.figure.strip-alt-leak-share", from_at=from_at, to_at=to_at))
    elif s.reported and day.leak_l_per_min is not None:
        flow = day.leak_l_per_min.figure
        found.append(Reason("day.figure.strip-alt-leak", flow=flow, from_at=from_at, to_at=to_at))
    if day.excluded:
        excluded = excluded_text(day, messages)
        found.append(Reason("day.figure.strip-alt-excluded", count=len(day.excluded), runs=excluded))
    if day.log.gaps:
        found.append(Reason("day.figure.strip-alt-gaps", count=len(day.log.gaps)))
    return messages.texts([*found, *_clock_changes(day)])


def _runs_alt(day: DayReading) -> list[Reason]:
    runs_s = whole_runs(day.log.cycles).runs_s
    if not len(runs_s):
        return [Reason("day.figure.no-whole-run")]
    shortest_s, middle_s, longest_s = float(runs_s.min()), float(np.median(runs_s)), float(runs_s.max())
    figures = {"shortest_s": shortest_s, "middle_s": middle_s, "longest_s": longest_s}
    return [Reason("day.figure.runs-alt", count=len(runs_s), **figures), _run_alt(day)]


def _spread_alt(day: DayReading) -> list[Reason]:
    runs_s = whole_runs(day.log.cycles).runs_s
    if not len(runs_s):
        return [Reason("day.figure.no-whole-run")]
    low_s, high_s = day.marks_s
    under, over = int(np.sum(runs_s < low_s)), int(np.sum(runs_s >= high_s))
    counts = {"count": len(runs_s), "under": under, "between": len(runs_s) - under - over, "over": over}
    return [Reason("day.figure.spread-alt", low_s=low_s, high_s=high_s, **counts), _run_alt(day)]


def _starts_alt(day: DayReading, limits: tuple[float, ...]) -> list[Reason]:
    s = day.starts
    worst = s.counts.worst_hour.figure
    if s.worst_at_s is None:
        found = [Reason("day.figure.starts-alt", count=s.count, worst=worst)]
    else:
        at = moment(day, s.worst_at_s)
        found = [Reason("day.figure.starts-alt-from", count=s.count, worst=worst, at=at)]
    if len(s.by_hour) <= MOST_HOURS_IN_WORDS:
        found.append(Reason("day.figure.starts-alt-hours", by_hour=s.by_hour))
    if limits:
        found.append(Reason("day.figure.starts-alt-limits", limits=limits))
    return found


def _replay_alt(day: DayReading, messages: Messages) -> str:
    tanks = [
        messages.text(
            "day.figure.replay-alt-tank",
            name=tank_name(r.name, messages.units),
            starts=r.starts.value,
            ends=r.starts.figure,
            run=r.no_use_run_s.figure,
        )
        for r in sorted(day.replayed, key=lambda r: r.times)
    ]
    return messages.text("day.figure.replay-alt", tanks="; ".join(tanks))
