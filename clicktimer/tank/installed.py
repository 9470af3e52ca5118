"""The installed tank: what the measured run says of it, or which measurement is missing.

The real drawdown is pump rate times run. It is compared with what the label's volume should give: at most Boyle's
figure (air settled), at least the bound of a refill too fast for heat to leave, each widened by the gauge's errors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.records import Reason, RunTime
from clicktimer.tank.drawdown import fraction, fraction_fast, overcharged_kpag, relative_gauge_sd, undercharged_kpag
from clicktimer.tank.faults import put_right, range_fault, with_right_charge, wrong_charge_kpag
from clicktimer.tank.finding import MEASURE_RATE, ONE_IN_TWENTY, Finding, TankFinding, finding_reasons, settle_reasons
from clicktimer.tank.options import tanks_row
from clicktimer.tank.system import PumpRate, System

# Normal quantile.
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
    """The two pressures between which the drawdown is computed: settled ones where they were read, kPa gauge."""
    return system.settled_kpag or (system.cut_in_kpag, system.cut_out_kpag)


def _label(system: System, gauge_sd_kpa: float) -> _Label:
    """What the label gives with the charges of this system, over the range as it was read."""
    row = tanks_row(system)
    air = system.atmosphere_kpaa
    charge = 0.0 if system.tanks[0].kind == "plain" else system.charge_of(system.tanks[0])
    # A plain tank's charge is the open air itself: nobody reads it.
    charge_sd = 0.0 if system.tanks[0].kind == "plain" else gauge_sd_kpa
    cut_in, cut_out = _pressures(system)
    sd = relative_gauge_sd(charge, cut_in, cut_out, air, gauge_sd_kpa=gauge_sd_kpa, charge_sd_kpa=charge_sd)
    return _Label(row.volume_l, row.drawdown_l, row.drawdown_fast_l, sd)


def judge_installed_tank(run: RunTime, system: System, *, gauge_sd_kpa: float | None = None) -> TankFinding:
    """Compare the real drawdown with what the label of the installed tank should give.

    D = Q r0 / 60, held against f V (air settled) and the fraction of a fast refill times V

    Parameters
    ----------
    run : RunTime
        The measured run with no water in use, seconds; a one-sided one is taken as an upper bound.
    system : System
        With or without tanks and pump rate.
    gauge_sd_kpa : float, optional
        Standard deviation of one reading of the gauge, kPa; None is the system's own.

    Returns
    -------
    TankFinding
        Finding "cannot-tell", with the missing measurement named, where pump rate or tank is unknown.

    Notes
    -----
    The limits, with sd the relative error of gauge, pump rate and run together: short from 1.645 sd below the bound of
    a fast refill down; more than the label from 1.645 sd above Boyle's figure up; healthy from one gauge sd below the
    bound to one above Boyle's figure, where run and pump rate are sure enough to leave neither of the others open;
    between, too close to call. At 40/60 with a 1-psi gauge and the rest exact: 0.69 to 1.08 of Boyle's, under 0.65,
    over 1.12. A stated pump rate is assumed exact, and the reasons say so.

    A charge that was read and is wrong, and a range read that differs from the setting, are faults, not the yardstick:
    the tank is judged by what the right charge would give, and the run to expect once both are put right is given.

    Source: drawdown and its two bounds as in clicktimer.tank.drawdown; the limits are ours.
    """
    if system.pump is None:
        return _without_pump(run, system)
    if not system.tanks:
        return _without_tank(run, system, system.pump)
    return _with_both(run, system, system.pump, system.gauge_sd_kpa if gauge_sd_kpa is None else gauge_sd_kpa)


def _without_pump(run: RunTime, system: System) -> TankFinding:
    if not system.tanks:
        return TankFinding("cannot-tell", (Reason("tank.rate-and-volume-unknown"),), (MEASURE_RATE,))
    row = tanks_row(system)
    low = 60.0 * row.drawdown_fast_l / run.high_s
    # An upper bound of the run, or an interval that reaches down to nothing, leaves the rate open above.
    high = math.inf if run.one_sided or run.low_s <= 0.0 else 60.0 * row.drawdown_l / run.low_s
    rate = (
        Reason("tank-rate.at-least", low_l_per_min=low)
        if math.isinf(high)
        else Reason("tank-rate.between", low_l_per_min=low, high_l_per_min=high)
    )
    return TankFinding(
        "cannot-tell",
        (Reason("tank.rate-unknown", volume_l=row.volume_l, rate=rate), *_scaled(run, row.volume_l, system)),
        (MEASURE_RATE,),
        label_l=row.drawdown_l,
        label_fast_l=row.drawdown_fast_l,
        implied_pump_l_per_min=(low, high),
    )


def _scaled(run: RunTime, volume_l: float, system: System) -> tuple[Reason, ...]:
    """With the same pump and switch the run grows in step with the volume: that needs no pump rate."""
    target_s = system.target_s
    if run.one_sided or run.seconds >= target_s:
        return ()
    return (Reason("tank.volume-in-step", needed_l=volume_l * target_s / run.seconds, target_s=target_s),)


def _without_tank(run: RunTime, system: System, pump: PumpRate) -> TankFinding:
    air = system.atmosphere_kpaa
    pressures = (system.precharge_kpag, system.cut_in_kpag, system.cut_out_kpag, air)
    drawn = [pump.l_per_min * t / 60.0 for t in (run.seconds, run.low_s, run.high_s)]
    small, large = drawn[1] / fraction(*pressures), drawn[2] / fraction_fast(*pressures)
    reason = (
        Reason("tank.volume-unknown-at-most", drawn_l=drawn[0], large_l=large)
        if run.one_sided
        else Reason("tank.volume-unknown", drawn_l=drawn[0], small_l=small, large_l=large)
    )
    return TankFinding(
        "cannot-tell",
        (reason,),
        (Reason("tank.settle-label"),),
        drawn_l=drawn[0],
        drawn_low_l=drawn[1],
        drawn_high_l=drawn[2],
        implied_volume_l=(small, large),
    )


def _with_both(run: RunTime, system: System, pump: PumpRate, gauge_sd_kpa: float) -> TankFinding:
    # A charge found wrong is a fault, not the yardstick: the tank is judged by what the right one would give.
    label = _label(with_right_charge(system), gauge_sd_kpa)
    as_found = None if wrong_charge_kpag(system) is None else _label(system, gauge_sd_kpa)
    rate_sd = 0.0 if pump.sd_l_per_min is None else pump.sd_l_per_min / pump.l_per_min
    run_sd = (run.high_s - run.low_s) / 2.0 / TWO_SIDED_95 / run.seconds
    # What an upper bound allows at the most is what counts when it is called short.
    seconds = run.high_s if run.one_sided else run.seconds
    drawn = pump.l_per_min * seconds / 60.0
    measured_sd = (rate_sd**2 + (0.0 if run.one_sided else run_sd**2)) ** 0.5
    half = TWO_SIDED_95 * measured_sd
    ratio, fast_ratio = drawn / label.settled_l, label.fast_l / label.settled_l
    finding = _finding(ratio, fast_ratio, label.gauge_sd, measured_sd, run, system.target_s)
    finding = _by_what_was_read(finding, drawn, measured_sd, as_found, run, system)
    right = tanks_row(put_right(system)) if as_found is not None or range_fault(system) else None
    under, over = (
        _roots(drawn, label, system)
        if finding in ("short-of-air-or-overcharged", "charge-wrong", "cannot-tell")
        else (None, None)
    )
    least_rate = 60.0 * label.fast_l * (1.0 - min(label.gauge_sd, WIDEST_MARGIN)) / seconds
    found = TankFinding(
        finding,
        drawn_l=drawn,
        drawn_low_l=0.0 if run.one_sided else drawn * max(1.0 - half, 0.0),
        drawn_high_l=drawn * (1.0 + half),
        label_l=label.settled_l,
        label_fast_l=label.fast_l,
        gauge_sd=label.gauge_sd,
        ratio=ratio,
        undercharged_kpag=under,
        overcharged_kpag=over,
        found_l=None if as_found is None else (as_found.fast_l, as_found.settled_l),
        set_l=(right.drawdown_fast_l, right.drawdown_l) if right is not None and range_fault(system) else None,
        right_run_s=None
        if right is None or right.run_s is None or right.run_fast_s is None
        else (right.run_fast_s, right.run_s),
        healthy_pump_l_per_min=least_rate if finding == "short-of-air-or-overcharged" else None,
    )
    return replace(found, reasons=finding_reasons(found, run, system), settle=settle_reasons(found, run, system))


def _by_what_was_read(
    finding: Finding, drawn_l: float, measured_sd: float, as_found: _Label | None, run: RunTime, system: System
) -> Finding:
    """Return the finding with a charge or a range that was read and is wrong in its place."""
    if as_found is None:
        return "range-wrong" if finding == "too-small-but-healthy" and range_fault(system) else finding
    # More than the wrong charge allows: then that reading is in doubt, not the tank.
    room = ONE_IN_TWENTY * (as_found.gauge_sd**2 + measured_sd**2) ** 0.5
    more = not run.one_sided and drawn_l > as_found.settled_l * (1.0 + room)
    if finding in ("short-of-air-or-overcharged", "too-small-but-healthy"):
        return "cannot-tell" if more else "charge-wrong"
    known = not run.one_sided and not run.doubted
    return "charge-wrong" if finding == "cannot-tell" and known and not more else finding


def _finding(
    ratio: float, fast_ratio: float, gauge_sd: float, measured_sd: float, run: RunTime, target_s: float
) -> Finding:
    sd = (gauge_sd**2 + measured_sd**2) ** 0.5
    if run.doubted:
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
    distinct = low >= fast_ratio * (1.0 - ONE_IN_TWENTY * gauge_sd) and high <= 1.0 + ONE_IN_TWENTY * gauge_sd
    margin = min(gauge_sd, WIDEST_MARGIN)
    if sd <= LARGEST_SD and distinct and fast_ratio * (1.0 - margin) <= ratio <= 1.0 + margin:
        # Only when the whole interval is below the target is the tank called too small.
        return "too-small-but-healthy" if allowed_interval_s(run)[1] < target_s else "healthy"
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
