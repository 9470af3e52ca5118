"""Bands, marks, and that nothing is told surer or better than it is."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clicktimer.assessment.verdict import judge, same_side
from clicktimer.errors import SettingsError
from clicktimer.records import RunTime
from clicktimer.reporting.messages.figures import seconds_text
from clicktimer.targets import BANDS, band_edges_s, band_of
from tests.support.words import in_words, reasons_of, said


def run_of(seconds: float, half_s: float | None = None, **changes) -> RunTime:
    half_s = 0.005 * seconds if half_s is None else half_s
    run = RunTime(seconds, seconds - half_s, seconds + half_s, 5, "taps shut", False, 0.01, half_s)
    return replace(run, **changes)


def bound_of(seconds: float, **changes) -> RunTime:
    return replace(RunTime(seconds, 0.0, seconds + 0.01, 4, "shortest run", True, 0.01, None), **changes)


@pytest.mark.parametrize(
    ("run", "side"),
    [
        (run_of(19.9, 0.5), "short"),  # 5 to 20 s or 20 to 30 s: either wears the pump out
        (run_of(5.0, 0.3), "short"),
        (run_of(29.8, 0.6), None),
        (run_of(45.0), None),
        (run_of(60.2, 0.6), None),
        (run_of(180.0, 2.0), "good"),
        (run_of(19.9, 0.5, doubts=(in_words("Two pumps."),)), None),
        (run_of(29.0, 0.1, how="steady tap"), None),  # reads up to 5 % short: 29.1 / 0.95 is 30.6 s
        (bound_of(19.5), "short"),
        (bound_of(180.0), None),
    ],
)
def test_two_open_bands_on_one_side_of_the_marks_mean_the_same(run, side):
    assert same_side(run) == side


def test_the_marks_that_were_given_make_the_side():
    assert same_side(run_of(19.9, 0.5), (15.0, 60.0)) is None
    assert same_side(run_of(40.0, 1.0), (45.0, 90.0)) == "short"


# Common practice, no source: under 5 s, 20 s, 30 s and 60 s, and 180 s and more.
@pytest.mark.parametrize(
    ("seconds", "band", "words"),
    [
        (3, "very-short", "Very short cycling (under 5 s)"),
        (12, "short", "Short cycling (5 to 20 s)"),
        (25, "short-of-30", "Short cycling (20 to 30 s)"),
        (38.4, "under-a-minute", "A run under the 60 s mark (30 to 60 s)"),
        (90, "a-minute-or-more", "A good run (60 to 180 s)"),
        (240, "over-three-minutes", "A long run (180 s and more)"),
    ],
)
def test_every_band_is_reached_and_told_in_plain_words(seconds, band, words):
    verdict = judge(run_of(seconds))
    assert (verdict.band, verdict.sure, verdict.settle) == (band, True, ())
    assert said(verdict.reasons).startswith(words)
    assert "the mean of 5 runs with every tap shut" in said(verdict.reasons)
    assert ("never open it" in said(verdict.reasons)) == (seconds < 30)  # cautions wherever someone is sent to the tank


@pytest.mark.parametrize(
    ("edge_s", "below", "above"),
    [(5, 0, 1), (20, 1, 2), (30, 2, 3), (60, 3, 4), (180, 4, 5)],
)
def test_an_edge_belongs_to_the_band_above_it(edge_s, below, above):
    assert band_of(edge_s) == BANDS[above]
    assert band_of(edge_s - 1e-9) == BANDS[below]


@pytest.mark.parametrize("seconds", [29.8, 30.2, 59.5, 60.5])
def test_an_interval_across_a_mark_is_too_close_to_call(seconds):
    verdict = judge(run_of(seconds, 0.6))
    assert verdict.band == band_of(seconds)
    assert not verdict.sure
    assert said(verdict.reasons).startswith("Too close to call between ")
    assert "at least 6 runs with every tap shut" in said(verdict.settle)


def test_one_run_near_a_mark_is_not_sure_though_its_own_interval_is_narrow():
    one = run_of(58, 0.02, count=1, spread_s=None)
    verdict = judge(one)
    assert (verdict.band, verdict.sure) == ("under-a-minute", False)
    assert "up to 7 % from run to run is allowed for" in said(verdict.reasons)
    assert "58.0 s (57.9 to 58.1 s): one run with every tap shut" in said(verdict.reasons)
    assert judge(replace(one, seconds=45.0, low_s=44.98, high_s=45.02)).sure
    assert judge(replace(one, spread_s=0.02)).sure


def test_a_steady_tap_near_a_mark_is_not_sure_for_its_known_bias():
    verdict = judge(run_of(63, how="steady tap"))
    assert (verdict.band, verdict.sure) == ("a-minute-or-more", False)
    assert "can read 5 % short" in said(verdict.reasons)
    assert "for more cycles" in said(verdict.settle)
    assert judge(run_of(70, how="steady tap")).sure


def test_a_doubt_stands_in_the_way_of_every_sure_verdict():
    for run in (run_of(12, doubts=(in_words("Many differ."),)), bound_of(12, doubts=(in_words("Many differ."),))):
        verdict = judge(run)
        assert (verdict.band, verdict.sure) == ("short", False)
        assert said(verdict.reasons).startswith("Not sure: short cycling")
        assert said(verdict.reasons).count("Many differ.") == 1
        assert verdict.settle


@pytest.mark.parametrize(
    ("seconds", "band", "sure", "start"),
    [
        (4, "very-short", True, "Very short cycling (under 5 s), or worse."),
        (12, "short", True, "Short cycling (5 to 20 s), or worse."),
        (25, "short-of-30", True, "Short cycling (20 to 30 s), or worse."),
        (29.5, "short-of-30", False, "Too close to call between short cycling"),
        (38.4, "under-a-minute", False, "At most 38.5 s (the shortest of 4 trusted runs)"),
        (75, None, False, "At most 75.1 s (the shortest of 4 trusted runs). This is not told as good"),
        (400, None, False, "At most 400.1 s"),
    ],
)
def test_an_upper_bound(seconds, band, sure, start):
    verdict = judge(bound_of(seconds))
    assert (verdict.band, verdict.sure) == (band, sure)
    assert said(verdict.reasons).startswith(start)
    assert ("Shut every tap" in said(verdict.settle)) == (not sure)


def test_nothing_measured_is_said_plainly():
    verdict = judge(None)
    assert (verdict.band, verdict.sure) == (None, False)
    assert said(verdict.reasons).startswith("Not measured")
    assert "Record again" in said(verdict.settle)


RUNS = st.floats(0.5, 2000)
SHARES = st.floats(0, 0.3)
MARKS = st.tuples(st.floats(5.1, 90), st.floats(90.1, 180))


@given(RUNS, RUNS, SHARES, st.booleans(), MARKS)
def test_a_longer_run_is_never_judged_worse(one_s, other_s, share, one_sided, marks_s):
    make = bound_of if one_sided else lambda s: run_of(s, share * s)
    shorter, longer = (judge(make(s), marks_s=marks_s).band for s in sorted((one_s, other_s)))
    rank = [*BANDS, None]
    assert rank.index(shorter) <= rank.index(longer)


@given(RUNS, MARKS, st.sampled_from(["", "Doubtful."]))
def test_an_upper_bound_is_never_told_as_good(seconds, marks_s, doubt):
    verdict = judge(bound_of(seconds, doubts=reasons_of(doubt)), marks_s=marks_s)
    assert verdict.band not in ("a-minute-or-more", "over-three-minutes")
    assert not (verdict.sure and seconds >= marks_s[0])


@given(RUNS, SHARES, st.sampled_from(["taps shut", "steady tap"]), st.none() | st.floats(0, 5), MARKS)
def test_sure_means_that_the_whole_interval_lies_in_the_band(seconds, share, how, spread_s, marks_s):
    run = run_of(seconds, share * seconds, how=how, spread_s=spread_s)
    verdict = judge(run, marks_s=marks_s)
    assert verdict.band == band_of(seconds, marks_s)
    if verdict.sure:
        assert band_of(run.low_s, marks_s) == band_of(run.high_s, marks_s) == verdict.band
    else:
        assert verdict.settle


def test_marks_move_the_bands_and_their_words():
    assert band_edges_s((45, 120)) == (5, 20, 45, 120, 180)
    verdict = judge(run_of(100), marks_s=(45, 120))
    assert verdict.band == "under-a-minute"
    assert said(verdict.reasons).startswith("A run under the 120 s mark (45 to 120 s)")
    # a first mark below 20 s leaves no room for "short-of-30"
    assert band_edges_s((15, 45)) == (5, 15, 15, 45, 180)
    assert [band_of(s, (15, 45)) for s in (14.9, 15, 44.9, 45)] == [
        "short",
        "under-a-minute",
        "under-a-minute",
        "a-minute-or-more",
    ]


@pytest.mark.parametrize("marks_s", [(60, 30), (30, 30), (5, 60), (-1, 60), (30, 181), (float("nan"), 60)])
def test_impossible_marks_are_refused(marks_s):
    with pytest.raises(SettingsError, match="are not possible: give a smaller one, then a larger one"):
        judge(run_of(40), marks_s=marks_s)


@pytest.mark.parametrize(
    ("run", "words"),
    [
        (run_of(90), "this run does not meet it"),
        (run_of(150), "this run meets it"),
        (run_of(120, 3), "cannot be told yet"),
        (bound_of(150), "cannot be told yet"),
        (bound_of(90), "this run does not meet it"),
    ],
)
def test_a_large_motor_gets_its_sentence_with_its_status(run, words):
    text = said(judge(run, motor_hp=1.5).reasons)
    assert "common practice, no source" in text
    assert words in text
    assert "hp" not in said(judge(run, motor_hp=0.75).reasons)
    assert "hp" not in said(judge(run).reasons)


@pytest.mark.parametrize("motor_hp", [0, -1, float("inf"), float("nan")])
def test_an_impossible_motor_is_refused(motor_hp):
    with pytest.raises(SettingsError, match="hp is not possible"):
        judge(run_of(40), motor_hp=motor_hp)


@pytest.mark.parametrize(
    ("seconds", "low_s", "high_s", "text"),
    [
        (38.4, 38.1, 38.7, "38.4 s (38.1 to 38.7 s)"),
        (38.44, 38.14, 38.72, "38.4 s (38.1 to 38.8 s)"),  # outwards
        (38.4321, 38.4012, 38.4630, "38.43 s (38.40 to 38.47 s)"),
        (38.4321, 38.4319, 38.4323, "38.43 s (38.43 to 38.44 s)"),
        (61.7, 57.2, 66.2, "62 s (57 to 67 s)"),
        (200, 150, 250, "200 s (150 to 250 s)"),
    ],
)
def test_seconds_have_the_digits_that_their_interval_deserves(seconds, low_s, high_s, text):
    assert seconds_text(seconds, low_s, high_s) == text
