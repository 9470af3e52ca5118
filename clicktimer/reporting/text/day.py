"""Starts in a day by a household's use, and the motor's limits, as text and as plain data."""

from __future__ import annotations

import math
from typing import Any

from clicktimer.reporting.blocks import Block, Words, lines_of
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.motors import MAKER_WINS
from clicktimer.tank.starts_per_day import DayStarts
from clicktimer.units.conversions import l_to_gal
from clicktimer.units.format import UnitSystem, format_volume

STRICTER = (
    "Makers of motors ask for more than the trade's marks, by which such a run is rarely a trouble: a larger tank is "
    "not to wait where the motor's own papers say so, too."
)


def day_lines(day: DayStarts, units: UnitSystem = "us") -> list[str]:
    """Return the section as lines of at most 80 columns, without its heading."""
    return lines_of(day_blocks(day, units))


def day_blocks(day: DayStarts, units: UnitSystem = "us", messages: Messages = Messages()) -> list[Block]:
    """Return the section without its heading."""
    lines: list[Block] = []
    if day.use_low_l is not None and day.use_high_l is not None:
        low, high = format_volume(day.use_low_l, units), format_volume(day.use_high_l, units)
        use = low if low == high else f"{low.split(' ')[0]} to {high}"
        text = f"The household uses {use} a day ({', '.join(day.figures)})."
        if day.most_low is not None and day.most_high is not None and day.drawdown_l is not None:
            few, many = (f"{math.ceil(most - 1e-9)}" for most in (day.most_low, day.most_high))
            text += (
                f" With {day.what}, {format_volume(day.drawdown_l, units)} between cut-out and cut-in, that is at most "
                f"{few if few == many else f'{few} to {many}'} starts a day, if every draw is small; long draws make "
                "fewer. Only a day's recording tells how many there are."
            )
        else:
            text += " How many starts that makes cannot be told: the tank gives no water by what was said."
        lines.append(Words(text))
    for finding in day.motor:
        lines.append(Words(finding.text, "-"))
    if day.allowance and any(finding.what == "least_run_s" for finding in day.motor):
        lines.append(Words(f"The run is held against these limits with room to spare. {day.allowance}"))
    if day.rarely and any(finding.answer == "outside" for finding in day.motor):
        lines.append(Words(STRICTER))
    if day.motor:
        lines.append(Words(MAKER_WINS))
    return lines


def day_json(day: DayStarts) -> dict[str, Any]:
    """Return the same as plain data: volumes in gal and L a day, starts a day at most; null is unknown."""

    def rounded(value: float | None) -> float | None:
        return None if value is None else round(value, 6)

    def gal(volume_l: float | None) -> float | None:
        return None if volume_l is None else round(l_to_gal(volume_l), 6)

    return {
        "use_gal_per_day": [gal(day.use_low_l), gal(day.use_high_l)],
        "use_l_per_day": [rounded(day.use_low_l), rounded(day.use_high_l)],
        "figures": list(day.figures),
        "of": day.what,
        "drawdown_gal": gal(day.drawdown_l),
        "most_starts_per_day": [rounded(day.most_low), rounded(day.most_high)],
        "motor": [
            {
                "what": f.what,
                "answer": f.answer,
                "could": f.could,
                "text": f.text,
                "limits": [
                    {"value": m.value, "source": m.source, "grade": m.grade, "status": m.status} for m in f.limits
                ],
            }
            for f in day.motor
        ],
    }
