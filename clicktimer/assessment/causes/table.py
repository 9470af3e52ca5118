"""The table of causes, read from causes.toml and facts.toml and checked as a whole: no name may lead nowhere."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from clicktimer.reporting.messages import cautions

ORIGINS = ("sound", "tank", "site", "valve", "seen", "log")
YES, NO = "yes", "no"


@dataclass(frozen=True, slots=True)
class Fact:
    """Something that can be known. values: what it may be. effort: 0 look or listen ... 3 a licensed person.

    how_known: what ``how`` is instead where a fact of that name is known. learn: facts with the same word here are
    learnt by the same look.
    """

    name: str
    origin: str
    values: tuple[str, ...]
    asks: str
    how: str
    effort: int
    learn: str = ""
    how_known: Mapping[str, str] = field(default_factory=dict)

    def how_for(self, facts: Mapping[str, str]) -> str:
        """Return how to learn it, by what is known already."""
        return _by_what_is_known(self.how, self.how_known, facts)


@dataclass(frozen=True, slots=True)
class Evidence:
    """One rule: where ``fact`` is one of ``values``, it counts ``weight`` (below zero: against), as ``says`` tells.

    group: of one group only the heaviest counts; empty: it stands alone.
    """

    fact: str
    values: tuple[str, ...]
    weight: float
    says: str
    group: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """A check by hand: numbered steps, and the names of the cautions that belong to it."""

    name: str
    title: str
    steps: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def caution_texts(self) -> tuple[str, ...]:
        """The cautions in full."""
        return tuple(cautions.BY_NAME[name] for name in self.cautions)


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause, as the table describes it (see the head of causes.toml). what: the table's ``is``.

    settle_known: what ``settle`` is instead where a fact of that name is known.
    """

    name: str
    title: str
    what: str
    explains: tuple[str, ...]
    common: float
    evidence: tuple[Evidence, ...]
    settle: str
    check: str
    licensed: str
    method: bool = False
    settle_known: Mapping[str, str] = field(default_factory=dict)

    def settle_for(self, facts: Mapping[str, str]) -> str:
        """Return the one measurement that settles it, by what is known already."""
        return _by_what_is_known(self.settle, self.settle_known, facts)


@dataclass(frozen=True, slots=True)
class Complaint:
    """What is wrong at all. signs: facts with the values of which any is enough.

    first: name of the caution that comes before everything else, or empty. stop: signs with which nobody is to test on.
    """

    name: str
    words: str
    signs: Mapping[str, tuple[str, ...]]
    first: str = ""
    stop: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Table:
    """The whole table. Raises LookupError when it is made and a name in it leads nowhere."""

    facts: tuple[Fact, ...]
    complaints: tuple[Complaint, ...]
    causes: tuple[Cause, ...]
    checks: tuple[Check, ...]

    def __post_init__(self) -> None:
        values = {fact.name: fact.values for fact in self.facts}
        pairs = [(e.fact, v, c.name) for c in self.causes for e in c.evidence for v in e.values]
        pairs += [(name, v, c.name) for c in self.complaints for name, signs in c.signs.items() for v in signs]
        pairs += [(name, v, c.name) for c in self.complaints for name, signs in c.stop.items() for v in signs]
        for fact, value, where in pairs:
            if value not in values.get(fact, ()):
                raise LookupError(f"{where}: no fact {fact} = {value}")
        known = {name for f in self.facts for name in f.how_known} | {n for c in self.causes for n in c.settle_known}
        if not known <= values.keys():
            raise LookupError("a wording for a fact that is not there")
        names = [x.name for group in (self.facts, self.complaints, self.causes, self.checks) for x in group]
        checks, complaints = {c.name for c in self.checks}, {c.name for c in self.complaints}
        for cause in self.causes:
            if cause.check not in checks or not set(cause.explains) <= complaints:
                raise LookupError(f"{cause.name}: unknown check or complaint")
        if any(fact.origin not in ORIGINS for fact in self.facts) or len({f.name for f in self.facts}) < len(
            self.facts
        ):
            raise LookupError("a fact with an unknown origin, or two of one name")
        named = [c for check in self.checks for c in check.cautions] + [c.first for c in self.complaints if c.first]
        if not all(names) or any(c not in cautions.BY_NAME for c in named):
            raise LookupError("a check with an unknown caution, or an entry without a name")

    def fact(self, name: str) -> Fact:
        """Return a fact by its name. Raises LookupError."""
        return next(fact for fact in self.facts if fact.name == name)

    def check(self, name: str) -> Check:
        """Return a check by its name. Raises LookupError."""
        return next(check for check in self.checks if check.name == name)


def _by_what_is_known(usual: str, known: Mapping[str, str], facts: Mapping[str, str]) -> str:
    return next((text for name, text in known.items() if name in facts), usual)


@cache
def table() -> Table:
    """Return the package's table."""
    facts, causes = _toml("facts.toml"), _toml("causes.toml")
    return Table(
        facts=tuple(_fact(entry) for entry in facts["fact"]),
        complaints=tuple(
            Complaint(e["name"], e["words"], _signs(e["signs"]), e.get("first", ""), _signs(e.get("stop", {})))
            for e in facts["complaint"]
        ),
        causes=tuple(_cause(entry) for entry in causes["cause"]),
        checks=tuple(Check(e["name"], e["title"], tuple(e["steps"]), tuple(e["cautions"])) for e in causes["check"]),
    )


def observations() -> tuple[Fact, ...]:
    """Return the facts that a person can have seen (``--seen NAME``)."""
    return tuple(fact for fact in table().facts if fact.origin == "seen")


def _toml(name: str) -> dict[str, Any]:
    return tomllib.loads(resources.files("clicktimer.assessment.causes").joinpath(name).read_text(encoding="utf-8"))


def _signs(entry: Mapping[str, list[str]]) -> dict[str, tuple[str, ...]]:
    return {name: tuple(values) for name, values in entry.items()}


def _fact(entry: Mapping[str, Any]) -> Fact:
    return Fact(
        name=entry["name"],
        origin=entry["from"],
        values=tuple(entry["values"]),
        asks=entry["asks"],
        how=entry["how"],
        effort=entry["effort"],
        learn=entry.get("learn", ""),
        how_known=entry.get("how-known", {}),
    )


def _cause(entry: Mapping[str, Any]) -> Cause:
    return Cause(
        name=entry["name"],
        title=entry["title"],
        what=entry["is"],
        explains=tuple(entry["explains"]),
        common=float(entry["common"]),
        evidence=tuple(
            Evidence(e["fact"], tuple(e["is"]), float(e["weight"]), e["says"], e.get("group", ""))
            for e in entry["evidence"]
        ),
        settle=entry["settle"],
        check=entry["check"],
        licensed=entry["licensed"],
        method=entry.get("method", False),
        settle_known=entry.get("settle-known", {}),
    )
