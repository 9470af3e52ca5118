"""Two results side by side as text: each figure with its interval, no more digits than that gives, and what changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from clicktimer.day.comparison import Comparison, Difference, Judgment, NotCompared
from clicktimer.reporting.blocks import Block, Rows, Words, lines_of
from clicktimer.reporting.day_formatting import in_units_of
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.cautions import NO_CERTIFICATE
from clicktimer.reporting.messages.day_figures import at_most_text
from clicktimer.units.conversions import l_to_gal
from clicktimer.units.format import UnitSystem, format_ends, format_interval

US: Final = {"L": "gal", "L/min": "gpm"}


def render_comparison(
    c: Comparison,
    *,
    units: UnitSystem = "us",
    emphasis: Callable[[str], str] = str,
    messages: Messages = Messages(),
) -> str:
    """Return two results side by side as text that ends in a newline."""
    messages = in_units_of(messages, units)
    rows = [_row(in_units(raw, units), messages) for raw in c.differences]
    header = ("", "before", "after", "what changed")
    head = f"{_of(c.before, c.before_heard_s, messages)} and {_of(c.after, c.after_heard_s, messages)}"
    blocks: list[Block] = [Words(head), Rows(header, rows, ("<", ">", ">", "<"))]
    if not rows:
        blocks.append(Words(messages.text("compare.nothing")))
    blocks += [Words(_judgment(j, messages)) for j in c.judgments]
    if c.repeatability is not None:
        blocks.append(Words(messages.text(c.repeatability)))
    blocks += [Words(_not_compared(n, messages)) for n in c.not_compared]
    lines = [emphasis("BEFORE AND AFTER"), *lines_of(blocks)]
    if c.valve is not None:
        said = [Words(messages.text(c.valve)), Words(NO_CERTIFICATE, "!")]
        lines += ["", emphasis("The valve test"), *lines_of(said)]
    return "\n".join(lines) + "\n"


def _row(d: Difference, messages: Messages) -> tuple[str, str, str, str]:
    before, after = side_texts(d, messages)
    name, ends = row_name(d, messages), change_ends(d)
    finding = messages.text(f"compare.finding.{d.finding_code}")
    return f"{name}, {d.unit}" if d.unit else name, before, after, f"{finding}, {ends}" if ends else finding


def row_name(d: Difference, messages: Messages = Messages()) -> str:
    """Return what a figure is called where a line has 80 columns."""
    return messages.text(f"compare.row.{d.code}")


def _judgment(j: Judgment, messages: Messages) -> str:
    return messages.text(f"compare.judgment.{j.name}", before=j.before, after=j.after, finding=j.finding_code)


def _not_compared(n: NotCompared, messages: Messages) -> str:
    rows = "; ".join(messages.text(f"compare.row.{code}") for code in n.codes)
    if n.side == "before":
        return messages.text("compare.not-compared-before", rows=rows, why=n.reason)
    return messages.text("compare.not-compared-after", rows=rows, why=n.reason)


def _of(name: str, heard_s: float | None, messages: Messages) -> str:
    return name if heard_s is None else messages.text("compare.of", name=name, heard_s=heard_s)


def in_units(d: Difference, units: UnitSystem) -> Difference:
    """Return the same in gallons and gallons a minute where US units are asked for; ``d`` is in litres."""
    if units != "us" or d.unit not in US:
        return d

    def gallons(volume_l: float | None) -> float | None:
        return None if volume_l is None else l_to_gal(volume_l)

    return replace(
        d,
        unit=US[d.unit],
        before=gallons(d.before),
        after=gallons(d.after),
        low=gallons(d.low),
        high=gallons(d.high),
        before_low=gallons(d.before_low),
        before_high=gallons(d.before_high),
        after_low=gallons(d.after_low),
        after_high=gallons(d.after_high),
    )


def figure_text(value: float | None, low: float | None, high: float | None, messages: Messages = Messages()) -> str:
    """Return a figure with no more digits than its interval gives it: "41 (38 to 45)"; "not told"."""
    if value is None:
        return messages.text("compare.not-told")
    return format_interval(value, value if low is None else low, value if high is None else high)


def side_texts(d: Difference, messages: Messages = Messages()) -> tuple[str, str]:
    """Return both figures of a difference; of a leak that was not detected only its limit: "at most 0.08"."""

    def side(value: float | None, low: float | None, high: float | None) -> str:
        if d.name == "seeping" and value == 0.0 and high is not None:
            return messages.text("compare.at-most", most=at_most_text(high))
        return figure_text(value, low, high, messages)

    return side(d.before, d.before_low, d.before_high), side(d.after, d.after_low, d.after_high)


def change_ends(d: Difference) -> str:
    """Return by how much a figure changed, where it did: "85 to 129"; else empty."""
    if d.low is None or d.high is None or d.finding not in ("more", "less"):
        return ""
    small, large = sorted((abs(d.low), abs(d.high)))
    return format_ends(small, large)
