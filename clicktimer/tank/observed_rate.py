"""From what was observed (water caught, or a steady tap's flow) and the measured run to the pump rate that is used.

A measured rate takes the place of a stated one, which is kept beside it: that the two disagree is a finding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from clicktimer.records import Cycle, Reason, RunTime
from clicktimer.tank.pump_rate import PumpRateMeasured, draw_and_refill, rate_from_steady_l_per_min, steady_tap
from clicktimer.tank.system import System

# Cycles of a steady tap agree within this share of the run they give (as in the finding of the run itself).
AGREE_SHARE = 0.06
LEAST_CONFIDENCE = 0.5
# From here on a measured rate is below a stated one: less is within a pump's curve. Common practice, no source.
BELOW_STATED = 0.80


@dataclass(frozen=True, slots=True)
class Observed:
    """The system with the rate that was measured, how it was measured (None: it was not), and remarks."""

    system: System
    measured: PumpRateMeasured | None
    notes: tuple[Reason, ...]


def with_measured_rate(system: System, run: RunTime | None, cycles: Sequence[Cycle] = ()) -> Observed:
    """Make the pump rate from what was observed, and put it into the system in place of a stated one.

    Parameters
    ----------
    system : System
        With what was observed: litres caught, seconds of refill, L/min of a steady tap.
    run : RunTime or None
        The measured run; water caught with no refill time of its own is divided by it.
    cycles : sequence of Cycle
        Those of the recording, for a steady tap.

    Returns
    -------
    Observed
        Where the rate cannot be had, a note says why, and the stated one (if any) stays.

    Raises
    ------
    SettingsError
        For what cannot be.
    """
    notes: list[Reason] = []
    measured: PumpRateMeasured | None = None
    if system.observed.caught:
        measured = _from_caught(system, run, notes)
    if measured is None and system.observed.tap_l_per_min is not None:
        measured = _from_tap(system.observed.tap_l_per_min, run, cycles, notes)
    if measured is None:
        return Observed(system, None, tuple(notes))
    notes.append(Reason("tank.rate-measured", basis=measured.reasons))
    # Asked a second time, the rate in use is the measured one already.
    stated = system.pump if system.pump is not None and system.pump.how == "stated" else system.stated_pump
    if stated is not None:
        notes.append(_against_stated(measured, stated.l_per_min))
    origin = {**system.origin, "pump_rate": "measured"}
    changed = replace(system, pump=measured.rate, stated_pump=stated, origin=origin)
    return Observed(changed, measured, tuple(notes))


def _from_caught(system: System, run: RunTime | None, notes: list[Reason]) -> PumpRateMeasured | None:
    caught = system.observed.caught
    if all(refill_s is not None for _, refill_s in caught):
        return draw_and_refill([(litres, refill_s) for litres, refill_s in caught if refill_s is not None])
    if any(refill_s is not None for _, refill_s in caught):
        notes.append(Reason("tank.caught-some-untimed"))
        return None
    if run is None:
        notes.append(Reason("tank.caught-without-run"))
        return None
    if run.one_sided:
        notes.append(Reason("tank.caught-with-bound"))
        return None
    # The first draw is left out by the rule of draw-and-refill; with the run of the recording each is one draw.
    found = draw_and_refill([(litres, run.seconds) for litres, _ in caught])
    run_sd = (run.high_s - run.low_s) / 2.0 / 1.960 / run.seconds
    sd = math.hypot(found.rate.sd_l_per_min or 0.0, found.rate.l_per_min * run_sd)
    return replace(found, rate=replace(found.rate, sd_l_per_min=sd))


def _from_tap(
    tap_l_per_min: float, run: RunTime | None, cycles: Sequence[Cycle], notes: list[Reason]
) -> PumpRateMeasured | None:
    if run is None or not run.how.startswith("steady tap"):
        notes.append(Reason("tank.tap-flow-not-steady"))
        return None
    pairs = [
        (c.run_s, c.rest_s)
        for c in cycles
        if c.run_s is not None and c.rest_s is not None and c.complete and c.confidence >= LEAST_CONFIDENCE
    ]
    agreeing = [p for p in pairs if abs(p[0] * p[1] / (p[0] + p[1]) / run.seconds - 1.0) <= AGREE_SHARE]
    if not agreeing:
        notes.append(Reason("tank.tap-flow-order-unknown"))
        return None
    rates = [rate_from_steady_l_per_min(tap_l_per_min, run_s, rest_s) for run_s, rest_s in agreeing]
    middle = sorted(rates)[len(rates) // 2]
    # A cycle in which something else ran as well can still have the right run x rest / (run + rest).
    kept = [p for p, rate in zip(agreeing, rates, strict=True) if abs(rate / middle - 1.0) <= AGREE_SHARE]
    return steady_tap(tap_l_per_min, kept)


def _against_stated(measured: PumpRateMeasured, stated_l_per_min: float) -> Reason:
    against = rate_against_stated(measured.rate.l_per_min, measured.rate.sd_l_per_min, stated_l_per_min)
    return Reason("tank.stated-rate-not-used", stated_l_per_min=stated_l_per_min, against=against)


def rate_against_stated(
    measured_l_per_min: float, sd_l_per_min: float | None, stated_l_per_min: float
) -> Literal["below", "above", "agrees"]:
    """Compare a measured pump rate with a stated one.

    Parameters
    ----------
    measured_l_per_min, stated_l_per_min : float
        Litres per minute.
    sd_l_per_min : float or None
        Standard deviation of the measured one; None counts as 0.

    Returns
    -------
    {"below", "above", "agrees"}
        "below" and "above" only where the whole 95 % interval lies beyond 20 % of the stated rate.
    """
    room = 1.960 * (sd_l_per_min or 0.0)
    if measured_l_per_min + room < BELOW_STATED * stated_l_per_min:
        return "below"
    return "above" if measured_l_per_min - room > stated_l_per_min / BELOW_STATED else "agrees"
