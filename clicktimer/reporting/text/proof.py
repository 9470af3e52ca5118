"""A proof as text: how many copies were caught, and what that does not say."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from clicktimer.reporting.blocks import Block, Words, lines_of
from clicktimer.reporting.formatting import length_text
from clicktimer.reporting.messages.catalogue import Messages

NOT_SAID = (
    "The copies are as loud as the clicks that were told: a switch whose clicks are usually missed is heard less often "
    "than this."
)
IN_PART = (
    "The recording is long: this was counted in {length} of it, from {begin} to {end} after its beginning, where most "
    "of its clicks lie. The rest may be louder or quieter."
)
FEW = 0.5
FEW_CAUGHT = (
    "So few of its own copies are caught that the clicks which were told may themselves be something else: do not "
    "rely on them."
)


def proof_lines(proof: Any) -> list[str]:
    """Return what a proof (clicktimer.quality.proof) found, indented, at most 80 columns."""
    return lines_of(proof_blocks(proof))


def proof_blocks(proof: Any, messages: Messages = Messages()) -> list[Block]:
    """Return what a proof (clicktimer.quality.proof) found."""
    p = proof
    if p.why:
        return [Words(f"Nothing could be proved: {p.why}.")]
    snaps = p.what == "sharp sounds"
    such = "such sharp sounds" if snaps else "such clicks"
    verb = "notices" if snaps else "hears"
    text = f"Here it {verb} {count_text(p.usual)} {such}{_range(p.usual)}"
    if p.fainter.put:
        text += f"; one {p.fainter_db:g} dB fainter, {count_text(p.fainter)}{_range(p.fainter)}"
    lines: list[Block] = [Words(f"{text}.")]
    if p.cut_in.put and p.cut_out.put:
        lines.append(Words(f"Cut-in {count_text(p.cut_in)}, cut-out {count_text(p.cut_out)}."))
    elif p.cut_in.put or p.cut_out.put:
        kind, other = ("cut-in", "cut-out") if p.cut_in.put else ("cut-out", "cut-in")
        text = f"All of them are {kind}s: no {other} was told, so how many of those are heard is not known."
        lines.append(Words(text))
    if p.usual.high is not None and p.usual.high < FEW:
        lines.append(Words(FEW_CAUGHT))
    if p.silent:
        text = f"In {p.silent} of {p.passes} hearings nothing at all could be told; these count in none of the figures."
        lines.append(Words(text))
    if p.without_click and p.of_all is not None:
        lines.append(
            Words(
                f"The pump's sound shows {p.without_click} start{'' if p.without_click == 1 else 's'} or stops at "
                f"which no click was told, beside {p.told_before} that were: of all clicks here rather "
                f"{100 * p.of_all:.0f} %."
            )
        )
    if p.others:
        lines.append(
            Words(
                f"In {p.hours:.1f} h of hearing, {p.others} click{'' if p.others == 1 else 's'} more "
                f"{'was' if p.others == 1 else 'were'} told: missed before, or invented."
            )
        )
    if p.missed_runs is not None:
        low, high = p.missed_runs
        if high >= 0.5:
            about = f"about {low:.0f} to {high:.0f} runs" if round(high) > 1 else "about one run"
            lines.append(Words(f"So {about} may have been missed with both clicks; with one missed, a run is told."))
    if p.part_s is not None:
        from_s, to_s = p.part_s
        begin, end, length = (length_text(s) if s else "0 h" for s in (from_s, to_s, to_s - from_s))
        lines.append(Words(IN_PART.format(length=length, begin=begin, end=end)))
    made = "snaps" if snaps else "clicks"
    lines.append(
        Words(
            f"Counted with copies of this recording's own {made}, laid into its own background at random places (95 % "
            f"interval). {'A snap is not a switch.' if snaps else NOT_SAID}"
        )
    )
    return lines


def proof_json(proof: Any) -> dict[str, Any] | None:
    """Return a proof as the JSON document holds it, or None."""
    if proof is None or isinstance(proof, Mapping):
        return proof  # type: ignore[return-value]
    p = proof
    return {
        "what": p.what,
        "why": p.why,
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


def count_text(count: Any) -> str:
    """Return a count as "98 of 100"."""
    return f"{count.caught} of {count.put}"


def _range(count: Any) -> str:
    if count.low is None or count.high is None:
        return ""
    return f" ({100 * count.low:.0f} to {100 * count.high:.0f} %)"
