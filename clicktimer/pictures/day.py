"""10 pictures: the reading of a day in, its pictures out, one by one for a document or all on one sheet."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from clicktimer.day.read import DayReading
from clicktimer.pictures import style
from clicktimer.pictures.picture import Picture
from clicktimer.report.day_pictures import draw_replay, draw_runs, draw_spread, draw_starts, draw_strip

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def day_pictures(day: DayReading) -> tuple[Picture, ...]:
    """The pictures of a day in the order in which they are read."""
    parts: list[tuple[str, Callable[[Axes, DayReading], None], str]] = [
        ("day-strip", draw_strip, "When the pump ran."),
        ("day-runs", draw_runs, "Each run by the time of day."),
        ("day-spread", draw_spread, "How often each length of run came."),
        ("day-starts", draw_starts, "Starts an hour."),
    ]
    if day.replayed:
        parts.append(("day-replay", draw_replay, "The same day with another tank."))
    return tuple(Picture(name, caption, caption, _alone(draw, day)) for name, draw, caption in parts)


def _alone(draw: Callable[[Axes, DayReading], None], day: DayReading) -> Callable[[], Figure]:
    def drawn() -> Figure:
        figure = style.canvas(2.6)
        draw(style.axes_in(figure, 0.6, 0.6, 5.7, 1.7), day)
        return figure

    return drawn
