"""Measurements made by hand and at random, for the tests of what the user reads."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from clicktimer.assessment.measurement import Measurement
from clicktimer.records import (
    Click,
    Cycle,
    Gap,
    Intervals,
    Notice,
    RunTime,
    SourceInfo,
    Verdict,
)
from tests.support.words import in_words, reasons_of

FIRST_LEFT_OUT = "The first run was left out."
SOURCE = SourceInfo(
    name="tank by the stair.wav",
    duration_s=330.0,
    sample_rate_hz=48000,
    channels=1,
    sha256="0123456789abcdef" * 4,
)


def cycle(cut_in_s: float, run_s: float, rest_s: float | None, note: str = "") -> Cycle:
    return Cycle(
        cut_in_s,
        cut_in_s + run_s,
        run_s,
        run_s - 0.006,
        run_s + 0.006,
        rest_s,
        True,
        notes=reasons_of(note),
    )


def short_cycling(**changes: Any) -> Measurement:
    """Three whole runs of about 12 s with the taps shut, and one that the recording cut off."""
    runs = [(20.0, 12.31, 61.0), (93.31, 12.10, 75.2), (180.61, 12.16, 100.0)]
    cycles = (
        *(cycle(*r) for r in runs),
        Cycle(320.0, None, None, None, None, None, False, notes=(in_words("the recording ended"),)),
    )
    clicks = tuple(
        click
        for c in cycles
        for click in (
            Click(c.cut_in_s or 0.0, "cut-in", 0.99, level_db=31.5),
            *([] if c.cut_out_s is None else [Click(c.cut_out_s, "cut-out", 0.98, level_db=33.0)]),
        )
    )
    values: dict[str, Any] = {
        "source": SOURCE,
        "clicks": clicks,
        "cycles": cycles,
        "gaps": (),
        "ambiguous": None,
        "run": RunTime(12.13, 12.02, 12.24, 2, "taps shut", False, 0.006, 0.11, reasons_of(FIRST_LEFT_OUT)),
        "verdict": Verdict(
            "short", True, (in_words("The pump runs 12.1 s (12.0 to 12.2 s), from 2 runs: short cycling."),)
        ),
        "warnings": (Notice("clipping", in_words("0.2 % of the samples are clipped."), 20.0),),
        "settings": {
            "switch": {"value": "40/60 psi", "from": "default"},
            "taps": {"value": "shut", "from": "option"},
            "pump_at_start": {"value": None, "from": "default"},
        },
    }
    return Measurement(**{**values, **changes})


def nothing_heard() -> Measurement:
    return Measurement(
        SOURCE, (), (), (), None, None, Verdict(None, False, (in_words("No click of a pressure switch was heard."),))
    )


def a_day(runs: int = 300) -> Measurement:
    source = SourceInfo("day.m4a", 86400.0, 48000, 1, "f" * 64, "2031-05-04 06:30", "given")
    lengths = [40.0 + (i * 7919 % 100) / 10 for i in range(runs)]
    cycles = tuple(cycle(280.0 * i + 5, run_s, 280.0 - run_s) for i, run_s in enumerate(lengths))
    return Measurement(
        source,
        (),
        cycles,
        (Gap(3000.0, 3002.5, "the recorder lost sound"),),
        None,
        RunTime(40.0, 0.0, 40.01, runs, "shortest run", True, 0.006, None),
        Verdict(
            "under-a-minute", False, reasons_of("At most 40.0 s."), reasons_of("Record again with every tap shut.")
        ),
    )


finite = st.floats(-1e6, 1e6)
length = st.floats(0, 1e5)
some_words = st.text(max_size=30)
some_reason = st.builds(in_words, some_words)
some_reasons = st.lists(some_reason, max_size=2).map(tuple)
maybe = st.none()

measurements = st.builds(
    Measurement,
    source=st.builds(
        SourceInfo,
        name=st.text(min_size=1, max_size=30),
        duration_s=length,
        sample_rate_hz=st.integers(8000, 192000),
        channels=st.integers(1, 8),
        sha256=maybe | st.text("0123456789abcdef", min_size=64, max_size=64),
        started_at=maybe | st.just("2031-05-04 06:30") | some_words,
        started_how=st.sampled_from(["given", "container", "unknown"]),
    ),
    clicks=st.lists(
        st.builds(
            Click,
            time_s=finite,
            kind=st.sampled_from(["cut-in", "cut-out", "unknown"]),
            confidence=st.floats(0, 1),
            timing_sd_s=st.floats(0, 1),
            chatter=st.integers(1, 5),
            level_db=maybe | finite,
            note=maybe | some_reason,
        ),
        max_size=5,
    ).map(tuple),
    cycles=st.lists(
        st.builds(
            Cycle,
            cut_in_s=maybe | finite,
            cut_out_s=maybe | finite,
            run_s=maybe | length,
            run_low_s=maybe | length,
            run_high_s=maybe | length,
            rest_s=maybe | length,
            complete=st.booleans(),
            how=st.sampled_from(["clicks", "pump sound"]),
            confidence=st.floats(0, 1),
            notes=some_reasons,
        ),
        max_size=30,
    ).map(tuple),
    gaps=st.lists(st.builds(Gap, from_s=length, to_s=maybe | length, why=some_words), max_size=3).map(tuple),
    ambiguous=maybe
    | st.builds(
        Intervals,
        first_s=st.lists(length, max_size=4).map(tuple),
        second_s=st.lists(length, max_size=4).map(tuple),
        first_starts_s=st.lists(length, max_size=4).map(tuple),
        second_starts_s=st.lists(length, max_size=4).map(tuple),
        reasons=some_reasons,
    ),
    run=maybe
    | st.builds(
        RunTime,
        seconds=length,
        low_s=length,
        high_s=length,
        count=st.integers(1, 500),
        how=st.sampled_from(["taps shut", "steady tap", "shortest run"]),
        one_sided=st.booleans(),
        timing_s=length,
        spread_s=maybe | length,
        notes=some_reasons,
        doubts=some_reasons,
    ),
    verdict=st.builds(
        Verdict,
        band=maybe
        | st.sampled_from(
            ["very-short", "short", "short-of-30", "under-a-minute", "a-minute-or-more", "over-three-minutes"]
        ),
        sure=st.booleans(),
        reasons=some_reasons,
        settle=some_reasons,
    ),
    tank=maybe,
    warnings=st.lists(
        st.builds(
            Notice,
            code=st.from_regex(r"[a-z]{1,8}(-[a-z]{1,8}){0,2}", fullmatch=True),
            reason=some_reason,
            time_s=maybe | length,
        ),
        max_size=3,
    ).map(tuple),
    settings=st.just({}) | st.just({"switch": {"value": (275.8, 413.7), "text": "40/60 psi", "from": "default"}}),
)
"""Measurements with any values that the records allow, sensible together or not."""
