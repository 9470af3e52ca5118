"""10 document: what follows page one, for the technician: runs, tank, causes, well, proof, what could not be told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from clicktimer.assessment.measurement import Measurement
from clicktimer.records import Reason
from clicktimer.reporting.blocks import Block, Rows, Space, Words
from clicktimer.reporting.document.arithmetic import arithmetic
from clicktimer.reporting.document.model import Part, Section, Shown
from clicktimer.reporting.document.remeasure import Result
from clicktimer.reporting.figures import run_bars, time_line
from clicktimer.reporting.figures.day import day_pictures
from clicktimer.reporting.formatting import value_text
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.causes import causes_blocks
from clicktimer.reporting.text.correction import correction_blocks
from clicktimer.reporting.text.day import day_blocks
from clicktimer.reporting.text.day_sections import day_run_blocks, day_sections
from clicktimer.reporting.text.measurement import basis_text, note_blocks, verdict_text
from clicktimer.reporting.text.proof import proof_blocks
from clicktimer.reporting.text.runs import LONGEST_TABLE, ambiguous_blocks, runs_blocks
from clicktimer.reporting.text.tank import tank_blocks
from clicktimer.reporting.text.tank_more import price_blocks, use_blocks
from clicktimer.reporting.text.well import well_blocks, well_cautions
from clicktimer.tank.starts_per_day import day_starts

DAY_PICTURE = {"Starts": "day-starts", "The same day with another tank": "day-replay"}


def technical_sections(
    result: Result, clicks: Sequence[Part], messages: Messages = Messages("document")
) -> tuple[Section, ...]:
    """Return the sections in the order in which they are read. clicks: the parts that show the clicks."""
    m = result.measured
    sections = [
        *_of_the_day(result, messages),
        *_of_the_runs(result, messages),
        *_of_the_tank(result, messages),
        *_of_causes(m, messages),
    ]
    if result.well is not None:
        cautions = [Words(c, "!") for c in well_cautions(messages)]
        sections.append(_section("well", [*well_blocks(result.well, messages), *cautions], messages))
    not_proved = messages.text("document.open.not-proved")
    proof = [Words(not_proved)] if m.proof is None else proof_blocks(m.proof, messages)
    sections.append(_section("proof", proof, messages))
    sections.append(_section("open", list(_open(m, messages)), messages))
    if clicks:
        sections.append(_section("clicks", clicks, messages))
    if len(m.cycles) > LONGEST_TABLE:
        every = runs_blocks(m, csv_hint=False, whole=True, messages=messages)
        sections.append(_section("every-run", every, messages))
    return tuple(sections)


def _section(name: str, parts: Sequence[Part], messages: Messages) -> Section:
    return _titled(name, messages.text(f"document.section.{name}"), parts)


def _titled(name: str, title: str, parts: Sequence[Part]) -> Section:
    return Section(name, title, tuple(part for part in parts if not isinstance(part, Space)))


def _of_the_day(result: Result, messages: Messages) -> Iterator[Section]:
    day = result.reading
    if day is None:
        return
    pictures = {picture.name: Shown(picture) for picture in day_pictures(day, units=messages.units, messages=messages)}
    used = set(DAY_PICTURE.values())
    yield _section("the-run", day_run_blocks(day, messages), messages)
    whole = [shown for name, shown in pictures.items() if name not in used]
    yield _section("the-day", whole, messages)
    for heading, blocks in day_sections(day, messages.units, messages=messages):
        parts: list[Part] = list(blocks)
        name = DAY_PICTURE.get(heading)
        if name in pictures:
            parts.append(pictures[str(name)])
        yield _titled(heading.lower().replace(" ", "-"), heading, parts)


def _of_the_runs(result: Result, messages: Messages) -> Iterator[Section]:
    m = result.measured
    marks_s = m.marks_s
    parts: list[Part] = []
    if m.run is not None and result.reading is None:
        parts.append(Words(verdict_text(m, messages)))
        parts.append(Words(basis_text(m.run, messages)))
        parts.append(Words(messages.text("runs.what-a-run-is")))
    parts.append(Shown(time_line(m, messages)))
    if m.cycles:
        parts.append(Shown(run_bars(m, marks_s=marks_s, messages=messages)))
    if len(m.cycles) > LONGEST_TABLE:
        parts.append(Words(messages.text("document.runs.below", count=len(m.cycles))))
    elif m.cycles:
        parts += runs_blocks(m, csv_hint=False, whole=True, messages=messages)
    yield _section("runs", parts, messages)
    if m.ambiguous is not None:
        yield _section("two-readings", ambiguous_blocks(m, messages), messages)
    if m.correction is not None:
        yield _section("corrected", correction_blocks(m, messages), messages)
    notes = note_blocks(m, messages)
    if notes:
        yield _section("recording-notes", notes, messages)


def _of_the_tank(result: Result, messages: Messages) -> Iterator[Section]:
    m = result.measured
    tank = m.tank
    if tank is None:
        return
    yield _section("tank", tank_blocks(tank, messages), messages)
    if tank.system.pump is not None or tank.system.tanks:
        yield _section("arithmetic", [arithmetic(tank, messages)], messages)
    if result.prices is not None:
        yield _section("prices", price_blocks(result.prices, tank, messages), messages)
    if result.under is not None:
        yield _section("steady-use", use_blocks(result.under, tank, messages), messages)
    starts = day_starts(tank, result.uses)
    if starts is not None and result.reading is None:
        yield _section("starts-in-a-day", day_blocks(starts, messages), messages)


def _of_causes(m: Measurement, messages: Messages) -> Iterator[Section]:
    blocks = causes_blocks(m.causes, messages)
    if blocks:
        yield _section("causes", blocks, messages)


def _open(m: Measurement, messages: Messages) -> Iterator[Block]:
    """What could not be told, first of this recording, then of the method."""
    if m.run is None:
        yield Words(messages.text("document.open.no-run"), "-")
    elif m.run.one_sided:
        yield Words(messages.text("document.open.one-sided"), "-")
    elif m.run.spread_s is None:
        yield Words(messages.text("document.open.spread"), "-")
    if m.ambiguous is not None:
        yield Words(messages.text("document.open.two-kinds"), "-")
    part = sum(not c.complete for c in m.cycles)
    if part:
        one = "document.open.not-whole-only" if len(m.cycles) == 1 else "document.open.not-whole-one"
        code = one if part == 1 else "document.open.not-whole"
        yield Words(messages.text(code, count=part, all=len(m.cycles)), "-")
    if m.tank is not None:
        for missing in m.tank.missing:
            if m.run is not None or missing != "run":
                what, how = Reason(f"tank-missing.{missing}"), Reason(f"tank-missing-how.{missing}")
                yield Words(messages.text("document.open.missing", what=what, how=how), "-")
    yield Words(messages.text("document.open.not-applicable"), "-")
    yield Words(messages.text("document.open.no-synthetic-claim"), "-")
    yield Words(messages.text("document.open.marks-source"), "-")


def values_section(settings: Mapping[str, Any], messages: Messages = Messages("document")) -> Section:
    """Return every value that it rests on, with where it came from."""
    rows = []
    for name, entry in settings.items():
        if not isinstance(entry, Mapping) or "value" not in entry or "from" not in entry:
            continue  # the detector's own settings stand with the program
        named = f"document.value-name.{name}"
        shown = messages.text(named) if messages.has(named) else name.replace("_", " ")
        value = origin = messages.text("document.value.not-said")
        if entry["value"] is not None:
            value = messages.number(value_text(entry["value"]))
            origin = messages.text(f"document.origin.{str(entry['from']).replace(' ', '-')}")
        rows.append((shown, value, origin))
    head = [messages.text(f"document.value.{name}") for name in ("what", "value", "origin")]
    return _section("values", [Rows(head, rows, ("<", "<", "<"))], messages)
