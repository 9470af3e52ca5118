"""A day as text for a person: at most 80 columns, the verdict first, then seeping, starts, water, other tanks."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from clicktimer.day.analysis import DayReading
from clicktimer.day.calendar_rows import WallRows
from clicktimer.day.cycle_log import all_starts_s
from clicktimer.day.start_counts import worst_hour
from clicktimer.day.wall_time import clock, parse_zone
from clicktimer.reporting.blocks import Block, Rows, Words, lines_of
from clicktimer.reporting.day_formatting import (
    count_text,
    in_units,
    leak_text,
    most_flow,
    tank_name,
    unknown_breaks,
    up,
    when,
)
from clicktimer.reporting.formatting import length_text, wrap
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.cautions import BEFORE_WORK, LISTEN, NO_CERTIFICATE, RUNNING_ON
from clicktimer.reporting.messages.measurement import JOINED_TIMES, seconds_text
from clicktimer.reporting.text.day_starts import starts_blocks
from clicktimer.units.format import UnitSystem

Emphasis = Callable[[str], str]
LONGEST_BY_HOUR_S = 25.5 * 3600  # a day of 25 hours is still told by the hour
MOST_DAYS = 14
LONGEST_NAME = 12
NO_BALANCE = "Without a whole run there is no balance."
RESTS_ON = (
    "The run with no water of another tank is here the run of this day times what the labels say that it gives more or "
    "less; a table of sizes by the labels and the pump's rate alone says something else where this tank does not give "
    "what its label promises."
)
INTERVAL = (
    "Meant is a refill after a long rest. The interval holds what the air's heat and the pump's law do to that; right "
    "after a quick draw the air is cold and a refill shorter still (by up to 17 %, simulated)."
)


def render_day(
    day: DayReading, name: str, *, units: UnitSystem = "us", emphasis: Emphasis = str, causes: Sequence[str] = ()
) -> str:
    """Return the report of a day as text that ends in a newline."""
    log = day.log
    lines = wrap(f"{name}, {length_text(log.duration_s)}, {day.starts.count} starts heard")
    lines += ["", emphasis(_title(day)), *lines_of(day_run_blocks(day))]
    lines += ["", emphasis("The day"), *_strip(day)]
    if unknown_breaks(day):
        lines += wrap(JOINED_TIMES, "  ")
    for heading, blocks in day_sections(day, units, brief=True):
        lines += ["", emphasis(heading), *lines_of(blocks)]
    if causes:
        lines += ["", emphasis("Causes"), *causes]
    lines += ["", emphasis("Cautions"), *lines_of(Words(caution, "!") for caution in day_cautions(day))]
    return "\n".join(lines) + "\n"


def day_sections(
    day: DayReading, units: UnitSystem = "us", *, brief: bool = False, messages: Messages = Messages()
) -> list[tuple[str, list[Block]]]:
    """Return what follows the run: seeping, starts, water, change, other tanks, each with its heading.

    brief: the motor's limits without where each comes from.
    """
    sections = [
        ("Seeping", _seeping_blocks(day, units)),
        ("Starts", starts_blocks(day, units, brief=brief)),
        ("Water", _water_blocks(day, units)),
    ]
    changes: list[Block] = [Words(c.text, "-") for c in day.changes if c.reported]
    if changes:
        sections.append(("Change", changes))
    if day.replayed or day.replay_withheld:
        sections.append(("The same day with another tank", _replay_blocks(day, units)))
    return sections


def _title(day: DayReading) -> str:
    if day.run is None:
        return "THE RUN WITH NO WATER IS NOT TOLD"
    return f"RUN WITH NO WATER IN USE: {seconds_text(day.run.seconds, day.run.low_s, day.run.high_s)}"


def day_run_blocks(day: DayReading, messages: Messages = Messages()) -> list[Block]:
    """Return the run with no water in use and what it rests on, or why it is not told."""
    lines: list[Block] = [Words(day.verdict.text if day.run is not None else day.no_use.reason)]
    # A run that rests on what the user said of the taps is no reading of ordinary use: its verdict says on what.
    if day.run is not None and day.run_of_the_day:
        lines.append(Words(f"{day.no_use.text} {INTERVAL}"))
    return lines


def _strip(day: DayReading) -> list[str]:
    """Starts in each hour of a day or less; of more, starts and water of each day."""
    if not any(day.starts.by_hour):
        return wrap("No start was heard.", "  ")
    if day.log.duration_s > LONGEST_BY_HOUR_S:
        return _by_day(day)
    lines = []
    for row in range(0, len(day.starts.by_hour), 12):
        part = day.starts.by_hour[row : row + 12]
        label = when(day, row * 3600.0) if day.log.started_s is not None else f"hour {row + 1}"
        lines.append("  " + f"{label:>12} " + " ".join(f"{n:>3}" if n else "  ." for n in part))
    return [*lines, *wrap("Starts in each hour from the beginning.", "  ")]


def _by_day(day: DayReading) -> list[str]:
    """Starts of each day by the wall's dates (by 24 hours where the start is not known), and its worst hour."""
    rows = WallRows(day.log.duration_s, day.log.started_s, parse_zone(day.log.zone))
    starts_s = all_starts_s(day.log.cycles)
    of_row = [rows.pieces(float(t), float(t))[0].row for t in starts_s]
    table = []
    for row in range(rows.count):
        own_s = starts_s[[i for i, r in enumerate(of_row) if r == row]]
        most, at_s = worst_hour(own_s)
        date = rows.date_of(row)
        name = f"day {row + 1}" if date is None else f"{date:%Y-%m-%d}"
        when = "" if at_s is None else clock(at_s, day.log.started_s, parse_zone(day.log.zone))
        table.append((name, str(len(own_s)), str(most) if most else "", when))
    shown = table if len(table) <= MOST_DAYS else table[:MOST_DAYS]
    lines = lines_of([Rows(("", "starts", "worst hour", "from"), shown, ("<", ">", ">", ">"))])
    note = "The first and the last day may not be whole."
    if len(shown) < len(table):
        note += f" The first {MOST_DAYS} of {len(table)} days; every hour is in the JSON."
    return [*lines, *wrap(note, "  ")]


def _seeping_blocks(day: DayReading, units: UnitSystem) -> list[Block]:
    s = day.leak
    lines: list[Block] = []
    if day.untrusted:
        return [Words("Not told, and no limit either, since the clicks are not to be trusted.")]
    if s.reported:
        flow = leak_text(day, units, "the pump's rate (give --pump-rate for a flow)")
        lines.append(Words(f"{flow}, from {when(day, s.from_s)} to {when(day, s.to_s)}, by {s.count} rests."))
        lines.append(Words(s.text))
        lines.append(
            Words(
                "To tell house from well side: shut the valve after the tank, listen again for some hours, and compare "
                "the two (clicktimer compare OPEN SHUT --valve-test). A humidifier or ice maker that takes a "
                "little again and again sounds the same: shut its valve for that time."
            )
        )
    else:
        lines.append(Words(s.text))
        if s.pattern == "part of the day":
            lines.append(Words(f"From {when(day, s.from_s)} to {when(day, s.to_s)}."))
    if day.limit_l_per_min is not None:
        limit = most_flow(day.limit_l_per_min, units)
        below = "" if s.reported else "; of less than that nothing is told"
        lines.append(Words(f"By the longest rest no more than {limit} seeps all the time{below}."))
    elif s.limit_duty is not None:
        lines.append(
            Words(f"By the longest rest at most {up(100 * s.limit_duty)} % of the pump's rate seeps all the time.")
        )
    else:
        lines.append(Words("No rest is known, so there is no limit to what may seep."))
    return lines


def _water_blocks(day: DayReading, units: UnitSystem) -> list[Block]:
    w = day.water
    if w is None:
        return [Words("Not told, since the clicks are not to be trusted." if day.untrusted else NO_BALANCE)]

    text = (
        f"In all {in_units(w.total, w.unit, units)}; from the first start to the last "
        f"{in_units(w.between, w.unit, units)}."
    )
    if day.night is not None:
        text += f" Midnight to five: {in_units(day.night, w.unit, units)} a night."
    if w.long_runs is not None:
        text += f" Of it {in_units(w.long_runs, w.unit, units)} in very long runs, which ride the pump's curve."
    return [Words(text), Words(w.text)]


def _replay_blocks(day: DayReading, units: UnitSystem) -> list[Block]:
    if day.replay_withheld:
        return [Words(day.replay_withheld)]
    # A long name would push the figures off the line: it stands under the table.
    sizes = {r.name: tank_name(r.name, units).partition(" (")[0] for r in day.replayed}
    long = [name for name, shown in sizes.items() if len(shown) > LONGEST_NAME]
    short = {name: "your choice" if len(long) == 1 else f"choice {i}" for i, name in enumerate(long, 1)}
    chosen: list[Block] = [Words(f"{label[:1].upper()}{label[1:]}: {name}.") for name, label in short.items()]
    rows = [
        (
            short.get(r.name, sizes[r.name]),
            count_text(r.starts),
            count_text(r.worst_hour),
            count_text(r.run_s),
            count_text(r.no_use_run_s),
        )
        for r in day.replayed
    ]
    header = ("tank", "starts", "worst hour", "mean run, s", "no water, s")
    # In the table the gallons would push the figures off the line.
    sold = ", ".join(f"{shown} is {name}" for name, shown in sizes.items() if tank_name(name, units) != name)
    return [
        Rows(header, rows, ("<", ">", ">", ">", ">")),
        *chosen,
        *([Words(f"As they are sold: {sold}.")] if sold else []),
        Words(
            "The day's own use, rebuilt as bursts by chance several times and run through each tank, with the switch "
            "and charge as given."
        ),
        Words(RESTS_ON),
    ]


def day_cautions(day: DayReading, messages: Messages = Messages()) -> list[str]:
    """Return the cautions that belong to what this result may make somebody do."""
    cautions = [RUNNING_ON] if day.starts.endless else []
    cautions.append(LISTEN)
    if day.leak.reported or (day.run is not None and day.run.seconds < 60):
        cautions.append(BEFORE_WORK)
    return [*cautions, NO_CERTIFICATE]
