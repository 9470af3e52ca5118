"""The benchmark's own scales: a truth told in full scores full marks, each kind of mistake lands where it belongs."""

from __future__ import annotations

from dataclasses import replace

import mir_eval
import numpy as np
import pytest

from clicktimer.assessment.measurement import Measurement
from clicktimer.records import (
    Click,
    Cycle,
    Intervals,
    RunTime,
    SourceInfo,
    Verdict,
)
from tests.benchmarks import phone
from tests.benchmarks.compose import Recording, TrueClick, Truth, compose
from tests.benchmarks.score import band_of, calibration, match, score_one
from tests.benchmarks.sounds import energy_onset_s
from tests.benchmarks.tables import all_tables
from tests.benchmarks.timelines import Timeline, make_timeline
from tests.benchmarks.variation import Placed, add_at

LINE = Timeline(400.0, (10.0, 110.0, 210.0, 310.0), (50.0, 150.0, 250.0, 350.0), False, 40.0, "shut")
TRUTH = Truth(
    tuple(
        TrueClick(t, k, 1, 30.0)
        for t, k in sorted([(t, "cut-in") for t in LINE.cut_ins_s] + [(t, "cut-out") for t in LINE.cut_outs_s])
    ),
    LINE,
    "jet",
    10.0,
    True,
)


def told_by(clicks: list[Click], cycles: list[Cycle], verdict: Verdict | None = None, **more: object) -> Measurement:
    run = RunTime(40.0, 39.0, 41.0, 4, "taps shut", False, 0.002, 0.5)
    return Measurement(
        SourceInfo("x", 400.0, 48000, 1, None),
        tuple(clicks),
        tuple(cycles),
        (),
        None,
        run,
        verdict or Verdict("under-a-minute", True),
        **more,  # type: ignore[arg-type]
    )


def cycle(cut_in_s: float, cut_out_s: float, confidence: float = 0.99) -> Cycle:
    run_s = cut_out_s - cut_in_s
    return Cycle(cut_in_s, cut_out_s, run_s, run_s - 0.01, run_s + 0.01, None, True, confidence=confidence)


def oracle(shift_s: float = 0.0) -> Measurement:
    clicks = [Click(c.time_s + shift_s, c.kind, 0.99) for c in TRUTH.clicks]  # type: ignore[arg-type]
    return told_by(clicks, [cycle(a + shift_s, b + shift_s) for a, b in LINE.cycles()])


def test_the_truth_scores_full_marks() -> None:
    s = score_one(TRUTH, oracle(0.004), False)
    assert (s.click_f1(), s.cycle_f1()) == (1.0, 1.0)
    assert (s.right_kinds, s.right_cycles, s.invented_cycles, s.missed_cycles) == (8, 4, 0, 0)
    assert np.allclose(s.offsets_s, 0.004)
    assert np.allclose(s.run_errors_s, 0.0)
    assert (s.verdict_right, s.verdict_wrong, s.clear_cases, s.clear_sure) == (1, 0, 1, 1)


def test_more_than_20_ms_off_is_missed_and_invented() -> None:
    s = score_one(TRUTH, oracle(0.0205), False)
    assert (s.found_clicks, s.right_cycles, s.invented_cycles, s.missed_cycles) == (0, 0, 4, 4)


def test_a_wrong_order_told_as_sure_is_invented() -> None:
    swapped = [cycle(a, b) for a, b in zip(LINE.cut_outs_s, LINE.cut_ins_s[1:], strict=False)]
    s = score_one(replace(TRUTH, pump_audible=False), told_by([], swapped), False)
    assert (s.invented_cycles, s.wrong_order, s.right_cycles) == (3, 3, 0)


def test_both_readings_given_invent_nothing() -> None:
    both = Intervals((40.0, 40.01), (60.0, 60.0), (10.0, 110.0), (50.0, 150.0), ())
    told = replace(told_by([], [], Verdict(None, False)), ambiguous=both)
    s = score_one(TRUTH, told, False)
    assert (s.invented_cycles, s.ambiguous, s.ambiguous_right, s.verdict_abstained) == (0, 1, 1, 1)
    wrong = replace(told, ambiguous=replace(both, first_s=(44.0,)))
    assert score_one(TRUTH, wrong, False).ambiguous_right == 0


def test_a_run_by_pump_sound_must_hold_the_true_run_in_its_interval() -> None:
    def sound(run_s: float, half_s: float) -> Cycle:
        return replace(cycle(10.3, 10.3 + run_s), run_low_s=run_s - half_s, run_high_s=run_s + half_s, how="pump sound")

    s = score_one(TRUTH, told_by([], [sound(40.4, 0.6)]), False)
    assert (s.sound_runs_right, s.right_cycles, s.invented_cycles) == (1, 0, 0)
    assert score_one(TRUTH, told_by([], [sound(40.4, 0.1)]), False).sound_runs_outside == 1
    assert score_one(TRUTH, told_by([], [sound(60.0, 1.0)]), False).sound_runs_invented == 1


def test_where_no_click_can_be_heard_no_cycle_by_clicks_is_missed() -> None:
    unheard = replace(TRUTH, clicks=())
    s = score_one(unheard, told_by([], []), False)
    assert (s.true_cycles, s.missed_cycles, s.sound_runs_true, s.quiet_false_clicks) == (0, 0, 4, 0)
    s = score_one(unheard, told_by([Click(10.0, "cut-in", 0.9)], []), False)
    assert s.quiet_false_clicks == 1


def test_a_sure_verdict_in_the_wrong_band_is_wrong_and_a_one_sided_one_may_lie_above() -> None:
    short = told_by([], [], Verdict("short-of-30", True))
    assert score_one(TRUTH, short, False).verdict_wrong == 1
    above = told_by([], [], Verdict("a-minute-or-more", True))
    assert score_one(TRUTH, above, False).verdict_wrong == 1
    assert above.run is not None
    one_sided = replace(above, run=replace(above.run, one_sided=True))
    assert score_one(TRUTH, one_sided, False).verdict_right == 1


@pytest.mark.parametrize(
    ("run_s", "band"),
    [
        (4.9, "very-short"),
        (5.0, "short"),
        (29.9, "short-of-30"),
        (30.0, "under-a-minute"),
        (60.0, "a-minute-or-more"),
        (180.0, "over-three-minutes"),
    ],
)
def test_bands(run_s: float, band: str) -> None:
    assert band_of(run_s) == band


def test_the_matching_agrees_with_mir_eval_below_its_limit() -> None:
    rng = np.random.default_rng(3)
    true = np.sort(rng.uniform(0, 500, 200))
    told = np.sort(np.concatenate([true[::2] + rng.normal(0, 0.015, 100), rng.uniform(0, 500, 60)]))
    f, precision, _ = mir_eval.onset.f_measure(true, told, window=0.02)
    pairs = match(list(true), list(told))
    assert 2 * len(pairs) / (len(true) + len(told)) == pytest.approx(f)
    assert len(pairs) / len(told) == pytest.approx(precision)


def test_a_day_is_matched_beyond_mir_evals_limit() -> None:
    true = [100.0, 27_999.995, 28_000.005, 60_000.0, 86_000.0]
    assert [i for i, _ in match(true, [t + 0.01 for t in true])] == [0, 1, 2, 3, 4]


def test_calibration_counts_by_bin() -> None:
    rows = [(0.96, True), (0.96, True), (0.97, False), (0.3, False)]
    assert [(n, round(found, 2)) for _, n, _, found in calibration(rows)] == [(1, 0.0), (3, 0.67)]


def test_a_timeline_alternates_and_keeps_its_arithmetic() -> None:
    rng = np.random.default_rng(5)
    for seed in range(20):
        line = make_timeline("steady", 20.0, 600.0, np.random.default_rng(seed), begin_on=bool(seed % 2))
        assert line.pump_on_at_start == bool(seed % 2)
        assert all(b > a for a, b in line.cycles())
        outs = line.cut_outs_s[1:] if line.pump_on_at_start else line.cut_outs_s
        for (a, b), following in zip(line.cycles(), line.cut_ins_s[1:], strict=False):
            run_s, rest_s = b - a, following - b
            assert run_s * rest_s / (run_s + rest_s) == pytest.approx(line.r0_s, rel=0.1)
        assert len(outs) >= 2
    assert make_timeline("nothing", 20.0, 60.0, rng).cut_ins_s == ()


@pytest.fixture(scope="module")
def composed() -> Recording:
    return compose("clean", "develop", 6, None, condition="runs of seconds", duration_s=90)


@pytest.mark.slow
def test_composing_is_repeatable(composed: Recording) -> None:
    again = compose("clean", "develop", 6, None, condition="runs of seconds", duration_s=90)
    assert np.array_equal(composed.samples, again.samples)
    assert composed.truth == again.truth
    other = compose("clean", "report", 6, None, condition="runs of seconds", duration_s=30)
    assert other.truth.timeline != composed.truth.timeline


def test_sound_stands_where_the_truth_says(composed: Recording) -> None:
    """The energy of the composed sound around each true time rises there, found without the composer's help."""
    rate, misses = composed.rate_hz, 0
    for click in composed.truth.clicks:
        first = round((click.time_s - 0.1) * rate)
        found = energy_onset_s(composed.samples[first : first + round(0.2 * rate)], rate)
        misses += abs(found - 0.1) > 0.003
    assert len(composed.truth.clicks) > 10
    assert misses <= len(composed.truth.clicks) // 10


def test_a_sound_is_added_at_a_fraction_of_a_sample() -> None:
    target = np.zeros(4000, np.float32)
    pulse = np.exp(-(((np.arange(200) - 100) / 8.0) ** 2)).astype(np.float32)
    add_at(target, Placed(pulse, 100.0), 2000.25, 1.0)
    assert float(np.sum(np.arange(4000) * target) / target.sum()) == pytest.approx(2000.25, abs=1e-3)


@pytest.mark.parametrize(("codec", "bit_rate"), [("aac", 32000), ("mp3", 48000), ("opus", 24000), ("flac", None)])
def test_codecs_do_not_move_the_sound(codec: str, bit_rate: int | None) -> None:
    rate = 48000
    rng = np.random.default_rng(2)
    sound = 0.001 * rng.standard_normal(3 * rate)
    for at in (0.7, 1.5, 2.2):
        first = round(at * rate)
        sound[first : first + 400] += 0.5 * rng.standard_normal(400) * np.exp(-np.arange(400) / 80)
    whole = sound.astype(np.float32)
    out, out_rate = phone.decoded(phone.encoded(whole, rate, codec, bit_rate))
    assert out_rate == rate
    count = min(len(out), len(sound))
    assert count > 2.9 * rate
    a, b = np.fft.rfft(sound[:count], 2 * count), np.fft.rfft(out[:count], 2 * count)
    lag = int(np.argmax(np.fft.irfft(b * np.conj(a))))
    assert min(lag, 2 * count - lag) <= 0.002 * rate


def test_tables_can_be_made() -> None:
    row = {
        "score": score_one(TRUTH, oracle(), False),
        "condition": "plain",
        "pump": "jet",
        "audible": True,
        "counts": True,
        "codec": False,
        "peers": {},
        "truth": [1],
        "sharp": True,
    }
    text = all_tables([row])
    assert "COUNTED" in text
    assert "4/4" in text
