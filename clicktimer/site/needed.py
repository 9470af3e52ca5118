"""What a site file still lacks for each computation, each with how to get it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from clicktimer.site.fields import field_named
from clicktimer.site.kinds import SiteField

PURPOSES: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...] = (
    ("a tank's size", (("switch", "gauge-at-clicks"), ("pump-rate", "caught"))),
    ("a judgement of the tank that is there", (("tank",), ("precharge",), ("pump-rate", "caught"))),
    ("the motor's limits", (("motor",), ("phase",), ("least-run",))),
    ("the well's supply", (("yield", "fracture", "yield-test"), ("bore",), ("pump-depth",), ("static-level",))),
    ("the household's need", (("people", "bedrooms"),)),
)
"""What each purpose needs: of each group any one field will do, and the first is the one that is named."""


@dataclass(frozen=True, slots=True)
class Lack:
    """What is missing for one purpose: the fields, in plain words how to get each."""

    purpose: str
    fields: tuple[SiteField, ...]


def lacks(keys: Collection[str]) -> tuple[Lack, ...]:
    """Return what is missing, by purpose, from the keys that are there; nothing where a purpose is served."""
    found = []
    for purpose, groups in PURPOSES:
        missing = [field_named(group[0]) for group in groups if not set(group) & set(keys)]
        if missing:
            found.append(Lack(purpose, tuple(f for f in missing if f is not None)))
    return tuple(found)
