"""The system that is judged: tanks, switch, pump rate, height and marks, each with where its value came from.

In: values in SI. Out: a checked ``System``. A combination that cannot work is refused in one line; a doubtful one is
described by ``doubts`` in plain sentences and computed all the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from clicktimer.errors import SettingsError
from clicktimer.formats import UnitSystem, format_pressure, format_switch, format_volume
from clicktimer.units import atmosphere_kpaa, gal_to_l, kpa_to_psi, l_to_gal, m_to_ft, psi_to_kpa

Origin = Literal["default", "option", "site file", "measured"]
TankKind = Literal["bladder", "plain"]

DEFAULT_CUT_IN_KPAG = psi_to_kpa(40.0)
DEFAULT_CUT_OUT_KPAG = psi_to_kpa(60.0)
# Usual charge: 2 psi below cut-in (Canadian water-well guideline, table IV.1.2, 2007; grade B/C).
CHARGE_BELOW_CUT_IN_KPA = psi_to_kpa(2.0)
DEFAULT_MARKS_S = (30.0, 60.0)


@dataclass(frozen=True, slots=True)
class Tank:
    """One pressure tank.

    volume_l: nominal volume on its label, litres. kind: "bladder" (or diaphragm) or "plain" (air and water touch).
    precharge_kpag: its own air charge where it differs from the system's, kPa gauge.
    acceptance_l: the most water its bladder takes by its plate, litres; None when not stated.
    """

    volume_l: float
    kind: TankKind = "bladder"
    precharge_kpag: float | None = None
    acceptance_l: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.volume_l) and self.volume_l > 0):
            raise SettingsError(
                f'a tank of {self.volume_l:g} L cannot be: give the volume on its label, such as "33 gal"'
            )
        if self.acceptance_l is not None and not 0 < self.acceptance_l <= self.volume_l:
            raise SettingsError(
                f"a tank of {self.volume_l:g} L cannot take {self.acceptance_l:g} L of water: "
                "its largest acceptance lies between zero and its volume"
            )


@dataclass(frozen=True, slots=True)
class PumpRate:
    """What the pump gives into the tank, mean over a refill.

    l_per_min: litres per minute. sd_l_per_min: its standard deviation, None when nobody measured it.
    how: "stated" (plate, driller's log, owner), "draw-and-refill" or "steady tap".
    """

    l_per_min: float
    sd_l_per_min: float | None = None
    how: Literal["stated", "draw-and-refill", "steady tap"] = "stated"

    def __post_init__(self) -> None:
        if not (math.isfinite(self.l_per_min) and self.l_per_min > 0):
            raise SettingsError(
                'a pump rate must be more than zero: give it such as "8 gpm", or leave it out if unknown'
            )


@dataclass(frozen=True, slots=True)
class System:
    """Everything the tank's arithmetic needs. Raises SettingsError for what cannot work.

    cut_in_kpag, cut_out_kpag, precharge_kpag: kPa gauge. height_m: above the sea. marks_s: the two marks for a run.
    tanks: empty when unknown. pump: None when unknown. origin: option name -> where the value came from.
    """

    cut_in_kpag: float = DEFAULT_CUT_IN_KPAG
    cut_out_kpag: float = DEFAULT_CUT_OUT_KPAG
    precharge_kpag: float = DEFAULT_CUT_IN_KPAG - CHARGE_BELOW_CUT_IN_KPA
    tanks: tuple[Tank, ...] = ()
    pump: PumpRate | None = None
    height_m: float = 0.0
    marks_s: tuple[float, float] = DEFAULT_MARKS_S
    origin: Mapping[str, Origin] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check_switch(self.cut_in_kpag, self.cut_out_kpag)
        charges = [self.precharge_kpag] + [t.precharge_kpag for t in self.tanks if t.precharge_kpag is not None]
        for charge_kpag in charges:
            check_charge(charge_kpag, self.cut_out_kpag)
        low_s, high_s = self.marks_s
        if not 0 < low_s < high_s < math.inf:
            raise SettingsError(f'the marks {low_s:g}/{high_s:g} are out of order: give them such as "30/60"')

    @property
    def atmosphere_kpaa(self) -> float:
        """The air's pressure at the site on a standard day, kPa absolute."""
        return atmosphere_kpaa(self.height_m)

    def came_from(self, name: str) -> Origin:
        """Where the value of an option came from; "default" when nobody said."""
        return self.origin.get(name, "default")

    def charge_of(self, tank: Tank) -> float:
        """The air charge of one tank, kPa gauge."""
        return self.precharge_kpag if tank.precharge_kpag is None else tank.precharge_kpag


def _both(pressure_kpag: float) -> str:
    """A pressure in both systems of units: an error is told before anybody knows which one the user reads."""
    return f"{format_pressure(pressure_kpag, 'us')}, {format_pressure(pressure_kpag, 'metric')}"


def check_switch(cut_in_kpag: float, cut_out_kpag: float) -> None:
    """Refuse a switch that cannot work. Raises SettingsError."""
    if not (math.isfinite(cut_in_kpag) and math.isfinite(cut_out_kpag) and 0 < cut_in_kpag < cut_out_kpag):
        raise SettingsError(
            f"a switch of {_both(cut_in_kpag)} to {_both(cut_out_kpag)} cannot work: cut-in must be above zero and "
            'below cut-out, such as "40/60"'
        )


def check_charge(precharge_kpag: float, cut_out_kpag: float) -> None:
    """Refuse an air charge with which the tank takes no water. Raises SettingsError."""
    if not (math.isfinite(precharge_kpag) and precharge_kpag >= 0):
        raise SettingsError(f"an air charge of {_both(precharge_kpag)} cannot be: zero on the gauge is the least")
    if precharge_kpag >= cut_out_kpag:
        raise SettingsError(
            f"with the air charge ({_both(precharge_kpag)}) at or above cut-out "
            f"({_both(cut_out_kpag)}) "
            "the tank takes no water and the switch would cut out at once: a usual charge is 2 psi below cut-in"
        )


def make_system(
    *,
    switch_kpag: tuple[float, float] | None = None,
    precharge_kpag: float | None = None,
    tanks: tuple[Tank, ...] = (),
    pump: PumpRate | None = None,
    height_m: float | None = None,
    marks_s: tuple[float, float] | None = None,
    origin: Origin = "option",
) -> System:
    """Build a System from what was given (None = not given) and the defaults: 40/60 psi, charge 2 psi below cut-in.

    Units as in System. ``origin`` is noted for whatever was given. Raises SettingsError for what cannot work.
    """
    cut_in_kpag, cut_out_kpag = switch_kpag or (DEFAULT_CUT_IN_KPAG, DEFAULT_CUT_OUT_KPAG)
    check_switch(cut_in_kpag, cut_out_kpag)
    given = {
        "switch": switch_kpag,
        "precharge": precharge_kpag,
        "tank": tanks or None,
        "pump_rate": pump,
        "height": height_m,
        "marks": marks_s,
    }
    return System(
        cut_in_kpag=cut_in_kpag,
        cut_out_kpag=cut_out_kpag,
        precharge_kpag=max(cut_in_kpag - CHARGE_BELOW_CUT_IN_KPA, 0.0) if precharge_kpag is None else precharge_kpag,
        tanks=tanks,
        pump=pump,
        height_m=0.0 if height_m is None else height_m,
        marks_s=marks_s or DEFAULT_MARKS_S,
        origin={name: origin if value is not None else "default" for name, value in given.items()},
    )


def doubts(system: System, units: UnitSystem = "us") -> tuple[str, ...]:
    """Say in plain sentences what is unusual about a system that can nevertheless be computed."""
    found: list[str] = []
    cut_in, cut_out = system.cut_in_kpag, system.cut_out_kpag
    charges = {system.charge_of(t) for t in system.tanks if t.kind == "bladder"} or {system.precharge_kpag}
    for charge in sorted(charges):
        shown = format_pressure(charge, units)
        if charge > cut_in and not math.isclose(charge, cut_in):
            found.append(
                f"The air charge ({shown}) is above cut-in ({format_pressure(cut_in, units)}): the tank is empty "
                "before the "
                "pump starts, so the tap goes dead for a moment on every cycle."
            )
        elif charge == 0:
            found.append(
                "An air charge of zero means a bladder tank without air, or one that has failed; only a plain tank "
                "works so."
            )
        elif charge < 0.75 * cut_in:
            found.append(
                f"The air charge ({shown}) is far below cut-in ({format_pressure(cut_in, units)}): the tank gives "
                "less water "
                "than it could. The usual charge is 2 psi (0.14 bar) below cut-in."
            )
        elif math.isclose(charge, cut_in):
            found.append(
                "With the air charge equal to cut-in the tank gives most water, but the flow may dip as the pump "
                "starts; "
                "2 psi (0.14 bar) below is usual."
            )
    if cut_out - cut_in < psi_to_kpa(10.0):
        found.append(
            f"A switch of {format_switch(cut_in, cut_out, units)} has a narrow range (20 psi, 1.4 bar, is usual): "
            "every "
            "gauge error weighs more, and runs are short."
        )
    if cut_out > psi_to_kpa(80.0):
        found.append(
            f"A cut-out of {format_pressure(cut_out, units)} is high for a house (above 80 psi, 5.5 bar): check the "
            "plates "
            "of tank, pump and pipe, and that a working relief valve is there."
        )
    if cut_in < psi_to_kpa(20.0):
        found.append(
            f"A cut-in of {format_pressure(cut_in, units)} is low for a house (20 psi, 1.4 bar, is the least usual)."
        )
    for tank in system.tanks:
        if tank.volume_l < gal_to_l(1.9):
            found.append(f"A tank of {format_volume(tank.volume_l, units)} is very small: is the volume right?")
        elif tank.volume_l > gal_to_l(120.0) * 1.001:
            found.append(
                f"A tank of {format_volume(tank.volume_l, units)} is larger than the 120 gal (454 L) up to which "
                "house tanks "
                "are made; larger ones must be built and stamped as pressure vessels in many places."
            )
        if tank.volume_l > gal_to_l(115.0) and cut_out >= psi_to_kpa(75.0):
            found.append(
                f"A tank of {format_volume(tank.volume_l, units)} at {format_pressure(cut_out, units)} stores much "
                "energy: "
                "never go over the pressure on its plate."
            )
    if system.pump is not None and system.pump.l_per_min > gal_to_l(50.0):
        found.append("The pump rate is far above that of a house pump (50 gpm, 190 L/min): is it right?")
    if system.pump is not None and system.pump.l_per_min < gal_to_l(1.0):
        found.append("The pump rate is below 1 gpm (3.8 L/min): is it right?")
    return tuple(found)


def system_settings(system: System) -> dict[str, Any]:
    """The values used, for JSON: keys are the option names with the unit, each value with where it came from."""
    pump = system.pump
    values: dict[str, Any] = {
        "switch": {
            "cut_in_psig": _r(kpa_to_psi(system.cut_in_kpag)),
            "cut_out_psig": _r(kpa_to_psi(system.cut_out_kpag)),
        },
        "precharge": {"psig": _r(kpa_to_psi(system.precharge_kpag))},
        "tank": {
            "volumes_gal": [_r(l_to_gal(t.volume_l)) for t in system.tanks],
            "kinds": [t.kind for t in system.tanks],
        },
        "pump_rate": {"gpm": None if pump is None else _r(l_to_gal(pump.l_per_min)), "how": pump and pump.how},
        "height": {"ft": _r(m_to_ft(system.height_m))},
        "marks": {"low_s": system.marks_s[0], "high_s": system.marks_s[1]},
    }
    return {name: value | {"origin": system.came_from(name)} for name, value in values.items()}


def _r(value: float) -> float:
    return round(value, 6)
