"""10 document: a result and how it is to be presented in, the whole document as one model out."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Final, Literal

from clicktimer.audio.cutting import Cut
from clicktimer.detection.params import default_params
from clicktimer.errors import SettingsError
from clicktimer.records import CorrectedClick, Measurement
from clicktimer.reporting.blocks import Words
from clicktimer.reporting.document import phrases
from clicktimer.reporting.document.evidence import Evidence, FileFact, part_of, runs_to_show, sound_of
from clicktimer.reporting.document.front_page import first_page
from clicktimer.reporting.document.layout import readable
from clicktimer.reporting.document.model import Document, Fact, Facts, Paper, Part, Section, Shown, Sound
from clicktimer.reporting.document.remeasure import Asked, Result, asked_json
from clicktimer.reporting.document.sections import technical_sections, values_section
from clicktimer.reporting.document.wording import Decimal, with_decimal, worded
from clicktimer.reporting.figures import click_pair, pair_spans_s
from clicktimer.reporting.formatting import length_text, plain, started_time
from clicktimer.reporting.json.measurement import measurement_json
from clicktimer.reporting.messages.cautions import NO_CERTIFICATE

FORMAT: Final = "clicktimer-report"
FORMAT_VERSION: Final = 1
DateStyle = Literal["iso", "us", "eu"]
LONGEST_FIELD: Final = 4000


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


def date_text(iso: str, style: DateStyle) -> str:
    """Write an ISO date in the style asked for, whatever this computer is set to.

    >>> date_text("2031-05-04", "us"), date_text("2031-05-04", "eu")
    ('May 4, 2031', '4 May 2031')
    """
    day = date.fromisoformat(iso)
    if style == "iso":
        return iso
    month = phrases.MONTHS[day.month - 1]
    return f"{month} {day.day}, {day.year}" if style == "us" else f"{day.day} {month} {day.year}"


def compose(result: Result, asked: Asked, presented: Presented, evidence: Evidence, *, program: str) -> Document:
    """Return the document. evidence: gathered with ``every`` as in ``presented``. program: clicktimer's version."""
    m, files = result.measured, evidence.files
    marks_s = asked.system.marks_s
    sections = (
        *technical_sections(result, tuple(_clicks(m, presented, evidence.cuts))),
        values_section(m.settings),
        _evidence_section(m, files, program, presented.date_style),
    )
    typed = _typed(result, asked, files)
    document = Document(
        title=phrases.TITLE if result.reading is None else phrases.TITLE_DAY,
        language=phrases.LANGUAGE,
        paper=presented.paper,
        about=tuple(_about(m, presented, typed)),
        first=first_page(result, marks_s),
        sections=sections,
        signing=(
            Fact(phrases.SIGNER, _short(presented.who)),
            Fact(phrases.LICENCE, ""),
            Fact(phrases.SIGNED, ""),
            Fact(phrases.SIGNED_DATE, ""),
        ),
        produced=f"clicktimer {program}",
        labels=phrases.LABELS,
        certificate=NO_CERTIFICATE,
        data=_data(result, asked, presented, files, program),
    )
    return worded(document, presented.decimal, typed)


def _typed(result: Result, asked: Asked, files: Sequence[FileFact]) -> tuple[str, ...]:
    """What people wrote and a sentence may hold: a point in it is no decimal point."""
    m = result.measured
    names = [m.source.name, *(file.name for file in files)]
    names += [m.correction.file] if m.correction is not None else []
    names += [asked.site] if asked.site is not None else []
    names += [offer.name for offer in result.prices.offers] if result.prices is not None else []
    return tuple(dict.fromkeys(readable(plain(name)) for name in names))


def _about(m: Measurement, presented: Presented, typed: Sequence[str]) -> Iterator[Fact]:
    when = presented.date
    if when is None and (started := started_time(m.source.started_at)) is not None:
        when = started.date().isoformat()
    yield Fact(phrases.WHERE, _short(presented.where))
    yield Fact(phrases.CLIENT, _short(presented.client))
    yield Fact(phrases.WHO, _short(presented.who))
    yield Fact(phrases.DATE, "" if when is None else date_text(when, presented.date_style))
    recorded = f"{plain(m.source.name)}, {length_text(m.source.duration_s)}"
    yield Fact(phrases.RECORDED, with_decimal(recorded, presented.decimal, typed))
    if presented.notes:
        yield Fact(phrases.NOTES, _short(presented.notes))


def _short(text: str) -> str:
    """What people typed: no control characters, no line ends, and not without end."""
    tidy = plain(" ".join(text.split()))
    return tidy if len(tidy) <= LONGEST_FIELD else tidy[: LONGEST_FIELD - 1] + "…"


def _clicks(m: Measurement, presented: Presented, cuts: Mapping[float, Cut]) -> Iterator[Part]:
    numbers = runs_to_show(m, every=presented.all_clicks)
    if not numbers:
        return
    count = sum(c.cut_in_s is not None or c.cut_out_s is not None for c in m.cycles)
    if len(numbers) == count:
        yield Words(phrases.CLICKS_ALL)
    else:
        yield Words(phrases.CLICKS_OF.format(count=count, shown=len(numbers), why=phrases.CLICKS_WHY))
    yield Words(phrases.CLICKS_LISTEN if cuts else phrases.NO_SOUND)
    by_hand = {} if m.correction is None else {c.click.time_s: c for c in m.correction.clicks if c.change != "kept"}
    for number in numbers:
        cycle = m.cycles[number - 1]
        spans = pair_spans_s(m, number)
        times = (cycle.cut_in_s, cycle.cut_out_s)
        whole = [None if t is None else cuts.get(t) for t in times]
        pair = [part_of(cut, span) for cut, span in zip(whole, spans, strict=True)]
        sounds: list[Sound] = []
        for time_s, cut, what in zip(times, whole, (phrases.CUT_IN, phrases.CUT_OUT), strict=True):
            if time_s is not None and cut is not None:
                sounds += _sounds(number, time_s, cut, what, by_hand.get(time_s), cuts)
        yield Shown(click_pair(m, number, *pair), tuple(sounds))


def _sounds(
    number: int, time_s: float, cut: Cut, what: str, hand: CorrectedClick | None, cuts: Mapping[float, Cut]
) -> Iterator[Sound]:
    """The sound of a click, and beside a corrected one what had been detected."""
    label = phrases.SOUND_LABEL.format(number=number, what=what)
    if hand is None:
        yield sound_of(cut, time_s, label)
        return
    yield sound_of(cut, time_s, phrases.HAND_LABEL.format(label=label, change=hand.change))
    if hand.was_s is not None and hand.was_s != time_s and hand.was_s in cuts:
        yield sound_of(cuts[hand.was_s], hand.was_s, phrases.DETECTED_LABEL.format(label=label))


def _evidence_section(m: Measurement, files: Sequence[FileFact], program: str, style: DateStyle) -> Section:
    facts = []
    for file in files:
        facts.append(Fact(phrases.FILE, plain(file.name)))
        if file.sha256 is None:
            facts.append(Fact(phrases.FINGERPRINT, phrases.LIVE))
        else:
            facts.append(Fact(phrases.SIZE, f"{file.size_bytes:,} bytes".replace(",", " ")))
            facts.append(Fact(phrases.FINGERPRINT, file.sha256))
    s = m.source
    facts.append(Fact(phrases.LENGTH, f"{length_text(s.duration_s)} ({s.duration_s:.3f} s)"))
    facts.append(Fact(phrases.RATE, f"{s.sample_rate_hz} Hz"))
    facts.append(Fact(phrases.CHANNELS, str(s.channels)))
    started = started_time(s.started_at)
    if started is not None:
        when = f"{date_text(started.date().isoformat(), style)} {started:%H:%M:%S}"
        form = {"container": phrases.BY_FILE, "clock": phrases.BY_CLOCK}.get(s.started_how, "{when}")
        facts.append(Fact(phrases.BEGAN, form.format(when=when)))
    facts.append(Fact(phrases.PROGRAM, f"clicktimer {program}"))
    detection = m.settings.get("detection")
    if detection:
        changed = _changed(detection["values"]) if detection["from"] != "default" else ""
        facts.append(Fact(phrases.SETTINGS, changed or phrases.SETTINGS_DEFAULT))
    return Section("evidence", phrases.EVIDENCE, (Facts(tuple(facts)),))


def _changed(values: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the parameters of the detector that differ from its defaults, as text."""
    default = default_params().as_dict()
    return ", ".join(
        f"{section}.{name} {value:g}" if isinstance(value, int | float) else f"{section}.{name} {value}"
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
