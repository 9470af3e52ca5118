"""What one tank, or several together, do on a system: drawdown, expected run, most starts in an hour."""

from __future__ import annotations

from dataclasses import dataclass

from clicktimer.errors import SettingsError
from clicktimer.tank.drawdown import fraction, fraction_fast, water_held_l
from clicktimer.tank.runs import most_starts_per_h, rest_s, run_s
from clicktimer.tank.system import System, Tank

# Nominal volumes that are commonly sold, US gallons. Generic sizes, common practice, no source.
STOCK_SIZES_GAL = (20.0, 33.0, 44.0, 62.0, 86.0, 119.0)


@dataclass(frozen=True, slots=True)
class TankRow:
    """What one tank (or the tanks there together) does on this system.

    volume_l, drawdown_l (settled air), drawdown_fast_l (least of a healthy tank, fast refill): litres.
    run_s, run_fast_s: the run with no water in use, seconds, settled and fast; None without a pump rate.
    most_starts_per_h: the most starts in an hour that a steady use can cause, from run_s; likewise from run_fast_s.
    held_l: water left in it at cut-in, litres.
    """

    volume_l: float
    drawdown_l: float
    drawdown_fast_l: float
    run_s: float | None
    run_fast_s: float | None
    most_starts_per_h: float | None
    most_starts_fast_per_h: float | None
    held_l: float

    def reaches(self, mark_s: float) -> bool | None:
        """Return whether every run to expect, also after a fast refill, reaches a mark, s; None without a pump rate.

        This is the one rule for "enough": a size that is chosen by it is never found too small once it is there.
        """
        # A volume that was computed for the mark must reach it in spite of rounding.
        return None if self.run_fast_s is None else self.run_fast_s >= mark_s * (1.0 - 1e-9)

    def may_reach(self, mark_s: float) -> bool | None:
        """Return whether the longest run to expect (air settled) reaches a mark, s, but not every run does."""
        return None if self.run_s is None else self.run_s >= mark_s * (1.0 - 1e-9) and not self.reaches(mark_s)


def stock_row(volume_l: float, system: System, charge_kpag: float) -> TankRow:
    """Say what a new bladder tank of one volume (litres) would do on this system at a charge (kPa gauge)."""
    return row_of((Tank(volume_l, precharge_kpag=charge_kpag),), system)


def tanks_row(system: System) -> TankRow:
    """Say what the tanks there, together, should do. Raises SettingsError where none is given."""
    if not system.tanks:
        raise SettingsError('no tank is given: give its volume, such as --tank "33 gal"')
    return row_of(system.tanks, system, system.settled_kpag)


def row_of(tanks: tuple[Tank, ...], system: System, settled_kpag: tuple[float, float] | None = None) -> TankRow:
    """Say what some tanks together do on this system, each with its own charge or the system's.

    settled_kpag: gauge readings after the air has settled, at cut-in and cut-out. Between them Boyle's law is exact,
    so that there is no range of a fast refill.
    """
    air = system.atmosphere_kpaa
    cut_in, cut_out = settled_kpag or (system.cut_in_kpag, system.cut_out_kpag)
    settled = fast = held = 0.0
    for tank in tanks:
        charge = 0.0 if tank.kind == "plain" else system.charge_of(tank)
        pressures = (charge, cut_in, cut_out, air)
        at_cut_in = water_held_l(tank.volume_l, charge, cut_in, air)
        room = float("inf") if tank.acceptance_l is None else max(tank.acceptance_l - at_cut_in, 0.0)
        settled += min(tank.volume_l * fraction(*pressures), room)
        fast += min(tank.volume_l * (fraction if settled_kpag else fraction_fast)(*pressures), room)
        held += at_cut_in
    rate = None if system.pump is None else system.pump.l_per_min
    run = None if rate is None or settled == 0 else run_s(settled, rate)
    run_fast = None if rate is None or fast == 0 else run_s(fast, rate)
    return TankRow(
        volume_l=sum(t.volume_l for t in tanks),
        drawdown_l=settled,
        drawdown_fast_l=fast,
        run_s=run,
        run_fast_s=run_fast,
        most_starts_per_h=None if run is None else most_starts_per_h(run),
        most_starts_fast_per_h=None if run_fast is None else most_starts_per_h(run_fast),
        held_l=held,
    )


@dataclass(frozen=True, slots=True)
class UseRow:
    """What one steady use does: use_l_per_min; run_s, rest_s (infinite where one never ends); starts_per_h.

    stops: whether the pump stops at all under it. Reckoned with the mean pump rate: a pump whose rate falls towards
    cut-out may run on from about 0.8 of it.
    """

    use_l_per_min: float
    run_s: float
    rest_s: float
    starts_per_h: float
    stops: bool


def use_row(drawdown_l: float, system: System, use_l_per_min: float) -> UseRow:
    """Say what a steady use (litres per minute) does to a tank that gives ``drawdown_l`` litres.

    Raises SettingsError without a pump rate.
    """
    if system.pump is None:
        raise SettingsError('runs under use need the pump rate: give it, such as --pump-rate "8 gpm"')
    run = run_s(drawdown_l, system.pump.l_per_min, use_l_per_min)
    rest = rest_s(drawdown_l, use_l_per_min)
    return UseRow(use_l_per_min, run, rest, 3600.0 / (run + rest), run < float("inf"))
