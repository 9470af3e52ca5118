"""10 document: what follows page one, for the technician: runs, tank, causes, well, proof, what could not be told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from clicktimer.records import Measurement
from clicktimer.reporting.blocks import Block, Rows, Space, Words
from clicktimer.reporting.document import phrases
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
from clicktimer.reporting.text.measurement import WHAT_A_RUN_IS, basis_text, note_blocks, verdict_text
from clicktimer.reporting.text.proof import proof_blocks
from clicktimer.reporting.text.runs import LONGEST_TABLE, ambiguous_blocks, runs_blocks
from clicktimer.reporting.text.tank import tank_blocks
from clicktimer.reporting.text.tank_more import price_blocks, use_blocks
from clicktimer.reporting.text.well import CAUTIONS as WELL_CAUTIONS
from clicktimer.reporting.text.well import NO_CERTIFICATE as WELL_NO_CERTIFICATE
from clicktimer.reporting.text.well import well_blocks
from clicktimer.tank.starts_per_day import day_starts
from clicktimer.units.format import UnitSystem

DAY_PICTURE = {"Starts": "day-starts", "The same day with another tank": "day-replay"}


def technical_sections(result: Result, clicks: Sequence[Part]) -> tuple[Section, ...]:
    """Return the sections in the order in which they are read. clicks: the parts that show the clicks."""
    m = result.measured
    sections = [*_of_the_day(result), *_of_the_runs(result), *_of_the_tank(result), *_of_causes(m)]
    if result.well is not None:
        cautions = [Words(c, "!") for c in (*WELL_CAUTIONS, WELL_NO_CERTIFICATE)]
        sections.append(_section("well", phrases.WELL, [*well_blocks(result.well), *cautions]))
    proof = [Words(phrases.NOT_PROVED)] if m.proof is None else proof_blocks(m.proof)
    sections.append(_section("proof", phrases.PROOF, proof))
    sections.append(_section("open", phrases.OPEN_QUESTIONS, list(_open(m))))
    if clicks:
        sections.append(_section("clicks", phrases.CLICKS, clicks))
    if len(m.cycles) > LONGEST_TABLE:
        sections.append(_section("every-run", phrases.EVERY_RUN, runs_blocks(m, csv_hint=False, whole=True)))
    return tuple(sections)


def _section(name: str, title: str, parts: Sequence[Part]) -> Section:
    return Section(name, title, tuple(part for part in parts if not isinstance(part, Space)))


def _of_the_day(result: Result) -> Iterator[Section]:
    day, m = result.reading, result.measured
    if day is None:
        return
    pictures = {picture.name: Shown(picture) for picture in day_pictures(day)}
    used = set(DAY_PICTURE.values())
    yield _section("the-run", phrases.THE_RUN, day_run_blocks(day))
    yield _section("the-day", phrases.THE_DAY, [shown for name, shown in pictures.items() if name not in used])
    units: UnitSystem = "us" if m.tank is None else m.tank.units
    for heading, blocks in day_sections(day, units):
        parts: list[Part] = list(blocks)
        name = DAY_PICTURE.get(heading)
        if name in pictures:
            parts.append(pictures[str(name)])
        yield _section(heading.lower().replace(" ", "-"), heading, parts)


def _of_the_runs(result: Result) -> Iterator[Section]:
    m = result.measured
    marks_s = m.marks_s
    parts: list[Part] = []
    if m.run is not None and result.reading is None:
        parts.append(Words(verdict_text(m)))
        parts.append(Words(basis_text(m.run)))
        parts.append(Words(WHAT_A_RUN_IS))
    parts.append(Shown(time_line(m)))
    if m.cycles:
        parts.append(Shown(run_bars(m, marks_s=marks_s)))
    if len(m.cycles) > LONGEST_TABLE:
        parts.append(Words(phrases.EVERY_RUN_BELOW.format(count=len(m.cycles))))
    elif m.cycles:
        parts += runs_blocks(m, csv_hint=False, whole=True)
    yield _section("runs", phrases.RUNS, parts)
    if m.ambiguous is not None:
        yield _section("two-readings", phrases.BOTH, ambiguous_blocks(m))
    if m.correction is not None:
        yield _section("corrected", phrases.CORRECTED, correction_blocks(m))
    notes = note_blocks(m)
    if notes:
        yield _section("recording-notes", phrases.RECORDING, notes)


def _of_the_tank(result: Result) -> Iterator[Section]:
    m = result.measured
    tank = m.tank
    if tank is None:
        return
    messages = Messages("document", tank.units)
    yield _section("tank", phrases.TANK, tank_blocks(tank, messages))
    if tank.system.pump is not None or tank.system.tanks:
        yield _section("arithmetic", phrases.ARITHMETIC, [arithmetic(tank)])
    if result.prices is not None:
        yield _section("prices", phrases.PRICES, price_blocks(result.prices, tank, messages))
    if result.under is not None:
        yield _section("steady-use", phrases.STEADY_USE, use_blocks(result.under, tank, messages))
    starts = day_starts(tank, result.uses)
    if starts is not None and result.reading is None:
        yield _section("starts-in-a-day", phrases.STARTS, day_blocks(starts, messages))


def _of_causes(m: Measurement) -> Iterator[Section]:
    blocks = causes_blocks(m.causes)
    if blocks:
        yield _section("causes", phrases.CAUSES, blocks)


def _open(m: Measurement) -> Iterator[Block]:
    """What could not be told, first of this recording, then of the method."""
    if m.run is None:
        yield Words(phrases.NO_RUN, "-")
    elif m.run.one_sided:
        yield Words(phrases.ONE_SIDED, "-")
    elif m.run.spread_s is None:
        yield Words(phrases.SPREAD, "-")
    if m.ambiguous is not None:
        yield Words(phrases.TWO_KINDS, "-")
    part = sum(not c.complete for c in m.cycles)
    if part:
        one = phrases.NOT_WHOLE_ONLY if len(m.cycles) == 1 else phrases.NOT_WHOLE_ONE
        yield Words((one if part == 1 else phrases.NOT_WHOLE).format(count=part, all=len(m.cycles)), "-")
    if m.tank is not None:
        messages = Messages("document", m.tank.units)
        for missing in m.tank.missing:
            if m.run is not None or missing != "run":
                what = messages.text(f"tank-missing.{missing}")
                how = messages.text(f"tank-missing-how.{missing}")
                yield Words(phrases.MISSING.format(what=what[:1].upper() + what[1:], how=how), "-")
    yield Words(phrases.NOT_APPLICABLE, "-")
    yield Words(phrases.NO_SYNTHETIC_CLAIM, "-")
    yield Words(phrases.MARKS_SOURCE, "-")


def values_section(settings: Mapping[str, Any]) -> Section:
    """Return every value that it rests on, with where it came from."""
    rows = []
    for name, entry in settings.items():
        if not isinstance(entry, Mapping) or "value" not in entry or "from" not in entry:
            continue  # the detector's own settings stand with the program
        value = phrases.NOT_SAID if entry["value"] is None else value_text(entry["value"])
        origin = (
            phrases.NOT_SAID if entry["value"] is None else phrases.ORIGINS.get(str(entry["from"]), str(entry["from"]))
        )
        rows.append((phrases.NAMES.get(name, name.replace("_", " ")), value, origin))
    return Section("values", phrases.VALUES, (Rows(phrases.VALUE_HEAD, rows, ("<", "<", "<")),))
