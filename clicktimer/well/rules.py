"""Supply rules: read from supply_rules.toml, or entered as "1 gpm for 6 h and 500 gal in 2 h". Data, not code.

None is applied unless somebody chose or entered it, and the local authority decides in any case.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any, Literal

from clicktimer.errors import QuantityError, SettingsError
from clicktimer.units.parse import parse_flow_l_per_min, parse_time_s, parse_volume_l
from clicktimer.well.parse import parse_depth_m

Counts = Literal["inflow", "all", "unsaid"]
Per = Literal["well", "home", "person"]


@dataclass(frozen=True, slots=True)
class Demand:
    """One thing that a rule asks for. Litres, litres per minute, seconds, metres.

    flow_l_per_min with over_s: kept up so long; without: a steady yield. volume_l with over_s: within a time.
    storage_l: a storage tank. least_l_per_min: not less than this however few persons. counts: what may count towards
    it. from_depth_m, to_depth_m: only for a well so deep.
    """

    flow_l_per_min: float | None = None
    volume_l: float | None = None
    over_s: float | None = None
    storage_l: float | None = None
    least_l_per_min: float | None = None
    counts: Counts = "unsaid"
    from_depth_m: float | None = None
    to_depth_m: float | None = None

    @property
    def water_l(self) -> float | None:
        """The water asked for within ``over_s``, litres; None for a steady yield or storage."""
        if self.volume_l is not None:
            return self.volume_l
        if self.flow_l_per_min is None or self.over_s is None:
            return None
        return self.flow_l_per_min * self.over_s / 60.0

    def times(self, count: int) -> Demand:
        """The demand for so many homes or persons."""
        flow = None if self.flow_l_per_min is None else self.flow_l_per_min * count
        if flow is not None and self.least_l_per_min is not None:
            flow = max(flow, self.least_l_per_min)
        return replace(self, flow_l_per_min=flow, volume_l=None if self.volume_l is None else self.volume_l * count)

    def applies_to(self, depth_m: float) -> bool:
        """Whether it is meant for a well of this depth, metres."""
        return (self.from_depth_m is None or depth_m > self.from_depth_m) and (
            self.to_depth_m is None or depth_m <= self.to_depth_m
        )

    @property
    def by_depth(self) -> bool:
        """Whether the well's depth must be known to tell if it applies."""
        return self.from_depth_m is not None or self.to_depth_m is not None


@dataclass(frozen=True, slots=True)
class Rule:
    """A supply rule or guide, with where it comes from and whether the figure was read there.

    status: "READ", "READ-2nd" (seen where it is quoted), "MEM" (recalled, not seen) or "ENTERED" (by the user).
    per: what each demand is multiplied by. most_homes: above it the rule does not apply.
    """

    name: str
    place: str
    kind: Literal["rule", "guide"]
    says: str
    source: str
    grade: str
    status: str
    per: Per
    demands: tuple[Demand, ...]
    note: str = ""
    most_homes: int | None = None


@cache
def all_rules() -> tuple[Rule, ...]:
    """Return every rule of the package, in the order of its file."""
    text = resources.files("clicktimer.well").joinpath("supply_rules.toml").read_text(encoding="utf-8")
    return tuple(_rule(entry) for entry in tomllib.loads(text)["rule"])


def find_rule(name: str) -> Rule:
    """Return the rule of a name. Raises SettingsError with the names there are."""
    wanted = name.strip().casefold()
    for rule in all_rules():
        if rule.name == wanted:
            return rule
    shown = "".join(c if c.isprintable() else " " for c in name)[:40]
    raise SettingsError(f'there is no rule "{shown}"; clicktimer well --list-rules shows them, or enter one by --need')


def _rule(entry: dict[str, Any]) -> Rule:
    fixed = {key: entry[key] for key in ("name", "place", "kind", "says", "source", "grade", "status", "per")}
    return Rule(
        **fixed,
        demands=tuple(_demand(d) for d in entry["demand"]),
        note=entry.get("note", ""),
        most_homes=entry.get("most_homes"),
    )


def _demand(entry: dict[str, str]) -> Demand:
    def read(key: str, parse: Any) -> float | None:
        return parse(entry[key]) if key in entry else None

    counts: Any = entry.get("counts", "unsaid")
    return Demand(
        flow_l_per_min=read("flow", parse_flow_l_per_min),
        volume_l=read("volume", parse_volume_l),
        over_s=read("over", parse_time_s),
        storage_l=read("storage", parse_volume_l),
        least_l_per_min=read("least", parse_flow_l_per_min),
        counts=counts,
        from_depth_m=read("from_depth", parse_depth_m),
        to_depth_m=read("to_depth", parse_depth_m),
    )


_JOIN = re.compile(r"\s+(?:and|plus)\s+|\s*[;+&]\s*")
_OVER = re.compile(r"^(.*?)\s+(?:for|in|over|within|during)\s+(?:at\s+least\s+)?(.+)$")


def parse_need(text: str) -> Rule:
    """Read a need that the user enters: "1 gpm for 6 h", "500 gal in 2 h", "5 gpm", joined by "and".

    Raises QuantityError with what was written and what may be.

    >>> [round(d.water_l or 0) for d in parse_need("1 gpm for 6 h and 500 gal in 2 h").demands]
    [1363, 1893]
    """
    tidy = " ".join(str(text).casefold().split())
    demands = tuple(_entered(part, text) for part in _JOIN.split(tidy) if part) if tidy else ()
    if not demands:
        raise _bad_need(text)
    shown = " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())
    return Rule("entered", "entered by you", "rule", shown, "entered by you", "-", "ENTERED", "well", demands)


def _bad_need(text: str) -> QuantityError:
    shown = "".join(c if c.isprintable() else " " for c in str(text))[:40]
    return QuantityError(f'"{shown}" is not a need: write it such as "1 gpm for 6 h" or "500 gal in 2 h"')


def _entered(part: str, text: str) -> Demand:
    m = _OVER.match(part)
    amount, over_s = (m[1], parse_time_s(m[2])) if m else (part, None)
    amount = re.sub(r"^(?:at least|a|min(?:imum)?(?: of)?) ", "", amount.strip())
    try:
        return Demand(flow_l_per_min=parse_flow_l_per_min(amount), over_s=over_s)
    except QuantityError as as_flow:
        try:
            volume_l = parse_volume_l(amount)
        except QuantityError:
            raise (as_flow if re.search(r"[0-9]", amount) else _bad_need(text)) from None
    if over_s is None:
        raise _bad_need(text)
    return Demand(volume_l=volume_l, over_s=over_s)
