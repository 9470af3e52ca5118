"""Starts of a day as blocks: how many, what makes the pump cycle, and the motor's limits, whole or in brief."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from clicktimer.day.analysis import DayReading
from clicktimer.day.estimate import Amount
from clicktimer.day.start_counts import HOUR_S
from clicktimer.day.starts import FlowFound
from clicktimer.records import Reason
from clicktimer.reporting.blocks import Block, Words
from clicktimer.reporting.day_formatting import excluded_text, moment
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.motors import MotorFinding

MOST_FLOWS: Final = 3


def starts_blocks(day: DayReading, messages: Messages, *, brief: bool) -> list[Block]:
    """Return starts, what makes the pump cycle, and the motor's limits; brief: these without their sources."""
    s = day.starts
    lines: list[Block] = [Words(messages.texts([*_counts(day), *_lengths(day)]))]
    if day.excluded:
        lines.append(Words(messages.text("day.excluded-runs", runs=excluded_text(day, messages))))
    if s.endless:
        lines.append(Words(messages.text(_endless(day))))
    if s.chatter:
        lines.append(Words(messages.text("day.chatter", count=s.chatter)))
    for flow in sorted(s.flows, key=lambda f: -f.share.value)[:MOST_FLOWS]:
        lines.append(Words(messages.text(_flow(day, flow)), "-"))
    if brief:
        return [*lines, *_motor_brief(s.motor, messages)]
    motor = replace(messages, units="us")  # in US units, whatever the day's own
    lines += [Words(motor.texts(finding.reasons), "-") for finding in s.motor]
    if s.motor:
        lines.append(Words(motor.text("motor.maker-wins")))
    return lines


def _counts(day: DayReading) -> list[Reason]:
    """Return how many starts in a day and in the worst hour, and how long the pump ran."""
    s, seen = day.starts, day.starts.per_day
    found = [
        Reason("day.starts-per-day-too-short")
        if seen is None
        else Reason("day.starts-per-day", per_day=(seen.value, seen.low, seen.high))
    ]
    worst = s.counts.worst_hour.figure
    if day.log.heard_s < HOUR_S:
        found.append(Reason("day.starts-heard", heard_s=day.log.heard_s, starts=s.counts.starts.figure))
    elif s.worst_at_s is None:
        found.append(Reason("day.worst-hour", worst=worst))
    else:
        found.append(Reason("day.worst-hour-from", worst=worst, at=moment(day, s.worst_at_s)))
    found.append(Reason("day.duty", duty=s.counts.duty.figure) if day.log.cycles else Reason("day.duty-unknown"))
    return found


def _lengths(day: DayReading) -> list[Reason]:
    """Return the shortest rest, the shortest run and the longest run as one list."""
    known, parts = day.starts.lengths, []
    shortest, longest = known.shortest_run_s, known.longest_run_s
    if known.shortest_rest_s is not None:
        parts.append(Reason("day.shortest-rest", rest_s=known.shortest_rest_s.figure))
    if shortest is not None and shortest != longest:
        by_sound = _by_sound(day, shortest)
        parts.append(
            Reason("day.shortest-run-by-sound" if by_sound else "day.shortest-run", run_s=shortest.figure),
        )
    if longest is not None:
        doubted = any(r.why == "clicks in doubt" and r.at_s == known.longest_at_s for r in day.excluded)
        code = "day.longest-run-by-sound" if _by_sound(day, longest) else "day.longest-run"
        at = moment(day, known.longest_at_s)
        parts.append(Reason("day.longest-run-in-doubt" if doubted else code, run_s=longest.figure, at=at))
    return [Reason("day.lengths", parts=tuple(parts))] if parts else []


def _by_sound(day: DayReading, length: Amount) -> bool:
    """Return whether one end of a run was found by the pump's sound alone."""
    return any(r.why == "by the pump's sound" and r.run_s == length.value for r in day.excluded)


def _endless(day: DayReading) -> Reason:
    """Return the runs over five times the run with no water, and how many of them may not be one run."""
    count = day.starts.endless
    longest_s = day.params.cycling.endless_ratio * (day.no_use.seconds or 0.0)
    doubted = sum(r.why == "clicks in doubt" and (r.run_s or 0.0) > longest_s for r in day.excluded)
    if not doubted:
        return Reason("day.endless", count=count)
    if doubted == count or count == 1:
        return Reason("day.endless-in-doubt", count=count)
    return Reason("day.endless-some-in-doubt", count=count, doubted=doubted)


def _flow(day: DayReading, flow: FlowFound) -> Reason:
    """Return a steady use with its starts and what would help."""
    count, share, remedy = flow.use.count, flow.share.figure, flow.reason
    if day.leak.is_flow(flow.use.duty):
        return Reason("day.flow-is-leak", count=count, share=share, remedy=remedy)
    at, per_h = moment(day, flow.use.from_s), flow.per_h.figure
    if flow.flow is None:
        duty = flow.use.duty_interval.figure
        return Reason("day.flow-share", duty=duty, at=at, count=count, share=share, per_h=per_h, remedy=remedy)
    return Reason("day.flow", flow=flow.flow.figure, at=at, count=count, share=share, per_h=per_h, remedy=remedy)


def _motor_brief(findings: Sequence[MotorFinding], messages: Messages) -> list[Block]:
    """Return the motor's limits in a line each, without their sources."""
    lines: list[Block] = [Words(messages.text(_motor_line(f)), "-") for f in findings if f.limits]
    if lines:
        open_ = any(f.answer == "cannot tell" for f in findings)
        lines.append(Words(messages.text("day.motor.sources-and-settle" if open_ else "day.motor.sources")))
    return lines


def _motor_line(f: MotorFinding) -> Reason:
    """Return one limit of motor makers with what was seen."""
    low, high = min(m.value for m in f.limits), max(m.value for m in f.limits)
    seen = (f.seen.value, f.seen.low, f.seen.high)
    if f.what == "least_run_s":
        head = Reason("day.motor.run", seen=seen)
        limit = Reason("day.motor.least" if low == high else "day.motor.least-range", low=low, high=high)
    else:
        head = Reason("day.motor.per-day" if f.what == "starts_per_day" else "day.motor.per-hour", seen=seen)
        limit = Reason("day.motor.most" if low == high else "day.motor.most-range", low=low, high=high)
    if f.answer == "cannot tell" and all(m.above for m in f.limits):
        return Reason("day.motor.not-known-to-apply", seen=head, limit=limit, power=f.limits[0].power)
    run = f.what == "least_run_s"
    codes = {
        "within": "day.motor.no-shorter" if run else "day.motor.within",
        "outside": "day.motor.shorter" if run else "day.motor.more",
        "too close to call": "day.motor.too-close",
    }
    return Reason(codes.get(f.answer, "day.motor.open"), seen=head, limit=limit)
