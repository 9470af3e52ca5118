"""10 pictures: a measurement in, each of its runs as a bar against the marks out, with the run with no water in use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from clicktimer.records import Measurement, RunTime
from clicktimer.reporting.figures import style
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.figures.states import STATES, State, corrected, counted, states
from clicktimer.reporting.figures.time_line import FILL, HATCH, OPEN
from clicktimer.reporting.formatting import half_width_text, position_text
from clicktimer.reporting.formatting import seconds_text as seconds_shown
from clicktimer.reporting.messages.measurement import at_most_text, seconds_text
from clicktimer.targets import MARKS_S

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MUCH_WIDER: Final = 3.0  # one interval of a run so much wider than another must not stand for all
FEW: Final = 14  # so many runs lie as rows with their figures; more stand as columns
SCALE_OVER_MARK: Final = 3.0  # a run longer than this many second marks is cut off at the end of the scale
SEEN_SHARE: Final = 0.004  # of the scale: an interval narrower than this cannot be seen


def run_bars(m: Measurement, *, marks_s: tuple[float, float] = MARKS_S) -> Picture:
    """Show each run as a bar against the marks; corrected and doubtful ones are told apart by fill and hatch."""
    kinds, by_hand = states(m), corrected(m)
    end_s = _end_s(m, marks_s)
    caption = f"Each run against the marks of {marks_s[0]:g} and {marks_s[1]:g} s (dashed)."
    halves = [
        (c.run_high_s - c.run_low_s) / 2
        for c in m.cycles
        if c.run_s is not None and c.run_low_s is not None and c.run_high_s is not None
    ]
    if halves and max(halves) < SEEN_SHARE * end_s:
        which = "The least sure" if max(halves) > MUCH_WIDER * min(halves) else "Each"
        caption += f" {which} is timed to within {half_width_text(max(halves))} (95 %), too fine to be seen here."
    over = sum(c.run_s is not None and c.run_s > end_s for c in m.cycles)
    if over:
        caption += f" {over} longer than {end_s:.0f} s {'is' if over == 1 else 'are'} cut off at the end of the scale."
    return Picture(
        "run-bars",
        caption,
        _alt(m, kinds, len(by_hand), marks_s),
        lambda: _rows(m, marks_s, end_s) if len(m.cycles) <= FEW else _columns(m, marks_s, end_s),
    )


def _end_s(m: Measurement, marks_s: tuple[float, float]) -> float:
    most_s = max((c.run_s for c in m.cycles if c.run_s is not None), default=0.0)
    if m.run is not None:
        most_s = max(most_s, m.run.high_s)
    cap_s = SCALE_OVER_MARK * marks_s[1]
    if m.run is not None:
        cap_s = max(cap_s, 1.5 * m.run.seconds)
    return min(max(1.15 * most_s, 1.15 * marks_s[1]), cap_s)


def _rows(m: Measurement, marks_s: tuple[float, float], end_s: float) -> Figure:
    kinds, by_hand = states(m), corrected(m)
    count = max(2, len(m.cycles))
    deep = 0.24 * count + 0.1
    entries = _key(m)
    low = 0.45 + style.key_room_in(entries)
    figure = style.canvas(low + deep + 0.3)
    axes = style.axes_in(figure, 0.95, low, 4.6, deep)
    style.strip_down(axes)
    for i, (c, kind) in enumerate(zip(m.cycles, kinds, strict=True)):
        if c.run_s is None:
            axes.text(
                0.008 * end_s,
                i,
                "one end not heard",
                va="center",
                fontsize=style.SMALL_PT,
                color=style.SOFT,
                bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.6},
                zorder=6,
            )
            continue
        axes.barh(i, min(c.run_s, end_s), 0.62, **_look(kind, i in by_hand))
        _interval(axes, c.run_low_s, c.run_high_s, i, end_s, upright=False)
        half_s = 0.0 if c.run_low_s is None or c.run_high_s is None else (c.run_high_s - c.run_low_s) / 2
        axes.text(
            1.14,
            i,
            seconds_shown(c.run_s, half_s),
            transform=axes.get_yaxis_transform(),
            va="center",
            ha="right",
            fontsize=style.SMALL_PT,
        )
    if not m.cycles:
        axes.text(
            0.5,
            0.5,
            "no run was heard",
            ha="center",
            va="center",
            color=style.SOFT,
            transform=axes.transAxes,
            bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 1.0},
            zorder=6,
        )
    axes.set(xlim=(0.0, end_s), ylim=(count - 0.5, -0.6), xlabel="run, s")
    labels = [
        f"{i}   {position_text(c.cut_in_s) if c.cut_in_s is not None else '?'}" for i, c in enumerate(m.cycles, start=1)
    ]
    axes.set_yticks(range(len(m.cycles)), labels)
    if m.cycles:
        axes.text(
            -0.012,
            1.0,
            "run began at",
            transform=axes.transAxes,
            ha="right",
            va="bottom",
            fontsize=style.SMALL_PT,
            color=style.SOFT,
        )
        axes.text(
            1.14,
            1.0,
            "lasted",
            transform=axes.transAxes,
            ha="right",
            va="bottom",
            fontsize=style.SMALL_PT,
            color=style.SOFT,
        )
    _against(axes, m, marks_s, upright=False)
    style.key(figure, entries)
    return figure


def _columns(m: Measurement, marks_s: tuple[float, float], end_s: float) -> Figure:
    kinds, by_hand = states(m), corrected(m)
    entries = _key(m)
    low = 0.45 + style.key_room_in(entries)
    figure = style.canvas(low + 2.2)
    axes = style.axes_in(figure, 0.55, low, 5.4, 2.05)
    style.strip_down(axes, ("left", "bottom"))
    x = np.arange(1, len(m.cycles) + 1)
    width = 0.7 if len(m.cycles) <= 200 else 1.0
    for kind in STATES:
        for hand in (False, True):
            chosen = [i for i, k in enumerate(kinds) if k == kind and (i in by_hand) == hand]
            if kind == "open":
                axes.plot(x[chosen], [0.0] * len(chosen), **{**OPEN, "ms": 3.5}, clip_on=False)
            elif chosen:
                heights = [min(m.cycles[i].run_s or 0.0, end_s) for i in chosen]
                axes.bar(x[chosen], heights, width, **_look(kind, hand))
    for i, c in enumerate(m.cycles):
        if c.run_s is not None:
            _interval(axes, c.run_low_s, c.run_high_s, i + 1, end_s, upright=True)
            if c.run_s > end_s:
                axes.plot(i + 1, end_s, marker="^", ms=3, color=style.INK, clip_on=False, zorder=5)
    axes.set(xlim=(0.3, len(m.cycles) + 0.7), ylim=(0.0, end_s), xlabel="run, in order of time", ylabel="run, s")
    _against(axes, m, marks_s, upright=True)
    style.key(figure, entries)
    return figure


def _look(kind: State, by_hand: bool) -> dict[str, Any]:
    hatch = HATCH[kind] or (style.HATCH_CORRECTED if by_hand else "")
    edge = style.INK if hatch else style.BLUE
    return {"facecolor": FILL[kind], "edgecolor": edge, "hatch": hatch, "lw": 0.5, "zorder": 2}


def _interval(axes: Axes, low_s: float | None, high_s: float | None, at: float, end_s: float, *, upright: bool) -> None:
    if low_s is None or high_s is None or (high_s - low_s) / 2 < SEEN_SHARE * end_s:
        return
    along, across = [low_s, min(high_s, end_s)], [at, at]
    axes.plot(across if upright else along, along if upright else across, color=style.INK, lw=1.0, zorder=4)


def _against(axes: Axes, m: Measurement, marks_s: tuple[float, float], *, upright: bool) -> None:
    """The marks, dashed, and the run with no water in use, as a line in its interval."""
    line, span = (axes.axhline, axes.axhspan) if upright else (axes.axvline, axes.axvspan)
    for mark_s in marks_s:
        line(mark_s, color=style.INK, ls=(0, (4, 2.5)), lw=0.8, zorder=3, path_effects=style.over_areas(0.8))
        if upright:
            axes.text(1.01, mark_s, f"{mark_s:g} s", transform=axes.get_yaxis_transform(), va="center")
        else:
            axes.text(mark_s, 1.02, f"{mark_s:g} s", transform=axes.get_xaxis_transform(), ha="center", va="bottom")
    if m.run is not None:
        shown_s = m.run.high_s if m.run.one_sided else m.run.seconds
        if not m.run.one_sided:
            span(m.run.low_s, m.run.high_s, color=style.ORANGE, alpha=0.4, lw=0, zorder=1)
        # Bars lie over it where they lie (their ends must be seen), under it where they stand side by side.
        line(
            shown_s,
            color=style.ORANGE,
            lw=1.5,
            zorder=3.5 if upright else 1.5,
            path_effects=style.over_areas(1.5) if upright else None,
        )


def _key(m: Measurement) -> list[style.Entry]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    kinds = states(m)
    entries: list[style.Entry] = []
    for kind, words in zip(STATES, ("both clicks heard", "doubtful", "by the pump's sound"), strict=False):
        if kind in kinds:
            entries.append((Patch(**_look(kind, False)), words))
    if corrected(m):
        entries.append((Patch(**_look("whole", True)), "corrected by hand"))
    if "open" in kinds and len(m.cycles) > FEW:
        entries.append((Line2D([], [], **OPEN), "one end not heard"))
    if m.run is not None:
        words = f"no water in use: {_run_text(m.run, whole=False)}"
        entries.append((Line2D([], [], color=style.ORANGE, lw=1.5), words))
    return entries


def _run_text(run: RunTime, *, whole: bool) -> str:
    if run.one_sided:
        return f"at most {at_most_text(run.seconds, run.high_s)}"
    text = seconds_text(run.seconds, run.low_s, run.high_s, 1 if run.spread_s is None else 2)
    return text if whole else text.split(" (")[0]


def _alt(m: Measurement, kinds: tuple[State, ...], by_hand: int, marks_s: tuple[float, float]) -> str:
    lengths = sorted(c.run_s for c in m.cycles if c.run_s is not None)
    text = f"Bars of {counted(kinds, by_hand)}."
    if lengths:
        under = sum(x < marks_s[0] for x in lengths)
        between = sum(marks_s[0] <= x < marks_s[1] for x in lengths)
        text += (
            f" {under} under {marks_s[0]:g} s, {between} from {marks_s[0]:g} to {marks_s[1]:g} s, "
            f"{len(lengths) - under - between} of {marks_s[1]:g} s or more. The shortest is {lengths[0]:.2f} s, the "
            f"longest {lengths[-1]:.2f} s, the middle one {float(np.median(lengths)):.2f} s."
        )
    if len(m.cycles) <= FEW and lengths:
        text += " In order: " + ", ".join("?" if c.run_s is None else f"{c.run_s:.2f} s" for c in m.cycles) + "."
    if m.run is not None:
        text += f" The run with no water in use: {_run_text(m.run, whole=True)}, shown as a line."
    return text
