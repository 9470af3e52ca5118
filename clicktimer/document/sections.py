"""10 document: what follows page one, for the technician: runs, tank, causes, well, proof, what could not be told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from clicktimer.document import words
from clicktimer.document.again import Result
from clicktimer.document.arithmetic import arithmetic
from clicktimer.document.model import Part, Section, Shown
from clicktimer.formats import UnitSystem
from clicktimer.pictures import run_bars, time_line
from clicktimer.pictures.day import day_pictures
from clicktimer.records import Measurement
from clicktimer.report.blocks import Block, Rows, Space, Words
from clicktimer.report.causes import causes_blocks
from clicktimer.report.correction import correction_blocks
from clicktimer.report.day import day_blocks
from clicktimer.report.day_text import day_run_blocks, day_sections
from clicktimer.report.proof import proof_blocks
from clicktimer.report.runs import LONGEST_TABLE, ambiguous_blocks, runs_blocks
from clicktimer.report.tank import tank_blocks
from clicktimer.report.tank_more import price_blocks, use_blocks
from clicktimer.report.text import WHAT_A_RUN_IS, basis_text, marks_of, note_blocks, verdict_text
from clicktimer.report.well import CAUTIONS as WELL_CAUTIONS
from clicktimer.report.well import NO_CERTIFICATE as WELL_NO_CERTIFICATE
from clicktimer.report.well import well_blocks
from clicktimer.report.words import value_text
from clicktimer.tank.day import day_starts

DAY_PICTURE = {"Starts": "day-starts", "The same day with another tank": "day-replay"}


def technical_sections(result: Result, clicks: Sequence[Part]) -> tuple[Section, ...]:
    """Return the sections in the order in which they are read. clicks: the parts that show the clicks."""
    m = result.measured
    sections = [*_of_the_day(result), *_of_the_runs(result), *_of_the_tank(result), *_of_causes(m)]
    if result.well is not None:
        cautions = [Words(c, "!") for c in (*WELL_CAUTIONS, WELL_NO_CERTIFICATE)]
        sections.append(_section("well", words.WELL, [*well_blocks(result.well), *cautions]))
    proof = [Words(words.NOT_PROVED)] if m.proof is None else proof_blocks(m.proof)
    sections.append(_section("proof", words.PROOF, proof))
    sections.append(_section("open", words.OPEN_QUESTIONS, list(_open(m))))
    if clicks:
        sections.append(_section("clicks", words.CLICKS, clicks))
    if len(m.cycles) > LONGEST_TABLE:
        sections.append(_section("every-run", words.EVERY_RUN, runs_blocks(m, csv_hint=False, whole=True)))
    return tuple(sections)


def _section(name: str, title: str, parts: Sequence[Part]) -> Section:
    return Section(name, title, tuple(part for part in parts if not isinstance(part, Space)))


def _of_the_day(result: Result) -> Iterator[Section]:
    day, m = result.reading, result.measured
    if day is None:
        return
    pictures = {picture.name: Shown(picture) for picture in day_pictures(day)}
    used = set(DAY_PICTURE.values())
    yield _section("the-run", words.THE_RUN, day_run_blocks(day))
    yield _section("the-day", words.THE_DAY, [shown for name, shown in pictures.items() if name not in used])
    units: UnitSystem = "us" if m.tank is None else m.tank.units
    for heading, blocks in day_sections(day, units):
        parts: list[Part] = list(blocks)
        name = DAY_PICTURE.get(heading)
        if name in pictures:
            parts.append(pictures[str(name)])
        yield _section(heading.lower().replace(" ", "-"), heading, parts)


def _of_the_runs(result: Result) -> Iterator[Section]:
    m = result.measured
    marks_s = marks_of(m)
    parts: list[Part] = []
    if m.run is not None and result.reading is None:
        parts.append(Words(verdict_text(m)))
        parts.append(Words(basis_text(m.run)))
        parts.append(Words(WHAT_A_RUN_IS))
    parts.append(Shown(time_line(m)))
    if m.cycles:
        parts.append(Shown(run_bars(m, marks_s=marks_s)))
    if len(m.cycles) > LONGEST_TABLE:
        parts.append(Words(words.EVERY_RUN_BELOW.format(count=len(m.cycles))))
    elif m.cycles:
        parts += runs_blocks(m, csv_hint=False, whole=True)
    yield _section("runs", words.RUNS, parts)
    if m.ambiguous is not None:
        yield _section("two-readings", words.BOTH, ambiguous_blocks(m))
    if m.correction is not None:
        yield _section("corrected", words.CORRECTED, correction_blocks(m))
    notes = note_blocks(m)
    if notes:
        yield _section("recording-notes", words.RECORDING, notes)


def _of_the_tank(result: Result) -> Iterator[Section]:
    m = result.measured
    tank = m.tank
    if tank is None:
        return
    yield _section("tank", words.TANK, tank_blocks(tank))
    if tank.system.pump is not None or tank.system.tanks:
        yield _section("arithmetic", words.ARITHMETIC, [arithmetic(tank)])
    if result.prices is not None:
        yield _section("prices", words.PRICES, price_blocks(result.prices, tank))
    if result.under is not None:
        yield _section("steady-use", words.STEADY_USE, use_blocks(result.under, tank))
    starts = day_starts(tank, result.uses)
    if starts is not None and result.reading is None:
        yield _section("starts-in-a-day", words.STARTS, day_blocks(starts, tank.units))


def _of_causes(m: Measurement) -> Iterator[Section]:
    blocks = causes_blocks(m.causes)
    if blocks:
        yield _section("causes", words.CAUSES, blocks)


def _open(m: Measurement) -> Iterator[Block]:
    """What could not be told, first of this recording, then of the method."""
    if m.run is None:
        yield Words(words.NO_RUN, "-")
    elif m.run.one_sided:
        yield Words(words.ONE_SIDED, "-")
    elif m.run.spread_s is None:
        yield Words(words.SPREAD, "-")
    if m.ambiguous is not None:
        yield Words(words.TWO_KINDS, "-")
    part = sum(not c.complete for c in m.cycles)
    if part:
        one = words.NOT_WHOLE_ONLY if len(m.cycles) == 1 else words.NOT_WHOLE_ONE
        yield Words((one if part == 1 else words.NOT_WHOLE).format(count=part, all=len(m.cycles)), "-")
    if m.tank is not None:
        for missing in m.tank.missing:
            if m.run is not None or missing.what != "the run with no water in use":
                what = missing.what[:1].upper() + missing.what[1:]
                yield Words(words.MISSING.format(what=what, how=missing.how), "-")
    yield Words(words.NOT_APPLICABLE, "-")
    yield Words(words.NO_SYNTHETIC_CLAIM, "-")
    yield Words(words.MARKS_SOURCE, "-")


def values_section(settings: Mapping[str, Any]) -> Section:
    """Return every value that it rests on, with where it came from."""
    rows = []
    for name, entry in settings.items():
        if not isinstance(entry, Mapping) or "value" not in entry or "from" not in entry:
            continue  # the detector's own settings stand with the program
        value = words.NOT_SAID if entry["value"] is None else value_text(entry["value"])
        origin = words.NOT_SAID if entry["value"] is None else words.ORIGINS.get(str(entry["from"]), str(entry["from"]))
        rows.append((words.NAMES.get(name, name.replace("_", " ")), value, origin))
    return Section("values", words.VALUES, (Rows(words.VALUE_HEAD, rows, ("<", "<", "<")),))
