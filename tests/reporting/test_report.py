"""What a person reads: the verdict first, within 80 columns, nothing told that was not measured."""

from __future__ import annotations

import csv
import dataclasses
import io
import unicodedata

import pytest
from hypothesis import given, settings

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.verdict import judge
from clicktimer.cycles.run_time import doubted, no_use_run
from clicktimer.records import (
    Cycle,
    Gap,
    Intervals,
    Notice,
    Reason,
    RunTime,
    Verdict,
)
from clicktimer.reporting.document.front_page import found_text
from clicktimer.reporting.formatting import (
    clock_text,
    length_text,
    plain,
    position_text,
    seconds_text,
    started_time,
    table,
)
from clicktimer.reporting.headline import headline
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.figures import seconds_texts
from clicktimer.reporting.tables import HEADER, cycles_csv, safe_cell
from clicktimer.reporting.text.advice import cautions, next_steps
from clicktimer.reporting.text.measurement import render_text, summary_line
from clicktimer.targets import BANDS, MARKS_S, Band
from tests.support.handmade import a_day, cycle, measurements, nothing_heard, short_cycling
from tests.support.words import in_words, reasons_of

ONLY_ONE = Reason("run.only-one")


def said_on_paper(m: Measurement) -> str:
    return Messages("document").text(headline(m)[1])


PAPER = Messages("document")


def test_the_verdict_comes_first():
    lines = render_text(short_cycling()).splitlines()
    assert lines[0].startswith("tank by the stair.wav, 5 min 30 s, 48 kHz")
    assert lines[2] == "SHORT CYCLING"
    assert "The pump runs 12.1 s" in lines[3]


def test_the_report_says_run_interval_count_runs_rests_notes_defaults_and_cautions():
    text = " ".join(render_text(short_cycling()).split())
    assert "(clicks and the recorder's clock): ±6 ms; from the spread between runs: ±0.11 s (95 %)." in text
    assert "the check of the charge comes first" in text
    assert "The first run was left out." in text
    assert "12.31 s 1 min 01 s" in text
    assert "not whole; the recording ended" in text
    assert "0.2 % of the samples are clipped." in text
    assert "Not given, so the usual: switch 40/60 psi." in text
    assert "Taps: shut; pump at the start: not said." in text
    assert "never open it" in text
    assert "a cycle is that and the rest after it" in text


@settings(max_examples=40)
@given(measurements)
def test_any_measurement_fits_80_columns_and_holds_no_control_codes(measurement: Measurement):
    text = render_text(measurement)
    assert text.endswith("\n")
    for line in text.splitlines():
        # A word of its own longer than the line is the one thing that may stick out.
        assert len(line) <= 80 or max(map(len, line.split())) > 30, line
    assert not [c for c in text if unicodedata.category(c) in ("Cc", "Cs") and c != "\n"]


def test_nothing_heard_is_told_as_not_measured_with_what_to_try():
    text = render_text(nothing_heard())
    assert "NOT MEASURED" in text
    assert "hand's width" in text
    assert " s to " not in text


def test_a_silent_recording_is_sent_to_the_microphone_and_not_to_the_switch():
    silent = dataclasses.replace(
        nothing_heard(), warnings=(Notice("digital-silence", in_words("the recording is silence")),)
    )
    (step,) = next_steps(silent)
    assert "microphone" in step
    assert "hand's width" not in step


def test_one_line_says_the_title_and_the_run_with_its_interval():
    m = short_cycling()
    assert m.run is not None
    assert summary_line(m).startswith(f"{m.source.name}: short cycling; run with no water in use ")
    assert f" to {seconds_texts(m.run.seconds, m.run.low_s, m.run.high_s)[2]} s)" in summary_line(m)
    assert summary_line(a_day()).endswith(": no verdict yet; run with no water in use at most 40.1 s")
    assert summary_line(nothing_heard()).endswith(": not measured")


def test_an_upper_bound_is_never_told_as_a_run_time():
    text = " ".join(render_text(a_day()).split())
    assert "NO VERDICT YET" in text
    assert "At most 40.0 s." in text
    assert "Spread" not in text


def test_an_open_question_is_told_as_too_close_with_what_would_settle_it():
    run = RunTime(59.8, 59.1, 60.5, 3, "taps shut", False, 0.006, 0.7)
    open_one = Verdict("under-a-minute", False, reasons_of("Too close to call."), reasons_of("Record three more runs."))
    m = short_cycling(run=run, verdict=open_one)
    assert "TOO CLOSE TO CALL" in render_text(m)
    assert next_steps(m) == ("Record three more runs.",)


@pytest.mark.parametrize(
    ("seconds", "doubt", "title", "paper"),
    [
        (19.35, None, "SHORT CYCLING", "Short runs: they wear the pump out"),
        (180.0, None, "AS IT SHOULD BE", "As it should be"),
        (30.0, None, "TOO CLOSE TO CALL", "Too close to call"),
        (60.0, None, "TOO CLOSE TO CALL", "Too close to call"),
        (19.35, in_words("Two pumps were heard."), "MEASURED, BUT IN DOUBT", "Measured, but in doubt"),
        (19.35, ONLY_ONE, "ONE RUN ONLY", "One run only"),
    ],
)
def test_a_title_is_open_only_where_what_it_means_is(seconds: float, doubt: Reason | None, title: str, paper: str):
    doubts = () if doubt is None else (doubt,)
    run = RunTime(seconds, seconds - 0.05, seconds + 0.05, 2, "taps shut", False, 0.003, None, (), doubts)
    m = short_cycling(run=run, verdict=judge(run))
    assert not m.verdict.sure
    lines = render_text(m).splitlines()
    assert lines[2] == title
    # Which of two bands it is stays open, and is said where they do not mean the same for the pump.
    name = {19.35: "hort cycling (5 to 30 s).", 180.0: "good run (60 s and more)."}.get(seconds)
    assert lines[3].startswith("  Too close to call between ") == (name is None)
    assert name is None or name in lines[3]
    assert summary_line(m).split(": ")[1].startswith(title.lower())
    assert said_on_paper(m) == paper
    assert ("too close to call" in found_text(m, MARKS_S)[1]) == (name is None)


def test_one_run_alone_is_said_to_be_one_wherever_its_figure_lies():
    run = RunTime(38.66, 38.65, 38.67, 1, "taps shut", False, 0.006, None, (), (ONLY_ONE,))
    m = short_cycling(run=run, verdict=judge(run))
    assert render_text(m).splitlines()[2] == "ONE RUN ONLY"
    assert summary_line(m).split(": ")[1].startswith("one run only")
    assert (headline(m)[0], said_on_paper(m)) == ("open", "One run only")


@pytest.mark.parametrize(
    ("lengths_s", "title", "paper"),
    [
        ([12.0], "ONE RUN ONLY", "One run only"),
        ([12.0, 25.0, 26.0], "MEASURED, BUT IN DOUBT", "Measured, but in doubt"),
    ],
)
def test_the_screen_and_the_document_have_one_headline(lengths_s: list[float], title: str, paper: str):
    cycles = [cycle(100.0 * i, run_s, 100.0 - run_s) for i, run_s in enumerate(lengths_s)]
    run = no_use_run(cycles, taps=None)
    assert run is not None
    run = doubted(run, "run.only-one") if run.count == 1 else run
    m = short_cycling(run=run, verdict=judge(run))
    assert render_text(m).splitlines()[2] == title
    assert said_on_paper(m) == paper


def test_the_title_is_by_the_marks_the_verdict_was_made_with():
    run = RunTime(19.35, 19.3, 19.4, 2, "taps shut", False, 0.003, None)
    m = short_cycling(run=run, verdict=judge(run, marks_s=(19.0, 60.0)), marks_s=(19.0, 60.0))
    assert render_text(m).splitlines()[2] == "TOO CLOSE TO CALL"
    assert said_on_paper(m) == "Too close to call"


def test_a_day_of_runs_is_shortened_and_says_where_the_rest_is():
    text = render_text(a_day())
    assert len(text.splitlines()) < 80
    assert "300 runs in all, 300 heard whole. Give --csv FILE to have them all." in text
    assert "shortest" in text
    assert "longest" in text
    assert "05-04 06:30:05" in text, "the recording runs over midnight, so the day is shown"
    assert "Give --csv" not in render_text(a_day(), csv_hint=False)


def test_a_few_runs_timed_less_finely_do_not_stand_for_all():
    fine = [cycle(100.0 * i, 38.0, 62.0) for i in range(8)]
    wide = dataclasses.replace(cycle(900.0, 38.0, None), run_low_s=37.41, run_high_s=38.59)
    text = " ".join(render_text(short_cycling(cycles=(*fine, wide))).split())
    assert "Half of the runs are timed to within" in text
    assert "or better, the least sure to within ±0.59 s (95 %)." in text
    text = " ".join(render_text(short_cycling(cycles=tuple(fine))).split())
    assert "Each run is timed to within ±6 ms (95 %)." in text


def test_a_short_table_is_whole():
    text = render_text(short_cycling())
    assert "not shown" not in text
    assert "Give --csv" not in text


def test_gaps_are_told():
    text = " ".join(render_text(short_cycling(gaps=(Gap(60.0, None, "next part of the recording"),))).split())
    assert "Sound missing from 1:00.0 for an unknown time: next part of the recording" in text


def test_both_readings_are_given_where_the_kinds_are_unknown():
    both = Intervals((12.1, 12.2), (75.0, 80.0), (5.0, 92.1), (17.1, 104.3), (in_words("No pump was heard."),))
    m = dataclasses.replace(nothing_heard(), ambiguous=both)
    text = render_text(m)
    assert "TWO READINGS" in text
    assert "0:05.0  12.10 s  run in the first reading" in text
    assert "0:17.1  75.00 s  run in the second reading" in text
    assert text.index("0:05.0") < text.index("0:17.1") < text.index("1:32.1")
    assert "--pump-at-start" in text


@pytest.mark.parametrize("band", BANDS)
def test_every_band_has_its_title_and_next_step(band: Band):
    m = short_cycling(verdict=Verdict(band, True))
    assert Messages().text(f"advice.band.{band}") in next_steps(m)
    assert Messages().text(f"headline.band.{band}") in render_text(m)


def test_short_runs_bring_the_cautions_for_work_on_the_tank():
    short = " ".join(cautions(short_cycling()))
    for words in ("power off at the disconnect", "water heater off", "eye protection", "burst", "licensed"):
        assert words in short
    good = " ".join(cautions(short_cycling(verdict=Verdict("a-minute-or-more", True))))
    assert "never open it" in good
    assert "eye protection" not in good


def test_a_pump_that_ran_on_to_the_end_brings_the_urgent_caution_first():
    endless = Cycle(100.0, None, None, None, None, None, False, notes=(in_words("the recording ended"),))
    m = short_cycling(cycles=(cycle(20.0, 12.0, 68.0), endless))
    assert "switch it off at the disconnect now" in " ".join(cautions(m)[0].split())
    assert "disconnect now" not in " ".join(cautions(short_cycling()))
    assert "disconnect now" not in " ".join(cautions(short_cycling(cycles=m.cycles, gaps=(Gap(120.0, None, "lost"),))))


def test_the_csv_has_one_row_a_cycle_and_units_in_its_header():
    rows = list(csv.DictReader(io.StringIO(cycles_csv([short_cycling(), a_day()]), newline="")))
    assert len(rows) == 4 + 300
    assert tuple(rows[0]) == HEADER
    assert rows[0]["run_s"] == "12.310000"
    assert rows[0]["complete"] == "yes"
    assert (rows[3]["cut_out_s"], rows[3]["run_s"], rows[3]["complete"]) == ("", "", "no")
    assert rows[4]["cut_in_at"] == "2031-05-04 06:30:05.000"


@pytest.mark.parametrize("bad", ["=1+1", "+1", "-1", "@sum", " =1", "\t=1", "\r=1"])
def test_no_cell_of_the_csv_is_a_formula(bad: str):
    assert not safe_cell(bad).lstrip(" '?").startswith(("+", "@", "-")) or safe_cell(bad)[0] in "'?"
    m = short_cycling(cycles=(cycle(1.0, 2.0, 3.0, note=bad),))
    cell = next(csv.DictReader(io.StringIO(cycles_csv([m]), newline="")))["note"]
    assert cell[0] in "'?", cell


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.04, "0.0 s"),
        (9.94, "9.9 s"),
        (9.96, "10 s"),
        (59.6, "1 min 00 s"),
        (3599.6, "1 h 00 min"),
        (7500, "2 h 05 min"),
        (86399, "24 h"),
        (100000, "28 h"),
        (200000, "2 d 08 h"),
    ],
)
def test_lengths_are_said_as_people_say_them(seconds: float, said: str):
    assert length_text(seconds) == said


@pytest.mark.parametrize(
    ("time_s", "said"), [(0, "0:00.0"), (59.96, "1:00.0"), (3599.97, "1:00:00.0"), (-1.5, "-0:01.5")]
)
def test_places_in_the_recording(time_s: float, said: str):
    assert position_text(time_s) == said


def test_no_more_decimals_than_the_interval_deserves():
    assert [seconds_text(38.456, h) for h in (0.004, 0.3, 2.0)] == ["38.46 s", "38.5 s", "38 s"]


def test_a_start_time_that_cannot_be_read_is_unknown():
    assert started_time("yesterday") is None
    assert clock_text(61.0, started_time("2031-05-04 23:59:30")) == "00:00:31"


def test_names_cannot_send_codes_to_the_terminal():
    assert plain("a\x1b[31mb\u202ec\ud800") == "a?[31mb?c?"


def test_the_last_column_of_a_table_wraps_inside_itself():
    lines = table(("a", "note"), [("1", "word " * 30)], ("<", "<"))
    assert len(lines) > 2
    assert all(len(line) <= 80 for line in lines)
    assert lines[2].startswith("     word")
