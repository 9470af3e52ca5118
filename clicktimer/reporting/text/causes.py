"""The section on causes: what fits, with the evidence for and against, what would settle it, and the check by hand."""

from __future__ import annotations

from typing import Any

from clicktimer.assessment.causes.ranking import CausesResult, RankedCause, lower_title
from clicktimer.assessment.causes.table import Evidence
from clicktimer.reporting.blocks import SPACE, Block, Words, lines_of
from clicktimer.reporting.messages.catalogue import Messages

STANDING = {"fits": "fits", "possible": "possible", "unlikely": "unlikely"}
SILENT = ("no-trouble", "nothing-to-go-on")
MOST_CHECKS = 2
BASIS = (
    "Ranked by the signs listed, weighed by common practice in the trade: no source, no probability. What is not known "
    "counts for nothing."
)

EACH = "Each is described as it would be if it were the one."
AS_ABOVE = "Here as above: {begins}"
NO_CHECK = (
    "No check by hand is listed: for a run somewhat below the mark nobody should drain a tank. The JSON (--json) has "
    "them, with their cautions."
)


def causes_lines(result: CausesResult | None) -> list[str]:
    """Return the section as lines of at most 80 columns, without its heading; empty where there is nothing to say."""
    return lines_of(causes_blocks(result))


def causes_blocks(result: CausesResult | None, messages: Messages = Messages()) -> list[Block]:
    """Return the section without its heading; empty where there is nothing to say.

    The checks by hand follow, each with its cautions and where to stop, unless all that is wrong is a run somewhat
    below the mark: that is rarely a trouble, and nobody should drain a tank for it.
    """
    if result is None or result.status in SILENT:
        return []
    lines: list[Block] = [Words(caution, "!") for caution in result.first]
    lines.append(Words(result.text))
    if result.status == "does-not-apply":
        lines += _why_not(result)
    else:
        if result.status == "open" and len(result.shown) > 1:
            lines.append(Words(EACH))
        for number, ranked in enumerate(result.shown, start=1):
            lines += [SPACE, *_cause_lines(number, ranked)]
        lines += [SPACE, *_settle_lines(result), Words(BASIS)]
    if not _worth_a_check(result):
        return [*lines, Words(NO_CHECK)]
    return lines + _check_lines(result)


def _worth_a_check(result: CausesResult) -> bool:
    return len(result.complaints) > 1 or result.facts.get("run") != "below-mark"


def _why_not(result: CausesResult) -> list[Block]:
    lines: list[Block] = []
    for ranked in result.shown:
        lines.append(Words(f"Seen: {_said(ranked.supports)}.", "-"))
        lines.append(Words(f"To be sure: {ranked.cause.settle_for(result.facts)}", "-"))
        if ranked.cause.licensed:
            lines.append(Words(ranked.cause.licensed, "!"))
    return lines


def _cause_lines(number: int, ranked: RankedCause) -> list[Block]:
    cause = ranked.cause
    lines: list[Block] = [Words(f"{cause.title} ({STANDING[ranked.standing]}). {cause.what}", f"{number}.")]
    if ranked.supports:
        lines.append(Words(f"for: {_said(ranked.supports)}", "+", 5))
    if ranked.against:
        lines.append(Words(f"against: {_said(ranked.against)}", "-", 5))
    if not ranked.supports and not ranked.against:
        lines.append(Words("nothing is known for or against it", ".", 5))
    return lines


def _said(evidence: tuple[Evidence, ...]) -> str:
    return "; ".join(e.says for e in evidence)


def _settle_lines(result: CausesResult) -> list[Block]:
    if result.stop:
        return [Words("Do not look for more by hand while it is so: off at the disconnect, and call.", "!")]
    hows = [fact.how_for(result.facts) for fact in result.settle]
    if not hows and result.shown:
        hows = [result.shown[0].cause.settle_for(result.facts)]
    lines: list[Block] = []
    for place, how in enumerate(hows):
        head = "To be sure" if result.status == "leads" else "To settle it" if place == 0 else "Or"
        lines.append(Words(f"{head}: {how}"))
    return lines


def _check_lines(result: CausesResult) -> list[Block]:
    """The checks for the causes shown, each caution once; what is far down the list has its check in the JSON alone."""
    lines: list[Block] = []
    said = set(result.first)
    for check in result.checks[:MOST_CHECKS]:
        lines += [SPACE, Words(f"Check by hand: {check.title}")]
        for caution in (c for c in check.caution_texts if c not in said):
            lines.append(Words(caution, "!"))
        again = [c for c in check.caution_texts if c in said and c not in result.first]
        if again:  # in full once; how it begins is enough the next time
            lines.append(Words(AS_ABOVE.format(begins=" ".join(c.split(". ")[0] + "." for c in again)), "!"))
        said |= set(check.caution_texts)
        for number, step in enumerate(check.steps, start=1):
            lines.append(Words(step, f"{number}.", 4))
        for ranked in result.shown:
            if ranked.cause.check == check.name and ranked.cause.licensed and result.status != "does-not-apply":
                lines.append(Words(f"Stop and call ({lower_title(ranked.cause.title)}): {ranked.cause.licensed}", "!"))
    return lines


def cautions_shown(result: CausesResult | None) -> frozenset[str]:
    """Return the cautions that the section's checks hold, so that a report need not say them twice."""
    if result is None or result.status in SILENT:
        return frozenset()
    checks = result.checks[:MOST_CHECKS] if _worth_a_check(result) else ()
    return frozenset(result.first) | {text for check in checks for text in check.caution_texts}


def causes_json(result: CausesResult | None) -> dict[str, Any] | None:
    """Return the result as plain data for JSON: every cause that was weighed with its evidence; None for none.

    score: sum of the table's weights, no probability.
    """
    if result is None:
        return None
    return {
        "status": result.status,
        "text": result.text,
        "complaints": list(result.complaints),
        "first": list(result.first),
        "stop": result.stop,
        "facts": dict(sorted(result.facts.items())),
        "ranked": [
            {
                "name": r.cause.name,
                "title": r.cause.title,
                "standing": r.standing,
                "score": r.score,
                "method": r.cause.method,
                "supports": [_evidence_json(e) for e in r.supports],
                "against": [_evidence_json(e) for e in r.against],
                "settle": r.cause.settle_for(result.facts),
                "licensed": r.cause.licensed,
                "check": r.cause.check,
            }
            for r in result.ranked
        ],
        "settle": [{"fact": f.name, "how": f.how_for(result.facts)} for f in result.settle],
        "checks": [
            {"name": c.name, "title": c.title, "steps": list(c.steps), "cautions": list(c.caution_texts)}
            for c in result.checks
        ],
    }


def _evidence_json(evidence: Evidence) -> dict[str, Any]:
    return {"fact": evidence.fact, "weight": evidence.weight, "text": evidence.says}
