"""A day as pictures: functions that return a matplotlib Figure, each showing one thing; nothing is computed here."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from clicktimer.day.log import whole_runs
from clicktimer.day.read import DayReading
from clicktimer.day.walltime import parse_zone, wall

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

RUN_COLOUR, SEEP_COLOUR, MARK_COLOUR = "#1f5a99", "#c8702a", "#555555"
DAY_S = 86_400.0


def day_figure(day: DayReading, name: str) -> Figure:
    """Draw the day: strip of runs over 24 h, runs by time, spread of runs, starts an hour, and other tanks."""
    from matplotlib.figure import Figure

    rows = 3 if day.replayed else 2
    figure = Figure(figsize=(11.0, 3.6 * rows + 1.0), layout="constrained")
    figure.suptitle(name)
    grid = figure.add_gridspec(rows, 2)
    draw_strip(figure.add_subplot(grid[0, 0]), day)
    draw_runs(figure.add_subplot(grid[0, 1]), day)
    draw_spread(figure.add_subplot(grid[1, 0]), day)
    draw_starts(figure.add_subplot(grid[1, 1]), day)
    if day.replayed:
        draw_replay(figure.add_subplot(grid[2, :]), day)
    return figure


def _first_hour(day: DayReading) -> float:
    """Hour of the wall at which the log begins; 0 where it is not known."""
    if day.log.started_s is None:
        return 0.0
    moment = wall(0.0, day.log.started_s, parse_zone(day.log.zone))
    return moment.hour + moment.minute / 60 + moment.second / 3600


def _clock_label(day: DayReading) -> str:
    return "hours since the beginning" if day.log.started_s is None else "hour of the day"


def draw_strip(axes: Axes, day: DayReading) -> None:
    """A line of 24 hours for each day, dark where the pump ran; the stretch that seeps is marked."""
    runs, first = whole_runs(day.log.cycles), _first_hour(day)
    begins = first * 3600
    for start_s, run_s in zip(runs.starts_s, runs.runs_s, strict=True):
        at = begins + start_s
        row = int(at // DAY_S)
        hour = (at - row * DAY_S) / 3600
        axes.broken_barh([(hour, run_s / 3600)], (row - 0.35, 0.7), color=RUN_COLOUR, linewidth=0)
        axes.vlines(hour, row - 0.35, row + 0.35, color=RUN_COLOUR, linewidth=0.5)  # short runs stay visible
    s = day.seeping
    if s.told and s.from_s is not None and s.to_s is not None:
        for row in range(int((begins + s.from_s) // DAY_S), int((begins + s.to_s) // DAY_S) + 1):
            low, high = max(begins + s.from_s, row * DAY_S), min(begins + s.to_s, (row + 1) * DAY_S)
            axes.plot(
                [(low - row * DAY_S) / 3600, (high - row * DAY_S) / 3600], [row + 0.44] * 2, color=SEEP_COLOUR, lw=3
            )
    rows = max(1, math.ceil((begins + day.log.duration_s) / DAY_S))
    axes.set(xlim=(0, 24), ylim=(rows - 0.4, -0.6), xlabel=_clock_label(day), ylabel="day", xticks=range(0, 25, 3))
    axes.set_yticks(range(rows), [str(i + 1) for i in range(rows)])
    axes.set_title("When the pump ran" + (" (bar: seeping)" if s.told else ""))


def draw_runs(axes: Axes, day: DayReading) -> None:
    """Each run against the time of day, with the run with no water and its interval."""
    runs = whole_runs(day.log.cycles)
    hours = (_first_hour(day) + runs.starts_s / 3600) % 24
    axes.scatter(hours, runs.runs_s, s=12, color=RUN_COLOUR)
    if day.run is not None:
        axes.axhspan(day.run.low_s, day.run.high_s, color=SEEP_COLOUR, alpha=0.2)
        axes.axhline(day.run.seconds, color=SEEP_COLOUR, label="no water in use")
        axes.legend(loc="upper right")
    if runs.count:
        axes.set_yscale("log")
        _plain_numbers(axes.yaxis)
    axes.set(xlim=(0, 24), xticks=range(0, 25, 3), xlabel=_clock_label(day), ylabel="run, s")
    axes.set_title("Runs")


def draw_spread(axes: Axes, day: DayReading) -> None:
    """How often each length of run came, with the marks of 30 and 60 s."""
    runs_s = whole_runs(day.log.cycles).runs_s
    if len(runs_s):
        edges = np.geomspace(max(runs_s.min() * 0.9, 0.1), runs_s.max() * 1.1, 40)
        axes.hist(runs_s, bins=edges.tolist(), color=RUN_COLOUR)
        axes.set_xscale("log")
        _plain_numbers(axes.xaxis)
    for mark_s in (30.0, 60.0):
        axes.axvline(mark_s, color=MARK_COLOUR, ls="--")
    if day.run is not None:
        axes.axvline(day.run.seconds, color=SEEP_COLOUR)
    axes.set(xlabel="run, s (dashed: 30 and 60 s)", ylabel="runs")
    axes.set_title("Spread of the runs")


def _plain_numbers(axis: Axis) -> None:
    """Write 20 rather than 2 x 10^1 on a logarithmic axis."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_formatter(NullFormatter())


def draw_starts(axes: Axes, day: DayReading) -> None:
    """Starts in each hour of the log, with the limits of an hour that were held against them."""
    by_hour = day.starts.by_hour
    axes.bar(np.arange(len(by_hour)) + 0.5, by_hour, width=0.9, color=RUN_COLOUR)
    limits = {m.value for f in day.starts.motor if f.what == "starts_per_h" for m in f.limits}
    for limit in sorted(limits):
        axes.axhline(limit, color=MARK_COLOUR, ls="--")
    axes.set(xlabel="hours since the beginning", ylabel="starts")
    axes.set_title("Starts an hour" + (" (dashed: motor limits)" if limits else ""))


def draw_replay(axes: Axes, day: DayReading) -> None:
    """Starts of the same day with other tanks, each with its interval."""
    told = sorted(day.replayed, key=lambda r: r.times)
    x = np.arange(len(told))
    middle = np.array([r.starts.value for r in told])
    reach = np.array([[r.starts.value - r.starts.low for r in told], [r.starts.high - r.starts.value for r in told]])
    axes.errorbar(x, middle, yerr=reach, fmt="o", capsize=4, color=RUN_COLOUR)
    axes.set_xticks(x, [r.name for r in told])
    axes.set(ylabel="starts", ylim=(0, None))
    axes.set_title("The same day with another tank")


def picture_bytes(figure: Figure, kind: str) -> bytes:
    """Write a figure as "png" or "svg", the same bytes for the same figure."""
    import io

    import matplotlib as mpl

    out = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "clicktimer"}):
        metadata = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(out, format=kind, dpi=110, metadata=metadata)
    return out.getvalue()
