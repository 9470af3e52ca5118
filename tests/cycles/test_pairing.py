"""Pairing: what is a run, what is not, and that nothing is bridged."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clicktimer.cycles.pairing import pair_cycles, unknown_intervals
from clicktimer.errors import SettingsError
from clicktimer.records import Click, Gap, Kind
from tests.support.words import said


def click(time_s: float, kind: Kind, confidence: float = 1.0, timing_sd_s: float = 0.001) -> Click:
    return Click(time_s, kind, confidence, timing_sd_s)


def ins_outs(*times_s: float) -> list[Click]:
    return [click(time_s, "cut-out" if i % 2 else "cut-in") for i, time_s in enumerate(times_s)]


def test_two_clean_cycles_give_runs_and_rests():
    cycles = pair_cycles(ins_outs(10, 48, 108, 147, 200), start_s=0, end_s=210)
    assert [(c.cut_in_s, c.cut_out_s, c.run_s, c.rest_s, c.complete) for c in cycles] == [
        (10, 48, 38, 60, True),
        (108, 147, 39, 53, True),
        (200, None, None, None, False),
    ]
    assert "ended inside this run, 10.0 s after" in said(cycles[2].notes)


def test_interval_of_one_run_is_timing_in_quadrature_plus_clock():
    pair = [click(0, "cut-in", 0.9, 0.03), click(100, "cut-out", 0.8, 0.04)]
    (cycle,) = pair_cycles(pair, start_s=0, end_s=100)
    # 3-4-5: 1.96 x 0.05 s, and 100 ppm of 100 s is 0.01 s
    assert cycle.run_high_s == pytest.approx(100.108, abs=1e-9)
    assert cycle.run_low_s == pytest.approx(99.892, abs=1e-9)
    assert cycle.confidence == pytest.approx(0.72)


def test_interval_of_one_run_at_a_persons_stopwatch_is_the_published_one():
    # Am. J. Phys. 87(2):110 (2019): a start-stop interval by hand has a standard deviation of 0.10 s.
    by_hand = 0.10 / math.sqrt(2)
    pair = [click(0, "cut-in", 1, by_hand), click(5, "cut-out", 1, by_hand)]
    (cycle,) = pair_cycles(pair, start_s=0, end_s=9, clock_ppm=0)
    assert cycle.run_s is not None
    assert cycle.run_high_s is not None
    assert cycle.run_high_s - cycle.run_s == pytest.approx(1.96 * 0.10)
    by_sound = pair_cycles(ins_outs(0, 5), start_s=0, end_s=9)[0]
    assert by_sound.run_high_s is not None
    assert (by_sound.run_high_s - 5) < 0.02 * (cycle.run_high_s - 5)  # 1 ms per click against a hand


@pytest.mark.parametrize(
    ("pump_at_start", "words"),
    [
        (None, "the recording began inside this run, or the click was missed"),
        ("on", "the recording began inside this run, 20.0 s or more"),
        ("off", "the pump was said to be off at the start"),
    ],
)
def test_a_cut_out_first_is_half_a_run_but_its_rest_counts(pump_at_start, words):
    first, second = pair_cycles(
        [click(25, "cut-out"), *ins_outs(40, 80)], start_s=5, end_s=90, pump_at_start=pump_at_start
    )
    assert (first.cut_in_s, first.run_s, first.complete, first.rest_s) == (None, None, False, 15)
    assert words in said(first.notes)
    assert second.run_s == 40


def test_pump_said_to_be_on_but_a_cut_in_comes_first_is_told():
    (cycle,) = pair_cycles(ins_outs(10, 40), start_s=0, end_s=50, pump_at_start="on")
    assert "a cut-out was missed" in said(cycle.notes)


def test_missing_cut_out_and_missing_cut_in():
    clicks = [*ins_outs(0, 30), click(90, "cut-in"), click(180, "cut-in"), click(210, "cut-out"), click(300, "cut-out")]
    cycles = pair_cycles(clicks, start_s=0, end_s=400)
    assert [c.run_s for c in cycles] == [30, None, 30, None]
    assert [c.rest_s for c in cycles] == [60, None, None, None]
    assert "another cut-in came at 180.0 s" in said(cycles[1].notes)
    assert "its cut-in was not heard" in said(cycles[3].notes)


@pytest.mark.parametrize(
    "gap", [Gap(20, 21, "lost"), Gap(20, None, "part 2"), Gap(10, 20, "lost"), Gap(30, 30, "lost")]
)
def test_a_gap_inside_or_touching_a_run_splits_it(gap):
    cycles = pair_cycles(ins_outs(10, 30, 50, 70), [gap], start_s=0, end_s=80)
    assert [c.run_s for c in cycles] == [None, None, 20]
    assert "sound is missing after its cut-in" in said(cycles[0].notes)
    assert "sound is missing before its cut-out" in said(cycles[1].notes)


def test_clicks_inside_or_at_the_edge_of_missing_sound_make_no_run_and_no_rest():
    assert not any(c.complete for c in pair_cycles(ins_outs(12, 18), [Gap(10, 20, "lost")], start_s=0, end_s=80))
    cycles = pair_cycles(ins_outs(5, 10, 20, 40), [Gap(10, 20, "lost")], start_s=0, end_s=80)
    assert [(c.run_s, c.rest_s) for c in cycles] == [(None, None)] * 4
    assert unknown_intervals(unknowns(12, 18), [Gap(10, 20, "lost")]) is None


def test_a_gap_in_a_rest_spoils_the_rest_only():
    cycles = pair_cycles(ins_outs(10, 30, 50, 70), [Gap(40, 41, "lost")], start_s=0, end_s=80)
    assert [(c.run_s, c.rest_s) for c in cycles] == [(20, None), (20, None)]


def test_an_unknown_click_spoils_what_it_falls_in():
    inside_run = pair_cycles([*ins_outs(10, 30), click(20, "unknown")], start_s=0, end_s=80)
    assert [c.run_s for c in inside_run] == [None, None]
    assert "a click of unknown kind came after its cut-in, at 20.0 s" in said(inside_run[0].notes)
    inside_rest = pair_cycles([*ins_outs(10, 30, 50, 70), click(40, "unknown")], start_s=0, end_s=80)
    assert [(c.run_s, c.rest_s) for c in inside_rest] == [(20, None), (20, None)]


def test_nothing_gives_nothing_and_impossible_times_are_refused():
    assert pair_cycles([], start_s=0, end_s=0) == ()
    with pytest.raises(SettingsError, match="before its start"):
        pair_cycles([], start_s=2, end_s=1)
    with pytest.raises(SettingsError, match="ppm"):
        pair_cycles([], start_s=0, end_s=1, clock_ppm=-1)


def test_two_clicks_at_one_time_are_no_run():
    cycles = pair_cycles([click(5, "cut-in"), click(5, "cut-out")], start_s=0, end_s=9)
    assert [c.complete for c in cycles] == [False, False]


TIMES = st.floats(0, 1000, allow_nan=False).map(lambda t: round(t, 2)) | st.integers(0, 12).map(
    float
)  # the latter to fall together
CLICKS = st.lists(
    st.builds(click, TIMES, st.sampled_from(["cut-in", "cut-out", "unknown"]), st.floats(0, 1)), max_size=30
)
GAPS = st.lists(
    st.tuples(TIMES, st.none() | st.floats(0, 50)).map(lambda g: Gap(g[0], None if g[1] is None else g[0] + g[1], "x")),
    max_size=4,
)


@settings(max_examples=300)
@given(CLICKS, GAPS, st.sampled_from(["on", "off", None]), st.randoms(use_true_random=False))
def test_whatever_comes_no_run_is_invented(clicks, gaps, pump_at_start, random):
    cycles = pair_cycles(clicks, gaps, start_s=0, end_s=1000, pump_at_start=pump_at_start)
    cut_ins = {c.time_s for c in clicks if c.kind == "cut-in"}
    cut_outs = {c.time_s for c in clicks if c.kind == "cut-out"}
    spans = []
    for c in cycles:
        both = c.cut_in_s is not None and c.cut_out_s is not None
        assert c.complete == both == (c.run_s is not None)
        assert c.complete or c.notes
        if both:
            assert c.cut_in_s in cut_ins
            assert c.cut_out_s in cut_outs
            spans.append((c.cut_in_s, c.cut_out_s))
        if c.rest_s is not None:
            assert c.cut_out_s in cut_outs
            spans.append((c.cut_out_s, c.cut_out_s + c.rest_s))
    for start_s, end_s in spans:
        assert not any(
            start_s <= g.from_s <= end_s or g.from_s <= start_s <= (g.from_s if g.to_s is None else g.to_s)
            for g in gaps
        )
        assert not any(start_s < c.time_s < end_s - 1e-9 for c in clicks)  # nothing at all was heard inside
    assert all(earlier[1] <= later[0] + 1e-9 for earlier, later in pairwise(spans))
    # every click of known kind is in exactly one cycle
    told = [t for c in cycles for t in (c.cut_in_s, c.cut_out_s) if t is not None]
    assert sorted(told) == sorted(c.time_s for c in clicks if c.kind != "unknown")
    shuffled = list(gaps)
    random.shuffle(shuffled)
    assert cycles == pair_cycles(clicks, shuffled, start_s=0, end_s=1000, pump_at_start=pump_at_start)


@given(CLICKS, GAPS)
def test_a_gap_more_never_gives_a_run_more(clicks, gaps):
    without = {(c.cut_in_s, c.cut_out_s) for c in pair_cycles(clicks, start_s=0, end_s=1000) if c.complete}
    with_gaps = {(c.cut_in_s, c.cut_out_s) for c in pair_cycles(clicks, gaps, start_s=0, end_s=1000) if c.complete}
    assert with_gaps <= without


def unknowns(*times_s: float, confidence: float = 0.9) -> list[Click]:
    return [click(time_s, "unknown", confidence) for time_s in times_s]


def test_unknown_clicks_give_both_readings():
    both = unknown_intervals(unknowns(5, 45, 105, 146, 207))
    assert both is not None
    assert (both.first_s, both.second_s) == ((40, 41), (60, 61))
    assert (both.first_starts_s, both.second_starts_s) == ((5, 105), (45, 146))
    assert "ran 40.0, 41.0 s and rested 60.0, 61.0 s, or the other way round" in said(both.reasons)


def test_unknown_intervals_never_cross_a_gap():
    both = unknown_intervals(unknowns(5, 45, 105, 146, 207), [Gap(20, 22, "lost")])
    assert both is not None
    assert both.first_s + both.second_s == (60, 61, 41)
    assert "longest unbroken stretch" in said(both.reasons)


def test_two_unknown_clicks_are_a_run_or_a_rest():
    both = unknown_intervals(unknowns(5, 45))
    assert both is not None
    assert (both.first_s, both.second_s) == ((40,), ())


@pytest.mark.parametrize(
    "clicks",
    [[], unknowns(5), unknowns(5, 45, 99, confidence=0.4), [*unknowns(5, 45), click(99, "cut-in")]],
    ids=["none", "one", "doubtful", "a known kind"],
)
def test_no_reading_where_nothing_can_be_read(clicks):
    assert unknown_intervals(clicks) is None
