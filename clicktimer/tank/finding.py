"""What was found of the tank that is there, as a record and in plain words with its numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.records import RunTime
from clicktimer.tank.system import System
from clicktimer.units.format import UnitSystem, format_flow, format_pressure, format_time, format_volume

Finding = Literal[
    "healthy",
    "too-small-but-healthy",
    "short-of-air-or-overcharged",
    "more-than-label",
    "cannot-tell",
]


@dataclass(frozen=True, slots=True)
class TankThere:
    """What the run says of the tank that is there. Volumes in litres, pressures kPa gauge, flows L/min.

    finding: the identifier. text: plain words. settle: the one measurement that would settle what is open, or empty.
    drawn_l, drawn_low_l, drawn_high_l: the real drawdown Q r0 with its 95 % interval (run, and pump rate if measured).
    label_l, label_fast_l: what the label should give, air settled and fast refill; gauge_sd: relative sd of both.
    ratio: drawn_l / label_l. undercharged_kpag, overcharged_kpag: both roots as (settled, fast), None where not a root.
    implied_pump_l_per_min: the pump rate with which a healthy tank would have this run (fast, settled), without a rate.
    implied_volume_l: the volume of a healthy tank with this run (settled, fast), without a tank.
    healthy_pump_l_per_min: the least pump rate with which this tank would pass as healthy, when it is short.
    """

    finding: Finding
    text: str
    settle: str = ""
    drawn_l: float | None = None
    drawn_low_l: float | None = None
    drawn_high_l: float | None = None
    label_l: float | None = None
    label_fast_l: float | None = None
    gauge_sd: float | None = None
    ratio: float | None = None
    undercharged_kpag: tuple[float, float] | None = None
    overcharged_kpag: tuple[float, float] | None = None
    implied_pump_l_per_min: tuple[float, float] | None = None
    implied_volume_l: tuple[float, float] | None = None
    healthy_pump_l_per_min: float | None = None


MEASURE_RATE = (
    "Measure the pump rate: catch the water between the pump's stop and its next start, with nothing else in use, and "
    "divide it by the run."
)
SPLIT = (
    "Watch the gauge while a tap runs: if it drops suddenly and the tap goes dead before the pump starts, the "
    "charge is "
    "above cut-in; if it falls evenly down to cut-in, it is below. An air gauge on the drained tank, power off, gives "
    "the charge itself."
)


NARROW = " A switch whose range is narrower than given looks the same: read the gauge at both clicks."


def straddles(told: TankThere, run: RunTime, system: System) -> bool:
    """Whether the tank gives what it should, and the run, as far as the verdict allows for it, may reach the second
    mark or not.
    """
    low_s, high_s = allowed_interval_s(run)
    return told.finding == "healthy" and low_s < system.marks_s[1] <= high_s


def there_text(told: TankThere, run: RunTime, system: System, units: UnitSystem) -> str:
    """Say in plain words what was found, with the numbers. ``told`` must hold drawdown, label and ratio."""
    if told.drawn_l is None or told.label_l is None or told.label_fast_l is None or told.ratio is None:
        return told.text
    pump = system.pump
    gives = "at most " if run.one_sided else ""
    should = (
        f"{format_volume(told.label_l, units)} between the settled pressures"
        if system.settled_kpag
        else f"{format_volume(told.label_fast_l, units)} (refilled fast) to {format_volume(told.label_l, units)} "
        "(air settled)"
    )
    text = (
        f"The tank gives {gives}{format_volume(told.drawn_l, units)} between cut-out and cut-in; by its label it "
        f"should give {should}, give or take {round(100 * (told.gauge_sd or 0.0)):d} % for the gauge. "
    )
    mark = format_time(system.marks_s[1])
    if told.finding == "healthy":
        if straddles(told, run, system):
            text += f"It gives what its label promises; whether its run reaches {mark} is too close to call."
        else:
            text += f"That is a healthy tank, and its run reaches {mark}."
    elif told.finding == "too-small-but-healthy":
        text += f"That is a healthy tank, but too small for this pump: its run stays below {mark}. "
        # As the verdict puts it: between the marks nobody has to hurry.
        rarely = allowed_interval_s(run)[0] >= system.marks_s[0]
        text += "Rarely a trouble: a larger one at the next change will do." if rarely else "A larger one is needed."
    elif told.finding == "more-than-label":
        text += (
            "That is more than the tank can give: water was in use during the run, the pump gives less than stated, "
            "there "
            "is more tank than stated, or a valve holds the flow back."
        )
    elif told.finding == "short-of-air-or-overcharged":
        text += "That is too little for a healthy tank: " + _roots_text(told, units) + NARROW
    elif run.one_sided:
        text += (
            "As water may have been in use, this is only a bound, and a healthy tank cannot be told from a short one."
        )
    else:
        between = told.ratio * told.label_l < told.label_fast_l or told.ratio > 1
        text += (
            "That lies between a healthy tank and another one: too close to call."
            if between
            else "That agrees with a healthy tank, but gauge, pump rate and run together are too uncertain to say so."
        )
        if told.ratio < 1 and (told.undercharged_kpag or told.overcharged_kpag):
            text += " If it is not healthy, " + _roots_text(told, units) + NARROW
    if pump is not None and pump.how == "stated" and told.finding != "cannot-tell":
        text += f" This rests on the stated pump rate of {format_flow(pump.l_per_min, units)}"
        if told.healthy_pump_l_per_min is not None:
            text += f"; with {format_flow(told.healthy_pump_l_per_min, units)} or more the tank would pass as healthy"
        text += "."
    return text


def _roots_text(told: TankThere, units: UnitSystem) -> str:
    parts = []
    if told.undercharged_kpag is not None:
        low, high = told.undercharged_kpag
        if high < 0:
            parts.append(
                "water has taken the air's room (there is less air in it than open air at no pressure would be: no "
                "charge, "
                "or a failed bladder)"
            )
        else:
            parts.append(f"the air charge has fallen to about {_span(max(low, 0.0), high, units)}")
    if told.overcharged_kpag is not None:
        settled, fast = told.overcharged_kpag
        parts.append(f"the charge is too high, about {_span(min(settled, fast), max(settled, fast), units)}")
    return (", or ".join(parts) or "the cause cannot be told from the pressures") + "."


def _span(low_kpag: float, high_kpag: float, units: UnitSystem) -> str:
    low, high = format_pressure(low_kpag, units), format_pressure(high_kpag, units)
    return low if low == high else f"{low.split(' ')[0]} to {high}"


def settle_text(told: TankThere, run: RunTime, system: System) -> str:
    """Say which one measurement would settle what is open; empty when nothing is."""
    stated = system.pump is not None and system.pump.how == "stated"
    if told.finding == "cannot-tell" and (run.one_sided or run.doubt):
        return "Measure the run again with every tap shut (--taps-shut)."
    if told.finding == "cannot-tell":
        return MEASURE_RATE if stated else "Read the air charge with an air gauge, the tank drained and the power off."
    if told.finding == "short-of-air-or-overcharged":
        return SPLIT
    if told.finding == "more-than-label":
        return "Measure the pump rate and the run again with every tap shut, and count the tanks."
    if straddles(told, run, system):
        return "Time more runs with every tap shut: the spread between runs decides it."
    return ""
