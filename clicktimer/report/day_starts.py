"""Starts of a day as blocks: how many, what makes the pump cycle, and the motor's limits, whole or in brief."""

from __future__ import annotations

from collections.abc import Sequence

from clicktimer.day.read import DayReading
from clicktimer.formats import UnitSystem, format_flow, format_share, format_time
from clicktimer.motors import MAKER_WINS, MotorFinding
from clicktimer.report.blocks import Block, Words
from clicktimer.report.day_words import when


def starts_blocks(day: DayReading, units: UnitSystem, *, brief: bool) -> list[Block]:
    """Return starts, what makes the pump cycle, and the motor's limits; brief: these without their sources."""
    s = day.starts
    seen = s.per_day
    a_day = f"{seen.value:.0f}" if seen.low == seen.high else f"{seen.value:.0f} ({seen.low:.0f} to {seen.high:.0f})"
    text = f"Starts a day: {a_day}. Most in an hour: {s.worst_hour}"
    text += f", from {when(day, s.worst_at_s)}." if s.worst_at_s is not None else "."
    text += f" The pump ran {format_share(s.duty)} of the time."
    if s.shortest_rest_s is not None:
        text += f" Shortest rest {format_time(s.shortest_rest_s)}."
    if s.longest_run_s is not None:
        text += f" Longest run {format_time(s.longest_run_s)}, from {when(day, s.longest_at_s)}."
    lines: list[Block] = [Words(text)]
    if s.endless:
        lines.append(Words(f"{s.endless} runs went on for more than five times the run with no water."))
    if s.chatter:
        lines.append(Words(f"{s.chatter} times the switch chattered (on and off within 2 s)."))
    leak = day.seeping.duty if day.seeping.told and day.seeping.duty else 0.0
    for flow in sorted(s.flows, key=lambda f: -f.share)[:3]:
        size, of_all = f"{format_share(flow.use.duty)} of the pump's rate", f"{100 * flow.share:.0f} % of all"
        if flow.use_l_per_min is not None:
            size = f"{format_flow(flow.use_l_per_min, units)} ({size})"
        if abs(flow.use.duty - leak) <= 0.15 * leak:
            text = (
                f"The seeping by itself: {flow.use.count} starts at the least, {of_all}. Stop the leak before anything "
                "else."
            )
        else:
            text = (
                f"A steady use of {size} from {when(day, flow.use.from_s)}: {flow.use.count} starts, {of_all}, "
                f"{flow.per_h:.0f} an hour. {flow.text}"
            )
        lines.append(Words(text, "-"))
    if brief:
        return [*lines, *_motor_brief(s.motor)]
    lines += [Words(finding.text, "-") for finding in s.motor]
    if s.motor:
        lines.append(Words(MAKER_WINS))
    return lines


def _motor_brief(findings: Sequence[MotorFinding]) -> list[Block]:
    """The motor's limits in a line each, without their sources."""
    lines: list[Block] = [Words(_motor_line(f), "-") for f in findings if f.limits]
    if lines:
        settle = "Say --motor and --phase to settle it. " if any(f.answer == "cannot tell" for f in findings) else ""
        lines.append(Words(f"{settle}The maker's own figure wins. Where these come from: --json, docs/formulas.md."))
    return lines


def _motor_line(f: MotorFinding) -> str:
    low, high = min(m.value for m in f.limits), max(m.value for m in f.limits)
    limit = f"{low:g}" if low == high else f"{low:g} to {high:g}, by the motor's power and phase"
    figure = f"{f.seen.value:.0f}" if f.seen.low == f.seen.high else f"{f.seen.low:.0f} to {f.seen.high:.0f}"
    if f.what == "least_run_s":
        head, bound, past = f"A run of {figure} s", f"least of {limit} s", "shorter than"
    else:
        head = f"{figure} starts {'a day' if f.what == 'starts_per_day' else 'in an hour'}"
        bound, past = f"most of {limit}", "more than"
    if f.answer == "cannot tell" and all(m.above for m in f.limits):
        return f"{head}: whether the {bound} for motors {f.limits[0].power_text()} applies is not known."
    words = {
        "within": f"within the {bound}", "outside": f"{past} the {bound}",
        "too close to call": f"too close to the {bound} to call",
    }.get(f.answer, f"to be held against the {bound}")  # fmt: skip
    return f"{head}: {words}."
