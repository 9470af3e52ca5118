"""The section on causes: what fits, with the evidence for and against, what would settle it, and the check by hand."""

from __future__ import annotations

from typing import Any

from clicktimer.assessment.causes.result import CausesResult, RankedCause
from clicktimer.records import Reason
from clicktimer.reporting.blocks import SPACE, Block, Words, lines_of
from clicktimer.reporting.json.values import reasons_json
from clicktimer.reporting.messages.catalogue import Messages

AIR = "air"
"""How the air charge is learned: on the drained tank."""
SILENT = ("no-trouble", "nothing-to-go-on")
MOST_CHECKS = 2


def causes_lines(result: CausesResult | None) -> list[str]:
    """Return the section as lines of at most 80 columns, without its heading; empty where there is nothing to say."""
    return lines_of(causes_blocks(result))


def causes_blocks(result: CausesResult | None, messages: Messages = Messages()) -> list[Block]:
    """Return the section without its heading; empty where there is nothing to say.

    The checks by hand follow, each with its cautions and where to stop, unless all that is wrong is a run somewhat
    below the target: that is rarely a trouble, and nobody should drain a tank for it.
    """
    if result is None or result.status in SILENT:
        return []
    lines: list[Block] = [Words(messages.text(caution), "!") for caution in result.first]
    lines.append(Words(messages.texts(result.reasons)))
    if result.status == "does-not-apply":
        lines += _why_not(result, messages)
    else:
        if result.status == "open" and len(result.shown) > 1:
            lines.append(Words(messages.text("cause-ranking.each")))
        for number, ranked in enumerate(result.shown, start=1):
            lines += [SPACE, *_cause_lines(number, ranked, messages)]
        lines += [SPACE, *_settle_lines(result, messages), Words(messages.text("cause-ranking.basis"))]
    if not _worth_a_check(result):
        return [*lines, Words(messages.text("cause-ranking.no-check"))]
    return lines + _check_lines(result, messages)


def _worth_a_check(result: CausesResult) -> bool:
    return len(result.complaints) > 1 or result.facts.get("run") != "below-mark"


def _why_not(result: CausesResult, messages: Messages) -> list[Block]:
    lines: list[Block] = []
    for ranked in result.shown:
        how = ranked.cause.settle_for(result.facts)
        lines.append(Words(messages.text("cause-ranking.seen", signs=ranked.supports), "-"))
        lines.append(Words(messages.text("cause-ranking.to-be-sure", how=how), "-"))
        lines += [Words(messages.text(stop), "!") for stop in ranked.cause.stop]
    return lines


def _cause_lines(number: int, ranked: RankedCause, messages: Messages) -> list[Block]:
    head = messages.text("cause-ranking.one", cause=ranked.cause.name, standing=ranked.standing)
    lines: list[Block] = [Words(head, f"{number}.")]
    if ranked.supports:
        lines.append(Words(messages.text("cause-ranking.for", signs=ranked.supports), "+", 5))
    if ranked.against:
        lines.append(Words(messages.text("cause-ranking.against", signs=ranked.against), "-", 5))
    if not ranked.supports and not ranked.against:
        lines.append(Words(messages.text("cause-ranking.nothing-known"), ".", 5))
    return lines


def _settle_lines(result: CausesResult, messages: Messages) -> list[Block]:
    if result.stop:
        return [Words(messages.text("cause-ranking.look-no-further"), "!")]
    # Where no check by hand is listed, nothing that needs one is asked for.
    asked = [fact for fact in result.settle if fact.learn != AIR or _worth_a_check(result)]
    hows = [fact.how_for(result.facts) for fact in asked]
    if not result.settle and result.shown:
        hows = [result.shown[0].cause.settle_for(result.facts)]
    lines: list[Block] = []
    for place, how in enumerate(hows):
        code = "cause-ranking.to-be-sure" if result.status == "leads" else "cause-ranking.to-settle"
        lines.append(Words(messages.text("cause-ranking.or" if place and result.status != "leads" else code, how=how)))
    return lines


def _check_lines(result: CausesResult, messages: Messages) -> list[Block]:
    """The checks for the causes shown, each caution once; what is far down the list has its check in the JSON alone."""
    lines: list[Block] = []
    said = set(result.first)
    for check in result.checks[:MOST_CHECKS]:
        lines += [SPACE, Words(messages.text("cause-ranking.check", check=check.name))]
        lines += [Words(messages.text(caution), "!") for caution in check.caution_reasons if caution not in said]
        again = [
            name
            for name, caution in zip(check.cautions, check.caution_reasons, strict=True)
            if caution in said and caution not in result.first
        ]
        if again:  # in full once; how it begins is enough the next time
            begins = messages.texts(Reason(f"caution-begins.{name}") for name in again)
            lines.append(Words(messages.text("cause-ranking.as-above", begins=begins), "!"))
        said |= set(check.caution_reasons)
        for number, step in enumerate(check.steps, start=1):
            lines.append(Words(messages.text(step), f"{number}.", 4))
        for ranked in result.shown:
            if (
                ranked.cause.check_for(result.facts) == check.name
                and ranked.cause.licensed
                and result.status != "does-not-apply"
            ):
                lines.append(Words(messages.text("cause-ranking.stop", cause=ranked.cause.name), "!"))
    return lines


def cautions_shown(result: CausesResult | None) -> frozenset[Reason]:
    """Return the cautions that the section's checks hold, so that a report need not say them twice."""
    if result is None or result.status in SILENT:
        return frozenset()
    checks = result.checks[:MOST_CHECKS] if _worth_a_check(result) else ()
    return frozenset(result.first) | {caution for check in checks for caution in check.caution_reasons}


def causes_json(result: CausesResult | None) -> dict[str, Any] | None:
    """Return the result as plain data for JSON: every cause that was weighed with its evidence; None for none.

    score: sum of the table's weights, no probability.
    """
    if result is None:
        return None
    messages = Messages()
    return {
        "status": result.status,
        "text": messages.texts(result.reasons),
        "reasons": reasons_json(result.reasons),
        "complaints": [messages.text(f"complaint.{name}") for name in result.complaints],
        "first": [messages.text(caution) for caution in result.first],
        "stop": result.stop,
        "facts": dict(sorted(result.facts.items())),
        "ranked": [
            {
                "name": r.cause.name,
                "title": messages.text(r.cause.title),
                "standing": r.standing,
                "score": r.score,
                "method": r.cause.method,
                "supports": [_evidence_json(e, messages) for e in r.supports],
                "against": [_evidence_json(e, messages) for e in r.against],
                "settle": messages.text(r.cause.settle_for(result.facts)),
                "licensed": messages.texts(r.cause.stop),
                "check": r.cause.check_for(result.facts),
            }
            for r in result.ranked
        ],
        "settle": [{"fact": f.name, "how": messages.text(f.how_for(result.facts))} for f in result.settle],
        "checks": [
            {
                "name": c.name,
                "title": messages.text(c.title),
                "steps": [messages.text(step) for step in c.steps],
                "cautions": [messages.text(caution) for caution in c.caution_reasons],
            }
            for c in result.checks
        ],
    }


def _evidence_json(evidence: Reason, messages: Messages) -> dict[str, Any]:
    return {
        "fact": evidence["fact"],
        "weight": evidence["weight"],
        "text": messages.text(evidence),
        "reasons": reasons_json((evidence,)),
    }
