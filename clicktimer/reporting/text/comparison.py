"""Two results side by side as text: each figure with its interval, no more digits than that gives, and what changed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from clicktimer.day.comparison import Comparison, Difference
from clicktimer.reporting.blocks import Block, Rows, Words, lines_of
from clicktimer.reporting.day_formatting import up
from clicktimer.reporting.formatting import length_text
from clicktimer.reporting.messages.cautions import NO_CERTIFICATE
from clicktimer.units.conversions import l_to_gal
from clicktimer.units.format import UnitSystem, format_ends, format_interval

SHORT: Final = {
    "run with no water in use": "run, no water",
    "starts in the worst hour": "starts, worst hour",
    "share of the time that the pump ran": "time the pump ran",
}
"""What the rows are called where a line has 80 columns."""
US: Final = {"L": "gal", "L/min": "gpm"}


def render_comparison(c: Comparison, *, units: UnitSystem = "us", emphasis: Callable[[str], str] = str) -> str:
    """Return two results side by side as text that ends in a newline."""

    rows = []
    for raw in c.differences:
        d = in_units(raw, units)
        name = SHORT.get(d.name, d.name) + (f", {d.unit}" if d.unit else "")
        before, after = side_texts(d)
        rows.append((name, before, after, d.finding + change_text(d).replace("by", ",", 1)))
    header = ("", "before", "after", "what changed")
    blocks: list[Block] = [
        Words(f"{_of(c.before, c.before_heard_s)} and {_of(c.after, c.after_heard_s)}"),
        Rows(header, rows, ("<", ">", ">", "<")),
    ]
    if not rows:
        blocks.append(Words("Neither holds a figure that can be compared: measure both again with the taps known."))
    blocks += [Words(f"Not told {n.side}: {'; '.join(SHORT.get(x, x) for x in n.names)}: {n.why}.") for n in c.not_told]
    lines = [emphasis("BEFORE AND AFTER"), *lines_of(blocks)]
    if c.valve:
        lines += ["", emphasis("The valve test"), *lines_of([Words(c.valve), Words(NO_CERTIFICATE, "!")])]
    return "\n".join(lines) + "\n"


def _of(name: str, heard_s: float | None) -> str:
    return name if heard_s is None else f"{name} ({length_text(heard_s)})"


def in_units(d: Difference, units: UnitSystem) -> Difference:
    """The same in gallons and gallons a minute where US units are asked for; ``d`` is in litres."""
    if units != "us" or d.unit not in US:
        return d

    def turned(value: float | None) -> float | None:
        return None if value is None else l_to_gal(value)

    return Difference(
        d.name,
        US[d.unit],
        turned(d.before),
        turned(d.after),
        turned(d.low),
        turned(d.high),
        d.finding,
        turned(d.before_low),
        turned(d.before_high),
        turned(d.after_low),
        turned(d.after_high),
    )


def figure_text(value: float | None, low: float | None, high: float | None) -> str:
    """A figure with no more digits than its interval gives it: "41 (38 to 45)"; "not told"."""
    if value is None:
        return "not told"
    return format_interval(value, value if low is None else low, value if high is None else high)


def side_texts(d: Difference) -> tuple[str, str]:
    """Both figures of a difference; of seeping that is not told only its limit: "at most 0.08"."""

    def side(value: float | None, low: float | None, high: float | None) -> str:
        if d.name == "seeping" and value == 0.0 and high is not None:
            return f"at most {up(high)}"
        return figure_text(value, low, high)

    return side(d.before, d.before_low, d.before_high), side(d.after, d.after_low, d.after_high)


def change_text(d: Difference) -> str:
    """By how much a figure changed, where it did: "by 85 to 129"; else empty."""
    if d.low is None or d.high is None or d.finding not in ("more", "less"):
        return ""
    small, large = sorted((abs(d.low), abs(d.high)))
    return f"by {format_ends(small, large)}"
