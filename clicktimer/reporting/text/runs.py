"""The runs as a table of text, whole or shortened, and the two readings of an ambiguous recording."""

from __future__ import annotations

from datetime import datetime, timedelta

from clicktimer.assessment.measurement import Measurement
from clicktimer.records import Cycle
from clicktimer.reporting.blocks import Block, Rows, Words, lines_of
from clicktimer.reporting.formatting import clock_text, length_text, seconds_text, started_time
from clicktimer.reporting.messages.catalogue import Messages

LONGEST_TABLE = 24  # rows that still fit one screen
KEPT_AT_ENDS = 5
KEPT_EXTREMES = 3
MUCH_WIDER = 3.0  # one error of timing so much wider than another is told apart


def runs_lines(measurement: Measurement, messages: Messages = Messages(), *, csv_hint: bool = True) -> list[str]:
    """Return the table of runs and rests as lines of at most 80 columns."""
    return lines_of(runs_blocks(measurement, csv_hint=csv_hint, messages=messages))


def runs_blocks(
    measurement: Measurement, *, csv_hint: bool = True, whole: bool = False, messages: Messages = Messages()
) -> list[Block]:
    """Return the table of runs and rests; the start of each by the clock where that is known. whole: every one."""
    m, text = measurement, messages.text
    started = started_time(m.source.started_at)
    day = started is not None and (started + timedelta(seconds=m.source.duration_s)).date() != started.date()
    kept = list(range(len(m.cycles))) if whole else _kept(m.cycles)
    rows: list[tuple[str, ...]] = []
    before = -1
    for i in kept:
        if i != before + 1:
            rows.append(("", "...", "", "", text("runs.not-shown", count=i - before - 1)))
        rows.append(_row(i, m.cycles[i], started, day, _extreme(i, m.cycles, kept), messages))
        before = i
    began = text("runs.began" if started else "runs.began-at")
    header = ("", began, text("runs.run"), text("runs.rest-after"), "")
    lines: list[Block] = [Rows(header, rows, (">", ">", ">", ">", "<"))]
    lines += _precision(m.cycles, messages)
    if len(kept) < len(m.cycles):
        complete = sum(c.complete for c in m.cycles)
        code = "runs.in-all-csv" if csv_hint else "runs.in-all"
        lines.append(Words(text(code, count=len(m.cycles), complete=complete)))
    return lines


def ambiguous_blocks(measurement: Measurement, messages: Messages = Messages()) -> list[Block]:
    """Return both readings of the times between clicks whose kinds could not be told, in words and as a table."""
    both = measurement.ambiguous
    if both is None:
        return []
    started = started_time(measurement.source.started_at)
    stretches = sorted(
        [(at, length, "first") for at, length in zip(both.first_starts_s, both.first_s, strict=False)]
        + [(at, length, "second") for at, length in zip(both.second_starts_s, both.second_s, strict=False)]
    )
    rows = [
        (
            messages.number(clock_text(at, started)),
            messages.number(seconds_text(length)),
            messages.text(f"runs.{name}-reading"),
        )
        for at, length, name in stretches[:LONGEST_TABLE]
    ]
    lines: list[Block] = [Words(messages.texts(both.reasons))]
    if rows:
        began = messages.text("runs.began" if started else "runs.began-at")
        lines.append(Rows((began, messages.text("runs.length"), ""), rows, (">", ">", "<")))
    if len(stretches) > len(rows):
        lines.append(Words(messages.text("runs.more", count=len(stretches) - len(rows))))
    return lines


def _kept(cycles: tuple[Cycle, ...]) -> list[int]:
    if len(cycles) <= LONGEST_TABLE:
        return list(range(len(cycles)))
    whole = sorted((c.run_s, i) for i, c in enumerate(cycles) if c.run_s is not None)
    extremes = [i for _, i in whole[:KEPT_EXTREMES] + whole[-KEPT_EXTREMES:]]
    ends = [*range(KEPT_AT_ENDS), *range(len(cycles) - KEPT_AT_ENDS, len(cycles))]
    return sorted({*extremes, *ends})


def _extreme(index: int, cycles: tuple[Cycle, ...], kept: list[int]) -> str:
    """Return the code of what is shown of a shortened table's shortest and longest run; else nothing."""
    if len(kept) == len(cycles):
        return ""
    whole = sorted((c.run_s, i) for i, c in enumerate(cycles) if c.run_s is not None)
    if whole and whole[0][1] == index:
        return "runs.shortest"
    return "runs.longest" if whole and whole[-1][1] == index else ""


def _row(
    index: int, c: Cycle, started: datetime | None, day: bool, extreme: str, messages: Messages
) -> tuple[str, ...]:
    text = messages.text
    at = text("runs.before") if c.cut_in_s is None else clock_text(c.cut_in_s, started, with_day=day)
    if c.run_s is None:
        run = "?"
    else:
        half = 0.0 if c.run_low_s is None or c.run_high_s is None else (c.run_high_s - c.run_low_s) / 2
        run = seconds_text(c.run_s, half)
    rest = "?" if c.rest_s is None else length_text(c.rest_s)
    notes = [
        text(extreme) if extreme else "",
        "" if c.complete else text("runs.not-whole"),
        messages.note(c.notes),
        text("runs.by-sound") if c.how == "pump sound" else "",
    ]
    if c.complete and c.confidence < 0.9:
        notes.append(text("runs.sure", confidence_percent=100 * c.confidence))
    return (str(index + 1), *map(messages.number, (at, run, rest)), "; ".join(n for n in notes if n))


def _precision(cycles: tuple[Cycle, ...], messages: Messages) -> list[Block]:
    halves = [
        (c.run_high_s - c.run_low_s) / 2
        for c in cycles
        if c.run_s is not None and c.run_low_s is not None and c.run_high_s is not None
    ]
    if not halves:
        return []
    least, most = min(halves), max(halves)
    if most > MUCH_WIDER * least:  # one wide run must not stand for all of them
        middle = sorted(halves)[len(halves) // 2]
        return [Words(messages.text("runs.half-within", middle_s=middle, most_s=most))]
    return [Words(messages.text("runs.each-within", most_s=most))]
