"""10 pictures: two results compared in, both side by side with their intervals out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clicktimer.day.compare import Comparison
from clicktimer.pictures import style
from clicktimer.pictures.picture import Picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def compare_picture(c: Comparison) -> Picture:
    """Show each figure before and after; "" where neither holds one."""
    told = "; ".join(f"{d.name} {d.before} and {d.after} {d.unit}: {d.finding}" for d in c.differences)
    return Picture("compare", "Before and after.", told or "Nothing to compare.", lambda: _draw(c))


def _draw(c: Comparison) -> Figure:
    figure = style.canvas(0.5 + 0.5 * max(1, len(c.differences)))
    axes = style.axes_in(figure, 2.4, 0.3, 3.8, 0.5 * max(1, len(c.differences)))
    for row, d in enumerate(c.differences):
        if d.before and d.after is not None:
            axes.plot([1.0, d.after / d.before], [row, row], marker="o", color=style.BLUE)
    axes.set_yticks(range(len(c.differences)), [d.name for d in c.differences])
    return figure
