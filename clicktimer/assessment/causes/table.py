"""The rules of the causes, read from causes.toml and facts.toml and checked as a whole: no name may lead nowhere."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from clicktimer.assessment.cautions import CAUTIONS, caution
from clicktimer.records import Reason

ORIGINS = ("sound", "tank", "site", "valve", "seen", "log")
YES, NO = "yes", "no"


@dataclass(frozen=True, slots=True)
class Fact:
    """Something that can be known. values: what it may be. effort: 0 look or listen ... 3 a licensed person.

    how_known: facts with which there is another way to learn it. learn: facts with the same word here are learnt by the
    same look.
    """

    name: str
    origin: str
    values: tuple[str, ...]
    effort: int
    learn: str = ""
    how_known: tuple[str, ...] = ()

    def how_for(self, facts: Mapping[str, str]) -> Reason:
        """Return how to learn it, by what is known already."""
        return _by_what_is_known(f"fact.{self.name}.how", f"fact.{self.name}.how-known", self.how_known, facts)


@dataclass(frozen=True, slots=True)
class Evidence:
    """One rule: where ``fact`` is one of ``values``, it counts ``weight`` (below zero: against).

    group: of one group only the heaviest counts; empty: it stands alone.
    """

    fact: str
    values: tuple[str, ...]
    weight: float
    group: str = ""

    def reason(self, cause: str, value: str) -> Reason:
        """Return what it says of a cause where the fact has one of its values."""
        code = f"cause.{cause}.evidence.{self.fact}.{'-or-'.join(self.values)}"
        return Reason(code, fact=self.fact, value=value, weight=self.weight)


@dataclass(frozen=True, slots=True)
class Check:
    """A check by hand: how many numbered steps, and the names of the cautions that belong to it."""

    name: str
    count: int
    cautions: tuple[str, ...]

    @property
    def title(self) -> Reason:
        """What is checked."""
        return Reason(f"check.{self.name}.title")

    @property
    def steps(self) -> tuple[Reason, ...]:
        """The steps in their order."""
        return tuple(Reason(f"check.{self.name}.step.{number}") for number in range(1, self.count + 1))

    @property
    def caution_reasons(self) -> tuple[Reason, ...]:
        """The cautions as reasons."""
        return tuple(caution(name) for name in self.cautions)


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause, as the table describes it (see the head of causes.toml).

    settle_known: facts ("charge", or with one value "tank-kind.plain") with which something else settles it.
    licensed: there is a point where to stop and call.
    """

    name: str
    explains: tuple[str, ...]
    common: float
    evidence: tuple[Evidence, ...]
    check: str
    licensed: bool
    method: bool = False
    settle_known: tuple[str, ...] = ()

    @property
    def title(self) -> Reason:
        """Its plain name."""
        return Reason(f"cause.{self.name}.title")

    @property
    def what(self) -> Reason:
        """What it is and what it does."""
        return Reason(f"cause.{self.name}.is")

    def check_for(self, facts: Mapping[str, str]) -> str:
        """Return the name of the check by hand: a tank without a bladder has no air charge to read and correct."""
        return "plain-tank" if self.check == "air-valve" and facts.get("tank-kind") == "plain" else self.check

    @property
    def stop(self) -> tuple[Reason, ...]:
        """Where to stop and call a licensed person; empty where there is no such point."""
        return (Reason(f"cause.{self.name}.licensed"),) if self.licensed else ()

    def settle_for(self, facts: Mapping[str, str]) -> Reason:
        """Return the one measurement that settles it, by what is known already."""
        return _by_what_is_known(
            f"cause.{self.name}.settle", f"cause.{self.name}.settle-known", self.settle_known, facts
        )


@dataclass(frozen=True, slots=True)
class Complaint:
    """What is wrong at all. signs: facts with the values of which any is enough.

    first: name of the caution that comes before everything else, or empty. stop: signs with which nobody is to test on.
    """

    name: str
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
        known = {name for f in self.facts for name in f.how_known}
        known |= {name.partition(".")[0] for c in self.causes for name in c.settle_known}
        if not known <= values.keys():
            raise LookupError("a way to learn a fact that is not there")
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
        if not all(names) or any(c not in CAUTIONS for c in named):
            raise LookupError("a check with an unknown caution, or an entry without a name")

    def fact(self, name: str) -> Fact:
        """Return a fact by its name. Raises LookupError."""
        return next(fact for fact in self.facts if fact.name == name)

    def check(self, name: str) -> Check:
        """Return a check by its name. Raises LookupError."""
        return next(check for check in self.checks if check.name == name)


def _by_what_is_known(usual: str, instead: str, known: tuple[str, ...], facts: Mapping[str, str]) -> Reason:
    def met(name: str) -> bool:
        fact, _, value = name.partition(".")
        return fact in facts and value in ("", facts[fact])

    return next((Reason(f"{instead}.{name}") for name in known if met(name)), Reason(usual))


@cache
def table() -> Table:
    """Return the package's table."""
    facts, causes = _toml("facts.toml"), _toml("causes.toml")
    return Table(
        facts=tuple(_fact(entry) for entry in facts["fact"]),
        complaints=tuple(
            Complaint(e["name"], _signs(e["signs"]), e.get("first", ""), _signs(e.get("stop", {})))
            for e in facts["complaint"]
        ),
        causes=tuple(_cause(entry) for entry in causes["cause"]),
        checks=tuple(Check(e["name"], e["steps"], tuple(e["cautions"])) for e in causes["check"]),
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
        effort=entry["effort"],
        learn=entry.get("learn", ""),
        how_known=tuple(entry.get("how-known", ())),
    )


def _cause(entry: Mapping[str, Any]) -> Cause:
    return Cause(
        name=entry["name"],
        explains=tuple(entry["explains"]),
        common=float(entry["common"]),
        evidence=tuple(
            Evidence(e["fact"], tuple(e["is"]), float(e["weight"]), e.get("group", "")) for e in entry["evidence"]
        ),
        check=entry["check"],
        licensed=entry["licensed"],
        method=entry.get("method", False),
        settle_known=tuple(entry.get("settle-known", ())),
    )
