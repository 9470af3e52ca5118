"""The cautions by name. Their sentences stand under caution.* in the catalogue.

Common practice in the trade, no published source.
"""

from __future__ import annotations

from typing import Final

from clicktimer.records import Reason
from clicktimer.tank.sizing import TankSizing

CAUTIONS: Final = (
    "listen",
    "switch",
    "before-work",
    "before-draining",
    "tank",
    "licensed",
    "surroundings",
    "running-on",
    "endless",
    "weak-well",
    "weak-well-test",
    "open-well",
    "no-certificate",
    "no-certificate-well",
)
"""Names that the table of causes may use."""
HAND_WORK: Final = ("before-work", "tank", "licensed", "surroundings")
"""What work on the tank calls for."""
PLAIN_TANK_WORK: Final = ("before-draining", "tank", "licensed", "surroundings")
"""What work on a tank without a bladder calls for."""
WELL_WORK: Final = ("weak-well-test", "open-well", "surroundings", "licensed")
"""What work on the well calls for."""


def caution(name: str) -> Reason:
    """Return a caution by its name. Raises LookupError for one that is not there."""
    if name not in CAUTIONS:
        raise LookupError(f"there is no caution {name!r}")
    return Reason(f"caution.{name}")


def hand_work(sizing: TankSizing | None) -> tuple[str, ...]:
    """Return the names of the cautions for work on the tank that is there: a plain one has no air valve to read."""
    plain = sizing is not None and bool(sizing.system.tanks) and all(t.kind == "plain" for t in sizing.system.tanks)
    return PLAIN_TANK_WORK if plain else HAND_WORK
