"""A day as text for a person: at most 80 columns, the verdict first, then the leak, starts, water, other tanks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from clicktimer.assessment.cautions import caution
from clicktimer.day.analysis import DayReading
from clicktimer.day.calendar_rows import WallRows
from clicktimer.day.consumption import Water
from clicktimer.day.cycle_log import all_starts_s
from clicktimer.day.estimate import Amount
from clicktimer.day.start_counts import worst_hour
from clicktimer.day.wall_time import clock, parse_zone
from clicktimer.records import Reason
from clicktimer.reporting.blocks import Block, Rows, Words, lines_of
from clicktimer.reporting.day_formatting import in_units_of, leak_line, moment, tank_name, unknown_breaks
from clicktimer.reporting.formatting import wrap
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.day_figures import count_text, moment_text
from clicktimer.reporting.text.day_starts import starts_blocks
from clicktimer.units.format import UnitSystem

Emphasis = Callable[[str], str]
LONGEST_BY_HOUR_S: Final = 25.5 * 3600  # a day of 25 hours is still shown by the hour
MOST_DAYS: Final = 14
LONGEST_NAME: Final = 12
HOURS_IN_A_ROW: Final = 12


def render_day(
    day: DayReading,
    name: str,
    *,
    units: UnitSystem = "us",
    emphasis: Emphasis = str,
    causes: Sequence[str] = (),
    messages: Messages = Messages(),
) -> str:
    """Return the report of a day as text that ends in a newline."""
    messages = in_units_of(messages, units)

    def heading(of: str) -> str:
        return emphasis(messages.text(f"day.heading.{of}"))

    head = messages.text("day.head", name=name, duration_s=day.log.duration_s, count=day.starts.count)
    lines = [*wrap(head), "", emphasis(_title(day, messages)), *lines_of(day_run_blocks(day, messages))]
    lines += ["", heading("day"), *_strip(day, messages)]
    lines += [line for reason in day.clock_reasons for line in wrap(messages.text(reason), "  ")]
    if unknown_breaks(day):
        lines += wrap(messages.text("notice.joined-times"), "  ")
    for title, blocks in day_sections(day, units, brief=True, messages=messages):
        lines += ["", emphasis(title), *lines_of(blocks)]
    if causes:
        lines += ["", heading("causes"), *causes]
    lines += ["", heading("cautions"), *lines_of(Words(caution, "!") for caution in day_cautions(day, messages))]
    return "\n".join(lines) + "\n"


def day_sections(
    day: DayReading, units: UnitSystem = "us", *, brief: bool = False, messages: Messages = Messages()
) -> list[tuple[str, list[Block]]]:
    """Return what follows the run: leak, starts, water, change, other tanks, each with its heading.

    brief: the motor's limits without where each comes from.
    """
    messages = in_units_of(messages, units)
    sections: list[tuple[str, list[Block]]] = [
        ("leak", _paragraphs(_leak_lines(day), messages)),
        ("starts", starts_blocks(day, messages, brief=brief)),
        ("water", _paragraphs(_water_lines(day), messages)),
        ("change", [Words(messages.text(c.reason), "-") for c in day.changes if c.reported]),
        ("what-if", _what_if_blocks(day, messages)),
    ]
    return [(messages.text(f"day.heading.{of}"), blocks) for of, blocks in sections if blocks]


def _paragraphs(paragraphs: Sequence[Sequence[Reason]], messages: Messages) -> list[Block]:
    return [Words(messages.texts(reasons)) for reasons in paragraphs]


def _title(day: DayReading, messages: Messages) -> str:
    if day.run is None:
        return messages.text("day.run-withheld-title")
    return messages.text("day.run-title", run_s=(day.run.seconds, day.run.low_s, day.run.high_s))


def day_run_blocks(day: DayReading, messages: Messages = Messages()) -> list[Block]:
    """Return the run with no water in use and what it rests on, or why it is withheld."""
    withheld = day.no_use.withheld
    said = day.verdict.reasons if day.run is not None or withheld is None else (withheld,)
    lines: list[Block] = [Words(messages.texts(said))]
    # A run that rests on what the user said of the taps is no reading of ordinary use: its verdict says on what.
    if day.run is not None and day.run_of_the_day:
        lines.append(Words(messages.texts([*day.no_use.reasons, Reason("day.interval")])))
    return lines


def _strip(day: DayReading, messages: Messages) -> list[str]:
    """Starts in each hour of a day or less; of more, starts and worst hour of each day."""
    if not any(day.starts.by_hour):
        return wrap(messages.text("day.no-start"), "  ")
    if day.log.duration_s > LONGEST_BY_HOUR_S:
        return _by_day(day, messages)
    lines = []
    for row in range(0, len(day.starts.by_hour), HOURS_IN_A_ROW):
        part = day.starts.by_hour[row : row + HOURS_IN_A_ROW]
        known = day.log.started_s is not None
        label = moment_text(moment(day, row * 3600.0)) if known else messages.text("day.hour-row", number=row + 1)
        lines.append("  " + f"{label:>12} " + " ".join(f"{n:>3}" if n else "  ." for n in part))
    return [*lines, *wrap(messages.text("day.starts-in-each-hour"), "  ")]


def _by_day(day: DayReading, messages: Messages) -> list[str]:
    """Starts of each day by the wall's dates (by 24 hours where the start is not known), and its worst hour."""
    rows = WallRows(day.log.duration_s, day.log.started_s, parse_zone(day.log.zone))
    starts_s = all_starts_s(day.log.cycles)
    of_row = [rows.pieces(float(t), float(t))[0].row for t in starts_s]
    table = []
    for row in range(rows.count):
        own_s = starts_s[[i for i, r in enumerate(of_row) if r == row]]
        most, at_s = worst_hour(own_s)
        date = rows.date_of(row)
        name = messages.text("day.day-row", number=row + 1) if date is None else f"{date:%Y-%m-%d}"
        when = "" if at_s is None else clock(at_s, day.log.started_s, parse_zone(day.log.zone))
        table.append((name, str(len(own_s)), str(most) if most else "", when))
    shown = table[:MOST_DAYS]
    lines = lines_of([Rows(("", "starts", "worst hour", "from"), shown, ("<", ">", ">", ">"))])
    notes = [Reason("day.days-not-whole")]
    if len(shown) < len(table):
        notes.append(Reason("day.days-not-shown", shown=MOST_DAYS, count=len(table)))
    return [*lines, *wrap(messages.texts(notes), "  ")]


def _leak_lines(day: DayReading) -> list[list[Reason]]:
    """Return the leak and what may leak unseen, a list of reasons for each paragraph."""
    s = day.leak
    if day.untrusted:
        return [[Reason("day.leak-untrusted")]]
    lines = [[s.reason]]
    if s.reported:
        lines = [[leak_line(day)], [s.reason], [Reason("day.leak-house-or-well")]]
    elif s.pattern == "part of the day":
        lines.append([Reason("day.leak-when", from_at=moment(day, s.from_s), to_at=moment(day, s.to_s))])
    if day.limit_l_per_min is not None:
        code = "day.leak-limit" if s.reported else "day.leak-limit-unseen"
        return [*lines, [Reason(code, limit_l_per_min=day.limit_l_per_min)]]
    if s.limit_duty is not None:
        return [*lines, [Reason("day.leak-limit-share", limit=s.limit_duty)]]
    return [*lines, [Reason("day.leak-no-limit")]]


def _water_lines(day: DayReading) -> list[list[Reason]]:
    """Return the water and what it rests on, a list of reasons for each paragraph."""
    w = day.water
    if w is None:
        return [[Reason("day.water-untrusted" if day.untrusted else "day.water-no-run")]]
    amounts = [Reason("day.water-total", total=_of(w, w.total), between=_of(w, w.between))]
    if day.night is not None:
        amounts.append(Reason("day.water-night", night=_of(w, day.night)))
    if w.long_runs is not None:
        amounts.append(Reason("day.water-long-runs", long_runs=_of(w, w.long_runs)))
    return [amounts, list(w.reasons)]


def _of(water: Water, amount: Amount) -> tuple[float, float, float, str]:
    return (*amount.figure, water.unit)


def _what_if_blocks(day: DayReading, messages: Messages) -> list[Block]:
    """Return the same day with other tanks as a table, or why it is withheld."""
    if day.replay_withheld is not None:
        return [Words(messages.text(day.replay_withheld))]
    if not day.replayed:
        return []
    # A long name would push the figures off the line: it stands under the table, and so do the gallons.
    stock = {r.name: tank_name(r.name, messages.units) for r in day.replayed}
    sizes = {name: tank_name(name, messages.units, brief=True) for name in stock}
    long = [name for name, shown in sizes.items() if len(shown) > LONGEST_NAME]
    one = len(long) == 1
    for i, name in enumerate(long, 1):
        sizes[name] = messages.text("day.what-if-chosen-row" if one else "day.what-if-choice-row", number=i)
    chosen = [
        messages.text("day.what-if-chosen" if one else "day.what-if-choice", name=name, number=i)
        for i, name in enumerate(long, 1)
    ]
    rows = [
        (sizes[r.name], *(count_text(a.figure) for a in (r.starts, r.worst_hour, r.run_s, r.no_use_run_s)))
        for r in day.replayed
    ]
    sold = [
        messages.text("day.what-if-size-sold", shown=sizes[name], name=name)
        for name, whole in stock.items()
        if whole != name
    ]
    header = ("tank", "starts", "worst hour", "mean run, s", "no water, s")
    return [
        Rows(header, rows, ("<", ">", ">", ">", ">")),
        *map(Words, chosen),
        *([Words(messages.text("day.what-if-sold", sizes=", ".join(sold)))] if sold else []),
        Words(messages.text("day.what-if-method")),
        Words(messages.text("day.what-if-rests-on")),
    ]


def day_caution_reasons(day: DayReading) -> list[Reason]:
    """Return the cautions that belong to what this result may make somebody do; the last says it is no certificate."""
    names = ["running-on"] if day.starts.endless else []
    names.append("listen")
    if day.leak.reported or (day.run is not None and day.run.seconds < day.marks_s[1]):
        names.append("before-work")
    return [caution(name) for name in (*names, "no-certificate")]


def day_cautions(day: DayReading, messages: Messages = Messages()) -> list[str]:
    """Return the same in words."""
    return [messages.text(reason) for reason in day_caution_reasons(day)]
