"""10 page: a measurement, provisional or settled -> the parts of the page that follow from its clicks, worded.

``clock`` writes a moment of the sound as the time of day; ``settled_s`` holds the times of the clicks that are settled,
None where all are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, replace
from typing import Any, Final, Literal

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.assessment.verdict import band_reason
from clicktimer.records import (
    Cycle,
    Gap,
    Notice,
)
from clicktimer.reporting.document.front_page import found_text
from clicktimer.reporting.headline import headline
from clicktimer.reporting.html import SIGNS
from clicktimer.reporting.messages import cautions
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.figures import seconds_texts
from clicktimer.reporting.text.tank import finding_text
from clicktimer.storage.reasons import text_reason
from clicktimer.storage.tail import Logged
from clicktimer.streaming.state import State
from clicktimer.targets import band_of
from clicktimer.units.format import format_time
from clicktimer.web.strip import line_length_s, lines_of

MOST_RUNS: Final = 100
MOST_GAPS: Final = 5
SHORT_TOLD_S: Final = 3600.0
"""Short cycling stays on the page for so long after it was said."""

Clock = Callable[[float], str]
Settled = set[float] | None
How = Literal["live", "ended", "cut-off", "older"]


def verdict_view(
    measured: Measurement,
    how: How,
    marks_s: tuple[float, float],
    folder: str,
    messages: Messages,
    *,
    refills: bool,
) -> dict[str, Any]:
    """The verdict, in the document's words: who reads the page need know no option of a command.

    refills: the run has what the open tap adds taken into account.
    """
    tone, heading = headline(measured)
    title, settle = messages.text(heading), messages.texts(measured.verdict.settle)
    found = list(found_text(measured, marks_s, messages))
    if how == "live" and measured.run is None and measured.ambiguous is None:
        title, found, settle = messages.text("page.not-yet.title"), [_not_yet(measured.cycles, messages)], ""
    notes = []
    if measured.run is not None and measured.run.doubted:
        notes.append(messages.texts(measured.run.doubts))
    if refills:
        notes.append(messages.text("page.refills"))
    tank = measured.tank
    if tank is not None and tank.judgement is not None:
        notes.append(finding_text(tank, tank.judgement, replace(messages, units=tank.units)))
    return {
        "tone": tone,
        "sign": SIGNS[tone],
        "title": title,
        "found": found,
        "notes": notes,
        "settle": settle,
        "standing": _standing(how == "ended", messages),
        "standing_text": messages.text(f"page.standing.{how}", folder=folder),
    }


def _standing(settled: bool, messages: Messages) -> str:
    return messages.text("page.settled" if settled else "page.provisional")


def _not_yet(cycles: Sequence[Cycle], messages: Messages) -> str:
    """Why nothing is judged yet: what is counted as a whole run beside it must not be denied."""
    whole = sum(c.complete and c.run_s is not None for c in cycles)
    if not whole:
        return messages.text("page.not-yet.no-run")
    return messages.text("page.not-yet.not-sure-one" if whole == 1 else "page.not-yet.not-sure", count=whole)


def runs_view(
    cycles: Sequence[Cycle], settled_s: Settled, clock: Clock, messages: Messages, *, running: bool
) -> list[dict[str, Any]]:
    """All runs, newest first; only whole ones have a number. running: the last one goes on."""
    runs, number = [], 0
    for cycle in cycles:
        at_s = cycle.cut_in_s if cycle.cut_in_s is not None else cycle.cut_out_s
        if at_s is None:
            continue
        whole = cycle.complete and cycle.run_s is not None
        number += whole
        ends = [t for t in (cycle.cut_in_s, cycle.cut_out_s) if t is not None]
        settled = settled_s is None or settled_s.issuperset(ends)
        stopped = "" if cycle.cut_in_s is not None else messages.text("page.run.stopped-at", when=clock(at_s))
        goes_on = running and cycle is cycles[-1] and cycle.cut_out_s is None
        runs.append(
            {
                "number": str(number) if whole else "",
                "began": stopped or clock(at_s),
                "run": "?" if cycle.run_s is None else _run_text(cycle, messages)[0],
                "rest": "" if cycle.rest_s is None else messages.number(format_time(cycle.rest_s)),
                "note": "" if whole else messages.text("page.run.goes-on") if goes_on else messages.note(cycle.notes),
                "standing": _standing(settled, messages),
                "settled": settled,
            }
        )
    return runs[::-1]


def last_view(
    cycles: Sequence[Cycle], settled_s: Settled, clock: Clock, options: MeasureOptions, messages: Messages
) -> dict[str, str]:
    """The last whole run with its interval and the band that it would be in; empty without one."""
    last = next((c for c in reversed(cycles) if c.complete and c.run_s is not None), None)
    if last is None or last.run_s is None:
        return {}
    band = messages.text(band_reason(band_of(last.run_s, options.marks_s), options.marks_s))
    settled = settled_s is None or settled_s.issuperset((last.cut_in_s, last.cut_out_s))
    run, interval = _run_text(last, messages)
    code = "page.last.run" if options.taps == "shut" else "page.last.run-in-use"
    return {
        "run": run,
        "more": messages.text(code, began=clock(last.cut_in_s or 0.0), interval=interval, band=band),
        "standing": _standing(settled, messages),
    }


def warnings_view(  # noqa: C901
    state: State,
    live: bool,
    log: Sequence[Logged],
    notices: Iterable[Notice],
    gaps: Sequence[Gap],
    clock: Clock,
    messages: Messages,
) -> list[dict[str, str]]:
    """What was said at once while it was listened, as far as it still holds; what was odd about the sound; gaps."""

    def at(time_s: float) -> str:
        return messages.text("page.when.at", when=clock(time_s))

    def since(time_s: float) -> str:
        return messages.text("page.when.since", when=clock(time_s))

    urgent: dict[str, dict[str, str]] = {}
    others: list[dict[str, str]] = []
    began_s = state.end_s - (state.since_s or 0.0)
    hears_s = max((at_s for at_s, _, code, _ in log if code == "hears"), default=-1.0)
    for at_s, _, code, noted in log:
        text = messages.text(text_reason(noted))
        if code == "endless-run" and live and state.pump == "on" and at_s >= began_s:
            urgent[code] = _warning(code, since(began_s), messages.text("page.endless"), cautions.RUNNING_ON)
        elif code == "short-cycling" and (not live or at_s > state.end_s - SHORT_TOLD_S):
            urgent[code] = _warning(code, at(at_s), text, cautions.SWITCH)
        elif code == "deaf" and live and at_s > hears_s:
            urgent[code] = _warning(code, since(at_s), messages.text("page.digital-silence"))
        elif code in ("disk", "disk-full", "clock"):
            others.append(_warning(code, at(at_s), text))
    for one in dict.fromkeys(notices):
        others.append(_warning(one.code, "" if one.time_s is None else at(one.time_s), messages.text(one.reason)))
    for gap in gaps[-MOST_GAPS:]:
        if gap.to_s is None:
            length = messages.text("page.gap-length-unknown")
        else:
            length = messages.number(format_time(gap.to_s - gap.from_s))
        others.append(_warning("gap", at(gap.from_s), messages.text("page.gap", length=length, why=gap.why)))
    return [*urgent.values(), *others]


def strip_view(
    cycles: Sequence[Cycle],
    gaps: Sequence[Gap],
    settled_s: Settled,
    end_s: float,
    state: State,
    clock: Clock,
    messages: Messages,
) -> dict[str, Any]:
    """The picture of the day, and the words that go with it."""
    length_s = line_length_s(end_s)
    lines = lines_of(cycles, gaps, settled_s, end_s, state.pump)
    said = [messages.text("page.strip.hour" if length_s >= 3600.0 else "page.strip.minutes", minutes=length_s / 60)]
    if lines[0].start_s > 0.0:
        said.append(messages.text("page.strip.cut", hours=len(lines)))
    said.append(messages.text("page.strip.marks"))
    alt = messages.text("page.strip.alt", runs=state.runs, first=clock(lines[0].start_s), last=clock(end_s))
    drawn = [{**asdict(line), "label": clock(line.start_s)} for line in lines]
    return {"lines": drawn, "text": " ".join(said), "alt": alt}


def spoken_view(runs: Sequence[dict[str, Any]], title: str, messages: Messages) -> str:
    """The newest settled thing, for who listens to the page. title: the verdict's, where all is settled."""
    if title:
        return messages.text("page.all-settled", title=title)
    settled = next((r for r in runs if r["number"] and r["settled"]), None)
    if settled is None:
        return ""
    return messages.text("page.run.settled", number=settled["number"], run=settled["run"])


def _warning(code: str, when: str, text: str, caution: str = "") -> dict[str, str]:
    return {"code": code, "when": when, "text": text, "caution": caution}


def _run_text(cycle: Cycle, messages: Messages) -> tuple[str, str]:
    """A run, and its interval: "38.66 s", "38.65 to 38.67 s"."""
    run_s = cycle.run_s or 0.0
    low_s = run_s if cycle.run_low_s is None else cycle.run_low_s
    high_s = run_s if cycle.run_high_s is None else cycle.run_high_s
    run, low, high = map(messages.number, seconds_texts(run_s, low_s, high_s))
    return f"{run} s", f"{low} to {high} s"
