"""10 page: a measurement, provisional or settled -> the parts of the page that follow from its clicks, worded.

``clock`` writes a moment of the sound as the time of day; ``settled_s`` holds the times of the clicks that are settled,
None where all are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from typing import Any, Final, Literal

from clicktimer.assessment.verdict import band_name
from clicktimer.records import Cycle, Gap, Measurement, Notice
from clicktimer.reporting.document.front_page import found_of, headline
from clicktimer.reporting.document.wording import for_paper
from clicktimer.reporting.html import SIGNS
from clicktimer.reporting.messages import cautions
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.measurement import seconds_texts
from clicktimer.reporting.text.tank import finding_text
from clicktimer.settings import MeasureOptions
from clicktimer.storage.tail import Logged
from clicktimer.streaming.state import State
from clicktimer.targets import band_edges_s, band_of
from clicktimer.units.format import format_time
from clicktimer.web import phrases
from clicktimer.web.strip import line_length_s, lines_of

MOST_RUNS: Final = 100
MOST_GAPS: Final = 5
SHORT_TOLD_S: Final = 3600.0
"""Short cycling stays on the page for so long after it was said."""

Clock = Callable[[float], str]
Settled = set[float] | None
How = Literal["live", "ended", "cut-off", "older"]


def verdict_told(
    measured: Measurement, how: How, marks_s: tuple[float, float], folder: str, *, refills: bool
) -> dict[str, Any]:
    """The verdict, in the document's words: who reads the page need know no option of a command.

    refills: the run has what the open tap adds taken into account.
    """
    tone, title = headline(measured, marks_s)
    found, settle = list(found_of(measured, marks_s)), measured.verdict.settle
    if how == "live" and measured.run is None and measured.ambiguous is None:
        title, found, settle = phrases.NOT_YET, [_not_yet(measured.cycles)], ""
    notes = []
    if measured.run is not None and measured.run.doubt:
        notes.append(measured.run.doubt)
    if refills:
        notes.append(phrases.REFILLS)
    tank = measured.tank
    if tank is not None and tank.judgement is not None:
        notes.append(finding_text(tank, tank.judgement, Messages("page", tank.units)))
    return {
        "tone": tone,
        "sign": SIGNS[tone],
        "title": title,
        "found": [for_paper(text) for text in found],
        "notes": [for_paper(text) for text in notes],
        "settle": for_paper(settle),
        "standing": phrases.SETTLED if how == "ended" else phrases.PROVISIONAL,
        "standing_text": phrases.STANDING[how].format(folder=folder),
    }


def _not_yet(cycles: Sequence[Cycle]) -> str:
    """Why nothing is judged yet: what is counted as a whole run beside it must not be denied."""
    whole = sum(c.complete and c.run_s is not None for c in cycles)
    if not whole:
        return phrases.NOT_YET_FOUND
    count, verb = ("One whole run", "has") if whole == 1 else (f"{whole} whole runs", "have")
    return phrases.NOT_YET_SURE.format(count=count, verb=verb)


def runs_told(cycles: Sequence[Cycle], settled_s: Settled, clock: Clock, *, running: bool) -> list[dict[str, Any]]:
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
        goes_on = running and cycle is cycles[-1] and cycle.cut_out_s is None
        runs.append(
            {
                "number": str(number) if whole else "",
                "began": clock(at_s) if cycle.cut_in_s is not None else phrases.STOPPED_AT.format(when=clock(at_s)),
                "run": "?" if cycle.run_s is None else _run_text(cycle)[0],
                "rest": "" if cycle.rest_s is None else format_time(cycle.rest_s),
                "note": "" if whole else phrases.GOES_ON if goes_on else cycle.note,
                "standing": phrases.SETTLED if settled else phrases.PROVISIONAL,
            }
        )
    return runs[::-1]


def last_told(cycles: Sequence[Cycle], settled_s: Settled, clock: Clock, options: MeasureOptions) -> dict[str, str]:
    """The last whole run with its interval and the band that it would be in; empty without one."""
    last = next((c for c in reversed(cycles) if c.complete and c.run_s is not None), None)
    if last is None or last.run_s is None:
        return {}
    band = band_name(band_of(last.run_s, options.marks_s), band_edges_s(options.marks_s))
    settled = settled_s is None or settled_s.issuperset((last.cut_in_s, last.cut_out_s))
    run, interval = _run_text(last)
    return {
        "run": run,
        "more": phrases.LAST.format(began=clock(last.cut_in_s or 0.0), interval=interval, band=band)
        + ("" if options.taps == "shut" else phrases.LAST_IN_USE),
        "standing": phrases.SETTLED if settled else phrases.PROVISIONAL,
    }


def warnings_told(
    state: State, live: bool, log: Sequence[Logged], notices: Iterable[Notice], gaps: Sequence[Gap], clock: Clock
) -> list[dict[str, str]]:
    """What was said at once while it was listened, as far as it still holds; what was odd about the sound; gaps."""
    urgent: dict[str, dict[str, str]] = {}
    others: list[dict[str, str]] = []
    began_s = state.end_s - (state.since_s or 0.0)
    hears_s = max((at_s for at_s, _, code, _ in log if code == "hears"), default=-1.0)
    for at_s, _, code, text in log:
        if code == "endless-run" and live and state.pump == "on" and at_s >= began_s:
            urgent[code] = _warning(
                code, phrases.SINCE.format(when=clock(began_s)), phrases.ENDLESS, cautions.RUNNING_ON
            )
        elif code == "short-cycling" and (not live or at_s > state.end_s - SHORT_TOLD_S):
            urgent[code] = _warning(code, phrases.AT.format(when=clock(at_s)), text, cautions.SWITCH)
        elif code == "deaf" and live and at_s > hears_s:
            urgent[code] = _warning(code, phrases.SINCE.format(when=clock(at_s)), text)
        elif code in ("disk", "disk-full", "clock"):
            others.append(_warning(code, phrases.AT.format(when=clock(at_s)), text))
    for one in dict.fromkeys(notices):
        others.append(
            _warning(one.code, "" if one.time_s is None else phrases.AT.format(when=clock(one.time_s)), one.text)
        )
    for gap in gaps[-MOST_GAPS:]:
        length = phrases.LENGTH_UNKNOWN if gap.to_s is None else format_time(gap.to_s - gap.from_s)
        text = phrases.GAP.format(length=length, why=gap.why)
        others.append(_warning("gap", phrases.AT.format(when=clock(gap.from_s)), text))
    return [*urgent.values(), *others]


def strip_told(
    cycles: Sequence[Cycle], gaps: Sequence[Gap], settled_s: Settled, end_s: float, state: State, clock: Clock
) -> dict[str, Any]:
    """The picture of the day, and the words that go with it."""
    length_s = line_length_s(end_s)
    lines = lines_of(cycles, gaps, settled_s, end_s, state.pump)
    text = phrases.STRIP_HOUR if length_s >= 3600.0 else phrases.STRIP_MINUTES.format(minutes=f"{length_s / 60:g}")
    if lines[0].start_s > 0.0:
        text += phrases.STRIP_CUT.format(hours=len(lines))
    alt = phrases.STRIP_ALT.format(runs=state.runs, first=clock(lines[0].start_s), last=clock(end_s))
    told = [{**asdict(line), "label": clock(line.start_s)} for line in lines]
    return {"lines": told, "text": text + phrases.STRIP_MARKS, "alt": alt}


def spoken_told(runs: Sequence[dict[str, Any]], title: str) -> str:
    """The newest settled thing, for who listens to the page. title: the verdict's, where all is settled."""
    if title:
        return phrases.ALL_SETTLED.format(title=title)
    settled = next((r for r in runs if r["number"] and r["standing"] == phrases.SETTLED), None)
    return "" if settled is None else phrases.RUN_SETTLED.format(number=settled["number"], run=settled["run"])


def _warning(code: str, when: str, text: str, caution: str = "") -> dict[str, str]:
    return {"code": code, "when": when, "text": for_paper(text), "caution": caution}


def _run_text(cycle: Cycle) -> tuple[str, str]:
    """A run, and its interval: "38.66 s", "38.65 to 38.67 s"."""
    run_s = cycle.run_s or 0.0
    low_s = run_s if cycle.run_low_s is None else cycle.run_low_s
    high_s = run_s if cycle.run_high_s is None else cycle.run_high_s
    run, low, high = seconds_texts(run_s, low_s, high_s)
    return f"{run} s", f"{low} to {high} s"
