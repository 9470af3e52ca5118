"""What was found of the installed tank: one of seven findings, with the reasons for it as codes and raw figures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.records import Figure, Reason, RunTime
from clicktimer.tank.faults import right_charge_kpag, wrong_charge_kpag
from clicktimer.tank.system import System

Finding = Literal[
    "healthy",
    "too-small-but-healthy",
    "short-of-air-or-overcharged",
    "charge-wrong",
    "range-wrong",
    "more-than-label",
    "cannot-tell",
]


@dataclass(frozen=True, slots=True)
class TankFinding:
    """What the run says of the installed tank. Volumes in litres, pressures kPa gauge, flows L/min.

    finding: the identifier. reasons: why, in the order in which they are read. settle: the one measurement that would
    settle what is open, empty where nothing is.
    drawn_l, drawn_low_l, drawn_high_l: the real drawdown Q r0 with its 95 % interval (run, and pump rate if measured).
    label_l, label_fast_l: what the label should give, air settled and fast refill; gauge_sd: relative sd of both.
    ratio: drawn_l / label_l. undercharged_kpag, overcharged_kpag: both roots as (settled, fast), None where not a root.
    implied_pump_l_per_min: the pump rate with which a healthy tank would have this run (fast, settled), without a rate.
    implied_volume_l: the volume of a healthy tank with this run (settled, fast), without a tank.
    found_l: what the label gives with the charge as it was read (fast, settled); None where that charge is right.
    set_l: what the label gives over the switch's setting (fast, settled); None where the range read is not at fault.
    right_run_s: the run once charge and range are put right (fast, settled); None where nothing read is wrong.
    healthy_pump_l_per_min: the least pump rate with which this tank would pass as healthy, when it is short.
    """

    finding: Finding
    reasons: tuple[Reason, ...] = ()
    settle: tuple[Reason, ...] = ()
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
    found_l: tuple[float, float] | None = None
    set_l: tuple[float, float] | None = None
    right_run_s: tuple[float, float] | None = None
    healthy_pump_l_per_min: float | None = None


# Normal quantile. A drawdown is called short only when a healthy tank would be read so low less than once in twenty.
ONE_IN_TWENTY = 1.645
WRONG_READING = ("charge-wrong", "range-wrong")
"""Findings by which something that was read is to be put right first."""
MEASURE_RATE = Reason("tank.settle-pump-rate")
NARROW_RANGE = Reason("tank.narrow-range")


def straddles(found: TankFinding, run: RunTime, system: System) -> bool:
    """Return whether a healthy tank's run, as far as the verdict allows for it, may reach the target or not."""
    low_s, high_s = allowed_interval_s(run)
    return found.finding == "healthy" and low_s < system.target_s <= high_s


def finding_reasons(found: TankFinding, run: RunTime, system: System) -> tuple[Reason, ...]:
    """Return why a finding was made.

    Parameters
    ----------
    found : TankFinding
        With its drawdown, label and ratio; without them it keeps the reasons that it has.
    run : RunTime
        The measured run with no water in use.
    system : System
        The system that was judged.

    Returns
    -------
    tuple of Reason
        What the tank gives, what that means, and which stated figure it rests on.
    """
    if found.drawn_l is None or found.label_l is None or found.label_fast_l is None or found.ratio is None:
        return found.reasons
    gives = Reason(
        "tank.gives-at-most" if run.one_sided else "tank.gives",
        drawn_l=found.drawn_l,
        label="settled" if system.settled_kpag else "range-read" if found.set_l else "range",
        label_l=found.label_l,
        label_fast_l=found.label_fast_l,
        gauge_sd=found.gauge_sd or 0.0,
    )
    wrong = found.finding in WRONG_READING or _doubtful_charge(found)
    reasons = [gives, *(_wrong_reading(found, system) if wrong else _meaning(found, run, system))]
    pump = system.pump
    if pump is not None and pump.how == "stated" and found.finding != "cannot-tell":
        if found.healthy_pump_l_per_min is None:
            reasons.append(Reason("tank.stated-pump-rate", pump_l_per_min=pump.l_per_min))
        else:
            reasons.append(
                Reason(
                    "tank.stated-pump-rate-decides",
                    pump_l_per_min=pump.l_per_min,
                    healthy_pump_l_per_min=found.healthy_pump_l_per_min,
                )
            )
    return tuple(reasons)


def _meaning(found: TankFinding, run: RunTime, system: System) -> list[Reason]:
    target_s = system.target_s
    match found.finding:
        case "healthy":
            code = "tank.gives-label-run-open" if straddles(found, run, system) else "tank.healthy"
            return [Reason(code, target_s=target_s)]
        case "too-small-but-healthy":
            # As the verdict puts it: between minimum and target nobody has to hurry.
            later = allowed_interval_s(run)[0] >= system.marks_s[0] and system.target_s <= system.marks_s[1]
            return [
                Reason("tank.too-small", target_s=target_s),
                Reason("tank.larger-at-next-change" if later else "tank.larger-needed"),
            ]
        case "more-than-label":
            return [Reason("tank.more-than-label")]
        case "short-of-air-or-overcharged":
            little = Reason("tank.too-little", charges=_charges(found))
            return [little, *_range_read(found)] if found.set_l else [little, NARROW_RANGE]
    if run.one_sided:
        return [Reason("tank.only-a-bound")]
    between = (found.ratio or 0.0) * (found.label_l or 0.0) < (found.label_fast_l or 0.0) or (found.ratio or 0.0) > 1
    reasons = [Reason("tank.between" if between else "tank.too-uncertain")]
    if (found.ratio or 0.0) < 1 and (found.undercharged_kpag or found.overcharged_kpag):
        reasons += [Reason("tank.if-not-healthy", charges=_charges(found)), NARROW_RANGE]
    return reasons


def _doubtful_charge(found: TankFinding) -> bool:
    """Return whether the tank gives more water than the charge that was read allows: that reading is in doubt."""
    more = found.found_l is not None and found.drawn_low_l is not None and found.drawn_low_l > found.found_l[1]
    return found.finding == "cannot-tell" and more


def _wrong_reading(found: TankFinding, system: System) -> list[Reason]:
    """Return what a wrong charge or range explains, what puts it right, and the run to expect then."""
    if _doubtful_charge(found):
        return [Reason("tank.more-than-charge", **_charge_figures(found, system))]
    reasons = []
    if found.finding == "charge-wrong":
        code = "tank.charge-explains" if _explained(found) else "tank.charge-explains-a-part"
        reasons.append(Reason(code, **_charge_figures(found, system)))
        above = (wrong_charge_kpag(system) or 0.0) > right_charge_kpag(system)
        reasons.append(Reason("tank.let-air-out" if above else "tank.air-first"))
    reasons += _range_read(found)
    if found.right_run_s is not None:
        target_s = system.target_s
        low_s, high_s = found.right_run_s
        reach = "reaches" if low_s >= target_s else "may" if high_s >= target_s else "short"
        reasons.append(Reason("tank.run-once-right", low_s=low_s, high_s=high_s, target_s=target_s, reach=reach))
    return reasons


def _explained(found: TankFinding) -> bool:
    room = ONE_IN_TWENTY * (found.gauge_sd or 0.0)
    return found.found_l is None or (found.drawn_l or 0.0) >= found.found_l[0] * (1.0 - room)


def _charge_figures(found: TankFinding, system: System) -> dict[str, Figure]:
    return {
        "charge_kpag": wrong_charge_kpag(system) or 0.0,
        "right_kpag": right_charge_kpag(system),
        "found_l": found.found_l or (0.0, 0.0),
    }


def _range_read(found: TankFinding) -> list[Reason]:
    """Return what the tank would give over the setting, where the range read differs from it."""
    return [] if found.set_l is None else [Reason("tank.range-explains", set_l=found.set_l)]


def _charges(found: TankFinding) -> tuple[Reason, ...]:
    """Return the air charges that would explain the drawdown, each as a reason."""
    charges = []
    if found.undercharged_kpag is not None:
        low, high = found.undercharged_kpag
        if high < 0:
            charges.append(Reason("tank-charge.waterlogged"))
        else:
            charges.append(Reason("tank-charge.fallen", charge_kpag=(max(low, 0.0), high)))
    if found.overcharged_kpag is not None:
        settled, fast = found.overcharged_kpag
        charges.append(Reason("tank-charge.too-high", charge_kpag=(min(settled, fast), max(settled, fast))))
    return tuple(charges) or (Reason("tank-charge.unknown"),)


def settle_reasons(  # noqa: PLR0911
    found: TankFinding, run: RunTime, system: System
) -> tuple[Reason, ...]:
    """Return the one measurement that would settle what is open; empty where nothing is."""
    stated = system.pump is not None and system.pump.how == "stated"
    if found.finding == "cannot-tell" and (run.one_sided or run.doubted):
        return (Reason("tank.settle-taps-closed"),)
    if found.finding in WRONG_READING:
        return (Reason("tank.settle-once-right"),)
    if _doubtful_charge(found):
        return (Reason("tank.settle-air-gauge"),)
    if found.finding == "cannot-tell":
        return (MEASURE_RATE if stated else Reason("tank.settle-air-gauge"),)
    if found.finding == "short-of-air-or-overcharged":
        return (Reason("tank.settle-gauge-drop"),)
    if found.finding == "more-than-label":
        return (Reason("tank.settle-stated-figures"),)
    if straddles(found, run, system):
        return (Reason("tank.settle-more-runs"),)
    return ()
