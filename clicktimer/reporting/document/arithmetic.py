"""10 document: the tank's arithmetic, step by step, with the numbers put in, so that anybody can follow it by hand.

Each result is the one that the tank's own functions gave (clicktimer/tank/); only the line that leads to it is written
here. The numbers in a line have as many digits as its result needs.
"""

from __future__ import annotations

from collections.abc import Iterator

from clicktimer.reporting.blocks import Rows
from clicktimer.reporting.document import phrases
from clicktimer.tank.drawdown import drawdown_l, fraction, fraction_fast
from clicktimer.tank.sizing import TankSizing
from clicktimer.tank.system import System, Tank
from clicktimer.units.conversions import KPA_PER_BAR, KPA_PER_PSI, L_PER_US_GAL
from clicktimer.units.format import format_height, format_pressure, format_time, format_volume

Line = tuple[str, str, str]


def arithmetic(sizing: TankSizing) -> Rows:
    """Return the steps as a table: what, the reckoning with its numbers, the result."""
    return Rows(phrases.STEP_HEAD, list(_steps(sizing)), ("<", "<", ">"))


class _Units:
    """How numbers are written in the reckoning: pressures in psi or bar, volumes in gal or L, with digits to spare."""

    def __init__(self, metric: bool) -> None:
        self.pressure, self.volume = ("bar", "L") if metric else ("psi", "gal")
        self._kpa, self._l, self._digits = (KPA_PER_BAR, 1.0, 5) if metric else (KPA_PER_PSI, L_PER_US_GAL, 4)

    def p(self, kpa: float) -> str:
        return f"{kpa / self._kpa:.{self._digits}f}"

    def v(self, litres: float) -> str:
        return f"{litres / self._l:.2f}"

    def q(self, l_per_min: float) -> str:
        return f"{l_per_min / self._l:.4f} {self.volume}/min"


def _steps(sizing: TankSizing) -> Iterator[Line]:
    system, units = sizing.system, _Units(sizing.units == "metric")
    air = system.atmosphere_kpaa
    height = "sea level" if system.height_m == 0 else format_height(system.height_m, sizing.units)
    yield phrases.AIR.format(height=height), "", f"{units.p(air)} {units.pressure}"
    settled = system.settled_kpag if system.tanks else None
    low, high = settled or (system.cut_in_kpag, system.cut_out_kpag)
    charge = system.charge_of(system.tanks[0]) if system.tanks else sizing.stock_charge_kpag
    if system.tanks and system.tanks[0].kind == "plain":
        charge = 0.0
    for name, kpag in ((phrases.CHARGE, charge), (phrases.CUT_IN_P, low), (phrases.CUT_OUT_P, high)):
        reckoning = f"{units.p(kpag)} + {units.p(air)}"
        yield phrases.ABSOLUTE.format(name=name), reckoning, f"{units.p(kpag + air)} {units.pressure}"
    share, fast = fraction(charge, low, high, air), fraction_fast(charge, low, high, air)
    yield from _share_steps(charge + air, low + air, high + air, share, fast, units)
    for tank in system.tanks:
        yield from _tank_steps(tank, system, (low, high), units, sizing)
    yield from _run_steps(sizing, units)


def _share_steps(p0: float, p1: float, p2: float, share: float, fast: float, units: _Units) -> Iterator[Line]:
    a, b, c = units.p(p0), units.p(p1), units.p(p2)
    if p0 <= p1:
        yield phrases.SHARE, f"{a} × (1/{b} − 1/{c})", f"{share:.5f}"
    else:
        yield phrases.SHARE_OVER, f"1 − {a}/{c}", f"{share:.5f}"
    start = units.p(max(p0, p1))
    yield phrases.SHARE_FAST, f"({a}/{start}) × (1 − ({start}/{c})^(1/1.4))", f"{fast:.5f}"


def _tank_steps(
    tank: Tank, system: System, ends_kpag: tuple[float, float], units: _Units, sizing: TankSizing
) -> Iterator[Line]:
    air = system.atmosphere_kpaa
    charge = 0.0 if tank.kind == "plain" else system.charge_of(tank)
    share, fast = fraction(charge, *ends_kpag, air), fraction_fast(charge, *ends_kpag, air)
    size = format_volume(tank.volume_l, sizing.units)
    volume = units.v(tank.volume_l)
    free = drawdown_l(tank.volume_l, charge, *ends_kpag, air)
    yield phrases.GIVES.format(size=size), f"{volume} × {share:.5f}", f"{units.v(free)} {units.volume}"
    least = units.v(tank.volume_l * fast)
    yield phrases.GIVES_FAST.format(size=size), f"{volume} × {fast:.5f}", f"{least} {units.volume}"
    if tank.acceptance_l is not None:
        most = drawdown_l(tank.volume_l, charge, *ends_kpag, air, tank.acceptance_l)
        if most < free:
            what = phrases.GIVES_PLATE.format(size=size, most=format_volume(tank.acceptance_l, sizing.units))
            yield what, "", f"{units.v(most)} {units.volume}"


def _run_steps(sizing: TankSizing, units: _Units) -> Iterator[Line]:
    run, pump, found = sizing.run, sizing.system.pump, sizing.judgement
    if pump is not None:
        flow = units.q(pump.l_per_min)
        if run is not None and found is not None and found.drawn_l is not None:
            seconds = run.high_s if run.one_sided else run.seconds
            what = phrases.DRAWN_MOST if run.one_sided else phrases.DRAWN
            yield what, f"{flow} × {seconds:.3f} s / 60 s/min", f"{units.v(found.drawn_l)} {units.volume}"
            if found.ratio is not None and found.label_l is not None:
                yield phrases.RATIO, f"{units.v(found.drawn_l)} / {units.v(found.label_l)}", f"{found.ratio:.2f}"
        target = format_time(sizing.target_s)
        charge = format_pressure(sizing.stock_charge_kpag, sizing.units)
        yield phrases.NEW_TANK.format(charge=charge), "", f"{sizing.fraction:.5f}, fast {sizing.fraction_fast:.5f}"
        for name, share, needed in (
            (phrases.NEEDED, sizing.fraction, sizing.needed_l),
            (phrases.NEEDED_FAST, sizing.fraction_fast, sizing.needed_fast_l),
        ):
            if needed is not None:
                reckoning = f"{flow} × {sizing.target_s:g} s / 60 s/min / {share:.5f}"
                yield name.format(target=target), reckoning, f"{units.v(needed)} {units.volume}"
    if run is not None and sizing.measured_most_starts_per_h is not None and not run.one_sided:
        yield phrases.MOST_STARTS, f"900 s / {run.seconds:.3f} s", f"{sizing.measured_most_starts_per_h:.1f}"
