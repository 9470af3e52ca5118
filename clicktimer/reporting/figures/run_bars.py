"""10 pictures: a measurement in, each of its runs as a bar against the marks out, with the run with no water in use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from clicktimer.assessment.measurement import Measurement
from clicktimer.records import RunTime
from clicktimer.reporting.figures import style
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.figures.states import STATES, State, corrected, count_text, states
from clicktimer.reporting.figures.time_line import FILL, HATCH, OPEN
from clicktimer.reporting.formatting import position_text
from clicktimer.reporting.formatting import seconds_text as seconds_shown
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.figures import seconds_text, seconds_texts
from clicktimer.targets import MARKS_S

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MUCH_WIDER: Final = 3.0  # one interval of a run so much wider than another must not stand for all
FEW: Final = 14  # so many runs lie as rows with their figures; more stand as columns
SCALE_OVER_MARK: Final = 3.0  # a run longer than this many second marks is cut off at the end of the scale
SEEN_SHARE: Final = 0.004  # of the scale: an interval narrower than this cannot be seen


def run_bars(m: Measurement, *, marks_s: tuple[float, float] = MARKS_S, messages: Messages = Messages()) -> Picture:
    """Show each run as a bar against the marks; corrected and doubtful ones are told apart by fill and hatch."""
    kinds, by_hand = states(m), corrected(m)
    end_s = _end_s(m, marks_s)
    said = [messages.text("figure.bars.caption", mark1_s=marks_s[0], mark2_s=marks_s[1])]
    halves = [
        (c.run_high_s - c.run_low_s) / 2
        for c in m.cycles
        if c.run_s is not None and c.run_low_s is not None and c.run_high_s is not None
    ]
    if halves and max(halves) < SEEN_SHARE * end_s:
        code = "caption-least-sure" if max(halves) > MUCH_WIDER * min(halves) else "caption-each"
        said.append(messages.text(f"figure.bars.{code}", half_s=max(halves)))
    over = sum(c.run_s is not None and c.run_s > end_s for c in m.cycles)
    if over:
        said.append(messages.text("figure.bars.caption-over", count=over, end_s=end_s))
    rows = len(m.cycles) <= FEW
    return Picture(
        "run-bars",
        " ".join(said),
        _alt(m, kinds, len(by_hand), marks_s, messages),
        style.written(lambda: (_rows if rows else _columns)(m, marks_s, end_s, messages), messages),
    )


def _end_s(m: Measurement, marks_s: tuple[float, float]) -> float:
    most_s = max((c.run_s for c in m.cycles if c.run_s is not None), default=0.0)
    if m.run is not None:
        most_s = max(most_s, m.run.high_s)
    cap_s = SCALE_OVER_MARK * marks_s[1]
    if m.run is not None:
        cap_s = max(cap_s, 1.5 * m.run.seconds)
    return min(max(1.15 * most_s, 1.15 * marks_s[1]), cap_s)


def _rows(m: Measurement, marks_s: tuple[float, float], end_s: float, messages: Messages) -> Figure:
    kinds, by_hand = states(m), corrected(m)
    count = max(2, len(m.cycles))
    deep = 0.24 * count + 0.1
    entries = _key(m, messages)
    low = 0.45 + style.key_room_in(entries)
    figure = style.canvas(low + deep + 0.3)
    axes = style.axes_in(figure, 0.95, low, 4.6, deep)
    style.strip_down(axes)
    for i, (c, kind) in enumerate(zip(m.cycles, kinds, strict=True)):
        if c.run_s is None:
            axes.text(
                0.008 * end_s,
                i,
                messages.text("figure.bars.one-end"),
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
            messages.number(seconds_shown(c.run_s, half_s)),
            transform=axes.get_yaxis_transform(),
            va="center",
            ha="right",
            fontsize=style.SMALL_PT,
        )
    if not m.cycles:
        axes.text(
            0.5,
            0.5,
            messages.text("figure.bars.none"),
            ha="center",
            va="center",
            color=style.SOFT,
            transform=axes.transAxes,
            bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 1.0},
            zorder=6,
        )
    axes.set(xlim=(0.0, end_s), ylim=(count - 0.5, -0.6), xlabel=messages.text("figure.bars.axis"))
    labels = [
        f"{i}   {messages.number(position_text(c.cut_in_s)) if c.cut_in_s is not None else '?'}"
        for i, c in enumerate(m.cycles, start=1)
    ]
    axes.set_yticks(range(len(m.cycles)), labels)
    if m.cycles:
        axes.text(
            -0.012,
            1.0,
            messages.text("figure.bars.began"),
            transform=axes.transAxes,
            ha="right",
            va="bottom",
            fontsize=style.SMALL_PT,
            color=style.SOFT,
        )
        axes.text(
            1.14,
            1.0,
            messages.text("figure.bars.lasted"),
            transform=axes.transAxes,
            ha="right",
            va="bottom",
            fontsize=style.SMALL_PT,
            color=style.SOFT,
        )
    _against(axes, m, marks_s, messages, upright=False)
    style.key(figure, entries)
    return figure


def _columns(m: Measurement, marks_s: tuple[float, float], end_s: float, messages: Messages) -> Figure:
    kinds, by_hand = states(m), corrected(m)
    entries = _key(m, messages)
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
    axes.set(xlim=(0.3, len(m.cycles) + 0.7), ylim=(0.0, end_s))
    axes.set(xlabel=messages.text("figure.bars.axis-order"), ylabel=messages.text("figure.bars.axis"))
    _against(axes, m, marks_s, messages, upright=True)
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


def _against(axes: Axes, m: Measurement, marks_s: tuple[float, float], messages: Messages, *, upright: bool) -> None:
    """The marks, dashed, and the run with no water in use, as a line in its interval."""
    line, span = (axes.axhline, axes.axhspan) if upright else (axes.axvline, axes.axvspan)
    for mark_s in marks_s:
        shown = messages.number(f"{mark_s:g} s")
        line(mark_s, color=style.INK, ls=(0, (4, 2.5)), lw=0.8, zorder=3, path_effects=style.over_areas(0.8))
        if upright:
            axes.text(1.01, mark_s, shown, transform=axes.get_yaxis_transform(), va="center")
        else:
            axes.text(mark_s, 1.02, shown, transform=axes.get_xaxis_transform(), ha="center", va="bottom")
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


def _key(m: Measurement, messages: Messages) -> list[style.Entry]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    kinds = states(m)
    entries: list[style.Entry] = []
    for kind, code in zip(STATES, ("bars.key-whole", "key.doubtful", "key.pump-sound"), strict=False):
        if kind in kinds:
            entries.append((Patch(**_look(kind, False)), messages.text(f"figure.{code}")))
    if corrected(m):
        entries.append((Patch(**_look("whole", True)), messages.text("figure.key.by-hand")))
    if "open" in kinds and len(m.cycles) > FEW:
        entries.append((Line2D([], [], **OPEN), messages.text("figure.bars.one-end")))
    if m.run is not None:
        words = messages.text("figure.bars.key-no-use", run=_run_text(m.run, messages, whole=False))
        entries.append((Line2D([], [], color=style.ORANGE, lw=1.5), words))
    return entries


def _run_text(run: RunTime, messages: Messages, *, whole: bool) -> str:
    if run.one_sided:
        return messages.text("figure.scale.at-most", run=(run.seconds, run.high_s))
    interval = (run.seconds, run.low_s, run.high_s, 1 if run.spread_s is None else 2)
    return messages.number(seconds_text(*interval) if whole else f"{seconds_texts(*interval)[0]} s")


def _alt(
    m: Measurement, kinds: tuple[State, ...], by_hand: int, marks_s: tuple[float, float], messages: Messages
) -> str:
    text, lengths = messages.text, sorted(c.run_s for c in m.cycles if c.run_s is not None)
    said = [text("figure.bars.alt", runs=count_text(kinds, by_hand, messages))]
    if lengths:
        under = sum(x < marks_s[0] for x in lengths)
        between = sum(marks_s[0] <= x < marks_s[1] for x in lengths)
        said.append(
            text(
                "figure.bars.alt-lengths",
                under=under,
                between=between,
                over=len(lengths) - under - between,
                mark1_s=marks_s[0],
                mark2_s=marks_s[1],
                shortest_s=lengths[0],
                longest_s=lengths[-1],
                median_s=float(np.median(lengths)),
            )
        )
    if len(m.cycles) <= FEW and lengths:
        runs = ", ".join("?" if c.run_s is None else messages.number(f"{c.run_s:.2f} s") for c in m.cycles)
        said.append(text("figure.bars.alt-order", runs=runs))
    if m.run is not None:
        said.append(text("figure.bars.alt-no-use", run=_run_text(m.run, messages, whole=True)))
    return " ".join(said)
