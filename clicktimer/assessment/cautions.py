"""The cautions by name, and which of them a result calls for. Their sentences stand under caution.* in the catalogue.

Common practice in the trade, no published source.
"""

from __future__ import annotations

from typing import Final

from clicktimer.assessment.causes.run_signs import runs_on
from clicktimer.records import Measurement, Reason
from clicktimer.tank.sizing import TankSizing
from clicktimer.targets import SHORT_BANDS

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


def cautions_for(measurement: Measurement) -> tuple[Reason, ...]:
    """Return the cautions that belong to what a result may make somebody do, most urgent first.

    Parameters
    ----------
    measurement : Measurement
        With its verdict, warnings and, where it was sized, its tank.

    Returns
    -------
    tuple of Reason
        Each once; the last one says that this is no certificate.
    """
    m = measurement
    found: list[str] = []
    if runs_on(m):
        found.append("endless")
    found.append("listen")
    if any(w.code == "variable-speed" for w in m.warnings):
        found.append("licensed")
    # Too-close-to-call near a short band sends people to the tank as well.
    to_tank = m.verdict.band in SHORT_BANDS or (m.verdict.band == "under-a-minute" and not m.verdict.sure)
    sized = m.tank is not None and bool(m.tank.system.tanks or m.tank.system.pump)
    if to_tank or sized:
        found += [*hand_work(m.tank)[:3]]
    found += ["surroundings", "no-certificate"]
    return tuple(caution(name) for name in dict.fromkeys(found))
