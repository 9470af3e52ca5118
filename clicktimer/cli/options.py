"""The options that describe the system (switch, charge, tank, pump rate and so on), the same on every command.

Put ``@system_options`` under ``@click.command()``; the function then gets one keyword, ``system``, holding a
``SystemOptions``. What was given and what is a default is noted with each value.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

import click

from clicktimer.quantities import (
    UnitSystem,
    parse_flow_l_per_min,
    parse_height_m,
    parse_marks_s,
    parse_pressure_kpa,
    parse_switch_kpa,
    parse_units,
    parse_volume_l,
)
from clicktimer.tank.system import Origin, PumpRate, System, Tank, make_system

F = TypeVar("F", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class SystemOptions:
    """The system as described on the command line.

    system: values in SI, each with its origin (``system.came_from("switch")`` is "default" or "option").
    units: how to write numbers. given: the options that were given, as the user wrote them.
    """

    system: System
    units: UnitSystem
    units_origin: Origin
    given: dict[str, str | tuple[str, ...]]

    @property
    def marks_s(self) -> tuple[float, float]:
        """The two marks that a run is judged by, seconds."""
        return self.system.marks_s


def parse_system_options(
    switch: str | None = None,
    precharge: str | None = None,
    tank: tuple[str, ...] = (),
    pump_rate: str | None = None,
    height: str | None = None,
    marks: str | None = None,
    units: str | None = None,
) -> SystemOptions:
    """Turn the options' texts into a SystemOptions. Raises QuantityError or SettingsError, one line each."""
    texts: dict[str, str | tuple[str, ...] | None] = {
        "switch": switch,
        "precharge": precharge,
        "tank": tank or None,
        "pump_rate": pump_rate,
        "height": height,
        "marks": marks,
        "units": units,
    }
    system = make_system(
        switch_kpag=None if switch is None else parse_switch_kpa(switch),
        precharge_kpag=None if precharge is None else parse_pressure_kpa(precharge, zero_ok=True),
        tanks=tuple(Tank(parse_volume_l(text)) for text in tank),
        pump=None if pump_rate is None else PumpRate(parse_flow_l_per_min(pump_rate)),
        height_m=None if height is None else parse_height_m(height),
        marks_s=None if marks is None else parse_marks_s(marks),
    )
    return SystemOptions(
        system=system,
        units="us" if units is None else parse_units(units),
        units_origin="default" if units is None else "option",
        given={name: text for name, text in texts.items() if text is not None},
    )


_OPTIONS = (
    click.option("--switch", metavar="IN/OUT", help='Pressure switch, cut-in/cut-out: "40/60" (psi) or "2.8/4.1 bar".'),
    click.option(
        "--precharge", metavar="PRESSURE", help='Air charge of the empty tank: "38 psi". [2 psi below cut-in]'
    ),
    click.option("--tank", metavar="VOLUME", multiple=True, help='Tank volume: "33 gal", "125 L". Repeat for several.'),
    click.option("--pump-rate", metavar="FLOW", help='What the pump gives: "8 gpm" or "30 L/min".'),
    click.option("--height", metavar="HEIGHT", help='Height above the sea: "1200 ft" or "365 m". [sea level]'),
    click.option("--marks", metavar="A/B", help="The two marks for a run, in seconds. [30/60]"),
    click.option("--units", metavar="us|metric", help="Units to write: us or metric. [us]"),
)
_NAMES = ("switch", "precharge", "tank", "pump_rate", "height", "marks", "units")


def system_options(command: F) -> F:
    """Add the system's options to a command, which receives them parsed as the keyword ``system``.

    Texts are parsed when the command runs, so a bad one raises QuantityError or SettingsError from inside the
    command's own error handling. ``--switch`` defaults to 40/60.
    """

    @functools.wraps(command)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        options = parse_system_options(**{name: kwargs.pop(name) for name in _NAMES})
        return command(*args, system=options, **kwargs)

    wrapped: Any = wrapper
    for option in reversed(_OPTIONS):
        wrapped = option(wrapped)
    return wrapped  # type: ignore[no-any-return]
