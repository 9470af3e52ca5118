"""The tank that is there: what the measured run says of it, or which measurement is missing.

The real drawdown is pump rate times run. It is held against what the label's volume should give: at most Boyle's figure
(air settled), at least the bound of a refill too fast for heat to leave, each widened by the errors of the gauge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.records import RunTime
from clicktimer.tank.drawdown import fraction, fraction_fast, overcharged_kpag, relative_gauge_sd, undercharged_kpag
from clicktimer.tank.finding import MEASURE_RATE, Finding, TankThere, settle_text, there_text
from clicktimer.tank.options import tanks_row
from clicktimer.tank.system import PumpRate, System
from clicktimer.units.format import UnitSystem, format_flow, format_time, format_volume

# Normal quantiles. A drawdown is called short only when a healthy tank would be read so low less than once in twenty.
ONE_IN_TWENTY = 1.645
TWO_SIDED_95 = 1.960
# A tank is not called healthy further outside the range than this, nor at all where the errors together are larger.
WIDEST_MARGIN = 0.10
LARGEST_SD = 0.20


@dataclass(frozen=True, slots=True)
class _Label:
    """What the label should give: litres, and the relative sd from the gauge."""

    volume_l: float
    settled_l: float
    fast_l: float
    gauge_sd: float


def _pressures(system: System) -> tuple[float, float]:
    """The two pressures between which the drawdown is reckoned: settled ones where they were read, kPa gauge."""
    return system.settled_kpag or (system.cut_in_kpag, system.cut_out_kpag)


def _label(system: System, gauge_sd_kpa: float) -> _Label:
    row = tanks_row(system)
    air = system.atmosphere_kpaa
    charge = 0.0 if system.tanks[0].kind == "plain" else system.charge_of(system.tanks[0])
    # A plain tank's charge is the open air itself: nobody reads it.
    charge_sd = 0.0 if system.tanks[0].kind == "plain" else gauge_sd_kpa
    cut_in, cut_out = _pressures(system)
    sd = relative_gauge_sd(charge, cut_in, cut_out, air, gauge_sd_kpa=gauge_sd_kpa, charge_sd_kpa=charge_sd)
    return _Label(row.volume_l, row.drawdown_l, row.drawdown_fast_l, sd)


def judge_tank_there(
    run: RunTime, system: System, units: UnitSystem = "us", *, gauge_sd_kpa: float | None = None
) -> TankThere:
    """Say what the measured run with no water in use says of the tank that is there.

    Parameters
    ----------
    run : the measured run; a one-sided one is taken as an upper bound. system : with or without tanks and pump rate.
    units : how the sentences write numbers. gauge_sd_kpa : standard deviation of one reading of the gauge, kPa; None
        is the system's own.

    Returns
    -------
    TankThere; finding "cannot-tell" with the missing measurement named where pump rate or tank is unknown.

    The limits, with sd the relative error of gauge, pump rate and run together: short from 1.645 sd below the bound of
    a fast refill down; more than the label from 1.645 sd above Boyle's figure up; healthy from one gauge sd below the
    bound to one above Boyle's figure, where run and pump rate are sure enough to leave neither of the others open;
    between, too close to call. At 40/60 with a 1-psi gauge and the rest exact: 0.69 to 1.08 of Boyle's, under 0.65,
    over 1.12. A pump rate that was only stated is taken at its word, and the text says so.
    """
    if system.pump is None:
        return _without_pump(run, system, units)
    if not system.tanks:
        return _without_tank(run, system, system.pump, units)
    return _with_both(run, system, system.pump, units, system.gauge_sd_kpa if gauge_sd_kpa is None else gauge_sd_kpa)


def _without_pump(run: RunTime, system: System, units: UnitSystem) -> TankThere:
    if not system.tanks:
        return TankThere(
            "cannot-tell",
            "The run alone cannot tell a small tank from one that has lost its air: the pump rate and the tank's "
            "volume "
            "are both unknown.",
            MEASURE_RATE,
        )
    row = tanks_row(system)
    low = 60.0 * row.drawdown_fast_l / run.high_s
    # An upper bound of the run, or an interval that reaches down to nothing, leaves the rate open above.
    high = math.inf if run.one_sided or run.low_s <= 0.0 else 60.0 * row.drawdown_l / run.low_s
    given = format_flow(low, units)
    span = f"at least {given}" if math.isinf(high) else f"{given} to {format_flow(high, units)}"
    return TankThere(
        "cannot-tell",
        "The run alone cannot tell a small tank from one that has lost its air: the pump rate is unknown. A healthy "
        f"{format_volume(row.volume_l, units)} tank has this run if the pump gives {span}; if it gives less, the "
        "tank is "
        f"short of air or overcharged.{_scaled_text(run, row.volume_l, system, units)}",
        MEASURE_RATE,
        label_l=row.drawdown_l,
        label_fast_l=row.drawdown_fast_l,
        implied_pump_l_per_min=(low, high),
    )


def _scaled_text(run: RunTime, volume_l: float, system: System, units: UnitSystem) -> str:
    """Pump and switch being the same, the run grows in step with the volume: that needs no pump rate."""
    mark_s = system.marks_s[1]
    if run.one_sided or run.seconds >= mark_s:
        return ""
    needed = format_volume(volume_l * mark_s / run.seconds, units)
    return f" If it is healthy, {needed} in all, charged alike, would reach {format_time(mark_s)}."


def _without_tank(run: RunTime, system: System, pump: PumpRate, units: UnitSystem) -> TankThere:
    air = system.atmosphere_kpaa
    pressures = (system.precharge_kpag, system.cut_in_kpag, system.cut_out_kpag, air)
    drawn = [pump.l_per_min * t / 60.0 for t in (run.seconds, run.low_s, run.high_s)]
    small, large = drawn[1] / fraction(*pressures), drawn[2] / fraction_fast(*pressures)
    said = (
        f"at most {format_volume(large, units)}"
        if run.one_sided
        else f"{format_volume(small, units)} to {format_volume(large, units)}"
    )
    return TankThere(
        "cannot-tell",
        f"The tank gives {'at most ' if run.one_sided else ''}{format_volume(drawn[0], units)} between cut-out and "
        "cut-in. "
        f"A healthy tank that does so holds {said} by its label; if the label says more, it is short of air or "
        "overcharged.",
        "Read the volume on the tank's label.",
        drawn_l=drawn[0],
        drawn_low_l=drawn[1],
        drawn_high_l=drawn[2],
        implied_volume_l=(small, large),
    )


def _with_both(run: RunTime, system: System, pump: PumpRate, units: UnitSystem, gauge_sd_kpa: float) -> TankThere:
    label = _label(system, gauge_sd_kpa)
    rate_sd = 0.0 if pump.sd_l_per_min is None else pump.sd_l_per_min / pump.l_per_min
    run_sd = (run.high_s - run.low_s) / 2.0 / TWO_SIDED_95 / run.seconds
    # What an upper bound allows at the most is what counts when it is called short.
    seconds = run.high_s if run.one_sided else run.seconds
    drawn = pump.l_per_min * seconds / 60.0
    measured_sd = (rate_sd**2 + (0.0 if run.one_sided else run_sd**2)) ** 0.5
    half = TWO_SIDED_95 * measured_sd
    ratio, fast_ratio = drawn / label.settled_l, label.fast_l / label.settled_l
    finding = _finding(ratio, fast_ratio, label.gauge_sd, measured_sd, run, system.marks_s[1])
    under, over = (
        _roots(drawn, label, system) if finding in ("short-of-air-or-overcharged", "cannot-tell") else (None, None)
    )
    least_rate = 60.0 * label.fast_l * (1.0 - min(label.gauge_sd, WIDEST_MARGIN)) / seconds
    told = TankThere(
        finding,
        "",
        drawn_l=drawn,
        drawn_low_l=0.0 if run.one_sided else drawn * max(1.0 - half, 0.0),
        drawn_high_l=drawn * (1.0 + half),
        label_l=label.settled_l,
        label_fast_l=label.fast_l,
        gauge_sd=label.gauge_sd,
        ratio=ratio,
        undercharged_kpag=under,
        overcharged_kpag=over,
        healthy_pump_l_per_min=least_rate if finding == "short-of-air-or-overcharged" else None,
    )
    return replace(told, text=there_text(told, run, system, units), settle=settle_text(told, run, system))


def _finding(
    ratio: float, fast_ratio: float, gauge_sd: float, measured_sd: float, run: RunTime, mark_s: float
) -> Finding:
    sd = (gauge_sd**2 + measured_sd**2) ** 0.5
    if run.doubt:
        return "cannot-tell"
    if ratio < fast_ratio * (1.0 - ONE_IN_TWENTY * sd):
        return "short-of-air-or-overcharged"
    if run.one_sided:
        return "cannot-tell"
    if ratio > 1.0 + ONE_IN_TWENTY * sd:
        return "more-than-label"
    # To agree with a healthy tank is no proof of one where the errors would let a short one agree as well: the more
    # uncertain the measurement, the narrower, not the wider, must this be.
    low, high = ratio * (1.0 - ONE_IN_TWENTY * measured_sd), ratio * (1.0 + ONE_IN_TWENTY * measured_sd)
    told_apart = low >= fast_ratio * (1.0 - ONE_IN_TWENTY * gauge_sd) and high <= 1.0 + ONE_IN_TWENTY * gauge_sd
    margin = min(gauge_sd, WIDEST_MARGIN)
    if sd <= LARGEST_SD and told_apart and fast_ratio * (1.0 - margin) <= ratio <= 1.0 + margin:
        # Only when the whole interval is below the mark is the tank called too small.
        return "too-small-but-healthy" if allowed_interval_s(run)[1] < mark_s else "healthy"
    return "cannot-tell"


def _roots(
    drawn_l: float, label: _Label, system: System
) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """Both charges that would explain a drawdown, as (settled, fast), kPa gauge; None where it is not a root."""
    (cut_in, cut_out), air = _pressures(system), system.atmosphere_kpaa
    speeds = (False, False) if system.settled_kpag else (False, True)
    under = [undercharged_kpag(drawn_l, label.volume_l, cut_in, cut_out, air, fast=fast) for fast in speeds]
    over = [
        overcharged_kpag(min(drawn_l, 0.999 * label.volume_l), label.volume_l, cut_out, air, fast=fast)
        for fast in speeds
    ]
    plain = any(t.kind == "plain" for t in system.tanks)
    return (
        (under[0], under[1]) if under[0] <= cut_in else None,
        (over[0], over[1]) if over[0] > cut_in and not plain else None,
    )
