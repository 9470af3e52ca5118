"""10 document: page one, for whoever has never seen such a thing: what was found, what it means, what to do next."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.needed_cautions import cautions_for
from clicktimer.assessment.verdict import band_reason, basis_of, below_motor_limit, common_side, length_of
from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.day.start_counts import HOUR_S
from clicktimer.records import (
    Figure,
    RunTime,
)
from clicktimer.reporting.blocks import Block, Words
from clicktimer.reporting.day_formatting import leak_text
from clicktimer.reporting.document.model import Fact, FirstPage, Step
from clicktimer.reporting.document.remeasure import Result
from clicktimer.reporting.figures import run_scale
from clicktimer.reporting.formatting import most_starts_text
from clicktimer.reporting.headline import headline, is_another_kind
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.day_figures import count_text
from clicktimer.reporting.text.advice import runs_on, tank_denies, to_try
from clicktimer.reporting.text.day_sections import day_caution_reasons
from clicktimer.reporting.text.tank_more import price_blocks
from clicktimer.reporting.text.tank_sizes import size_text
from clicktimer.tank.finding import Finding
from clicktimer.targets import SHORT_BANDS, Band, Marks, band_of

AGAIN: Final = (("document.next.keep", "owner"),)
NO_GUESS: Final = ("document.next.no-guess", "owner")
NEXT: Final[dict[Band, tuple[tuple[str, str], ...]]] = {
    "very-short": (("document.next.little-water", "owner"), ("document.next.look-now", "technician")),
    "short": (("document.next.check-charge", "technician"), NO_GUESS),
    "short-of-30": (("document.next.find-cause", "technician"), NO_GUESS),
    "under-a-minute": (("document.next.larger-at-change", "owner"), ("document.next.again-shorter", "owner")),
    "a-minute-or-more": AGAIN,
    "over-three-minutes": AGAIN,
}
"""What a run in each band asks for, and of whom."""
NEXT_LARGER: Final = (("document.next.larger", "technician"), NO_GUESS)
"""In place of looking for the cause, where the tank has been found healthy and too small."""
NEXT_CHARGE: Final = (("document.next.put-charge-right", "technician"), ("document.next.measure-again", "measurer"))
NEXT_RANGE: Final = (("document.next.put-switch-right", "technician"), ("document.next.measure-again", "measurer"))
FAULTS: Final = ("short-of-air-or-overcharged", "charge-wrong", "range-wrong")
"""Findings for which more tank is not the remedy."""
TERMS: Final = ("run", "switch", "charge", "bladder", "disconnect", "plate", "gpm", "interval")


def first_page(result: Result, marks_s: Marks, messages: Messages = Messages("document")) -> FirstPage:
    """Return page one of a result; marks in s."""
    m = result.measured
    tone, verdict = headline(m)
    day = result.reading is not None
    found = _found_day(result, marks_s, messages) if day else found_text(m, marks_s, messages)
    page = FirstPage(
        tone=tone,
        verdict=messages.text(verdict),
        found=found,
        notes=_notes(m, messages),
        picture=run_scale(m.run, marks_s=marks_s, messages=messages),
        meaning=_meaning(m, marks_s, messages),
        steps=tuple(_steps(result, messages)),
        prices=_prices(result, messages),
        cautions=_cautions(result, messages),
        terms=(),
    )
    return replace(page, terms=tuple(_terms(page, messages)))


def _terms(page: FirstPage, messages: Messages) -> Iterator[Fact]:
    """The words that this very page uses and an owner may not know."""
    texts = [*page.found, *page.notes, *page.meaning, *(step.text for step in page.steps), *page.cautions]
    texts += [page.picture.caption, *(block.text for block in page.prices if isinstance(block, Words))]
    said = " ".join(texts)
    for name in TERMS:
        sign = f"document.term-sign.{name}"
        if not messages.has(sign) or re.search(messages.text(sign), said):
            yield Fact(messages.text(f"document.term-name.{name}"), messages.text(f"document.term.{name}"))


def _prices(result: Result, messages: Messages) -> tuple[Block, ...]:
    """What the price list comes to, its table left to the technician; nothing where more tank is not the cure."""
    tank = result.measured.tank
    if result.prices is None or tank is None:
        return ()
    if tank.judgement is not None and tank.judgement.finding in FAULTS:
        return ()
    return tuple(block for block in price_blocks(result.prices, tank, messages) if isinstance(block, Words))


def found_text(m: Measurement, marks_s: Marks, messages: Messages = Messages("document")) -> tuple[str, ...]:
    """Return what was found, in two sentences at the most; marks in s."""
    if is_another_kind(m):
        return (messages.texts(m.verdict.reasons),)
    if m.run is not None:
        return _found_run(m, m.run, marks_s, messages)
    if m.ambiguous is not None:
        return messages.text("document.found.either"), messages.text("document.found.either-2")
    why = "document.found.few" if m.clicks else "document.found.no-click"
    return messages.text(why), messages.text("document.found.nothing")


def _found_run(m: Measurement, run: RunTime, marks_s: Marks, messages: Messages) -> tuple[str, ...]:
    marks = {"mark1_s": marks_s[0], "mark2_s": marks_s[1]}
    band, text = m.verdict.band, messages.text
    if run.one_sided:
        first = text("document.found.at-most", run=(run.seconds, run.high_s), basis=basis_of(run))
        if band is None:
            return first, text("document.found.at-most-good")
        if run.high_s >= marks_s[0]:
            return first, text("document.found.at-most-middle", **marks)
        return first, text("document.found.at-most-short", **marks)
    first = text("document.found.run", run=length_of(run), basis=basis_of(run))
    low_s, high_s = allowed_interval_s(run)
    lower, upper = band_of(low_s, marks_s), band_of(high_s, marks_s)
    if band is None:
        return first, text("document.found.at-most-good")
    side = common_side(lower, upper)
    if lower != upper and side is None:
        close = "document.found.close-unharmed" if low_s >= marks_s[0] else "document.found.close"
        return first, text(close, lower=band_reason(lower, marks_s), upper=band_reason(upper, marks_s))
    if lower != upper:  # which of them is open, what all mean for the pump is not
        lower = "short-of-30" if side == "short" else "a-minute-or-more"
    return first, text(f"document.found-band.{lower}", **marks)


def _found_day(result: Result, marks_s: Marks, messages: Messages) -> tuple[str, ...]:
    m, day = result.measured, result.reading
    if day is None:
        return ()
    length_s, starts, text = day.log.duration_s, day.starts, messages.text
    if starts.count > 1:
        code = "document.found.starts" if day.log.heard_s >= HOUR_S else "document.found.starts-few"
        count, worst = count_text(starts.counts.starts.figure), count_text(starts.counts.worst_hour.figure)
        first = text(code, length_s=length_s, count=count, worst=worst)
    else:
        first = text("document.found.starts-one" if starts.count else "document.found.starts-none", length_s=length_s)
    found = [first]
    if m.run is not None:
        found += found_text(m, marks_s, messages)
    elif day.no_use.withheld is not None:
        found.append(text(day.no_use.withheld))
    if day.leak.reported:
        flow = messages.number(leak_text(day, messages.units, "what the pump gives"))
        found.append(text("document.found.leak", flow=flow))
    return tuple(found)


def _notes(m: Measurement, messages: Messages) -> tuple[str, ...]:
    notes = []
    if m.run is not None and m.run.doubted:
        notes.append(messages.text("document.note.doubt", doubt=messages.texts(m.run.doubts)))
    if tank_denies(m):
        notes.append(messages.text("verdict.tank-denies"))
    if m.correction is not None and (m.correction.figures or m.correction.deleted):
        notes.append(messages.text("document.note.by-hand", file=m.correction.file))
    return tuple(notes)


def _meaning(m: Measurement, marks_s: Marks, messages: Messages) -> tuple[str, ...]:
    if m.run is None:
        return (messages.text("document.means.not-judged" if is_another_kind(m) else "document.means.nothing"),)
    meaning = []
    if m.tank is not None and m.tank.judgement is not None and m.tank.installed is not None:
        meaning.append(messages.text(f"document.means-finding.{m.tank.judgement.finding}"))
    starts = None if m.tank is None else m.tank.measured_most_starts_per_h
    if starts is not None and not m.run.one_sided:
        meaning.append(messages.text("document.means.starts", starts=most_starts_text(m.run)))
    why = messages.text("document.means.why-runs-matter", mark1_s=marks_s[0], mark2_s=marks_s[1])
    return (why, " ".join(meaning)) if meaning else (why,)


def _steps(result: Result, messages: Messages) -> list[Step]:  # noqa: C901
    m, day = result.measured, result.reading
    steps = []

    def step(code: str, who: str, **figures: Figure) -> Step:
        return Step(messages.text(code, **figures), messages.text(f"document.who.{who}"))

    measurer = messages.text("document.who.measurer")
    if runs_on(m) or (day is not None and day.starts.endless):
        steps.append(step("document.next.endless", "owner"))
    if m.tank is not None and any(note.code == "tank.cut-out-over-plate" for note in m.tank.notes):
        steps.insert(0, step("document.next.plate", "owner"))
    leak_first = day is not None and day.leak_makes_most_starts
    if leak_first:
        steps.append(step("document.next.leak", "owner"))
    if m.run is None:
        tries = to_try(m, messages) if m.ambiguous is None else [messages.text("document.next.pump-at-start")]
        if day is not None:
            tries = [messages.texts(m.verdict.settle or m.verdict.reasons)]
        return [*steps, *(Step(text, measurer) for text in tries)]
    band = m.verdict.band
    finding = None if m.tank is None or m.tank.judgement is None else m.tank.judgement.finding
    if finding == "more-than-label":
        steps.append(step("document.next.stated", "measurer"))
    if m.tank is not None and m.tank.judgement is not None and tank_denies(m):
        if not m.verdict.settle:  # which asks for the run again, too
            steps.append(Step(messages.texts(m.tank.judgement.settle), measurer))
    elif below_motor_limit(m.verdict) and finding not in FAULTS:
        steps.append(step("document.next.larger-for-motor", "technician", size=_size_text(result, messages)))
    elif band is not None and (m.verdict.sure or band in SHORT_BANDS or not m.verdict.settle):
        size = _size_text(result, messages)
        steps += [step(code, who, size=size) for code, who in _next_of(band, finding)]
    if day is not None and day.leak.reported and not leak_first:
        steps.append(step("document.next.leak", "owner"))
    if m.verdict.settle:
        steps.append(Step(messages.texts(m.verdict.settle), measurer))
    return steps


def _next_of(band: Band, finding: Finding | None) -> tuple[tuple[str, str], ...]:
    """What a run in this band asks for; where the tank itself could be judged, what that asks for instead."""
    usual = NEXT[band]
    if finding == "too-small-but-healthy" and band in ("short", "short-of-30"):
        return NEXT_LARGER
    if finding == "charge-wrong":
        return NEXT_CHARGE
    if finding == "range-wrong":
        return NEXT_RANGE
    if finding == "short-of-air-or-overcharged" and band not in ("very-short", "short"):
        return ("document.next.air", "technician"), usual[-1]
    return usual


def _size_text(result: Result, messages: Messages) -> str:
    """The size that reaches the mark, where it is sure that more tank is the cure; else empty."""
    tank = result.measured.tank
    if tank is None or tank.judgement is None or tank.choice is None:
        return ""
    if tank.judgement.finding != "too-small-but-healthy":
        return ""
    size = size_text(tank.choice, tank, messages)
    return messages.text("document.next.size", size=size, target_s=tank.target_s)


def _cautions(result: Result, messages: Messages) -> tuple[str, ...]:
    """All that belong to it but the last, which the document says at its foot."""
    found = list(cautions_for(result.measured))
    if result.reading is not None:
        found = list(dict.fromkeys([*day_caution_reasons(result.reading), *found]))
    return tuple(messages.text(reason) for reason in found if reason.code != "caution.no-certificate")
