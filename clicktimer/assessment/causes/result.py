"""What can be said of the cause of a short run: the records that the ranking makes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from clicktimer.assessment.causes.table import Cause, Check, Fact, table
from clicktimer.reason import Reason

Status = Literal["leads", "open", "does-not-apply", "no-trouble", "nothing-to-go-on"]
Standing = Literal["fits", "possible", "unlikely"]

DOES_NOT_APPLY = 5.0
"""Least score of a cause of the method itself (a variable-speed pump, for example) that is shown; no source."""
MOST_SHOWN = 4
RUNS_ON = "runs-on"
"""The complaint that the pump does not stop: then off at the disconnect is the only check."""


@dataclass(frozen=True, slots=True)
class RankedCause:
    """One cause with its score and the evidence that is known for and against it, heaviest first.

    supports, against: each with the figures ``fact``, its ``value`` and its ``weight``. strongest: the weight of the
    heaviest sign for it, 0 where there is none.
    """

    cause: Cause
    score: float
    standing: Standing
    supports: tuple[Reason, ...]
    against: tuple[Reason, ...]
    strongest: float = 0.0


@dataclass(frozen=True, slots=True)
class CausesResult:
    """What can be said of the cause.

    status: "leads" (the first one stands out), "open" (it cannot be told yet), "does-not-apply" (not this kind of
    system), "no-trouble" (nothing is wrong by what is known) or "nothing-to-go-on".
    reasons: the answer. complaints: names of what is wrong. ranked: best first. settle: when it is open, facts not
    known yet that would separate the first ones, best first. facts: what is known.
    first: cautions that come before everything else. stop: nobody is to look further by hand; nothing that would
    settle it is offered then.
    """

    status: Status
    reasons: tuple[Reason, ...]
    complaints: tuple[str, ...]
    ranked: tuple[RankedCause, ...]
    settle: tuple[Fact, ...]
    facts: Mapping[str, str]
    first: tuple[Reason, ...] = ()
    stop: bool = False

    @property
    def shown(self) -> tuple[RankedCause, ...]:
        """The causes worth showing: those that fit or are possible, four at the most."""
        if self.status in ("no-trouble", "nothing-to-go-on"):
            return ()
        if self.status == "does-not-apply":
            return tuple(r for r in self.ranked if r.cause.method and r.score >= DOES_NOT_APPLY)
        return tuple(r for r in self.ranked if r.standing != "unlikely")[:MOST_SHOWN]

    @property
    def checks(self) -> tuple[Check, ...]:
        """The checks by hand for the causes that are shown, each once, in their order."""
        if RUNS_ON in self.complaints:
            # Off at the disconnect is all there is to do: every other step would work on a running pump.
            return (table().check(RUNS_ON),)
        return tuple(table().check(name) for name in dict.fromkeys(r.cause.check_for(self.facts) for r in self.shown))
