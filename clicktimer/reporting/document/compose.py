"""10 document: a result and how it is to be presented in, the whole document as one model out."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Final, Literal

from clicktimer.assessment.measurement import Measurement
from clicktimer.audio.cutting import Cut
from clicktimer.detection.params import default_params
from clicktimer.errors import SettingsError
from clicktimer.records import CorrectedClick
from clicktimer.reporting.blocks import Words
from clicktimer.reporting.document.evidence import Evidence, FileFact, part_of, runs_to_show, sound_of
from clicktimer.reporting.document.front_page import first_page
from clicktimer.reporting.document.model import Document, Fact, Facts, Paper, Part, Section, Shown, Sound
from clicktimer.reporting.document.remeasure import Asked, Result, asked_json
from clicktimer.reporting.document.sections import technical_sections, values_section
from clicktimer.reporting.figures import click_pair, pair_spans_s
from clicktimer.reporting.formatting import plain, started_time
from clicktimer.reporting.json.measurement import measurement_json
from clicktimer.reporting.messages.catalogue import Decimal, Messages
from clicktimer.reporting.messages.cautions import NO_CERTIFICATE

FORMAT: Final = "clicktimer-report"
FORMAT_VERSION: Final = 1
DateStyle = Literal["iso", "us", "eu"]
LONGEST_FIELD: Final = 4000
LABELS: Final = (
    "meaning",
    "next",
    "what",
    "who",
    "cautions",
    "terms",
    "prices",
    "signing",
    "stand_for",
    "rest",
    "technician",
    "page",
    "by_hand",
    "attached",
    "check",
)
"""The few words that the layout itself sets."""


@dataclass(frozen=True, slots=True)
class Presented:
    """How a document is to look, and what only people know. date: ISO, None where it is not known.

    all_clicks: the clicks of every run are shown. date_style: 2031-05-04, May 4, 2031 or 4 May 2031. decimal: 1.5 or
    1,5.
    """

    who: str = ""
    client: str = ""
    where: str = ""
    date: str | None = None
    notes: str = ""
    paper: Paper = "letter"
    date_style: DateStyle = "iso"
    all_clicks: bool = False
    decimal: Decimal = "point"

    def __post_init__(self) -> None:
        if self.date is not None:
            parse_date(self.date)


def parse_date(text: str) -> str:
    """Read a date written YYYY-MM-DD. Raises SettingsError."""
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise SettingsError(f'"{plain(text)[:30]}" is no date: write it as year, month and day, "2031-05-04"') from None


def date_text(iso: str, style: DateStyle, messages: Messages = Messages()) -> str:
    """Write an ISO date in the style asked for, whatever this computer is set to.

    >>> date_text("2031-05-04", "us"), date_text("2031-05-04", "eu")
    ('May 4, 2031', '4 May 2031')
    """
    day = date.fromisoformat(iso)
    if style == "iso":
        return iso
    month = messages.text(f"document.month.{day.month}")
    return f"{month} {day.day}, {day.year}" if style == "us" else f"{day.day} {month} {day.year}"


def compose(result: Result, asked: Asked, presented: Presented, evidence: Evidence, *, program: str) -> Document:
    """Return the document. evidence: gathered with ``every`` as in ``presented``. program: clicktimer's version."""
    m, files = result.measured, evidence.files
    messages = Messages("document", "us" if m.tank is None else m.tank.units, presented.decimal)
    sections = (
        *technical_sections(result, tuple(_clicks(m, presented, evidence.cuts, messages)), messages),
        values_section(m.settings, messages),
        _evidence_section(m, files, program, presented.date_style, messages),
    )
    return Document(
        title=messages.text("document.title.measure" if result.reading is None else "document.title.day"),
        messages=messages,
        paper=presented.paper,
        about=tuple(_about(m, presented, messages)),
        first=first_page(result, asked.system.marks_s, messages),
        sections=sections,
        signing=(
            Fact(messages.text("document.signing.name"), _short(presented.who)),
            Fact(messages.text("document.signing.license"), ""),
            Fact(messages.text("document.signing.signature"), ""),
            Fact(messages.text("document.signing.date"), ""),
        ),
        produced=f"clicktimer {program}",
        labels={name: messages.text(f"document.label.{name}") for name in LABELS},
        certificate=NO_CERTIFICATE,
        data=_data(result, asked, presented, files, program),
    )


def _about(m: Measurement, presented: Presented, messages: Messages) -> Iterator[Fact]:
    when = presented.date
    if when is None and (started := started_time(m.source.started_at)) is not None:
        when = started.date().isoformat()
    yield Fact(messages.text("document.about.place"), _short(presented.where))
    yield Fact(messages.text("document.about.client"), _short(presented.client))
    yield Fact(messages.text("document.about.who"), _short(presented.who))
    yield Fact(
        messages.text("document.about.date"),
        "" if when is None else date_text(when, presented.date_style, messages),
    )
    recorded = messages.text("document.about.recorded", name=plain(m.source.name), length_s=m.source.duration_s)
    yield Fact(messages.text("document.about.recording"), recorded)
    if presented.notes:
        yield Fact(messages.text("document.about.notes"), _short(presented.notes))


def _short(text: str) -> str:
    """What people typed: no control characters, no line ends, and not without end."""
    tidy = plain(" ".join(text.split()))
    return tidy if len(tidy) <= LONGEST_FIELD else tidy[: LONGEST_FIELD - 1] + "…"


def _clicks(m: Measurement, presented: Presented, cuts: Mapping[float, Cut], messages: Messages) -> Iterator[Part]:
    numbers = runs_to_show(m, every=presented.all_clicks)
    if not numbers:
        return
    count = sum(c.cut_in_s is not None or c.cut_out_s is not None for c in m.cycles)
    if len(numbers) == count:
        yield Words(messages.text("document.clicks.all"))
    else:
        yield Words(messages.text("document.clicks.some", count=count, shown=len(numbers)))
    yield Words(messages.text("document.clicks.listen" if cuts else "document.clicks.no-sound"))
    by_hand = {} if m.correction is None else {c.click.time_s: c for c in m.correction.clicks if c.change != "kept"}
    for number in numbers:
        cycle = m.cycles[number - 1]
        spans = pair_spans_s(m, number)
        times = (cycle.cut_in_s, cycle.cut_out_s)
        whole = [None if t is None else cuts.get(t) for t in times]
        pair = [part_of(cut, span) for cut, span in zip(whole, spans, strict=True)]
        sounds: list[Sound] = []
        for time_s, cut, kind in zip(times, whole, ("cut-in", "cut-out"), strict=True):
            if time_s is not None and cut is not None:
                label = messages.text(f"document.sound.{kind}", number=number)
                sounds += _sounds(label, time_s, cut, by_hand.get(time_s), cuts, messages)
        yield Shown(click_pair(m, number, pair[0], pair[1], messages), tuple(sounds))


def _sounds(
    label: str,
    time_s: float,
    cut: Cut,
    hand: CorrectedClick | None,
    cuts: Mapping[float, Cut],
    messages: Messages,
) -> Iterator[Sound]:
    """The sound of a click, and beside a corrected one what had been detected."""
    if hand is None:
        yield sound_of(cut, time_s, label)
        return
    yield sound_of(cut, time_s, messages.text("document.sound.by-hand", label=label, change=hand.change))
    if hand.was_s is not None and hand.was_s != time_s and hand.was_s in cuts:
        yield sound_of(cuts[hand.was_s], hand.was_s, messages.text("document.sound.detected", label=label))


def _evidence_section(
    m: Measurement, files: Sequence[FileFact], program: str, style: DateStyle, messages: Messages
) -> Section:
    facts: list[Fact] = []

    def add(name: str, value: str) -> None:
        facts.append(Fact(messages.text(f"document.fact.{name}"), value))

    for file in files:
        add("file", plain(file.name))
        if file.sha256 is None:
            add("fingerprint", messages.text("document.fact.live"))
        else:
            add("size", messages.text("document.fact.size-value", size=f"{file.size_bytes:,}".replace(",", " ")))
            add("fingerprint", file.sha256)
    s = m.source
    add("length", messages.text("document.fact.length-value", length_s=s.duration_s))
    add("rate", f"{s.sample_rate_hz} Hz")
    add("channels", str(s.channels))
    started = started_time(s.started_at)
    if started is not None:
        when = f"{date_text(started.date().isoformat(), style, messages)} {started:%H:%M:%S}"
        if s.started_how in ("container", "clock"):
            when = messages.text(f"document.fact.began-{s.started_how}", when=when)
        add("began", when)
    add("program", f"clicktimer {program}")
    detection = m.settings.get("detection")
    if detection:
        values = detection["values"] if detection["from"] != "default" else None
        changed = _changed(values, messages) if isinstance(values, Mapping) else ""
        add("detector", changed or messages.text("document.fact.detector-default"))
    return Section("evidence", messages.text("document.section.evidence"), (Facts(tuple(facts)),))


def _changed(values: Mapping[str, Mapping[str, Any]], messages: Messages) -> str:
    """Return the parameters of the detector that differ from its defaults, as text."""
    default = default_params().as_dict()
    return ", ".join(
        f"{section}.{name} {messages.number(f'{value:g}') if isinstance(value, int | float) else value}"
        for section, part in values.items()
        for name, value in part.items()
        if value != default.get(section, {}).get(name)
    )


def _data(result: Result, asked: Asked, presented: Presented, files: Sequence[FileFact], program: str) -> str:
    """The embedded JSON: the result, and all that is needed to come to it again."""
    return json.dumps(
        {
            "format": FORMAT,
            "version": FORMAT_VERSION,
            "program": program,
            "recordings": [asdict(file) for file in files],
            "asked": asked_json(asked),
            "presented": asdict(presented),
            "result": result_json(result, program=program),
        },
        allow_nan=False,
        indent=1,
    )


def result_json(result: Result, *, program: str) -> dict[str, Any]:
    """The result as JSON: the document of a measurement or a day, and the well's where there is one."""
    if result.reading is None:
        document = measurement_json(result.measured, program_version=program)
    else:
        from clicktimer.reporting.json.day import reading_json

        document = reading_json(result.measured, result.reading, program_version=program)
    if result.under is not None:
        from clicktimer.reporting.text.tank_more import use_json

        document["use"] = use_json(result.under)
    if result.well is not None:
        from clicktimer.reporting.json.well import well_json

        document["well"] = well_json(result.well)
    return document
