"""10 pictures: two results compared in, each figure before and after side by side with its interval out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from clicktimer.day.comparison import Comparison, Difference
from clicktimer.records import Reason
from clicktimer.reporting.day_formatting import in_units_of
from clicktimer.reporting.figures import style
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.comparison import change_ends, in_units, side_texts
from clicktimer.units.format import UnitSystem

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_IN: Final = 0.74


def compare_picture(c: Comparison, *, units: UnitSystem = "us", messages: Messages = Messages()) -> Picture:
    """Show each figure before (ring) and after (dot) with its 95 % interval, every figure on a scale of its own."""
    messages = in_units_of(messages, units)
    shown = tuple(in_units(d, units) for d in c.differences)
    alt = " ".join(_alt(d, messages) for d in shown) or messages.text("compare.nothing-drawn")
    return Picture("compare", messages.text("compare.figure"), alt, lambda: _draw(shown, messages))


def _draw(shown: tuple[Difference, ...], messages: Messages) -> Figure:
    rows = max(1, len(shown))
    figure = style.canvas(0.35 + rows * ROW_IN)
    if not shown:
        figure.text(0.03, 0.5, messages.text("compare.nothing-drawn"), va="center", color=style.SOFT)
        return figure
    height = 0.35 + rows * ROW_IN
    for x_in, words in ((2.25, "before: ring, after: dot"), (5.15, "what changed")):
        figure.text(x_in / style.WIDTH_IN, 1 - 0.16 / height, words, fontsize=style.SMALL_PT, color=style.SOFT)
    for row, d in enumerate(shown):
        low = height - 0.35 - (row + 1) * ROW_IN
        axes = style.axes_in(figure, 2.25, low + 0.26, 2.7, ROW_IN - 0.34)
        _row(axes, d, messages)
        middle = (low + 0.26 + (ROW_IN - 0.34) / 2) / height
        whole = messages.text(f"compare.row-in-full.{d.code}")
        name = f"{whole}, {d.unit}" if d.unit else whole
        ends = change_ends(d)
        figure.text(2.1 / style.WIDTH_IN, middle, _in_two(name), ha="right", va="center", linespacing=1.2)
        strong = d.finding in ("more", "less")
        figure.text(
            5.15 / style.WIDTH_IN,
            middle,
            messages.text(f"compare.finding.{d.finding_code}"),
            va="bottom" if strong else "center",
            weight="bold" if strong else "normal",
            color=style.INK if strong else style.SOFT,
        )
        if ends:
            words = messages.text("compare.changed-by", ends=ends)
            figure.text(5.15 / style.WIDTH_IN, middle - 0.03 / height, words, va="top", fontsize=style.SMALL_PT)
    return figure


def _in_two(name: str) -> str:
    """A long name on two lines, cut at the space nearest its middle."""
    if len(name) <= 26:
        return name
    spaces = [i for i, c in enumerate(name) if c == " "]
    at = min(spaces, key=lambda i: abs(i - len(name) / 2))
    return f"{name[:at]}\n{name[at + 1 :]}"


def _row(axes: Axes, d: Difference, messages: Messages) -> None:
    style.strip_down(axes)
    sides = ((0, d.before, d.before_low, d.before_high), (1, d.after, d.after_low, d.after_high))
    for y, value, low, high in sides:
        if value is None:
            axes.text(
                0.02,
                y,
                messages.text("compare.not-told"),
                transform=axes.get_yaxis_transform(),
                va="center",
                fontsize=style.SMALL_PT,
                color=style.SOFT,
            )
            continue
        if low is not None and high is not None:
            axes.plot([low, high], [y, y], color=style.BLUE, lw=1.6 if y else 1.0, zorder=2)
            for end in (low, high):
                axes.plot([end, end], [y - 0.17, y + 0.17], color=style.BLUE, lw=1.2, zorder=2)
        axes.plot(
            value,
            y,
            marker="o",
            ms=6,
            color=style.BLUE if y else style.PAPER,
            markeredgecolor=style.BLUE,
            markeredgewidth=1.4,
            zorder=3,
            clip_on=False,
        )
    known = [x for _, *side in sides for x in side if x is not None]
    axes.set(xlim=(0.0, 1.12 * max([*known, 1e-3])), ylim=(1.6, -0.6), yticks=[])
    axes.locator_params(axis="x", nbins=6)


def _alt(d: Difference, messages: Messages) -> str:
    before, after = side_texts(d, messages)
    ends = change_ends(d)
    return messages.text(
        "compare.figure-row-changed" if ends else "compare.figure-row",
        row=Reason(f"compare.row-in-full.{d.code}"),
        unit=f", {d.unit}" if d.unit else "",
        before=before,
        after=after,
        finding=d.finding_code,
        ends=ends,
    )
