"""From what was observed (water caught, or a steady tap's flow) and the measured run to the pump rate reckoned with.

A measured rate takes the place of a stated one, which is kept beside it: that the two disagree is a finding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from clicktimer.records import Cycle, RunTime
from clicktimer.tank.pump_rate import PumpRateMeasured, draw_and_refill, rate_from_steady_l_per_min, steady_tap
from clicktimer.tank.system import System
from clicktimer.units.format import UnitSystem, format_flow

# Cycles of a steady tap agree within this share of the run they give (as in the finding of the run itself).
AGREE_SHARE = 0.06
LEAST_CONFIDENCE = 0.5
# A measured rate is told as below a stated one from here on: less is within a pump's curve. Common practice, no source.
BELOW_STATED = 0.80


@dataclass(frozen=True, slots=True)
class Observed:
    """The system with the rate that was measured, how it was measured (None: it was not), and sentences on it."""

    system: System
    measured: PumpRateMeasured | None
    notes: tuple[str, ...]


def with_measured_rate(
    system: System, run: RunTime | None, cycles: Sequence[Cycle] = (), units: UnitSystem = "us"
) -> Observed:
    """Make the pump rate from what was observed. Units as in System; cycles: those of the recording, for a steady tap.

    Water caught with no refill time of its own is divided by the measured run. Where the rate cannot be had, a note
    says why, and the stated one (if any) stays. Raises SettingsError for what cannot be.
    """
    notes: list[str] = []
    measured: PumpRateMeasured | None = None
    if system.observed.caught:
        measured = _from_caught(system, run, units, notes)
    if measured is None and system.observed.tap_l_per_min is not None:
        measured = _from_tap(system.observed.tap_l_per_min, run, cycles, units, notes)
    if measured is None:
        return Observed(system, None, tuple(notes))
    notes.append(measured.text)
    # Asked a second time, the rate in use is the measured one already.
    stated = system.pump if system.pump is not None and system.pump.how == "stated" else system.stated_pump
    if stated is not None:
        notes.append(_against_stated(measured, stated.l_per_min, units))
    origin = {**system.origin, "pump_rate": "measured"}
    changed = replace(system, pump=measured.rate, stated_pump=stated, origin=origin)
    return Observed(changed, measured, tuple(notes))


def _from_caught(system: System, run: RunTime | None, units: UnitSystem, notes: list[str]) -> PumpRateMeasured | None:
    caught = system.observed.caught
    if all(refill_s is not None for _, refill_s in caught):
        return draw_and_refill([(litres, refill_s) for litres, refill_s in caught if refill_s is not None], units)
    if any(refill_s is not None for _, refill_s in caught):
        notes.append(
            "Some of the water caught has its refill time and some has not, so no pump rate was made of it: write each "
            'as "15 gal in 75 s".'
        )
        return None
    if run is None:
        notes.append("Water was caught, but no run was measured to divide it by: the pump rate stays unknown.")
        return None
    if run.one_sided:
        notes.append(
            "Water was caught, but the run is only an upper bound, so no pump rate was made of it: measure the run "
            "with every tap shut (--taps-shut)."
        )
        return None
    # The first draw is left out by the rule of draw-and-refill; with the run of the recording each is one draw.
    told = draw_and_refill([(litres, run.seconds) for litres, _ in caught], units)
    run_sd = (run.high_s - run.low_s) / 2.0 / 1.960 / run.seconds
    sd = math.hypot(told.rate.sd_l_per_min or 0.0, told.rate.l_per_min * run_sd)
    return replace(told, rate=replace(told.rate, sd_l_per_min=sd))


def _from_tap(
    tap_l_per_min: float, run: RunTime | None, cycles: Sequence[Cycle], units: UnitSystem, notes: list[str]
) -> PumpRateMeasured | None:
    if run is None or not run.how.startswith("steady tap"):
        notes.append(
            "The tap's flow gives the pump rate only where that tap ran steadily through the whole recording: say "
            "--steady-tap."
        )
        return None
    pairs = [
        (c.run_s, c.rest_s)
        for c in cycles
        if c.run_s is not None and c.rest_s is not None and c.complete and c.confidence >= LEAST_CONFIDENCE
    ]
    agreeing = [p for p in pairs if abs(p[0] * p[1] / (p[0] + p[1]) / run.seconds - 1.0) <= AGREE_SHARE]
    if not agreeing:
        notes.append(
            "Which click starts the pump is not known, so the tap's flow gives no pump rate: say --pump-at-start on "
            "or off."
        )
        return None
    rates = [rate_from_steady_l_per_min(tap_l_per_min, run_s, rest_s) for run_s, rest_s in agreeing]
    middle = sorted(rates)[len(rates) // 2]
    # A cycle in which something else ran as well can still have the right run x rest / (run + rest).
    kept = [p for p, rate in zip(agreeing, rates, strict=True) if abs(rate / middle - 1.0) <= AGREE_SHARE]
    return steady_tap(tap_l_per_min, kept, units)


def _against_stated(measured: PumpRateMeasured, stated_l_per_min: float, units: UnitSystem) -> str:
    said = f"The stated pump rate ({format_flow(stated_l_per_min, units)}) is not used, as this one is measured"
    finding = rate_against_stated(measured.rate.l_per_min, measured.rate.sd_l_per_min, stated_l_per_min)
    if finding == "below":
        return f"{said}; the pump gives clearly less than stated: it is worn, throttled, or draws from a low well."
    if finding == "above":
        return f"{said}; it is clearly more than stated: was other water in use, or the bucket read wrong?"
    return f"{said}; the two agree within what can be told."


def rate_against_stated(measured_l_per_min: float, sd_l_per_min: float | None, stated_l_per_min: float) -> str:
    """Say whether a measured pump rate is "below" or "above" a stated one for sure, or "agrees" (L/min)."""
    room = 1.960 * (sd_l_per_min or 0.0)
    if measured_l_per_min + room < BELOW_STATED * stated_l_per_min:
        return "below"
    return "above" if measured_l_per_min - room > stated_l_per_min / BELOW_STATED else "agrees"
