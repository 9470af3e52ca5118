"""Starts of a day as blocks: how many, what makes the pump cycle, and the motor's limits, whole or in brief."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from clicktimer.day.analysis import DayReading
from clicktimer.day.estimate import Amount
from clicktimer.day.start_counts import HOUR_S
from clicktimer.day.starts import ENDLESS_RATIO
from clicktimer.reporting.blocks import Block, Words
from clicktimer.reporting.day_formatting import count_text, excluded_text, in_units, rate_text, share_of, when
from clicktimer.reporting.formatting import half_width_text, length_text
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.motors import MotorFinding
from clicktimer.units.format import UnitSystem, format_time

TOO_SHORT: Final = "too short a recording for a day's figure; 1 hour at the least"
LESS_THAN_AN_HOUR: Final = "Less than an hour was heard, so that an hour may have more; no fewer."


def starts_blocks(day: DayReading, units: UnitSystem, *, brief: bool) -> list[Block]:
    """Return starts, what makes the pump cycle, and the motor's limits; brief: these without their sources."""
    s = day.starts
    seen = s.per_day
    a_day = TOO_SHORT if seen is None else count_text(Amount(seen.value, seen.low, seen.high))
    text = f"Starts a day: {a_day}."
    if day.log.heard_s < HOUR_S:
        text += (
            f" Starts in the {length_text(day.log.heard_s)} heard: {count_text(s.counts.starts)}. {LESS_THAN_AN_HOUR}"
        )
    else:
        text += f" Most in an hour: {count_text(s.counts.worst_hour)}"
        text += f", from {when(day, s.worst_at_s)}." if s.worst_at_s is not None else "."
    if day.log.cycles:
        text += f" The pump ran {share_of(s.counts.duty)} of the time heard."
    else:
        text += " Whether the pump ran is not told: no click of its switch was heard."
    lengths = []
    if s.shortest_rest_s is not None:
        lengths.append(f"Shortest rest {_timed(s.shortest_rest_s)}")
    if s.shortest_run_s is not None and s.shortest_run_s != s.longest_run_s:
        lengths.append(f"shortest run {_timed(s.shortest_run_s)}{_by_sound(day, s.shortest_run_s)}")
    if s.longest_run_s is not None:
        doubted = any(r.why == "clicks in doubt" and r.at_s == s.longest_at_s for r in day.excluded)
        longest = f"longest run {_timed(s.longest_run_s)}, from {when(day, s.longest_at_s)}"
        lengths.append(longest + (" (in doubt)" if doubted else _by_sound(day, s.longest_run_s)))
    if lengths:
        text += f" {', '.join(lengths)}.".replace(f" {lengths[0][0]}", f" {lengths[0][0].upper()}", 1)
    lines: list[Block] = [Words(text)]
    if day.excluded:
        lines.append(Words(f"Left out or in doubt: {excluded_text(day)}."))
    if s.endless:
        lines.append(Words(_endless(day)))
    if s.chatter:
        times = f"{s.chatter} time{'' if s.chatter == 1 else 's'}"
        words = "clicks came close together (within 2 s): the switch chatters, or another sound lies on it."
        lines.append(Words(f"{times} {words}"))
    for flow in sorted(s.flows, key=lambda f: -f.share.value)[:3]:
        size, of_all = f"{share_of(flow.use.duty_interval)} of the pump's rate", f"{share_of(flow.share)} of all"
        if flow.flow is not None:
            size = in_units(flow.flow, "L/min", units)
        if day.leak.is_flow(flow.use.duty):
            text = f"The seeping by itself: {flow.use.count} starts at the least, {of_all}. {flow.text}"
        else:
            text = (
                f"A steady use of {size} from {when(day, flow.use.from_s)}: {flow.use.count} starts, {of_all}, "
                f"{rate_text(flow.per_h)} an hour while it lasts. {flow.text}"
            )
        lines.append(Words(text, "-"))
    if brief:
        return [*lines, *_motor_brief(s.motor)]
    motor = Messages()  # in US units, whatever the day's own
    lines += [Words(motor.texts(finding.reasons), "-") for finding in s.motor]
    if s.motor:
        lines.append(Words(motor.text("motor.maker-wins")))
    return lines


def _by_sound(day: DayReading, length: Amount) -> str:
    """What is said behind a length of which one end was told by the pump's sound alone."""
    by_sound = any(r.why == "by the pump's sound" and r.run_s == length.value for r in day.excluded)
    return " (an end by the pump's sound)" if by_sound else ""


def _endless(day: DayReading) -> str:
    """Runs over five times the run with no water, and which of them may not be one run."""
    count = day.starts.endless
    text = f"{count} run{'' if count == 1 else 's'} went on for more than five times the run with no water."
    r0_s = day.no_use.seconds or 0.0
    doubted = sum(r.why == "clicks in doubt" and (r.run_s or 0.0) > ENDLESS_RATIO * r0_s for r in day.excluded)
    if not doubted:
        return text
    which = "It" if count == 1 else "They" if doubted == count else f"{doubted} of them"
    return f"{text} {which} may be no such run: a false click, or clicks missed in between, look the same."


def _timed(a: Amount) -> str:
    half_s = (a.high - a.low) / 2
    return format_time(a.value) + (f" ({half_width_text(half_s)})" if half_s > 0 else "")


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
    seen_low, seen_high = math.floor(f.seen.low + 1e-9), math.ceil(f.seen.high - 1e-9)
    figure = f"{f.seen.value:.0f}" if seen_low == seen_high else f"{seen_low} to {seen_high}"
    if f.what == "least_run_s":
        head, bound, past, kept = f"A run of {figure} s", f"least of {limit} s", "shorter than", "no shorter than"
    else:
        head = f"{figure} starts {'a day' if f.what == 'starts_per_day' else 'in an hour'}"
        bound, past, kept = f"most of {limit}", "more than", "within"
    if f.answer == "cannot tell" and all(m.above for m in f.limits):
        return f"{head}: whether the {bound} for motors {Messages().text(f.limits[0].power)} applies is not known."
    words = {
        "within": f"{kept} the {bound}",
        "outside": f"{past} the {bound}",
        "too close to call": f"too close to call against the {bound}",
    }.get(f.answer, f"to be held against the {bound}")
    return f"{head}: {words}."
