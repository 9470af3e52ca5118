"""The system that is judged: tanks, switch, pump rate, height and marks, each with where its value came from.

In: values in SI. Out: a checked ``System``. A combination that cannot work is refused in one line; what is only
doubtful is told by doubts.py and computed all the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from clicktimer.errors import SettingsError
from clicktimer.tank.motors import LARGE_MOTOR_HP, LARGE_MOTOR_RUN_S
from clicktimer.targets import MARKS_S
from clicktimer.units.conversions import W_PER_HP, atmosphere_kpaa, kpa_to_psi, l_to_gal, m_to_ft, psi_to_kpa
from clicktimer.units.format import format_pressure

Origin = Literal["default", "option", "site file", "measured"]
TankKind = Literal["bladder", "plain"]
Phase = Literal["single", "three"]
ReliefValve = Literal["tested", "there", "none"]

DEFAULT_CUT_IN_KPAG = psi_to_kpa(40.0)
DEFAULT_CUT_OUT_KPAG = psi_to_kpa(60.0)
# Usual charge: 2 psi below cut-in (Canadian water-well guideline, table IV.1.2, 2007; grade B/C).
CHARGE_BELOW_CUT_IN_KPA = psi_to_kpa(2.0)
# One reading of a house gauge; common practice, no source. With 40/60 it gives 7.5 % on the drawdown.
GAUGE_SD_KPA = psi_to_kpa(1.0)


@dataclass(frozen=True, slots=True)
class Tank:
    """One pressure tank.

    volume_l: nominal volume on its label, litres. kind: "bladder" (or diaphragm) or "plain" (air and water touch).
    precharge_kpag: its own air charge where it differs from the system's, kPa gauge.
    acceptance_l: the most water its bladder takes by its plate, litres; None when not stated.
    plate_kpag: the most pressure by its plate, kPa gauge; None when not stated.
    """

    volume_l: float
    kind: TankKind = "bladder"
    precharge_kpag: float | None = None
    acceptance_l: float | None = None
    plate_kpag: float | None = None

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
class Motor:
    """The pump's motor. power_w: rated power, watts. phase: None when unknown. least_run_s: by its maker, seconds."""

    power_w: float | None = None
    phase: Phase | None = None
    least_run_s: float | None = None


@dataclass(frozen=True, slots=True)
class RateObserved:
    """What was observed of the pump's rate; observed.py makes a PumpRate of it.

    caught: (litres caught between the pump's stop and its next start, refill in seconds or None: the measured run).
    tap_l_per_min: flow of the one tap that ran steadily, by bucket and watch, litres per minute.
    """

    caught: tuple[tuple[float, float | None], ...] = ()
    tap_l_per_min: float | None = None


@dataclass(frozen=True, slots=True)
class System:
    """Everything the tank's arithmetic needs. Raises SettingsError for what cannot work.

    cut_in_kpag, cut_out_kpag: the switch, as read on the gauge at the clicks where that was given, else as set.
    set_kpag: the setting (cut-in, cut-out) where both were given. settled_kpag: gauge after the air has settled, at
    cut-in and cut-out. precharge_kpag: air charge. gauge_sd_kpa: standard deviation of one reading. All kPa gauge.
    height_m: above the sea. marks_s: the two marks for a run. tanks: empty when unknown. pump: None when unknown.
    stated_pump: the rate stated, where a measured one has taken its place. relief_valve: as found, None when not said.
    origin: option name -> where the value came from.
    """

    cut_in_kpag: float = DEFAULT_CUT_IN_KPAG
    cut_out_kpag: float = DEFAULT_CUT_OUT_KPAG
    precharge_kpag: float = DEFAULT_CUT_IN_KPAG - CHARGE_BELOW_CUT_IN_KPA
    tanks: tuple[Tank, ...] = ()
    pump: PumpRate | None = None
    height_m: float = 0.0
    marks_s: tuple[float, float] = MARKS_S
    origin: Mapping[str, Origin] = field(default_factory=dict)
    set_kpag: tuple[float, float] | None = None
    settled_kpag: tuple[float, float] | None = None
    gauge_sd_kpa: float = GAUGE_SD_KPA
    observed: RateObserved = RateObserved()
    motor: Motor = Motor()
    relief_valve: ReliefValve | None = None
    stated_pump: PumpRate | None = None

    def __post_init__(self) -> None:
        check_switch(self.cut_in_kpag, self.cut_out_kpag)
        if self.settled_kpag is not None:
            _check_settled(*self.settled_kpag, self.precharge_kpag)
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

    @property
    def target_s(self) -> float:
        """The run aimed at, seconds: the motor maker's least run; else the second mark, above 3/4 hp two minutes."""
        if self.motor.least_run_s is not None:
            return self.motor.least_run_s
        large = self.motor.power_w is not None and self.motor.power_w > LARGE_MOTOR_HP * W_PER_HP * 1.0001
        return max(self.marks_s[1], LARGE_MOTOR_RUN_S) if large else self.marks_s[1]

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


def _check_settled(settled_in_kpag: float, settled_out_kpag: float, precharge_kpag: float) -> None:
    if not 0 < settled_in_kpag < settled_out_kpag:
        raise SettingsError(
            f"settled pressures of {_both(settled_in_kpag)} and {_both(settled_out_kpag)} cannot be: the gauge at "
            'cut-in comes first and is the lower one, such as "40/57"'
        )
    if precharge_kpag >= settled_out_kpag:
        raise SettingsError(
            f"with the air charge ({_both(precharge_kpag)}) at or above the settled pressure after cut-out "
            f"({_both(settled_out_kpag)}) the tank would hold no water: read both again"
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


def make_system(  # noqa: PLR0913
    *,
    switch_kpag: tuple[float, float] | None = None,
    precharge_kpag: float | None = None,
    tanks: tuple[Tank, ...] = (),
    pump: PumpRate | None = None,
    height_m: float | None = None,
    marks_s: tuple[float, float] | None = None,
    at_clicks_kpag: tuple[float, float] | None = None,
    settled_kpag: tuple[float, float] | None = None,
    gauge_sd_kpa: float | None = None,
    observed: RateObserved = RateObserved(),
    motor: Motor = Motor(),
    relief_valve: ReliefValve | None = None,
    origin: Origin = "option",
    origins: Mapping[str, Origin] | None = None,
) -> System:
    """Build a System from what was given (None = not given) and the defaults: 40/60 psi, charge 2 psi below cut-in.

    Units as in System. at_clicks_kpag: the gauge as read at both clicks, which is reckoned with in place of the
    setting. ``origin`` is noted for whatever was given, but for what ``origins`` names (option name -> origin).
    Raises SettingsError for what cannot work.
    """
    as_set = switch_kpag or at_clicks_kpag or (DEFAULT_CUT_IN_KPAG, DEFAULT_CUT_OUT_KPAG)
    check_switch(*as_set)
    cut_in_kpag, cut_out_kpag = at_clicks_kpag or as_set
    check_switch(cut_in_kpag, cut_out_kpag)
    usual_kpag = max(min(as_set[0], cut_in_kpag) - CHARGE_BELOW_CUT_IN_KPA, 0.0)
    given = {
        "switch": switch_kpag,
        "precharge": precharge_kpag,
        "tank": tanks or None,
        "pump_rate": pump,
        "height": height_m,
        "marks": marks_s,
        "gauge_at_clicks": at_clicks_kpag,
        "gauge_settled": settled_kpag,
        "gauge_error": gauge_sd_kpa,
        "caught": observed.caught or None,
        "tap_flow": observed.tap_l_per_min,
        "motor": motor.power_w,
        "phase": motor.phase,
        "least_run": motor.least_run_s,
        "relief_valve": relief_valve,
    }
    places = origins or {}
    return System(
        cut_in_kpag=cut_in_kpag,
        cut_out_kpag=cut_out_kpag,
        precharge_kpag=usual_kpag if precharge_kpag is None else precharge_kpag,
        tanks=tanks,
        pump=pump,
        height_m=0.0 if height_m is None else height_m,
        marks_s=marks_s or MARKS_S,
        origin={n: places.get(n, origin) if value is not None else "default" for n, value in given.items()},
        set_kpag=switch_kpag if at_clicks_kpag is not None else None,
        settled_kpag=settled_kpag,
        gauge_sd_kpa=GAUGE_SD_KPA if gauge_sd_kpa is None else gauge_sd_kpa,
        observed=observed,
        motor=motor,
        relief_valve=relief_valve,
    )


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
    values |= _settings_when_given(system)
    return {name: value | {"origin": system.came_from(name)} for name, value in values.items()}


def _settings_when_given(system: System) -> dict[str, dict[str, Any]]:
    """What few users give: told only where somebody did, so that a plain case stays plain."""

    def pair(pressures: tuple[float, float] | None) -> dict[str, Any]:
        low, high = pressures or (0.0, 0.0)
        return {"cut_in_psig": _r(kpa_to_psi(low)), "cut_out_psig": _r(kpa_to_psi(high))}

    caught, motor = system.observed.caught, system.motor
    values = {
        "gauge_at_clicks": pair((system.cut_in_kpag, system.cut_out_kpag)),
        "gauge_settled": pair(system.settled_kpag),
        "gauge_error": {"psi": _r(kpa_to_psi(system.gauge_sd_kpa))},
        "caught": {"gal": [_r(l_to_gal(c)) for c, _ in caught], "refill_s": [t for _, t in caught]},
        "tap_flow": {"gpm": _r(l_to_gal(system.observed.tap_l_per_min or 0.0))},
        "motor": {"hp": _r((motor.power_w or 0.0) / W_PER_HP)},
        "phase": {"value": motor.phase},
        "least_run": {"s": motor.least_run_s},
        "relief_valve": {"value": system.relief_valve},
    }
    if system.set_kpag is not None:
        values["gauge_at_clicks"]["set"] = pair(system.set_kpag)
    return {name: value for name, value in values.items() if system.came_from(name) != "default"}


def _r(value: float) -> float:
    return round(value, 6)
