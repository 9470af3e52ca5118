"""The runs as a table of text, whole or shortened, and the two readings of an ambiguous recording."""

from __future__ import annotations

from datetime import datetime, timedelta

from clicktimer.records import Cycle, Measurement
from clicktimer.reporting.blocks import Block, Rows, Words, lines_of
from clicktimer.reporting.formatting import clock_text, half_width_text, length_text, seconds_text, started_time
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
    m = measurement
    started = started_time(m.source.started_at)
    day = started is not None and (started + timedelta(seconds=m.source.duration_s)).date() != started.date()
    kept = list(range(len(m.cycles))) if whole else _kept(m.cycles)
    rows: list[tuple[str, ...]] = []
    before = -1
    for i in kept:
        if i != before + 1:
            rows.append(("", "...", "", "", f"{i - before - 1} not shown"))
        rows.append(_row(i, m.cycles[i], started, day, _marks(i, m.cycles, kept), messages))
        before = i
    header = ("", "began" if started else "began at", "run", "rest after", "")
    lines: list[Block] = [Rows(header, rows, (">", ">", ">", ">", "<"))]
    lines += _precision(m.cycles)
    if len(kept) < len(m.cycles):
        complete = sum(c.complete for c in m.cycles)
        more = " Give --csv FILE to have them all." if csv_hint else ""
        lines.append(Words(f"{len(m.cycles)} runs in all, {complete} heard whole.{more}"))
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
        (clock_text(at, started), seconds_text(length), f"run in the {name} reading")
        for at, length, name in stretches[:LONGEST_TABLE]
    ]
    lines: list[Block] = [Words(messages.texts(both.reasons))]
    if rows:
        lines.append(Rows(("began" if started else "began at", "length", ""), rows, (">", ">", "<")))
    if len(stretches) > len(rows):
        lines.append(Words(f"{len(stretches) - len(rows)} more are in the JSON (--json FILE)."))
    return lines


def _kept(cycles: tuple[Cycle, ...]) -> list[int]:
    if len(cycles) <= LONGEST_TABLE:
        return list(range(len(cycles)))
    whole = sorted((c.run_s, i) for i, c in enumerate(cycles) if c.run_s is not None)
    extremes = [i for _, i in whole[:KEPT_EXTREMES] + whole[-KEPT_EXTREMES:]]
    ends = [*range(KEPT_AT_ENDS), *range(len(cycles) - KEPT_AT_ENDS, len(cycles))]
    return sorted({*extremes, *ends})


def _marks(index: int, cycles: tuple[Cycle, ...], kept: list[int]) -> str:
    if len(kept) == len(cycles):
        return ""
    whole = sorted((c.run_s, i) for i, c in enumerate(cycles) if c.run_s is not None)
    if whole and whole[0][1] == index:
        return "shortest"
    return "longest" if whole and whole[-1][1] == index else ""


def _row(index: int, c: Cycle, started: datetime | None, day: bool, mark: str, messages: Messages) -> tuple[str, ...]:
    at = "before" if c.cut_in_s is None else clock_text(c.cut_in_s, started, with_day=day)
    if c.run_s is None:
        run = "?"
    else:
        half = 0.0 if c.run_low_s is None or c.run_high_s is None else (c.run_high_s - c.run_low_s) / 2
        run = seconds_text(c.run_s, half)
    rest = "?" if c.rest_s is None else length_text(c.rest_s)
    notes = [
        mark,
        "" if c.complete else "not whole",
        messages.note(c.notes),
        "by the pump's sound" if c.how == "pump sound" else "",
    ]
    if c.complete and c.confidence < 0.9:
        notes.append(f"{c.confidence:.0%} sure")
    return (str(index + 1), at, run, rest, "; ".join(n for n in notes if n))


def _precision(cycles: tuple[Cycle, ...]) -> list[Block]:
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
        of_all = f"Half of the runs are timed to within {half_width_text(middle)} or better"
        return [Words(f"{of_all}, the least sure to within {half_width_text(most)} (95 %).")]
    return [Words(f"Each run is timed to within {half_width_text(most)} (95 %).")]
