"""10 pictures: the reading of a day in, one panel drawn on given axes out; each shows one thing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from clicktimer.day.analysis import DayReading
from clicktimer.day.calendar_rows import Piece, WallRows
from clicktimer.day.cycle_log import whole_runs
from clicktimer.day.wall_time import parse_zone, wall
from clicktimer.reporting.day_formatting import tank_name
from clicktimer.reporting.figures import style
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.day_figures import ends_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HALF: Final = 0.28  # of a row: half the height of a block
WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
HOUR_S: Final = 3600.0
TICK_HOURS: Final = (1, 2, 3, 6, 12, 24, 48, 72, 168)


def rows_of(day: DayReading) -> WallRows:
    """The rows of days in which a reading is drawn."""
    return WallRows(day.log.duration_s, day.log.started_s, parse_zone(day.log.zone))


def _band(piece: Piece) -> tuple[float, float]:
    """Lowest and height of a piece across its row; the hour that comes twice has two lanes."""
    if piece.lane == "whole":
        return piece.row - HALF, 2 * HALF
    return (piece.row - HALF, HALF * 0.94) if piece.lane == "first" else (piece.row + HALF * 0.06, HALF * 0.94)


def strip(axes: Axes, day: DayReading, messages: Messages) -> None:  # noqa: C901
    """A row for each day, dark where the pump ran, hollow where a run is left out, a tick where of one only a click was
    heard; what was not heard is hatched, the stretch that seeps underlined.
    """
    rows, runs, out = rows_of(day), whole_runs(day.log.cycles), hollow_starts_s(day)
    style.strip_down(axes)
    for piece in rows.pieces(0.0, day.log.duration_s):
        low, height = _band(piece)
        axes.plot([piece.from_h, piece.to_h], [low + height / 2] * 2, color=style.REST, lw=0.7, zorder=1)
    for start_s, run_s in zip(runs.starts_s, runs.runs_s, strict=True):
        for piece in rows.pieces(float(start_s), float(start_s + run_s)):
            low, height = _band(piece)
            axes.bar(
                piece.from_h,
                height,
                piece.to_h - piece.from_h,
                low,
                align="edge",
                color=style.PAPER if float(start_s) in out else style.BLUE,
                edgecolor=style.BLUE,
                lw=0.5,
                zorder=3,
            )
    for run in day.excluded:
        for piece in rows.pieces(run.at_s, run.at_s):
            axes.plot(
                piece.from_h,
                piece.row - HALF - 0.07,
                marker="v",
                ms=3.5,
                color=style.PAPER,
                markeredgecolor=style.INK,
                markeredgewidth=0.8,
                zorder=5,
            )
    for gap in day.log.gaps:
        for piece in rows.pieces(gap.from_s, gap.from_s if gap.to_s is None else gap.to_s):
            low, height = _band(piece)
            wide = max(piece.to_h - piece.from_h, 0.12)  # a short one would not be seen
            axes.bar(
                (piece.from_h + piece.to_h - wide) / 2,
                height + 0.1,
                wide,
                low - 0.05,
                align="edge",
                color=style.LOST,
                edgecolor=style.SOFT,
                hatch=style.HATCH_LOST,
                lw=0.5,
                zorder=4,
            )
    for odd in rows.odd:
        skipped = odd.what == "skipped"
        axes.bar(
            odd.from_h,
            2 * HALF,
            odd.to_h - odd.from_h,
            odd.row - HALF,
            align="edge",
            color="none",
            edgecolor=style.SOFT,
            hatch="xxxx" if skipped else "",
            ls=":",
            lw=0.8,
            zorder=2,
        )
        words = messages.text("figure.day.no-such-hour" if skipped else "figure.day.hour-twice")
        axes.text(
            (odd.from_h + odd.to_h) / 2,
            odd.row - HALF - 0.01,
            words,
            ha="center",
            va="bottom",
            fontsize=style.SMALL_PT - 1.5,
            color=style.SOFT,
            zorder=6,
        )
    s = day.leak
    if s.reported and s.from_s is not None and s.to_s is not None:
        for piece in rows.pieces(s.from_s, s.to_s):
            axes.plot(
                [piece.from_h, piece.to_h],
                [piece.row + HALF + 0.08] * 2,
                color=style.ORANGE,
                lw=2.2,
                solid_capstyle="butt",
                zorder=4,
            )
    axes.set(xlim=(0.0, 24.0), ylim=(rows.count - 0.5, -0.65), xticks=range(0, 25, 3))
    axes.set_xlabel(messages.text("figure.day.axis-hour" if rows.known else "figure.day.axis-hours-in-rows"))
    axes.set_yticks(range(rows.count), [_row_name(rows, i, messages) for i in range(rows.count)])


def hollow_starts_s(day: DayReading) -> set[float]:
    """When those runs began that are drawn hollow: whole, but with a click in doubt."""
    return {run.at_s for run in day.excluded if run.run_s is not None}


def _row_name(rows: WallRows, row: int, messages: Messages) -> str:
    date = rows.date_of(row)
    if date is None:
        return messages.text("figure.line.row-day", number=row + 1)
    return f"{WEEKDAYS[date.weekday()]} {date:%m-%d}"


def _no_run(axes: Axes, messages: Messages) -> None:
    words = messages.text("figure.day.no-run")
    axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", color=style.SOFT)


def runs(axes: Axes, day: DayReading, messages: Messages) -> None:
    """Each run against the time of day, with the marks, and the run with no water in use in its interval."""
    rows, found = rows_of(day), whole_runs(day.log.cycles)
    for run in day.excluded:
        if run.run_s is not None:
            axes.scatter(
                rows.hour_of(run.at_s),
                run.run_s,
                s=13,
                color=style.PAPER,
                edgecolors=style.BLUE,
                linewidths=0.9,
                zorder=3,
            )
        else:
            axes.plot(
                rows.hour_of(run.at_s),
                0.97,
                marker="v",
                ms=3.5,
                color=style.PAPER,
                markeredgecolor=style.INK,
                markeredgewidth=0.8,
                transform=axes.get_xaxis_transform(),
                zorder=4,
            )
    kept = ~np.isin(found.starts_s, list(hollow_starts_s(day)))
    hours = [rows.hour_of(float(t)) for t in found.starts_s[kept]]
    axes.scatter(hours, found.runs_s[kept], s=9, color=style.BLUE, linewidths=0, zorder=3)
    if found.count:
        axes.set_yscale("log")
    else:
        _no_run(axes, messages)
    for mark_s in day.marks_s:
        axes.axhline(mark_s, color=style.INK, ls=(0, (4, 2.5)), lw=0.8, zorder=1)
        axes.text(1.01, mark_s, messages.number(f"{mark_s:g} s"), transform=axes.get_yaxis_transform(), va="center")
    if day.run is not None:
        axes.axhspan(day.run.low_s, day.run.high_s, color=style.ORANGE, alpha=0.35, lw=0, zorder=0)
        axes.axhline(day.run.seconds, color=style.ORANGE, lw=1.5, zorder=2)
    if found.count:
        style.plain_numbers(axes, "y")
    axes.set(xlim=(0.0, 24.0), xticks=range(0, 25, 3), ylabel=messages.text("figure.bars.axis"))
    axes.set_xlabel(messages.text("figure.day.axis-began" if rows.known else "figure.day.axis-began-hours"))


def spread(axes: Axes, day: DayReading, messages: Messages) -> None:
    """How often each length of run came, with the marks and the run with no water in use."""
    whole, marks_s = whole_runs(day.log.cycles), day.marks_s
    runs_s, doubted = whole.runs_s, np.isin(whole.starts_s, list(hollow_starts_s(day)))
    if len(runs_s):
        least_s = min(float(runs_s.min()), marks_s[0], marks_s[0] if day.run is None else day.run.low_s)
        low_s, high_s = max(0.1, 0.85 * least_s), 1.15 * max(float(runs_s.max()), marks_s[1])
        edges = np.geomspace(low_s, high_s, 48)
        axes.hist(
            [runs_s[~doubted], runs_s[doubted]],
            bins=edges.tolist(),
            color=[style.BLUE, style.PAPER],
            edgecolor=style.BLUE,
            lw=0.5,
            stacked=True,
            zorder=2,
        )
        axes.set_xscale("log")
        axes.set_xlim(low_s, high_s)
        style.plain_numbers(axes, "x")
        style.whole_numbers(axes)
    else:
        _no_run(axes, messages)
    for mark_s in day.marks_s:
        axes.axvline(mark_s, color=style.INK, ls=(0, (4, 2.5)), lw=0.8, zorder=3, path_effects=style.over_areas(0.8))
        axes.text(
            mark_s,
            1.02,
            messages.number(f"{mark_s:g} s"),
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="bottom",
        )
    if day.run is not None:
        axes.axvspan(day.run.low_s, day.run.high_s, color=style.ORANGE, alpha=0.35, lw=0, zorder=1)
        axes.axvline(day.run.seconds, color=style.ORANGE, lw=1.5, zorder=3, path_effects=style.over_areas(1.5))
    axes.set(xlabel=messages.text("figure.bars.axis"), ylabel=messages.text("figure.day.axis-runs"))


def starts(axes: Axes, day: DayReading, messages: Messages) -> None:
    """Starts in each hour of the log, each with its interval, with the limits of an hour held against them."""
    by_hour, counts = day.starts.by_hour, day.starts.counts.by_hour
    hours = len(by_hour)
    axes.bar(np.arange(hours) + 0.5, by_hour, 0.88 if hours <= 100 else 1.0, color=style.BLUE, zorder=2)
    open_ = [(i + 0.5, a) for i, a in enumerate(counts) if a.high > a.low]
    wide = 1.0 if hours <= 100 else 0.5
    axes.vlines(
        [x for x, _ in open_],
        [math.floor(a.low) for _, a in open_],
        [math.ceil(a.high) for _, a in open_],
        color=style.INK,
        lw=wide,
        zorder=3,
        path_effects=style.over_areas(wide),
    )
    limits = hour_limits(day)
    for limit in limits:
        axes.axhline(limit, color=style.INK, ls=(0, (4, 2.5)), lw=0.8, zorder=3, path_effects=style.over_areas(0.8))
        words = messages.text("figure.day.limit", limit=limit)
        axes.text(1.01, limit, words, transform=axes.get_yaxis_transform(), va="center", fontsize=style.SMALL_PT)
    places, names = zip(*_hour_ticks(day), strict=True)
    axes.set_xticks(places, names)
    style.whole_numbers(axes)
    highest = max([1.0, *by_hour, *(a.high for a in counts), *limits])
    axes.set(xlim=(0.0, max(day.log.duration_s / HOUR_S, 1.0)), ylim=(0.0, 1.12 * highest))
    axes.set(ylabel=messages.text("figure.day.axis-starts-in-hour"))
    axis = "axis-time" if hours <= 25 else "axis-date"
    axes.set_xlabel(messages.text("figure.day.axis-hours" if day.log.started_s is None else f"figure.day.{axis}"))


def hour_limits(day: DayReading) -> tuple[float, ...]:
    """The limits of starts in an hour that were held against the day."""
    return tuple(sorted({m.value for f in day.starts.motor if f.what == "starts_per_h" for m in f.limits}))


def _hour_ticks(day: DayReading) -> Iterator[tuple[float, str]]:
    """Places in hours from the beginning, with the wall's time or the hours themselves."""
    hours = day.log.duration_s / HOUR_S
    step = next((t for t in TICK_HOURS if hours / t <= 9), TICK_HOURS[-1])
    if day.log.started_s is None:
        for whole in range(0, int(hours) + 1, step):
            yield float(whole), str(whole)
        return
    zone = parse_zone(day.log.zone)
    begin = wall(0.0, day.log.started_s, zone)
    place = -(begin.minute * 60 + begin.second) % 3600 / HOUR_S
    marked = False
    while place <= hours + 1e-9:
        moment = wall(place * HOUR_S, day.log.started_s, zone)
        if moment.hour % min(step, 24) == 0 and (step <= 24 or moment.toordinal() % (step // 24) == 0):
            marked = True
            dated = step >= 24 or (hours > 24.5 and moment.hour == 0)
            yield place, f"{moment:%m-%d}" if dated else f"{moment:%H:%M}"
        place += 1.0
    if not marked:
        yield 0.0, f"{begin:%H:%M}"


def replay(axes: Axes, day: DayReading, messages: Messages) -> None:
    """Starts of the same day with other tanks, each with its interval; the tank that is there is a ring."""
    tanks = sorted(day.replayed, key=lambda r: r.times)
    for x, r in enumerate(tanks):
        here = r.times == 1.0 and r.name == "this tank"
        axes.plot([x, x], [r.starts.low, r.starts.high], color=style.BLUE, lw=1.4, zorder=2)
        for end in (r.starts.low, r.starts.high):
            axes.plot([x - 0.09, x + 0.09], [end, end], color=style.BLUE, lw=1.4, zorder=2)
        axes.plot(
            x,
            r.starts.value,
            marker="o",
            ms=6 if here else 5,
            color=style.PAPER if here else style.BLUE,
            markeredgecolor=style.BLUE,
            markeredgewidth=1.5,
            zorder=3,
        )
    # A stock size in litres is written over its gallons: side by side they would run into the next.
    named = [tank_name(r.name, messages.units).replace(" (", "\n(") for r in tanks]
    named = [n if "\n" in n else style.drawable(n, 14) for n in named]
    names = [f"{n}\n{messages.number(ends_text(r.no_use_run_s.figure))} s" for n, r in zip(named, tanks, strict=True)]
    axes.set_xticks(range(len(tanks)), names, fontsize=style.SMALL_PT if len(tanks) <= 8 else style.SMALL_PT - 1.5)
    axes.set(ylabel=messages.text("figure.day.axis-starts"), ylim=(0.0, None), xlim=(-0.5, len(tanks) - 0.5))
