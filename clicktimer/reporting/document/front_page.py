"""10 document: page one, for whoever has never seen such a thing: what was found, what it means, what to do next."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from clicktimer.assessment.verdict import band_name, basis_of, same_side
from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.day.start_counts import HOUR_S
from clicktimer.records import Measurement, RunTime
from clicktimer.reporting.blocks import Block, Words
from clicktimer.reporting.day_formatting import leak_text
from clicktimer.reporting.document import phrases
from clicktimer.reporting.document.model import Fact, FirstPage, Step, Tone
from clicktimer.reporting.document.remeasure import Result
from clicktimer.reporting.figures import run_scale
from clicktimer.reporting.formatting import length_text, most_starts_text
from clicktimer.reporting.messages import measurement
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.cautions import NO_CERTIFICATE
from clicktimer.reporting.messages.day_figures import count_text
from clicktimer.reporting.text.advice import cautions, runs_on, tank_denies, to_try
from clicktimer.reporting.text.day_sections import day_cautions
from clicktimer.reporting.text.tank_more import price_blocks
from clicktimer.reporting.text.tank_sizes import size_text
from clicktimer.tank.finding import Finding
from clicktimer.targets import SHORT_BANDS, Band, band_edges_s, band_of
from clicktimer.units.format import format_time

Marks = tuple[float, float]


def first_page(result: Result, marks_s: Marks) -> FirstPage:
    """Return page one of a result; marks in s."""
    m = result.measured
    tone, verdict = headline(m, marks_s)
    found = _found_day(result, marks_s) if result.reading is not None else found_of(m, marks_s)
    page = FirstPage(
        tone=tone,
        verdict=verdict,
        found=found,
        notes=_notes(m),
        picture=run_scale(m.run, marks_s=marks_s),
        meaning=_meaning(m, marks_s),
        steps=tuple(_steps(result)),
        prices=_prices(result),
        cautions=_cautions(result),
        terms=(),
    )
    return replace(page, terms=tuple(_terms(page)))


def _terms(page: FirstPage) -> Iterator[Fact]:
    """The words that this very page uses and an owner may not know."""
    texts = [*page.found, *page.notes, *page.meaning, *(step.text for step in page.steps), *page.cautions]
    texts += [page.picture.caption, *(block.text for block in page.prices if isinstance(block, Words))]
    said = " ".join(texts)
    for name, occurs, meaning in phrases.TERMS:
        if re.search(occurs, said):
            yield Fact(name, meaning)


def _prices(result: Result) -> tuple[Block, ...]:
    """What the price list comes to, its table left to the technician; nothing where more tank is not the cure."""
    tank = result.measured.tank
    if result.prices is None or tank is None:
        return ()
    if tank.judgement is not None and tank.judgement.finding == "short-of-air-or-overcharged":
        return ()
    return tuple(
        block
        for block in price_blocks(result.prices, tank, Messages("document", tank.units))
        if isinstance(block, Words)
    )


def headline(m: Measurement, marks_s: Marks) -> tuple[Tone, str]:
    """Return the verdict in a few words, and how it is set off; marks in s."""
    if _not_judged(m):
        return "open", phrases.NOT_JUDGED
    if m.run is None:
        return "open", phrases.NOT_MEASURED if m.ambiguous is None else phrases.TWO_READINGS
    band, sure = m.verdict.band, m.verdict.sure
    if band is None:
        return "open", phrases.OPEN
    if tank_denies(m):
        return "open", phrases.DOUBTED
    if m.run.doubt:
        return "open", phrases.ONE_RUN_ONLY if m.run.doubt == measurement.DOUBT_ONE_RUN else phrases.DOUBTED
    if not sure:
        side = same_side(m.run, marks_s)
        if side is not None:  # which of two bands is open, what both mean is not
            return side, phrases.VERDICT["short" if side == "short" else "a-minute-or-more"]
        return "open", phrases.OPEN if m.run.one_sided else phrases.CLOSE
    tone: Tone = "short" if band in SHORT_BANDS else "below" if band == "under-a-minute" else "good"
    return tone, phrases.VERDICT[band]


def _not_judged(m: Measurement) -> bool:
    """Whether no run is told because of what the pump may be, and not for want of sound."""
    return m.run is None and any(w.code == "variable-speed" for w in m.warnings)


def found_of(m: Measurement, marks_s: Marks) -> tuple[str, ...]:
    """Return what was found, in two sentences at the most; marks in s."""
    if _not_judged(m):
        return (m.verdict.text,)
    if m.run is not None:
        return _found_run(m, m.run, marks_s)
    if m.ambiguous is not None:
        return phrases.FOUND_EITHER, phrases.FOUND_EITHER_2
    return (phrases.FOUND_FEW if m.clicks else phrases.FOUND_NO_CLICK), phrases.FOUND_NOTHING


def _found_run(m: Measurement, run: RunTime, marks_s: Marks) -> tuple[str, ...]:
    marks = {"mark1": f"{marks_s[0]:g}", "mark2": f"{marks_s[1]:g}"}
    edges_s = band_edges_s(marks_s)
    band = m.verdict.band
    if run.one_sided:
        first = phrases.FOUND_AT_MOST.format(
            seconds=measurement.at_most_text(run.seconds, run.high_s), basis=_basis(run)
        )
        if band is None:
            return first, phrases.FOUND_AT_MOST_GOOD
        if run.high_s >= marks_s[0]:
            return first, phrases.FOUND_AT_MOST_MIDDLE.format(**marks)
        return first, phrases.FOUND_AT_MOST_SHORT.format(**marks)
    most_decimals = 1 if run.spread_s is None else 2
    seconds = measurement.seconds_text(run.seconds, run.low_s, run.high_s, most_decimals)
    first = phrases.FOUND.format(seconds=seconds, basis=_basis(run))
    low_s, high_s = allowed_interval_s(run)
    lower, upper = band_of(low_s, marks_s), band_of(high_s, marks_s)
    if band is None:
        return first, phrases.FOUND_AT_MOST_GOOD
    if lower != upper:
        close = phrases.FOUND_CLOSE.format(lower=band_name(lower, edges_s), upper=band_name(upper, edges_s))
        if low_s >= marks_s[0]:
            close += phrases.FOUND_CLOSE_UNHARMED
        return first, close
    return first, phrases.FOUND_BAND[lower].format(**marks)


def _basis(run: RunTime) -> str:
    """What it rests on; a day's reading has its own ways, which page one does not name."""
    known = run.how in {how for how, _ in measurement.BASIS}
    return basis_of(run) if known else phrases.FOUND_BY_DAY.format(count=run.count)


def _found_day(result: Result, marks_s: Marks) -> tuple[str, ...]:
    m, day = result.measured, result.reading
    if day is None:
        return ()
    length, starts = length_text(day.log.duration_s), day.starts
    if starts.count > 1:
        count, worst = count_text(starts.counts.starts.figure), count_text(starts.counts.worst_hour.figure)
        first = phrases.FOUND_STARTS if day.log.heard_s >= HOUR_S else phrases.FOUND_STARTS_FEW
        first = first.format(length=length, count=count, worst=worst)
    else:
        first = (phrases.FOUND_STARTS_ONE if starts.count else phrases.FOUND_STARTS_NONE).format(length=length)
    found = [first, *found_of(m, marks_s)] if m.run is not None else [first, day.no_use.reason]
    if day.leak.reported:
        flow = leak_text(day, "us" if m.tank is None else m.tank.units, "what the pump gives")
        found.append(phrases.FOUND_SEEPING.format(flow=flow))
    return tuple(found)


def _notes(m: Measurement) -> tuple[str, ...]:
    notes = []
    if m.run is not None and m.run.doubt:
        notes.append(phrases.DOUBT.format(doubt=m.run.doubt))
    if tank_denies(m):
        notes.append(measurement.TANK_DENIES)
    if m.correction is not None and (m.correction.figures or m.correction.deleted):
        notes.append(phrases.BY_HAND.format(file=m.correction.file))
    return tuple(notes)


def _meaning(m: Measurement, marks_s: Marks) -> tuple[str, ...]:
    if m.run is None:
        return (phrases.MEANS_NOT_JUDGED if _not_judged(m) else phrases.MEANS_NOTHING,)
    meaning = []
    if m.tank is not None and m.tank.judgement is not None and m.tank.installed is not None:
        meaning.append(phrases.MEANS_FINDING[m.tank.judgement.finding])
    starts = None if m.tank is None else m.tank.measured_most_starts_per_h
    if starts is not None and not m.run.one_sided:
        meaning.append(phrases.MEANS_STARTS.format(starts=most_starts_text(m.run)))
    why = phrases.WHY_RUNS_MATTER.format(mark1=f"{marks_s[0]:g}", mark2=f"{marks_s[1]:g}")
    return (why, " ".join(meaning)) if meaning else (why,)


def _steps(result: Result) -> list[Step]:
    m, day = result.measured, result.reading
    steps = []
    if runs_on(m) or (day is not None and day.starts.endless):
        steps.append(Step(phrases.NEXT_ENDLESS, phrases.OWNER))
    leak = Step(phrases.NEXT_LEAK, phrases.OWNER)
    leak_first = day is not None and day.leak_makes_most_starts
    if leak_first:
        steps.append(leak)
    if m.run is None:
        tries = [phrases.PUMP_AT_START] if m.ambiguous is not None else to_try(m)
        if day is not None:
            tries = [m.verdict.settle or m.verdict.text]
        return [*steps, *(Step(text, phrases.MEASURER) for text in tries)]
    band = m.verdict.band
    finding = None if m.tank is None or m.tank.judgement is None else m.tank.judgement.finding
    if finding == "more-than-label":
        steps.append(Step(phrases.NEXT_STATED, phrases.MEASURER))
    if m.tank is not None and tank_denies(m):
        if not m.verdict.settle:  # which asks for the run again, too
            settle = Messages("document", m.tank.units).texts(m.tank.judgement.settle)
            steps.append(Step(settle, phrases.MEASURER))
    elif band is not None and (m.verdict.sure or band in SHORT_BANDS or not m.verdict.settle):
        size = _size_text(result)
        steps += [Step(text.replace("{size}", size), who) for text, who in _next_of(band, finding)]
    if day is not None and day.leak.reported and not leak_first:
        steps.append(leak)
    if m.verdict.settle:
        steps.append(Step(phrases.SETTLE.get(m.verdict.settle, m.verdict.settle), phrases.MEASURER))
    return steps


def _next_of(band: Band, finding: Finding | None) -> tuple[tuple[str, str], ...]:
    """What a run in this band asks for; where the tank itself could be judged, what that asks for instead."""
    usual = phrases.NEXT_BAND[band]
    if finding == "too-small-but-healthy" and band in ("short", "short-of-30"):
        return phrases.NEXT_LARGER
    if finding == "short-of-air-or-overcharged" and band not in ("very-short", "short"):
        return (phrases.NEXT_AIR, phrases.TECHNICIAN), usual[-1]
    return usual


def _size_text(result: Result) -> str:
    """The size that reaches the mark, where it is sure that more tank is the cure; else empty."""
    tank = result.measured.tank
    if tank is None or tank.judgement is None or tank.choice is None:
        return ""
    if tank.judgement.finding != "too-small-but-healthy":
        return ""
    messages = Messages("document", tank.units)
    size, target = size_text(tank.choice, tank, messages), format_time(tank.target_s)
    if tank.next_up is None or (tank.choice.run_fast_s or 0.0) >= tank.target_s:
        return phrases.NEXT_SIZE.format(size=size, target=target)
    return phrases.NEXT_SIZE_UP.format(size=size, target=target, next_up=size_text(tank.next_up, tank, messages))


def _cautions(result: Result) -> tuple[str, ...]:
    """All that belong to it but the last, which the document says at its foot."""
    found = list(cautions(result.measured))
    if result.reading is not None:
        found = list(dict.fromkeys([*day_cautions(result.reading), *found]))
    return tuple(c for c in found if c != NO_CERTIFICATE)
