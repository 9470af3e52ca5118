"""Starts in a day by a household's use, and the motor's limits, as text and as plain data."""

from __future__ import annotations

from typing import Any

from clicktimer.cycles.run_time import allowances
from clicktimer.records import Reason
from clicktimer.reporting.blocks import Block, Words, lines_of
from clicktimer.reporting.json.values import reasons_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.starts_per_day import DayStarts
from clicktimer.units.conversions import l_to_gal
from clicktimer.units.format import UnitSystem


def day_lines(day: DayStarts, units: UnitSystem = "us") -> list[str]:
    """Return the section as lines of at most 80 columns, without its heading."""
    return lines_of(day_blocks(day, Messages(units=units)))


def day_blocks(day: DayStarts, messages: Messages = Messages()) -> list[Block]:
    """Return the section without its heading."""
    lines: list[Block] = []
    if day.use_low_l is not None and day.use_high_l is not None:
        use = Reason("tank-day.use", use_l=(day.use_low_l, day.use_high_l), figures=", ".join(day.figures))
        if day.most_low is not None and day.most_high is not None and day.drawdown_l is not None:
            most = (day.most_low, day.most_high)
            starts = Reason("tank-day.starts", what=day.what, drawdown_l=day.drawdown_l, starts=most)
        else:
            starts = Reason("tank-day.no-water")
        lines.append(Words(messages.texts((use, starts))))
    for finding in day.motor:
        lines.append(Words(messages.texts(finding.reasons), "-"))
    allowance = "" if day.run is None else messages.texts(allowances(day.run))
    if allowance and any(finding.what == "least_run_s" for finding in day.motor):
        lines.append(Words(f"{messages.text('tank-day.room')} {allowance}"))
    if day.rarely and any(finding.answer == "outside" for finding in day.motor):
        lines.append(Words(messages.text("tank-day.stricter")))
    if day.motor:
        lines.append(Words(messages.text("motor.maker-wins")))
    return lines


def day_json(day: DayStarts, messages: Messages = Messages()) -> dict[str, Any]:
    """Return the same as plain data: volumes in gal and L a day, starts a day at most; null is unknown."""

    def rounded(value: float | None) -> float | None:
        return None if value is None else round(value, 6)

    def gal(volume_l: float | None) -> float | None:
        return None if volume_l is None else round(l_to_gal(volume_l), 6)

    return {
        "use_gal_per_day": [gal(day.use_low_l), gal(day.use_high_l)],
        "use_l_per_day": [rounded(day.use_low_l), rounded(day.use_high_l)],
        "figures": list(day.figures),
        "of": messages.text(day.what),
        "drawdown_gal": gal(day.drawdown_l),
        "most_starts_per_day": [rounded(day.most_low), rounded(day.most_high)],
        "motor": [
            {
                "what": f.what,
                "answer": f.answer,
                "could": f.could,
                "text": messages.texts(f.reasons),
                "reasons": reasons_json(f.reasons),
                "limits": [
                    {"value": m.value, "source": m.source, "grade": m.grade, "status": m.status} for m in f.limits
                ],
            }
            for f in day.motor
        ],
    }
