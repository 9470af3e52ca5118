"""10 pictures: the reading of a day in, its pictures out, one by one for a document or all on one sheet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np

from clicktimer.day.analysis import DayReading
from clicktimer.day.cycle_log import whole_runs
from clicktimer.day.wall_time import clock, parse_zone
from clicktimer.reporting.day_formatting import count_text, excluded_text, in_units, share_of, tank_name, unknown_breaks
from clicktimer.reporting.figures import day_panels, style
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.formatting import length_text
from clicktimer.reporting.messages.measurement import JOINED_TIMES, seconds_text
from clicktimer.targets import MARKS_S
from clicktimer.units.format import UnitSystem

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT_IN: Final = 0.8
LONG_IN: Final = 5.05
HEAD_IN, FOOT_IN = 0.22, 0.46
LONGEST_STRIP_IN: Final = 7.5  # a month of rows still fits a page


@dataclass(frozen=True, slots=True)
class _Panel:
    """A panel and the words for it. deep_in: height of its axes, inches; foot_in: room for what stands under them."""

    name: str
    title: str
    caption: str
    alt: str
    deep_in: float
    draw: Callable[[Axes, DayReading], None]
    foot_in: float = FOOT_IN


def day_pictures(
    day: DayReading, *, units: UnitSystem = "us", marks_s: tuple[float, float] = MARKS_S
) -> tuple[Picture, ...]:
    """The pictures of a day in the order in which they are read; the last only where other tanks were tried."""
    return tuple(Picture(p.name, p.caption, p.alt, partial(_alone, p, day)) for p in _panels(day, units, marks_s))


def day_sheet(
    day: DayReading, name: str, *, units: UnitSystem = "us", marks_s: tuple[float, float] = MARKS_S
) -> Picture:
    """All pictures of a day on one sheet, under each other, with the name of the recording."""
    panels = _panels(day, units, marks_s)
    alt = " ".join(f"{p.title}. {p.alt}" for p in panels)
    return Picture("day", f"{name}, read as a day.", alt, lambda: _sheet(panels, day, name))


def _alone(panel: _Panel, day: DayReading) -> Figure:
    figure = style.canvas(panel.deep_in + panel.foot_in + HEAD_IN)
    panel.draw(style.axes_in(figure, LEFT_IN, panel.foot_in, LONG_IN, panel.deep_in), day)
    return figure


def _sheet(panels: tuple[_Panel, ...], day: DayReading, name: str) -> Figure:
    above = HEAD_IN + 0.2
    height = 0.45 + sum(p.deep_in + p.foot_in + above for p in panels)
    figure = style.canvas(height)
    figure.text(0.2 / style.WIDTH_IN, 1 - 0.3 / height, style.drawable(name, 70), fontsize=11, weight="bold")
    top = height - 0.45
    for p in panels:
        axes = style.axes_in(figure, LEFT_IN, top - above - p.deep_in, LONG_IN, p.deep_in)
        p.draw(axes, day)
        figure.text(0.2 / style.WIDTH_IN, (top - 0.17) / height, p.title, weight="bold")
        top -= above + p.deep_in + p.foot_in
    return figure


def _panels(day: DayReading, units: UnitSystem, marks_s: tuple[float, float]) -> tuple[_Panel, ...]:
    rows = day_panels.rows_of(day)
    seeps = "; underlined: seeping" if day.leak.reported else ""
    gaps = "; hatched: not heard" if day.log.gaps else ""
    line = "" if day.run is None else f" The orange line: the run with no water in use, {_run(day)}."
    hollow = "; hollow or with a mark above: left out or in doubt" if day.excluded else ""
    marked = "; hollow or marked: left out or in doubt" if day.excluded else ""
    dots = " Hollow dots, and marks at the top: left out or in doubt." if day.excluded else ""
    bars = " Hollow: in doubt." if day_panels.hollow_starts_s(day) else ""
    open_ = any(a.high > a.low for a in day.starts.counts.by_hour)
    lines = " Lines: how many there may have been, where a click is in doubt." if open_ else ""
    breaks = f" {JOINED_TIMES}" if unknown_breaks(day) else ""
    limits = day_panels.hour_limits(day)
    found = [
        _Panel(
            "day-strip",
            f"When the pump ran{marked}{seeps}{gaps}",
            f"A row for each day; a block where the pump ran{hollow}{gaps}{seeps}.{_odd_words(day)}{breaks}",
            _strip_alt(day, units),
            max(0.48, min(0.34 * rows.count + 0.1, LONGEST_STRIP_IN)),
            day_panels.strip,
        ),
        _Panel(
            "day-runs",
            "Each run by the time of day",
            f"Each run, a dot, by the time of day at which it began; dashed: the marks.{line}{dots}",
            _runs_alt(day),
            1.7,
            partial(day_panels.runs, marks_s=marks_s),
        ),
        _Panel(
            "day-spread",
            "How often each length of run came",
            f"How many runs there were of each length; dashed: the marks.{line}{bars}",
            _spread_alt(day, marks_s),
            1.3,
            partial(day_panels.spread, marks_s=marks_s),
        ),
        _Panel(
            "day-starts",
            "Starts in each hour",
            "Starts of the pump in each hour" + ("; dashed: what motor makers allow." if limits else ".") + lines,
            _starts_alt(day, limits),
            1.3,
            day_panels.starts,
        ),
    ]
    if day.replayed:
        found.append(
            _Panel(
                "day-replay",
                "The same day with another tank; under each its run with no water in use",
                "How often the pump would have started with another tank, with the interval of each; ring: the tank "
                "that is there. Under each the run with no water in use.",
                _replay_alt(day, units),
                1.5,
                partial(day_panels.replay, units=units),
                0.42 if units == "us" else 0.56,
            )
        )
    return tuple(found)


def _run(day: DayReading) -> str:
    return "not told" if day.run is None else seconds_text(day.run.seconds, day.run.low_s, day.run.high_s, 1)


def _when(day: DayReading, time_s: float | None) -> str:
    if time_s is None:
        return "an unknown time"
    return clock(time_s, day.log.started_s, parse_zone(day.log.zone), with_date=day.log.duration_s > 86_400)


def _odd_words(day: DayReading) -> str:
    return "".join(
        f" On {day_panels.rows_of(day).date_of(odd.row)} the clocks were set "
        + (
            "forward: that hour does not exist."
            if odd.what == "skipped"
            else "back: that hour comes twice, one above the other."
        )
        for odd in day_panels.rows_of(day).odd
    )


def _strip_alt(day: DayReading, units: UnitSystem) -> str:
    rows, runs = day_panels.rows_of(day), whole_runs(day.log.cycles)
    text = (
        f"{rows.count} row{'' if rows.count == 1 else 's'} of a day each, {length_text(day.log.duration_s)} in all, "
        f"with {runs.count} whole runs; the pump ran {share_of(day.starts.counts.duty)} of the time."
    )
    s = day.leak
    if s.reported:
        flow = "" if day.leak_l_per_min is None else f" of {in_units(day.leak_l_per_min, 'L/min', units)}"
        text += f" Seeping{flow} is underlined from {_when(day, s.from_s)} to {_when(day, s.to_s)}."
    if day.excluded:
        text += f" {len(day.excluded)} left out or in doubt: {excluded_text(day)}."
    if day.log.gaps:
        text += f" {len(day.log.gaps)} gap{'' if len(day.log.gaps) == 1 else 's'} hatched."
    return text + _odd_words(day)


def _runs_alt(day: DayReading) -> str:
    runs_s = whole_runs(day.log.cycles).runs_s
    if not len(runs_s):
        return "No whole run to show."
    return (
        f"{len(runs_s)} dots, from {runs_s.min():.1f} to {runs_s.max():.0f} s, half of them under "
        f"{float(np.median(runs_s)):.1f} s. The run with no water in use: {_run(day)}."
    )


def _spread_alt(day: DayReading, marks_s: tuple[float, float]) -> str:
    runs_s = whole_runs(day.log.cycles).runs_s
    if not len(runs_s):
        return "No whole run to show."
    low, high = marks_s
    under, over = int(np.sum(runs_s < low)), int(np.sum(runs_s >= high))
    return (
        f"Of {len(runs_s)} runs {under} are under {low:g} s, {len(runs_s) - under - over} from {low:g} to {high:g} s, "
        f"{over} of {high:g} s or more. The run with no water in use: {_run(day)}."
    )


def _starts_alt(day: DayReading, limits: tuple[float, ...]) -> str:
    s = day.starts
    text = f"{s.count} starts heard. The worst hour had {count_text(s.counts.worst_hour)}"
    text += f", from {_when(day, s.worst_at_s)}." if s.worst_at_s is not None else "."
    if len(s.by_hour) <= 48:
        text += f" Hour by hour: {', '.join(map(str, s.by_hour))}."
    if limits:
        text += f" Limits of an hour: {', '.join(f'{limit:g}' for limit in limits)}."
    return text


def _replay_alt(day: DayReading, units: UnitSystem) -> str:
    parts = [
        f"{tank_name(r.name, units)} {r.starts.value:.0f} starts ({day_panels.ends_text(r.starts)}), "
        f"run {count_text(r.no_use_run_s)} s"
        for r in sorted(day.replayed, key=lambda r: r.times)
    ]
    return "; ".join(parts) + "."
