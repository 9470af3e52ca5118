"""Facts in, causes ranked out: codes for the evidence for and against each, for what would settle it, for the answer.

Causes that fit and explain more than a run somewhat below the target come first. After that the ranking is a sum of
weights from the table, which is no probability: the frequency of each cause is unknown. The answer is open where the
evidence is thin or two causes lie close together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set

from clicktimer.assessment.causes.facts import gather
from clicktimer.assessment.causes.observations import NOTHING_FOUND, Found
from clicktimer.assessment.causes.result import (
    DOES_NOT_APPLY,
    MOST_SHOWN,
    RUNS_ON,
    CausesResult,
    RankedCause,
    Standing,
    Status,
)
from clicktimer.assessment.causes.table import Cause, Fact, Table, table
from clicktimer.assessment.cautions import caution
from clicktimer.assessment.measurement import Measurement
from clicktimer.records import Reason
from clicktimer.tank.sizing import TankSizing

# Weights as in causes.toml. Chosen by us so that one strong sign, or two fair ones, make a cause fit, and so that how
# common a cause is (0 to 2) never makes it lead by itself; no source.
FITS = 4.0
POSSIBLE = 1.0
LEAD = 2.5
STRONG = 3.0
MILD = {"short-run": ("run", "below-mark")}
"""Complaints that are mild where a fact has this value: what explains another trouble comes first."""
# Where the table's method causes are in doubt, no other cause is reported as leading.
METHOD_DOUBT = 2.0


def likely_causes(
    measurement: Measurement | None = None,
    sizing: TankSizing | None = None,
    found: Found = NOTHING_FOUND,
    log: Mapping[str, str] | None = None,
) -> CausesResult:
    """Rank the causes by all that is known; each argument may be missing.

    log: facts from a day's log by name ("seeping": "yes"), as facts.toml lists them. Raises SettingsError for others.
    """
    return rank(gather(measurement, sizing, found, log))


def rank(facts: Mapping[str, str], known: Table | None = None) -> CausesResult:
    """Rank the causes of a table by facts. What is not among the facts counts for nothing."""
    all_of = known or table()
    complaints = [c for c in all_of.complaints if _any(c.signs, facts)]
    names = {c.name for c in complaints}
    weighed = [_weigh(cause, facts) for cause in all_of.causes if set(cause.explains) & names]
    mild = {name for name, (fact, value) in MILD.items() if facts.get(fact) == value}
    ranked = tuple(sorted(weighed, key=lambda r: (not _urgent(r, names - mild), -r.score)))
    status, reasons = _status(ranked, facts, names)
    stop = any(_any(c.stop, facts) for c in complaints)
    settle = _settling(ranked, facts, all_of) if status == "open" and not stop else ()
    first = tuple(caution(c.first) for c in complaints if c.first)
    found = tuple(c.name for c in complaints)
    return CausesResult(status, reasons, found, ranked, settle, dict(facts), first, stop)


def _urgent(ranked: RankedCause, complaints: Set[str]) -> bool:
    """Return whether a cause fits and explains a trouble that is more than a run somewhat below the target."""
    return ranked.standing == "fits" and bool(complaints & set(ranked.cause.explains))


def _any(signs: Mapping[str, tuple[str, ...]], facts: Mapping[str, str]) -> bool:
    return any(facts.get(name) in values for name, values in signs.items())


def _weigh(cause: Cause, facts: Mapping[str, str]) -> RankedCause:
    met = [e for e in cause.evidence if facts.get(e.fact) in e.values]
    heaviest: dict[str, float] = {}
    for e in met:
        group = e.group or e.fact
        if abs(e.weight) > abs(heaviest.get(group, 0.0)):
            heaviest[group] = e.weight
    score = cause.common + sum(heaviest.values())
    supports = sorted((e for e in met if e.weight > 0), key=lambda e: -e.weight)
    against = sorted((e for e in met if e.weight < 0), key=lambda e: e.weight)
    standing: Standing = "fits" if score >= FITS and supports else "possible" if score >= POSSIBLE else "unlikely"
    return RankedCause(
        cause,
        score,
        standing,
        tuple(e.reason(cause.name, facts[e.fact]) for e in supports),
        tuple(e.reason(cause.name, facts[e.fact]) for e in against),
        supports[0].weight if supports else 0.0,
    )


def _status(  # noqa: PLR0911
    ranked: tuple[RankedCause, ...], facts: Mapping[str, str], complaints: Set[str]
) -> tuple[Status, tuple[Reason, ...]]:
    method = [r for r in ranked if r.cause.method and r.score >= DOES_NOT_APPLY]
    if method:
        cause = method[0].cause
        return "does-not-apply", (Reason("cause-ranking.does-not-apply", cause=cause.name), cause.what)
    if not complaints:
        if facts.get("run") == "good" or facts.get("tank") == "healthy":
            return "no-trouble", (Reason("cause-ranking.no-trouble"),)
        return "nothing-to-go-on", (Reason("cause-ranking.nothing-to-go-on"),)
    fitting = [r for r in ranked if not r.cause.method]
    if not fitting or fitting[0].score < POSSIBLE:
        return "open", (Reason("cause-ranking.none-fits"),)
    first = fitting[0]
    second = next((r for r in ranked if r is not first), None)
    doubted = any(r.cause.method and r.score >= METHOD_DOUBT for r in ranked)
    close = second is not None and first.score - second.score < LEAD and second.standing != "unlikely"
    if first.standing == "fits" and first.strongest >= STRONG and not close and not doubted:
        return "leads", (Reason("cause-ranking.leads", cause=first.cause.name),)
    near = [r for r in ranked if r.standing != "unlikely" and first.score - r.score < LEAD][:MOST_SHOWN]
    # Causes of different complaints may both be true: only one that explains the same is held against the first.
    same = set(first.cause.explains) & complaints
    beside = [r for r in near if not r.cause.method and not same & set(r.cause.explains)]
    near = [r for r in near if r not in beside]
    if len(near) > 1 or doubted:
        between = Reason("cause-ranking.between", causes=_names(near if len(near) > 1 else ranked[:2]))
        return "open", (between, Reason("cause-ranking.beside", causes=_names(beside))) if beside else (between,)
    if beside:
        return "open", (Reason("cause-ranking.several", causes=_names([first, *beside])),)
    return "open", (Reason("cause-ranking.thin", cause=first.cause.name),)


def _names(ranked: Sequence[RankedCause]) -> tuple[str, ...]:
    return tuple(r.cause.name for r in ranked)


def _settling(ranked: tuple[RankedCause, ...], facts: Mapping[str, str], all_of: Table) -> tuple[Fact, ...]:
    """Facts not known yet, by how far their answers would part the first causes; of equals the easier one first.

    The worth of a fact is the spread, over its values, of the lead that one cause would gain on another.
    """
    rivals = [r for r in ranked if r.standing != "unlikely"][:MOST_SHOWN]
    if len(rivals) < 2:
        return ()
    # While a pump runs on, a look is all that is asked for: nobody closes a valve or waits.
    most_effort = 0 if _any(next((c.signs for c in all_of.complaints if c.name == RUNS_ON), {}), facts) else 3
    learnt = {fact.learn for fact in all_of.facts if fact.learn and fact.name in facts}
    if facts.get("tank-kind") == "plain":
        learnt.add("air")  # a plain tank has no charge to read
    scored = []
    for fact in all_of.facts:
        if fact.name in facts or fact.origin == "log" or fact.learn in learnt or fact.effort > most_effort:
            continue
        worth = sum(_parts(rivals[0].cause, other.cause, fact) / (1 + place) for place, other in enumerate(rivals[1:]))
        if worth >= LEAD:
            scored.append((-worth + fact.effort, fact.effort, fact))
    scored.sort(key=lambda item: item[:2])
    by_learning: dict[str, Fact] = {}
    for _, _, fact in scored:
        by_learning.setdefault(fact.learn or fact.name, fact)  # one look at the air valve tells the charge as well
    return tuple(by_learning.values())[:2]


def _parts(one: Cause, other: Cause, fact: Fact) -> float:
    leads = [_weight(one, fact.name, value) - _weight(other, fact.name, value) for value in fact.values]
    return max(leads) - min(leads)


def _weight(cause: Cause, fact: str, value: str) -> float:
    return sum(e.weight for e in cause.evidence if e.fact == fact and value in e.values)
