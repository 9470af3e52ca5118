"""The system as somebody described it: the texts of options and site file in, checked values in SI out.

Precedence: defaults < site file < options. Where each value came from is kept with it and told in every report.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from clicktimer.assessment.causes.observations import NOTHING_FOUND, Found, make_found
from clicktimer.assessment.options import ALWAYS_TOLD, WHEN_GIVEN, SystemOptions, Text
from clicktimer.errors import SettingsError
from clicktimer.tank.faults import charge_state, right_charge_kpag, wrong_charge_kpag
from clicktimer.tank.observed_rate import with_measured_rate
from clicktimer.tank.parse import parse_tank
from clicktimer.tank.system import Motor, Origin, PumpRate, RateObserved, System, make_system
from clicktimer.units.format import format_pressure
from clicktimer.units.parse import (
    parse_flow_l_per_min,
    parse_height_m,
    parse_marks_s,
    parse_power_w,
    parse_pressure_kpa,
    parse_switch_kpa,
    parse_time_s,
    parse_units,
)

if TYPE_CHECKING:
    from clicktimer.site.values import Site

NAMES = ALWAYS_TOLD + WHEN_GIVEN
MANY = {"tank", "caught", "seen", "not_seen"}

STANDS_FOR = {
    "switch": ("gauge_at_clicks", "gauge_settled"),
    "pump_rate": ("caught", "tap_flow"),
    "caught": ("tap_flow",),
    "tap_flow": ("caught",),
    "yield_text": ("fracture", "yield_test"),
    "fracture": ("yield_text", "yield_test"),
    "yield_test": ("yield_text", "fracture"),
}
"""An option given sets aside what the site file says of the same thing in another way."""


def parse_system_options(*, origins: Mapping[str, Origin] | None = None, **texts: Any) -> SystemOptions:
    """Turn the options' texts, by name with underscores, into a SystemOptions. None or () is not given.

    Raises QuantityError or SettingsError, one line each.
    """
    unknown = texts.keys() - set(NAMES)
    if unknown:
        raise TypeError(f"no such option: {', '.join(sorted(unknown))}")
    return describe(texts, origins=origins)


def describe(
    texts: Mapping[str, Any] | None = None,
    *,
    site: Site | None = None,
    origins: Mapping[str, Origin] | None = None,
) -> SystemOptions:
    """Turn texts by option name (with underscores; None or empty = not given) into a SystemOptions.

    site: its values fill what the texts leave out. origins: where each text came from; an option unless named there.
    Raises QuantityError or SettingsError, one line each.
    """
    given: dict[str, Text] = {}
    places: dict[str, Origin] = {}
    for name in NAMES:
        value = (texts or {}).get(name)
        if value is not None and value != ():
            given[name] = tuple(value) if name in MANY and not isinstance(value, str) else value
            places[name] = (origins or {}).get(name, "option")
    set_aside = {other for name, place in places.items() if place == "option" for other in STANDS_FOR.get(name, ())}
    for name in set_aside:
        if places.get(name) == "site file":
            del given[name], places[name]
    for key, value in () if site is None else site.values.items():
        name = key.replace("-", "_")
        if name in NAMES and name not in given and name not in set_aside and not isinstance(value, int):
            given[name] = value
            places[name] = "site file"
    system, found = _system(given, places), _found(given, places)
    _check_air(system, found)
    return SystemOptions(
        system=system,
        units=parse_units(str(given["units"])) if "units" in given else "us",
        units_origin=places.get("units", "default"),
        given=given,
        origins=places,
        found=found,
        site=None if site is None else site.name,
    )


def _system(given: Mapping[str, Text], places: Mapping[str, Origin]) -> System:
    from clicktimer.site.parse import parse_caught

    def read(name: str, parse: Any, **more: Any) -> Any:
        return parse(str(given[name]), **more) if name in given else None

    def many(name: str) -> tuple[str, ...]:
        value = given.get(name, ())
        return (value,) if isinstance(value, str) else value

    rate = read("pump_rate", parse_flow_l_per_min)
    system = make_system(
        switch_kpag=read("switch", parse_switch_kpa),
        precharge_kpag=read("precharge", parse_pressure_kpa, zero_ok=True),
        tanks=tuple(parse_tank(text) for text in many("tank")),
        pump=None if rate is None else PumpRate(rate),
        height_m=read("height", parse_height_m),
        marks_s=read("marks", parse_marks_s),
        at_clicks_kpag=read("gauge_at_clicks", parse_switch_kpa),
        settled_kpag=read("gauge_settled", parse_switch_kpa),
        gauge_sd_kpa=read("gauge_error", parse_pressure_kpa),
        observed=RateObserved(
            tuple(parse_caught(text) for text in many("caught")), read("tap_flow", parse_flow_l_per_min)
        ),
        motor=Motor(read("motor", parse_power_w), read("phase", _phase), read("least_run", parse_time_s)),
        relief_valve=read("relief_valve", _relief),
        origins=places,
    )
    # Water caught with its refill times is a pump rate by itself; without them the measured run has to come first.
    timed = system.observed.caught and all(refill_s is not None for _, refill_s in system.observed.caught)
    return with_measured_rate(system, None).system if timed else system


def _check_air(system: System, found: Found) -> None:
    """Refuse an air valve found "right" beside a charge that is wrong: the two contradict each other."""
    wrong = wrong_charge_kpag(system) if system.tanks else None
    if not system.tanks and system.came_from("precharge") != "default":
        wrong = None if charge_state(system.precharge_kpag, system) == "right" else system.precharge_kpag
    if found.air_valve != "right" or wrong is None:
        return
    right = right_charge_kpag(system)
    charges = [f"{format_pressure(p, 'us')} ({format_pressure(p, 'metric')})" for p in (wrong, right)]
    raise SettingsError(
        f'an air charge of {charges[0]} contradicts "right" at the air valve: {charges[1]} would be right; '
        "correct --precharge or --air-valve"
    )


def _phase(text: str) -> Any:
    from clicktimer.site.parse import read_choice

    return read_choice("single", "three")(text)


def _relief(text: str) -> Any:
    from clicktimer.site.parse import read_choice

    return read_choice("tested", "there", "none")(text)


def _found(given: Mapping[str, Text], places: Mapping[str, Origin]) -> Found:
    if not {"air_valve", "seen", "not_seen"} & given.keys():
        return NOTHING_FOUND

    def names(name: str) -> tuple[str, ...]:
        value = given.get(name, ())
        return (value,) if isinstance(value, str) else value

    seen, not_seen = names("seen"), names("not_seen")
    # What is said now overrules what the site file remembers.
    if places.get("seen") == "option" and places.get("not_seen") == "site file":
        not_seen = tuple(n for n in not_seen if n not in seen)
    elif places.get("seen") == "site file" and places.get("not_seen") == "option":
        seen = tuple(n for n in seen if n not in not_seen)
    air_valve = given.get("air_valve")
    return make_found(None if air_valve is None else str(air_valve).strip().casefold(), seen, not_seen)
