"""A proof as text: how many copies were caught, and what that does not say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from clicktimer.records import Reason
from clicktimer.reporting.blocks import Block, Words, lines_of
from clicktimer.reporting.formatting import length_text
from clicktimer.reporting.messages.catalogue import Messages

FEW = 0.5


def proof_lines(proof: Any) -> list[str]:
    """Return what a proof (clicktimer.quality.proof) found, indented, at most 80 columns."""
    return lines_of(proof_blocks(proof))


def proof_blocks(proof: Any, messages: Messages = Messages()) -> list[Block]:
    """Return what a proof (clicktimer.quality.proof) found."""
    return [Words(messages.text(reason)) for reason in _reasons(proof, messages)]


def _reasons(p: Any, messages: Messages) -> Iterator[Reason]:  # noqa: C901
    if p.why is not None:
        yield Reason("proof.nothing", why=p.why)
        return
    sharp = p.what == "sharp sounds"
    usual = _count_text(p.usual, messages, "proof.such-sharp-sounds" if sharp else "proof.such-clicks")
    if p.fainter.put:
        code = "proof.notices-fainter" if sharp else "proof.hears-fainter"
        yield Reason(code, usual=usual, fainter_db=p.fainter_db, fainter=_count_text(p.fainter, messages))
    else:
        yield Reason("proof.notices" if sharp else "proof.hears", usual=usual)
    if p.cut_in.put and p.cut_out.put:
        cut_in, cut_out = (
            messages.text("proof.count", caught=c.caught, put=c.put, noun="") for c in (p.cut_in, p.cut_out)
        )
        yield Reason("proof.both-kinds", cut_in=cut_in, cut_out=cut_out)
    elif p.cut_in.put or p.cut_out.put:
        yield Reason("proof.only-cut-ins" if p.cut_in.put else "proof.only-cut-outs")
    if p.usual.high is not None and p.usual.high < FEW:
        yield Reason("proof.few-caught")
    if p.silent:
        yield Reason("proof.silent", silent=p.silent, passes=p.passes)
    if p.without_click and p.of_all is not None:
        percent = 100 * p.of_all
        yield Reason("proof.without-click", count=p.without_click, reported=p.told_before, of_all_percent=percent)
    if p.others:
        yield Reason("proof.others", hours=p.hours, count=p.others)
    if p.missed_runs is not None:
        low, high = p.missed_runs
        if high >= 0.5:
            yield Reason("proof.missed-runs" if round(high) > 1 else "proof.missed-run", low=low, high=high)
    if p.part_s is not None:
        from_s, to_s = p.part_s
        begin, end, length = (length_text(s) if s else "0 h" for s in (from_s, to_s, to_s - from_s))
        yield Reason("proof.in-part", length=length, begin=begin, end=end)
    yield Reason("proof.method-sharp-sounds" if sharp else "proof.method-clicks")


def _count_text(count: Any, messages: Messages, noun: str = "") -> str:
    """Write a count as "98 of 100", of what, and the interval of its share where it is known."""
    figures = {"caught": count.caught, "put": count.put, "noun": messages.text(noun) if noun else ""}
    if count.low is None or count.high is None:
        return messages.text("proof.count", **figures)
    percent = {"low_percent": 100 * count.low, "high_percent": 100 * count.high}
    return messages.text("proof.count-range", **figures, **percent)


def proof_json(proof: Any) -> dict[str, Any] | None:
    """Return a proof as the JSON document holds it, or None."""
    if proof is None or isinstance(proof, Mapping):
        return proof  # type: ignore[return-value]
    p = proof
    return {
        "what": p.what,
        "why": "" if p.why is None else Messages().text(p.why),
        "usual": p.usual,
        "fainter": p.fainter,
        "fainter_db": p.fainter_db,
        "cut_in": p.cut_in,
        "cut_out": p.cut_out,
        "told_before": p.told_before,
        "told_again": p.told_again,
        "others": p.others,
        "hours": p.hours,
        "passes": p.passes,
        "silent": p.silent,
        "without_click": p.without_click,
        "of_all": p.of_all,
        "missed_runs": None if p.missed_runs is None else {"low": p.missed_runs[0], "high": p.missed_runs[1]},
        "part_s": None if p.part_s is None else {"from": p.part_s[0], "to": p.part_s[1]},
        "interval": "Wilson, 95 %",
    }
