"""Size the tank: what stock sizes would do here, which one reaches the target, what the installed tank should do.

In: a System, and the measured run if there is one. Out: a TankSizing, which every report is written from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from clicktimer.records import Cycle, Figure, Reason, RunTime
from clicktimer.tank.drawdown import fraction, fraction_fast
from clicktimer.tank.faults import put_right, right_charge_kpag
from clicktimer.tank.finding import TankFinding
from clicktimer.tank.installed import judge_installed_tank
from clicktimer.tank.motors import LARGE_MOTOR_HP, LARGE_MOTOR_RUN_S
from clicktimer.tank.observed_rate import with_measured_rate
from clicktimer.tank.options import STOCK_SIZES_GAL, TankRow, UseRow, stock_row, tanks_row, use_row
from clicktimer.tank.pump_rate import PumpRateMeasured
from clicktimer.tank.runs import most_starts_per_h, volume_needed_l
from clicktimer.tank.system import System
from clicktimer.tank.warnings import unusual_values
from clicktimer.units.conversions import W_PER_HP, gal_to_l
from clicktimer.units.format import UnitSystem

MissingValue = Literal["pump-rate", "tank-volume", "run"]
"""What is not known and would let more be said; the catalogue says what it is and how to get it."""


@dataclass(frozen=True, slots=True)
class Advised:
    """A longer run than the target, advised for this motor: run_s, needed_l (None without a pump rate), its status."""

    run_s: float
    needed_l: float | None
    status: str


@dataclass(frozen=True, slots=True)
class TankSizing:
    """All that can be said of the tank.

    units: those in which its reports are written; no figure depends on it. target_s: the run aimed at (the second
    mark), seconds. stock_charge_kpag: the charge that new tanks are computed with.
    fraction, fraction_fast: drawdown over volume of a new tank, settled and fast.
    stock: the stock sizes. choice: the smallest of which every run reaches the target; next_up: the one above;
    may_reach: the smallest that reaches it only when the air has settled. None: unknown or none.
    needed_fast_l: volume with which every run reaches the target, litres; needed_l: where the air has settled.
    installed: the installed tanks, None when not given. right: what they do once a charge or switch range that was read
    and is wrong is put right, None where none is. judgement: what the measured run says of them, None without a
    run.
    measured_most_starts_per_h: 900 / measured run. notes: what is unusual, remarks. missing: what would let more be
    said.
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
    may_reach: TankRow | None
    needed_l: float | None
    needed_fast_l: float | None
    installed: TankRow | None
    right: TankRow | None
    run: RunTime | None
    judgement: TankFinding | None
    measured_most_starts_per_h: float | None
    notes: tuple[Reason, ...]
    missing: tuple[MissingValue, ...]
    pump_measured: PumpRateMeasured | None = None
    advised: Advised | None = None


def size_tank(
    system: System, run: RunTime | None = None, units: UnitSystem = "us", cycles: Sequence[Cycle] = ()
) -> TankSizing:
    """Size the tank for a system, and judge the installed tank if a run was measured.

    V = Q t / (60 f)

    Parameters
    ----------
    system : System
        Checked values, each with its origin; kPa gauge, litres, L/min.
    run : RunTime or None
        The measured run with no water in use, seconds.
    units : {"us", "metric"}
        The units in which the reports of this sizing are written; no figure depends on it.
    cycles : sequence of Cycle
        Those of the recording, to make the pump rate of a steady tap's flow.

    Returns
    -------
    TankSizing
        Litres, seconds, starts an hour.

    Raises
    ------
    SettingsError
        For a system that cannot work.

    Notes
    -----
    The target is the motor maker's least run where it is given, else the second mark (60 s unless changed), or two
    minutes above 3/4 hp. New tanks
    are computed with the charge given, unless it was given together with the installed tank: then it belongs to that
    tank, and new ones get the usual charge.

    Source: volume_needed_l and the two fractions of clicktimer.tank.drawdown; stock sizes are common practice.
    """
    observed = with_measured_rate(system, run, cycles)
    system = observed.system
    target_s = system.target_s
    fixed = put_right(system)  # new tanks are for the switch as it will be
    usual_kpag = right_charge_kpag(system)
    charge_kpag = usual_kpag if system.tanks else fixed.precharge_kpag
    air = system.atmosphere_kpaa
    pressures = (charge_kpag, fixed.cut_in_kpag, fixed.cut_out_kpag, air)
    part, part_fast = fraction(*pressures), fraction_fast(*pressures)
    stock = tuple(stock_row(gal_to_l(size), fixed, charge_kpag) for size in STOCK_SIZES_GAL)
    rate = None if system.pump is None else system.pump.l_per_min
    reaching = [i for i, row in enumerate(stock) if row.reaches(target_s)]
    first = reaching[0] if reaching else None
    installed = tanks_row(system) if system.tanks else None
    judgement = None if run is None else judge_installed_tank(run, system)
    notes = [*observed.notes, *unusual_values(system)]
    given = system.came_from("precharge") != "default"
    if system.tanks and given and abs(system.precharge_kpag - usual_kpag) > 0.5:
        notes.append(Reason("tank.usual-charge", usual_kpag=usual_kpag, charge_kpag=system.precharge_kpag))
    if installed is not None and installed.drawdown_l == 0:
        notes.append(Reason("tank.bladder-full-before-cut-in"))
    needed = None if rate is None else volume_needed_l(rate, target_s, part)
    needed_fast = None if rate is None else volume_needed_l(rate, target_s, part_fast)
    if needed_fast is not None and first is None:
        largest = stock[-1].volume_l
        count = -int(-needed_fast // largest)
        notes.append(Reason("tank.no-stock-size", target_s=target_s, count=count, volume_l=largest))
    advised = _advised(system, rate, part_fast)
    if advised is not None:
        figures: dict[str, Figure] = {"run_s": advised.run_s, "status": advised.status}
        if advised.needed_l is None:
            notes.append(Reason("tank.large-motor", **figures))
        else:
            notes.append(Reason("tank.large-motor-volume", needed_l=advised.needed_l, **figures))
    if any(tank.kind == "plain" for tank in system.tanks):
        notes.append(Reason("tank.plain"))
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
        may_reach=next((row for row in stock if row.may_reach(target_s)), None),
        needed_l=needed,
        needed_fast_l=needed_fast,
        installed=installed,
        right=tanks_row(fixed) if system.tanks and fixed != system else None,
        run=run,
        judgement=judgement,
        measured_most_starts_per_h=None if run is None else most_starts_per_h(run.seconds),
        notes=tuple(notes),
        missing=_missing(system, run),
        pump_measured=observed.measured,
        advised=advised,
    )


def _advised(system: System, rate_l_per_min: float | None, part_fast: float) -> Advised | None:
    power_w = system.motor.power_w
    if system.motor.least_run_s is not None or power_w is None or power_w <= LARGE_MOTOR_HP * W_PER_HP * 1.0001:
        return None
    needed = None if rate_l_per_min is None else volume_needed_l(rate_l_per_min, LARGE_MOTOR_RUN_S, part_fast)
    return Advised(LARGE_MOTOR_RUN_S, needed, "common practice, no source")


def _missing(system: System, run: RunTime | None) -> tuple[MissingValue, ...]:
    missing: list[MissingValue] = []
    if system.pump is None:
        missing.append("pump-rate")
    if not system.tanks:
        missing.append("tank-volume")
    if run is None:
        missing.append("run")
    return tuple(missing)


@dataclass(frozen=True, slots=True)
class UnderUse:
    """Runs under steady uses. what: of which drawdown they are. drawdown_l: litres."""

    what: Reason
    drawdown_l: float
    rows: tuple[UseRow, ...]


def best_drawdown(sizing: TankSizing) -> tuple[Reason, float]:
    """Return the drawdown to compute with: of which tank it is, and litres.

    The measured one where there is one, else that of the installed tank by its label, else of the size chosen (air
    settled), else of the largest stock size.
    """
    found = sizing.judgement
    if found is not None and found.drawn_l and sizing.run is not None and not sizing.run.one_sided:
        return Reason("tank-of.measured"), found.drawn_l
    row = sizing.installed or sizing.choice or sizing.stock[-1]
    code = "tank-of.label" if sizing.installed is not None else "tank-of.size"
    return Reason(code, volume_l=row.volume_l), row.drawdown_l


def under_use(sizing: TankSizing, uses_l_per_min: tuple[float, ...]) -> UnderUse:
    """Compute run, rest and starts under each steady use (litres per minute), from the best drawdown that is known.

    Raises SettingsError without a pump rate.
    """
    what, drawn = best_drawdown(sizing)
    return UnderUse(what, drawn, tuple(use_row(drawn, sizing.system, use) for use in uses_l_per_min))
