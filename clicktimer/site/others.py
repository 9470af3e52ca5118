"""The other tanks that a day is replayed through: the stock sizes, and what was asked for, as texts."""

from __future__ import annotations

from collections.abc import Sequence

from clicktimer.assessment.options import SystemOptions
from clicktimer.day.analysis import other_tanks, times_of
from clicktimer.errors import SettingsError
from clicktimer.site.options import describe


def others_of(
    described: SystemOptions, tanks: Sequence[str] = (), charge: str | None = None, switch: str | None = None
) -> tuple[tuple[str, float], ...]:
    """Return (name, times the drawdown that is there) of each; empty where the tank that is there is not known.

    tanks, charge, switch: texts such as "62 gal", "38 psi", "30/50". Raises SettingsError where they cannot be tried.
    """
    others = list(other_tanks(described.system))
    if not (tanks or charge or switch):
        return tuple(others)
    if not described.system.tanks:
        raise SettingsError(
            "another tank, charge or switch can only be tried against the tank that is there: give --tank"
        )
    here = described.given
    there = describe(
        {
            "tank": tuple(tanks) or here.get("tank"),
            "precharge": charge or (None if switch else here.get("precharge")),
            "switch": switch or here.get("switch"),
            "height": here.get("height"),
        }
    ).system
    name = ", ".join([*tanks, *([f"charge {charge}"] if charge else []), *([f"switch {switch}"] if switch else [])])
    others.append((name, times_of(described.system, there)))
    return tuple(others)
