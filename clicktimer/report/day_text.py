"""A day as text for a person: at most 80 columns, the verdict first, then seeping, starts, water, other tanks."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from clicktimer.cautions import BEFORE_WORK, LISTEN, NO_CERTIFICATE, RUNNING_ON
from clicktimer.day.compare import Comparison
from clicktimer.day.read import DayReading
from clicktimer.day.walltime import clock, parse_zone
from clicktimer.day.water import Amount
from clicktimer.formats import UnitSystem, format_flow, format_time, format_volume
from clicktimer.motors import MAKER_WINS
from clicktimer.report.blocks import Block, Rows, Words, lines_of
from clicktimer.report.words import length_text, wrap

Emphasis = Callable[[str], str]
STRIP_HOURS = 24


def render_day(
    day: DayReading, name: str, *, units: UnitSystem = "us", emphasis: Emphasis = str, causes: Sequence[str] = ()
) -> str:
    """Return the report of a day as text that ends in a newline."""
    log = day.log
    lines = wrap(f"{name}, {length_text(log.duration_s)}, {day.starts.count} starts")
    lines += ["", emphasis(_title(day)), *lines_of(day_run_blocks(day))]
    lines += ["", emphasis("The day"), *_strip(day)]
    for heading, blocks in day_sections(day, units):
        lines += ["", emphasis(heading), *lines_of(blocks)]
    if causes:
        lines += ["", emphasis("Causes"), *causes]
    lines += ["", emphasis("Cautions"), *lines_of(Words(caution, "!") for caution in day_cautions(day))]
    return "\n".join(lines) + "\n"


def day_sections(day: DayReading, units: UnitSystem = "us") -> list[tuple[str, list[Block]]]:
    """Return what follows the run: seeping, starts, water, change, other tanks, each with its heading."""
    sections = [
        ("Seeping", _seeping_blocks(day, units)),
        ("Starts", _starts_blocks(day, units)),
        ("Water", _water_blocks(day, units)),
    ]
    changes: list[Block] = [Words(c.text, "-") for c in day.changes if c.told]
    if changes:
        sections.append(("Change", changes))
    if day.replayed:
        sections.append(("The same day with another tank", _replay_blocks(day)))
    return sections


def _title(day: DayReading) -> str:
    if day.run is None:
        return "THE RUN WITH NO WATER IS NOT TOLD"
    half = max(day.run.seconds - day.run.low_s, day.run.high_s - day.run.seconds)
    return f"RUN WITH NO WATER IN USE: {day.run.seconds:.{1 if half < 3 else 0}f} s, ±{half:.2g} s"


def day_run_blocks(day: DayReading) -> list[Block]:
    """Return the run with no water in use and what it rests on, or why it is not told."""
    lines: list[Block] = [Words(day.verdict.text if day.run is not None else day.no_use.reason)]
    if day.run is not None:
        lines.append(Words(f"{day.no_use.text} The interval holds what the air's heat and the pump's law can do."))
    return lines


def _when(day: DayReading, time_s: float | None) -> str:
    if time_s is None:
        return "?"
    return clock(time_s, day.log.started_s, parse_zone(day.log.zone), with_date=day.log.duration_s > 86_400)


def _strip(day: DayReading) -> list[str]:
    """Starts in each hour, as bars; more than a day is told by its mean day's length only in the pictures."""
    hours = day.starts.by_hour[:STRIP_HOURS]
    most = max(hours, default=0)
    lines = []
    for row in range(0, len(hours), 12):
        part = hours[row : row + 12]
        label = _when(day, row * 3600.0) if day.log.started_s is not None else f"hour {row + 1}"
        lines.append("  " + f"{label:>12} " + " ".join(f"{n:>3}" if n else "  ." for n in part))
    note = "Starts in each hour from the beginning."
    if len(day.starts.by_hour) > STRIP_HOURS:
        note += f" The first {STRIP_HOURS} of {len(day.starts.by_hour)} hours; all are in the JSON."
    return [*lines, *wrap(note if most else "No start was heard.", "  ")]


def _range(amount: Amount, shown: Callable[[float], str]) -> str:
    return f"{shown(amount.value)} ({shown(amount.low)} to {shown(amount.high)})"


def _seeping_blocks(day: DayReading, units: UnitSystem) -> list[Block]:
    s = day.seeping
    lines: list[Block] = []
    if s.told:
        if day.seeping_l_per_min is not None:
            flow = _range(day.seeping_l_per_min, lambda v: format_flow(v, units))
        else:
            flow = f"{s.duty or 0.0:.1%} of the pump's rate (give --pump-rate for a flow)"
        lines.append(Words(f"{flow}, from {_when(day, s.from_s)} to {_when(day, s.to_s)}, by {s.count} rests."))
        lines.append(Words(s.text))
        lines.append(
            Words(
                "To tell house from well side: shut the valve after the tank, listen again for some hours, and compare "
                "the two (clicktimer compare OPEN.json SHUT.json --valve-test). A humidifier or ice maker that takes a "
                "little again and again sounds the same: shut its valve for that time."
            )
        )
    else:
        lines.append(Words(s.text))
        if s.pattern == "part of the day":
            lines.append(Words(f"From {_when(day, s.from_s)} to {_when(day, s.to_s)}."))
    if day.limit_l_per_min is not None:
        limit = format_flow(day.limit_l_per_min, units)
        below = "" if s.told else "; below that nothing is told"
        lines.append(Words(f"By the longest rest no more than {limit} seeps all the time{below}."))
    elif s.limit_duty is not None:
        lines.append(
            Words(f"By the longest rest no more than {s.limit_duty:.2%} of the pump's rate seeps all the time.")
        )
    else:
        lines.append(Words("No rest is known, so there is no limit to what may seep."))
    return lines


def _starts_blocks(day: DayReading, units: UnitSystem) -> list[Block]:
    s = day.starts
    seen = s.per_day
    a_day = f"{seen.value:.0f}" if seen.low == seen.high else f"{seen.value:.0f} ({seen.low:.0f} to {seen.high:.0f})"
    text = f"Starts a day: {a_day}. Most in an hour: {s.worst_hour}"
    text += f", from {_when(day, s.worst_at_s)}." if s.worst_at_s is not None else "."
    text += f" The pump ran {s.duty:.1%} of the time."
    if s.shortest_rest_s is not None:
        text += f" Shortest rest {format_time(s.shortest_rest_s)}."
    if s.longest_run_s is not None:
        text += f" Longest run {format_time(s.longest_run_s)}, from {_when(day, s.longest_at_s)}."
    lines: list[Block] = [Words(text)]
    if s.endless:
        lines.append(Words(f"{s.endless} runs went on for more than five times the run with no water."))
    if s.chatter:
        lines.append(Words(f"{s.chatter} times the switch chattered (on and off within 2 s)."))
    for flow in sorted(s.flows, key=lambda f: -f.share)[:3]:
        size = f"{flow.use.duty:.0%} of the pump's rate"
        if flow.use_l_per_min is not None:
            size = f"{format_flow(flow.use_l_per_min, units)} ({size})"
        leak = day.seeping.duty if day.seeping.told and day.seeping.duty else 0.0
        if abs(flow.use.duty - leak) <= 0.15 * leak:
            lines.append(
                Words(
                    f"The seeping by itself: {flow.use.count} starts at the least, {flow.share:.0%} of all. Stop the "
                    "leak before anything else.",
                    "-",
                )
            )
            continue
        lines.append(
            Words(
                f"A steady use of {size} from {_when(day, flow.use.from_s)}: {flow.use.count} starts, {flow.share:.0%} "
                f"of all, {flow.per_h:.0f} an hour. {flow.text}",
                "-",
            )
        )
    for finding in s.motor:
        lines.append(Words(finding.text, "-"))
    if s.motor:
        lines.append(Words(MAKER_WINS))
    return lines


def _water_blocks(day: DayReading, units: UnitSystem) -> list[Block]:
    w = day.water
    if w is None:
        return [Words("Without a whole run there is no balance.")]

    def shown(value: float) -> str:
        if w.unit == "L":
            return format_volume(value, units)
        return f"{value:.1f} tankfuls" if w.unit == "tankfuls" else format_time(value)

    text = f"In all {_range(w.total, shown)}; from the first start to the last {_range(w.between, shown)}."
    if day.night_water is not None:
        text += f" Midnight to five: {shown(day.night_water)} a night."
    if w.long_runs is not None:
        text += f" Of it {_range(w.long_runs, shown)} in very long runs, which ride the pump's curve."
    return [Words(text), Words(w.text)]


def _replay_blocks(day: DayReading) -> list[Block]:
    def counted(a: Amount) -> str:
        return f"{a.value:.0f} ({math.floor(a.low)} to {math.ceil(a.high)})"

    rows = [
        (r.name, counted(r.starts), counted(r.worst_hour), f"{r.run_s.value:.0f} s", f"{r.no_use_run_s:.0f} s")
        for r in day.replayed
    ]
    header = ("tank", "starts", "worst hour", "mean run", "run, no water")
    return [
        Rows(header, rows, ("<", ">", ">", ">", ">")),
        Words(
            "The day's own use, rebuilt as bursts by chance several times and run through each tank, with the switch "
            "and charge as given."
        ),
    ]


def day_cautions(day: DayReading) -> list[str]:
    """Return the cautions that belong to what this result may make somebody do."""
    cautions = [RUNNING_ON] if day.starts.endless else []
    cautions.append(LISTEN)
    if day.seeping.told or (day.run is not None and day.run.seconds < 60):
        cautions.append(BEFORE_WORK)
    return [*cautions, NO_CERTIFICATE]


def render_comparison(c: Comparison, *, emphasis: Emphasis = str) -> str:
    """Return two results side by side as text that ends in a newline."""

    def n(value: float | None) -> str:
        return "not told" if value is None else f"{value:.3g}"

    rows = []
    for d in c.differences:
        gap = "" if d.low is None or d.high is None else f"{d.low:+.2g} to {d.high:+.2g}"
        rows.append((f"{d.name}{f', {d.unit}' if d.unit else ''}", n(d.before), n(d.after), gap, d.finding))
    header = ("", "before", "after", "difference, 95 %", "")
    blocks: list[Block] = [Words(f"{c.before} and {c.after}"), Rows(header, rows, ("<", ">", ">", ">", "<"))]
    if not rows:
        blocks.append(Words("Neither holds a figure that can be compared: measure both again with the taps known."))
    lines = [emphasis("BEFORE AND AFTER"), *lines_of(blocks)]
    if c.valve:
        lines += ["", emphasis("The valve test"), *lines_of([Words(c.valve), Words(NO_CERTIFICATE, "!")])]
    return "\n".join(lines) + "\n"
