"""10 pictures: the run with no water in use in, one plain scale out on which it stands among the marks (page one)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from clicktimer.cycles.run_time import STEADY_READS_LONG, STEADY_READS_SHORT, allowed_interval_s
from clicktimer.records import RunTime
from clicktimer.reporting.figures import style
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.figures import seconds_texts
from clicktimer.targets import MARKS_S, band_edges_s

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ENDS_S: Final = (90.0, 120.0, 180.0, 240.0, 360.0, 480.0, 600.0, 900.0, 1200.0, 1800.0, 3600.0)
"""Where the scale may end: the first of them that leaves room to the right of what is shown."""
HEIGHT_IN: Final = 1.5
LEFT_IN, LONG_IN, STRIP_IN, THICK_IN = 0.2, 6.1, 0.42, 0.24
WORDS_NEED_IN: Final = 1.2


@dataclass(frozen=True, slots=True)
class _Shown:
    """What is written and where it stands, seconds. wide: the interval with what the verdict allows for beside it."""

    run: RunTime
    value: str
    between: str
    wide_s: tuple[float, float] | None


def run_scale(
    run: RunTime | None, *, marks_s: tuple[float, float] = MARKS_S, messages: Messages = Messages()
) -> Picture:
    """Show the run with its 95 % interval on a scale with the marks; None: the scale alone, and that it is not known.

    A one-sided run is an arrow from its upper bound downwards. What the verdict allows for beyond the interval (the
    spread between runs, where it is not known; the error of the steady-tap method) is a thin line.
    """
    edges_s = band_edges_s(marks_s)
    shown = None if run is None else _shown(run, messages)
    end_s = _end_s(shown, marks_s)
    return Picture(
        "run-scale",
        _caption(shown, marks_s, messages),
        _alt(shown, marks_s, messages),
        style.written(lambda: _draw(shown, marks_s, edges_s, end_s, messages), messages),
    )


def _shown(run: RunTime, messages: Messages) -> _Shown:
    if run.one_sided:
        most = messages.text("figure.scale.at-most", run=(run.seconds, run.high_s))
        return _Shown(run, most, messages.text("figure.scale.in-use"), None)
    texts = seconds_texts(run.seconds, run.low_s, run.high_s, 1 if run.spread_s is None else 2)
    value, low, high = map(messages.number, texts)
    between = messages.text("figure.scale.between", low=low, high=high)
    wide = allowed_interval_s(run)
    return _Shown(run, f"{value} s", between, wide if wide != (run.low_s, run.high_s) else None)


def _end_s(shown: _Shown | None, marks_s: tuple[float, float]) -> float:
    most_s = 1.5 * marks_s[1]
    if shown is not None:
        most_s = max(most_s, 1.12 * max(shown.run.high_s, shown.wide_s[1] if shown.wide_s else 0.0))
    return next((end for end in ENDS_S if end >= most_s), 1.1 * most_s)


def _draw(
    shown: _Shown | None,
    marks_s: tuple[float, float],
    edges_s: tuple[float, ...],
    end_s: float,
    messages: Messages,
) -> Figure:
    figure = style.canvas(HEIGHT_IN)
    axes = style.axes_in(figure, LEFT_IN, 0.0, LONG_IN, HEIGHT_IN)
    axes.set(xlim=(0.0, end_s), ylim=(0.0, HEIGHT_IN))
    axes.set_axis_off()
    _zones(axes, marks_s, edges_s, end_s, messages)
    top = STRIP_IN + THICK_IN
    if shown is None:
        words = messages.text("figure.scale.not-measured")
        axes.text(0.0, top + 0.42, words, fontsize=style.LARGE_PT, color=style.SOFT, weight="bold")
        return figure
    run = shown.run
    line = top + 0.13
    if run.one_sided:
        arrow = {"arrowstyle": "-|>,head_width=0.35,head_length=0.7", "lw": 2.5, "color": style.INK}
        axes.annotate("", (0.0, line), (run.high_s, line), arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0})
        axes.plot([run.high_s] * 2, [STRIP_IN, line + 0.07], color=style.INK, lw=2.0)
        at_s = run.high_s
    else:
        if shown.wide_s is not None:
            axes.plot(shown.wide_s, [line] * 2, color=style.INK, lw=1.0)
            for x in shown.wide_s:
                axes.plot([x] * 2, [line - 0.04, line + 0.04], color=style.INK, lw=1.0)
        axes.plot([run.low_s, run.high_s], [line] * 2, color=style.INK, lw=5.0, solid_capstyle="butt")
        axes.plot([run.seconds] * 2, [STRIP_IN, line], color=style.INK, lw=2.0)
        axes.plot(
            run.seconds,
            line,
            marker="D",
            ms=8,
            color=style.PAPER if run.doubted else style.INK,
            markeredgecolor=style.INK,
            markeredgewidth=1.6,
        )
        at_s = run.seconds
    _number(axes, shown, at_s, end_s, line + 0.17)
    return figure


def _number(axes: Axes, shown: _Shown, at_s: float, end_s: float, y: float) -> None:
    """The figure, large, over its place; near the ends of the scale it keeps inside the picture."""
    for text, points, weight, up in (
        (shown.value, style.LARGE_PT, "bold", 0.18),
        (shown.between, style.TEXT_PT, "normal", 0.0),
    ):
        half_in = 0.5 * len(text) * points * (0.0088 if weight == "bold" else 0.0078)
        x_in = min(max(at_s / end_s * LONG_IN, half_in), LONG_IN - half_in)
        axes.text(
            x_in / LONG_IN * end_s,
            y + up,
            text,
            fontsize=points,
            weight=weight,
            ha="center",
            va="bottom",
            color=style.INK if weight == "bold" else style.SOFT,
        )


def _zones(
    axes: Axes, marks_s: tuple[float, float], edges_s: tuple[float, ...], end_s: float, messages: Messages
) -> None:
    places = [0.0, *marks_s, *([edges_s[-1]] if edges_s[-1] < end_s else []), end_s]
    fills = (style.VERMILION, style.ORANGE, style.LIGHT_GREEN, style.PAPER)
    for number, ((from_s, to_s), fill) in enumerate(zip(pairwise(places), fills, strict=False), start=1):
        axes.barh(
            STRIP_IN,
            to_s - from_s,
            THICK_IN,
            from_s,
            align="edge",
            color=fill,
            edgecolor=style.SOFT,
            lw=0.7,
            clip_on=False,
        )
        room_in = (to_s - from_s) / end_s * LONG_IN
        if room_in > WORDS_NEED_IN:
            axes.text(
                (from_s + to_s) / 2,
                STRIP_IN - 0.08,
                messages.text(f"figure.scale.zone-{number}"),
                fontsize=style.SMALL_PT,
                color=style.INK,
                ha="center",
                va="top",
                linespacing=1.2,
            )
    for edge_s in (0.0, *edges_s):
        if edge_s >= end_s:
            continue
        is_mark = edge_s in marks_s
        if edge_s > 0.0 and not is_mark:
            axes.plot([edge_s] * 2, [STRIP_IN, STRIP_IN + THICK_IN], color=style.PAPER, lw=1.0)
        if edge_s == 0.0 or is_mark or edge_s == edges_s[-1]:
            axes.plot([edge_s] * 2, [STRIP_IN - 0.05, STRIP_IN], color=style.INK, lw=1.2 if is_mark else 0.7)
            axes.text(
                edge_s,
                STRIP_IN - 0.07,
                messages.number(f"{edge_s:g} s") if edge_s else "0",
                ha="center" if edge_s else "left",
                va="top",
                fontsize=style.TEXT_PT,
                weight="bold" if is_mark else "normal",
            )


def _caption(shown: _Shown | None, marks_s: tuple[float, float], messages: Messages) -> str:
    text, marks = messages.text, {"mark1_s": marks_s[0], "mark2_s": marks_s[1]}
    if shown is None:
        return text("figure.scale.caption-none", **marks)
    if shown.run.one_sided:
        return text("figure.scale.caption-at-most", **marks)
    said = [text("figure.scale.caption", **marks)]
    if shown.wide_s is not None and shown.run.how == "steady tap":
        short, long = 100 * STEADY_READS_SHORT, 100 * STEADY_READS_LONG
        said.append(text("figure.scale.thin-steady", short_percent=short, long_percent=long))
    elif shown.wide_s is not None:
        said.append(text("figure.scale.thin-few"))
    if shown.run.doubted:
        said.append(text("figure.scale.open-diamond"))
    return " ".join(said)


def _alt(shown: _Shown | None, marks_s: tuple[float, float], messages: Messages) -> str:
    text = messages.text
    said = [text("figure.scale.alt-zones", mark1_s=marks_s[0], mark2_s=marks_s[1])]
    if shown is None:
        return " ".join([*said, text("figure.scale.alt-none")])
    code = "figure.scale.alt-at-most" if shown.run.one_sided else "figure.scale.alt-run"
    said.append(text(code, value=shown.value, between=shown.between))
    if not shown.run.one_sided and shown.wide_s is not None:
        said.append(text("figure.scale.alt-allowed", low_s=shown.wide_s[0], high_s=shown.wide_s[1]))
    if not shown.run.one_sided and shown.run.doubted:
        said.append(text("figure.scale.alt-doubt", doubt=messages.texts(shown.run.doubts)))
    return " ".join(said)
