"""The section on causes: what fits, with the evidence for and against, what would settle it, and the check by hand."""

from __future__ import annotations

from typing import Any

from clicktimer.causes.ranking import CausesResult, RankedCause
from clicktimer.causes.table import Evidence
from clicktimer.report.words import wrap

STANDING = {"fits": "fits", "possible": "possible", "unlikely": "unlikely"}
SILENT = ("no-trouble", "nothing-to-go-on")
MOST_CHECKS = 2
BASIS = (
    "Ranked by the signs listed, weighed by common practice in the trade: no source, no probability. What is not known "
    "counts for nothing. The whole table: docs/causes.md."
)


def causes_lines(result: CausesResult | None) -> list[str]:
    """Return the section as lines of at most 80 columns, without its heading; empty where there is nothing to say.

    The checks by hand follow, each with its cautions and where to stop, unless all that is wrong is a run somewhat
    below the mark: that is rarely a trouble, and nobody should drain a tank for it.
    """
    if result is None or result.status in SILENT:
        return []
    lines = [line for caution in result.first for line in wrap(caution, "  ! ", "    ")]
    lines += wrap(result.text, "  ")
    if result.status == "does-not-apply":
        lines += _why_not(result)
    else:
        for number, ranked in enumerate(result.shown, start=1):
            lines += ["", *_cause_lines(number, ranked)]
        lines += ["", *_settle_lines(result), *wrap(BASIS, "  ")]
    if not _worth_a_check(result):
        return lines + wrap("The checks by hand, with their cautions: docs/causes.md.", "  ")
    return lines + _check_lines(result)


def _worth_a_check(result: CausesResult) -> bool:
    return len(result.complaints) > 1 or result.facts.get("run") != "below-mark"


def _why_not(result: CausesResult) -> list[str]:
    lines: list[str] = []
    for ranked in result.shown:
        lines += wrap(f"Seen: {_said(ranked.supports)}.", "  - ", "    ")
        lines += wrap(f"To be sure: {ranked.cause.settle}", "  - ", "    ")
        if ranked.cause.licensed:
            lines += wrap(ranked.cause.licensed, "  ! ", "    ")
    return lines


def _cause_lines(number: int, ranked: RankedCause) -> list[str]:
    cause = ranked.cause
    lines = wrap(f"{number}. {cause.title} ({STANDING[ranked.standing]}). {cause.what}", "  ", "     ")
    if ranked.supports:
        lines += wrap(f"for: {_said(ranked.supports)}", "     + ", "       ")
    if ranked.against:
        lines += wrap(f"against: {_said(ranked.against)}", "     - ", "       ")
    if not ranked.supports and not ranked.against:
        lines += wrap("nothing is known for or against it", "     . ", "       ")
    return lines


def _said(evidence: tuple[Evidence, ...]) -> str:
    return "; ".join(e.says for e in evidence)


def _settle_lines(result: CausesResult) -> list[str]:
    if result.stop:
        return wrap("Do not look for more by hand while it is so: off at the disconnect, and call.", "  ! ", "    ")
    hows = [fact.how for fact in result.settle]
    if not hows and result.shown:
        hows = [result.shown[0].cause.settle]
    lines: list[str] = []
    for place, how in enumerate(hows):
        head = "To be sure" if result.status == "leads" else "To settle it" if place == 0 else "Or"
        lines += wrap(f"{head}: {how}", "  ", "    ")
    return lines


def _check_lines(result: CausesResult) -> list[str]:
    """The checks for the causes shown; for what is far down the list the table in docs/causes.md must do."""
    lines: list[str] = []
    for check in result.checks[:MOST_CHECKS]:
        lines += ["", *wrap(f"Check by hand: {check.title}", "  ")]
        for caution in (c for c in check.caution_texts if c not in result.first):
            lines += wrap(caution, "  ! ", "    ")
        for number, step in enumerate(check.steps, start=1):
            lines += wrap(f"{number}. {step}", "    ", "       ")
        for ranked in result.shown:
            if ranked.cause.check == check.name and ranked.cause.licensed and result.status != "does-not-apply":
                lines += wrap(f"Stop and call ({_lower(ranked.cause.title)}): {ranked.cause.licensed}", "  ! ", "    ")
    return lines


def cautions_shown(result: CausesResult | None) -> frozenset[str]:
    """Return the cautions that the section's checks hold, so that a report need not say them twice."""
    if result is None or result.status in SILENT:
        return frozenset()
    checks = result.checks[:MOST_CHECKS] if _worth_a_check(result) else ()
    return frozenset(result.first) | {text for check in checks for text in check.caution_texts}


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]


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
                "settle": r.cause.settle,
                "licensed": r.cause.licensed,
                "check": r.cause.check,
            }
            for r in result.ranked
        ],
        "settle": [{"fact": f.name, "how": f.how} for f in result.settle],
        "checks": [
            {"name": c.name, "title": c.title, "steps": list(c.steps), "cautions": list(c.caution_texts)}
            for c in result.checks
        ],
    }


def _evidence_json(evidence: Evidence) -> dict[str, Any]:
    return {"fact": evidence.fact, "weight": evidence.weight, "text": evidence.says}
