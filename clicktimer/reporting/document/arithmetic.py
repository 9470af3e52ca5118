"""10 document: the tank's arithmetic, step by step, with the numbers put in, so that anybody can follow it by hand.

Each result is the one that the tank's own functions gave (clicktimer/tank/); only the line that leads to it is written
here. The numbers in a line have as many digits as its result needs.
"""

from __future__ import annotations

from collections.abc import Iterator

from clicktimer.reporting.blocks import Rows
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.drawdown import GAMMA_AIR, drawdown_l, fraction, fraction_fast
from clicktimer.tank.sizing import TankSizing
from clicktimer.tank.system import System, Tank
from clicktimer.units.conversions import KPA_PER_BAR, KPA_PER_PSI, L_PER_US_GAL

Line = tuple[str, str, str]


def arithmetic(sizing: TankSizing, messages: Messages = Messages("document")) -> Rows:
    """Return the steps as a table: what, the reckoning with its numbers, the result."""
    head = [messages.text(f"document.step.{name}") for name in ("what", "reckoning", "result")]
    return Rows(head, list(_steps(sizing, _Writer(messages))), ("<", "<", ">"))


class _Writer:
    """How numbers are written in the reckoning: pressures in psi or bar, volumes in gal or L, with digits to spare."""

    def __init__(self, messages: Messages) -> None:
        self.text = messages.text
        self._number = messages.number
        metric = messages.units == "metric"
        self.pressure, self.volume = ("bar", "L") if metric else ("psi", "gal")
        self._kpa, self._l, self._digits = (KPA_PER_BAR, 1.0, 5) if metric else (KPA_PER_PSI, L_PER_US_GAL, 4)

    def p(self, kpa: float) -> str:
        return self._number(f"{kpa / self._kpa:.{self._digits}f}")

    def v(self, litres: float) -> str:
        return self._number(f"{litres / self._l:.2f}")

    def q(self, l_per_min: float) -> str:
        return f"{self._number(f'{l_per_min / self._l:.4f}')} {self.volume}/min"

    def share(self, share: float) -> str:
        return self._number(f"{share:.5f}")

    def n(self, value: float, spec: str) -> str:
        return self._number(format(value, spec))


def _steps(sizing: TankSizing, w: _Writer) -> Iterator[Line]:
    system = sizing.system
    air = system.atmosphere_kpaa
    at = "document.step.air-sea-level" if system.height_m == 0 else "document.step.air"
    yield w.text(at, height_m=system.height_m), "", f"{w.p(air)} {w.pressure}"
    settled = system.settled_kpag if system.tanks else None
    low, high = settled or (system.cut_in_kpag, system.cut_out_kpag)
    charge = system.charge_of(system.tanks[0]) if system.tanks else sizing.stock_charge_kpag
    if system.tanks and system.tanks[0].kind == "plain":
        charge = 0.0
    for name, kpag in (("charge", charge), ("cut-in", low), ("cut-out", high)):
        yield w.text(f"document.step.{name}"), f"{w.p(kpag)} + {w.p(air)}", f"{w.p(kpag + air)} {w.pressure}"
    share, fast = fraction(charge, low, high, air), fraction_fast(charge, low, high, air)
    yield from _share_steps(charge + air, low + air, high + air, share, fast, w)
    for tank in system.tanks:
        yield from _tank_steps(tank, system, (low, high), w)
    yield from _run_steps(sizing, w)


def _share_steps(p0: float, p1: float, p2: float, share: float, fast: float, w: _Writer) -> Iterator[Line]:
    a, b, c = w.p(p0), w.p(p1), w.p(p2)
    if p0 <= p1:
        yield w.text("document.step.share"), f"{a} × (1/{b} − 1/{c})", w.share(share)
    else:
        yield w.text("document.step.share-over"), f"1 − {a}/{c}", w.share(share)
    start = w.p(max(p0, p1))
    reckoning = f"({a}/{start}) × (1 − ({start}/{c})^(1/{w.n(GAMMA_AIR, 'g')}))"
    yield w.text("document.step.share-fast", gamma=GAMMA_AIR), reckoning, w.share(fast)


def _tank_steps(tank: Tank, system: System, ends_kpag: tuple[float, float], w: _Writer) -> Iterator[Line]:
    air = system.atmosphere_kpaa
    charge = 0.0 if tank.kind == "plain" else system.charge_of(tank)
    share, fast = fraction(charge, *ends_kpag, air), fraction_fast(charge, *ends_kpag, air)
    volume_l = tank.volume_l
    free = drawdown_l(volume_l, charge, *ends_kpag, air)
    gives = w.text("document.step.gives", volume_l=volume_l)
    yield gives, f"{w.v(volume_l)} × {w.share(share)}", f"{w.v(free)} {w.volume}"
    gives = w.text("document.step.gives-fast", volume_l=volume_l)
    yield gives, f"{w.v(volume_l)} × {w.share(fast)}", f"{w.v(volume_l * fast)} {w.volume}"
    if tank.acceptance_l is not None:
        most = drawdown_l(volume_l, charge, *ends_kpag, air, tank.acceptance_l)
        if most < free:
            gives = w.text("document.step.gives-plate", volume_l=volume_l, most_l=tank.acceptance_l)
            yield gives, "", f"{w.v(most)} {w.volume}"


def _run_steps(sizing: TankSizing, w: _Writer) -> Iterator[Line]:
    run, pump, found = sizing.run, sizing.system.pump, sizing.judgement
    if pump is not None:
        flow = w.q(pump.l_per_min)
        if run is not None and found is not None and found.drawn_l is not None:
            seconds = run.high_s if run.one_sided else run.seconds
            what = w.text("document.step.drawn-most" if run.one_sided else "document.step.drawn")
            yield what, f"{flow} × {w.n(seconds, '.3f')} s / 60 s/min", f"{w.v(found.drawn_l)} {w.volume}"
            if found.ratio is not None and found.label_l is not None:
                reckoning = f"{w.v(found.drawn_l)} / {w.v(found.label_l)}"
                yield w.text("document.step.ratio"), reckoning, w.n(found.ratio, ".2f")
        shares = w.text("document.step.new-tank-shares", share=sizing.fraction, fast=sizing.fraction_fast)
        yield w.text("document.step.new-tank", charge_kpag=sizing.stock_charge_kpag), "", shares
        for name, share, needed in (
            ("needed", sizing.fraction, sizing.needed_l),
            ("needed-fast", sizing.fraction_fast, sizing.needed_fast_l),
        ):
            if needed is not None:
                reckoning = f"{flow} × {w.n(sizing.target_s, 'g')} s / 60 s/min / {w.share(share)}"
                what = w.text(f"document.step.{name}", target_s=sizing.target_s)
                yield what, reckoning, f"{w.v(needed)} {w.volume}"
    if run is not None and sizing.measured_most_starts_per_h is not None and not run.one_sided:
        reckoning = f"900 s / {w.n(run.seconds, '.3f')} s"
        yield w.text("document.step.most-starts"), reckoning, w.n(sizing.measured_most_starts_per_h, ".0f")
