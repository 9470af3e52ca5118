"""Size the tank: what stock sizes would do here, which one reaches the mark, what the tank there should do.

In: a System, and the measured run if there is one. Out: a TankSizing, which every report is written from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clicktimer.records import Cycle, RunTime
from clicktimer.tank.drawdown import fraction, fraction_fast
from clicktimer.tank.finding import TankThere
from clicktimer.tank.installed import judge_tank_there
from clicktimer.tank.motors import LARGE_MOTOR_HP, LARGE_MOTOR_RUN_S
from clicktimer.tank.observed_rate import with_measured_rate
from clicktimer.tank.options import STOCK_SIZES_GAL, TankRow, UseRow, stock_row, tanks_row, use_row
from clicktimer.tank.pump_rate import PumpRateMeasured
from clicktimer.tank.runs import most_starts_per_h, volume_needed_l
from clicktimer.tank.system import CHARGE_BELOW_CUT_IN_KPA, System
from clicktimer.tank.warnings import doubts
from clicktimer.units.conversions import W_PER_HP, gal_to_l
from clicktimer.units.format import UnitSystem, format_pressure, format_time, format_volume


@dataclass(frozen=True, slots=True)
class Missing:
    """One measurement that would let more be said: what it is and how to get it, in plain words."""

    what: str
    how: str


@dataclass(frozen=True, slots=True)
class Advised:
    """A longer run than the target, advised for this motor: run_s, needed_l (None without a pump rate), its status."""

    run_s: float
    needed_l: float | None
    status: str


@dataclass(frozen=True, slots=True)
class TankSizing:
    """All that can be said of the tank.

    target_s: the run aimed at (the second mark), seconds. stock_charge_kpag: the charge new tanks are reckoned with.
    fraction, fraction_fast: drawdown over volume of a new tank, settled and fast.
    stock: the stock sizes. choice: the smallest that reaches the target; next_up: the one above; None: unknown or none.
    needed_l, needed_fast_l: volume for the target, settled, and so that even a fast refill reaches it, litres.
    there: the tanks there, None when not given. judgement: what the measured run says of them, None without a run.
    measured_most_starts_per_h: 900 / measured run. notes: doubts, remarks. missing: what would let more be said.
    pump_measured: how the pump rate was measured, None where it was not. advised: the longer run advised for the motor.
    """

    system: System
    units: UnitSystem
    target_s: float
    stock_charge_kpag: float
    fraction: float
    fraction_fast: float
    stock: tuple[TankRow, ...]
    choice: TankRow | None
    next_up: TankRow | None
    needed_l: float | None
    needed_fast_l: float | None
    there: TankRow | None
    run: RunTime | None
    judgement: TankThere | None
    measured_most_starts_per_h: float | None
    notes: tuple[str, ...]
    missing: tuple[Missing, ...]
    pump_measured: PumpRateMeasured | None = None
    advised: Advised | None = None


PUMP_RATE_HOW = (
    "just after the pump stops, with nothing else in use, catch the water of one tap until the pump starts, shut "
    "the tap "
    "and time the run: pump rate = water caught / run. Leave the first try out. Or read the pump's papers "
    "(--pump-rate)"
)
TANK_HOW = "read the volume on the tank's label (--tank)"
PLAIN = (
    "The tank there is a plain one: it is reckoned as filled from open air, with air and water touching. Water carries "
    "that air off in time, so it must be renewed; a run that shortens over weeks means that it is due. New tanks are "
    "reckoned as bladder tanks."
)
RUN_HOW = "measure it by sound with every tap shut (clicktimer measure), or give a run already timed (--run)"


def size_tank(
    system: System, run: RunTime | None = None, units: UnitSystem = "us", cycles: Sequence[Cycle] = ()
) -> TankSizing:
    """Size the tank for a system, and judge the tank there if a run was measured.

    Parameters
    ----------
    system : checked values, each with its origin. run : the measured run with no water in use, or None.
    units : how the sentences write numbers, "us" or "metric". cycles : of the recording, to make the pump rate of a
        steady tap's flow.

    Raises
    ------
    SettingsError : a system that cannot work.

    The target is the motor maker's least run where it is given, else the second mark (60 s unless changed). New tanks
    are reckoned with the charge given, unless it was given together with the tank that is there: then it belongs to
    that tank, and new ones get the usual charge.
    """
    observed = with_measured_rate(system, run, cycles, units)
    system = observed.system
    target_s = system.motor.least_run_s or system.marks_s[1]
    usual_kpag = max(system.cut_in_kpag - CHARGE_BELOW_CUT_IN_KPA, 0.0)
    charge_kpag = usual_kpag if system.tanks else system.precharge_kpag
    air = system.atmosphere_kpaa
    pressures = (charge_kpag, system.cut_in_kpag, system.cut_out_kpag, air)
    part, part_fast = fraction(*pressures), fraction_fast(*pressures)
    stock = tuple(stock_row(gal_to_l(size), system, charge_kpag) for size in STOCK_SIZES_GAL)
    rate = None if system.pump is None else system.pump.l_per_min
    reaching = [i for i, row in enumerate(stock) if row.reaches(target_s)]
    first = reaching[0] if reaching else None
    there = tanks_row(system) if system.tanks else None
    judgement = None if run is None else judge_tank_there(run, system, units)
    notes = [*observed.notes, *doubts(system, units)]
    if system.tanks and abs(system.precharge_kpag - usual_kpag) > 0.5:
        notes.append(
            f"New tanks are reckoned with the usual charge ({format_pressure(usual_kpag, units)}); the charge given "
            f"({format_pressure(system.precharge_kpag, units)}) is taken as that of the tank there."
        )
    if there is not None and there.drawdown_l == 0:
        notes.append("The bladder of the tank there is full before cut-in by its stated acceptance: it gives no water.")
    needed = None if rate is None else volume_needed_l(rate, target_s, part)
    if needed is not None and first is None:
        largest = stock[-1].volume_l
        count = -int(-needed // largest)
        notes.append(
            f"No single stock size reaches {format_time(target_s)}: {count} tanks of {format_volume(largest, units)} "
            "together would."
        )
    advised = _advised(system, rate, part, target_s)
    if advised is not None:
        needs = "" if advised.needed_l is None else f", which takes {format_volume(advised.needed_l, units)} or more"
        notes.append(
            f"For motors above 3/4 hp many makers ask for runs of {format_time(advised.run_s)} ({advised.status})"
            f"{needs}. The motor maker's own figure wins (--least-run)."
        )
    if any(tank.kind == "plain" for tank in system.tanks):
        notes.append(PLAIN)
    return TankSizing(
        system=system,
        units=units,
        target_s=target_s,
        stock_charge_kpag=charge_kpag,
        fraction=part,
        fraction_fast=part_fast,
        stock=stock,
        choice=None if first is None else stock[first],
        next_up=stock[first + 1] if first is not None and first + 1 < len(stock) else None,
        needed_l=needed,
        needed_fast_l=None if rate is None else volume_needed_l(rate, target_s, part_fast),
        there=there,
        run=run,
        judgement=judgement,
        measured_most_starts_per_h=None if run is None else most_starts_per_h(run.seconds),
        notes=tuple(notes),
        missing=_missing(system, run),
        pump_measured=observed.measured,
        advised=advised,
    )


def _advised(system: System, rate_l_per_min: float | None, part: float, target_s: float) -> Advised | None:
    power_w = system.motor.power_w
    if system.motor.least_run_s is not None or power_w is None or power_w <= LARGE_MOTOR_HP * W_PER_HP * 1.0001:
        return None
    if target_s >= LARGE_MOTOR_RUN_S:
        return None
    needed = None if rate_l_per_min is None else volume_needed_l(rate_l_per_min, LARGE_MOTOR_RUN_S, part)
    return Advised(LARGE_MOTOR_RUN_S, needed, "common practice, no source")


def _missing(system: System, run: RunTime | None) -> tuple[Missing, ...]:
    missing = []
    if system.pump is None:
        missing.append(Missing("the pump rate", PUMP_RATE_HOW))
    if not system.tanks:
        missing.append(Missing("the volume of the tank there", TANK_HOW))
    if run is None:
        missing.append(Missing("the run with no water in use", RUN_HOW))
    return tuple(missing)


@dataclass(frozen=True, slots=True)
class UnderUse:
    """Runs under steady uses. what: of which drawdown they are, in plain words. drawdown_l: litres."""

    what: str
    drawdown_l: float
    rows: tuple[UseRow, ...]


def best_drawdown(sizing: TankSizing) -> tuple[str, float]:
    """Return what is reckoned with where the tank's drawdown is needed: in plain words, and litres.

    The measured one where there is one, else that of the tank there by its label, else of the size chosen (air
    settled), else of the largest stock size.
    """
    told = sizing.judgement
    if told is not None and told.drawn_l and sizing.run is not None and not sizing.run.one_sided:
        return "the tank there, as measured", told.drawn_l
    row = sizing.there or sizing.choice or sizing.stock[-1]
    shown = format_volume(row.volume_l, sizing.units)
    if sizing.there is not None:
        return f"the tank there ({shown}) by its label", row.drawdown_l
    return f"a tank of {shown}", row.drawdown_l


def under_use(sizing: TankSizing, uses_l_per_min: tuple[float, ...]) -> UnderUse:
    """Reckon run, rest and starts under each steady use (litres per minute), from the best drawdown that is known.

    Raises SettingsError without a pump rate.
    """
    what, drawn = best_drawdown(sizing)
    return UnderUse(what, drawn, tuple(use_row(drawn, sizing.system, use) for use in uses_l_per_min))
