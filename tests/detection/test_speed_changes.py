"""A driven pump, a second one, another machine: noticed and said; one pump on one switch: nothing said of it.

Truth: tones whose frequency is set here; the simulator's physics, held to closed forms and to its other solver.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from clicktimer.assessment.measurement import Measurement
from clicktimer.detection.candidates import LevelSegment
from clicktimer.detection.params import default_params
from clicktimer.detection.pump_state import gather
from clicktimer.detection.second_machine import find_second_machine
from clicktimer.detection.spectral_lines import ToneFinder, ToneSegment
from clicktimer.detection.speed_changes import speed_changes
from clicktimer.records import (
    Block,
    Gap,
)
from clicktimer.reporting.text.measurement import render_text
from clicktimer.simulator import Use, simulate, us_system
from tests.benchmarks.drives import Drive, driven, lead_and_lag
from tests.benchmarks.machines import make
from tests.support.words import said

PARAMS = default_params()
SLIP_SHARE = PARAMS.speed_changes.slip_share
RATE_HZ = 16_000


def tones_of(x: np.ndarray, rate_hz: int = RATE_HZ, cuts: list[int] | None = None) -> list[ToneSegment]:
    finder = ToneFinder()
    edges = [0, *(cuts or range(rate_hz, len(x), rate_hz)), len(x)]
    for a, b in pairwise(edges):
        finder.feed(Block(x[a:b].astype(np.float32), rate_hz, a / rate_hz))
    finder.flush()
    return finder.lines()


def comb(speed: np.ndarray, orders: tuple[float, ...] = (2, 3, 5, 6), base_hz: float = 57.0) -> np.ndarray:
    """Tones at these multiples of a moving speed, well over white noise; one speed for each sample."""
    turns = np.cumsum(speed * base_hz / RATE_HZ)
    return sum((0.02 * np.sin(2 * np.pi * k * turns + k) for k in orders), np.zeros(len(speed)))


def noise(seconds: float, seed: int = 1) -> np.ndarray:
    return 0.01 * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))


def course(*pieces: tuple[float, float], ramp_s: float = 2.0) -> np.ndarray:
    """Speeds held for so long, with ramps between."""
    parts = [np.full(round(pieces[0][1] * RATE_HZ), pieces[0][0])]
    for (a, _), (b, held_s) in pairwise(pieces):
        parts += [np.linspace(a, b, round(ramp_s * RATE_HZ)), np.full(round(held_s * RATE_HZ), b)]
    return np.concatenate(parts)


def test_tones_are_found_where_they_are() -> None:
    t = np.arange(20 * RATE_HZ) / RATE_HZ
    hertz = (97.3, 214.6, 431.7, 655.2)
    x = noise(20) + sum(0.01 * np.sin(2 * np.pi * f * t) for f in hertz)
    segment = tones_of(x)[0]
    for f in hertz:
        off = np.abs(segment.freq_hz - f).min(axis=1)
        assert np.mean(off < 0.5) > 0.9
    lines = (segment.freq_codes > 0).sum(axis=1)
    assert lines.mean() < len(hertz) + 5


def test_tones_do_not_depend_on_how_the_sound_is_cut() -> None:
    x = noise(30) + comb(np.ones(30 * RATE_HZ))
    rng = np.random.default_rng(2)
    whole, cut = tones_of(x)[0], tones_of(x, cuts=sorted(rng.integers(1, len(x), 40).tolist()))[0]
    assert np.array_equal(whole.freq_codes, cut.freq_codes)
    assert np.array_equal(whole.over_codes, cut.over_codes)


def test_a_gap_begins_the_tones_afresh() -> None:
    finder = ToneFinder()
    finder.feed(Block(noise(10).astype(np.float32), RATE_HZ, 0.0))
    finder.feed(Block(noise(10).astype(np.float32), RATE_HZ, 60.0, Gap(10.0, 60.0, "lost")))
    finder.flush()
    assert [s.start_s for s in finder.lines()] == [0.0, 60.0]


def test_a_change_of_speed_is_told_with_its_ratio() -> None:
    speed = course((0.80, 15), (0.90, 15), (0.76, 15))
    found = speed_changes(tones_of(noise(len(speed) / RATE_HZ) + comb(speed)), PARAMS)
    assert [c.ratio for c in found] == pytest.approx([0.90 / 0.80, 0.76 / 0.90], rel=0.01)
    assert [c.time_s for c in found] == pytest.approx([16.0, 33.0], abs=3.0)
    assert max(c.lines for c in found) >= 3


@pytest.mark.parametrize(
    ("what", "speed"),
    [
        ("a fixed speed", course((0.95, 60))),
        ("slip", course((0.965, 15), (0.965 * (1 - 0.6 * SLIP_SHARE), 15), (0.965, 15), ramp_s=5.0)),
        ("a machine that coasts down and runs up", course((0.95, 20), (0.05, 10), (0.95, 20), ramp_s=3.0)),
        ("a siren that never holds", 1.0 + 0.15 * np.sin(2 * np.pi * np.arange(60 * RATE_HZ) / RATE_HZ / 6.0)),
    ],
)
def test_what_is_no_driven_pump_is_not_told_as_one(what: str, speed: np.ndarray) -> None:
    assert speed_changes(tones_of(noise(len(speed) / RATE_HZ) + comb(speed)), PARAMS) == (), what


def test_two_machines_that_take_turns_are_no_change_of_speed() -> None:
    """Motors of 2 % and 5 % slip, each with its own blades."""
    t = np.arange(120 * RATE_HZ) / RATE_HZ
    first = np.where((t % 40) < 18, 1.0, 0.0) * comb(np.full(len(t), 0.98), (2, 3, 5, 10))
    second = np.where((t % 40) >= 20, 1.0, 0.0) * comb(np.full(len(t), 0.95), (2, 4, 7))
    assert speed_changes(tones_of(noise(120) + first + second), PARAMS) == ()


def test_noise_holds_no_speed() -> None:
    for seed in range(4):
        assert speed_changes(tones_of(noise(300, seed)), PARAMS) == ()


def test_the_simulated_drive_settles_where_the_affinity_laws_put_it() -> None:
    """At rest: p_set = n^2 H0 - (Q / Q_full)^2 (H0 - p_set), solved for n by hand."""
    drive = Drive(set_kpag=345.0, shutoff_kpa=520.0, full_l_per_min=60.0)
    track = driven(drive, [Use(5.0, 200.0, 12.0), Use(100.0, 105.0, 30.0)], duration_s=200.0)
    for at_s, flow in ((95.0, 12.0), (195.0, 42.0)):
        n = math.sqrt((345.0 + (flow / 60.0) ** 2 * (520.0 - 345.0)) / 520.0)
        assert track.speed[round(at_s / 0.02)] == pytest.approx(n, abs=0.004)
    assert len(track.runs_s) == 1


def test_a_lead_pump_alone_works_as_the_other_solver_says() -> None:
    system = us_system(20.0, pump_gpm=8.0)
    uses = [Use(5.0, 600.0, 14.0)]
    line = simulate(system, uses, duration_s=600.0)
    lead, lag = lead_and_lag(system, uses, duration_s=600.0, lag_kpa=60.0, lag_l_per_min=20.0)
    assert lead.cut_ins_s == pytest.approx(line.cut_ins_s, abs=0.5)
    assert lead.cut_outs_s == pytest.approx(line.cut_outs_s, abs=0.5)
    assert lag.cut_ins_s == ()


def measured(kind: str, number: int) -> Measurement:
    from clicktimer.pipeline import measure_samples

    x, rate_hz, _ = make(kind, "develop", number)
    return measure_samples(x, rate_hz)


def codes(m: Measurement) -> set[str]:
    return {w.code for w in m.warnings} & {"variable-speed", "two-pumps", "other-machine"}


def test_a_driven_pump_is_said_to_be_one_and_no_run_is_judged() -> None:
    m = measured("driven", 18)
    assert codes(m) == {"variable-speed"}
    assert m.run is None
    assert m.verdict.band is None
    assert not m.verdict.sure
    text = " ".join(render_text(m).split())
    assert "runs as long as water is used" in text
    assert "never open it" in text


@pytest.mark.slow
def test_a_second_pump_in_the_runs_is_said_and_no_verdict_is_sure() -> None:
    m = measured("lead and lag", 8)
    assert codes(m) == {"two-pumps"}
    assert m.run is not None
    assert "second pump" in said(m.run.doubts)
    assert not m.verdict.sure


@pytest.mark.slow
def test_another_machine_is_said_and_the_runs_of_the_switch_stay() -> None:
    m = measured("sump", 6)
    assert codes(m) == {"other-machine"}
    assert m.run is not None
    assert m.run.doubts == ()


def test_beside_one_pump_nothing_is_told() -> None:
    m = measured("one pump", 10)
    assert codes(m) == set()
    assert len(m.cycles) >= 3


def test_sound_that_comes_where_the_pump_was_told_to_stop_is_said() -> None:
    """Levels made by hand: one sound from 20 to 60 s, a louder one from 60 to 100 s, and so on."""
    level = np.full((1600, 21), -60.0, np.float32) + np.random.default_rng(1).normal(0, 0.5, (1600, 21)).astype("f4")
    for first_s in (20, 140, 260):
        level[4 * first_s : 4 * (first_s + 40), 5:15] += 6.0
        level[4 * (first_s + 40) : 4 * (first_s + 80), 3:18] += 14.0
    codes_of = np.clip(np.round(2.0 * (level + 128.0)), 0, 255).astype(np.uint8)
    levels = gather([LevelSegment(0.0, 0.25, codes_of, 8)], PARAMS.pump_state)
    told = find_second_machine(levels, [(20.0, 60.0), (140.0, 180.0), (260.0, 300.0)], [True] * 3, PARAMS)
    assert told is not None
    assert told.louder_s == (60.0, 180.0, 300.0)
    right = find_second_machine(levels, [(60.0, 100.0), (180.0, 220.0), (300.0, 340.0)], [True] * 3, PARAMS)
    assert right is None or right.louder_s == ()


def test_where_no_run_is_told_there_is_no_company() -> None:
    assert find_second_machine(None, [], [], PARAMS) is None
    assert find_second_machine(gather([], PARAMS.pump_state), [(1.0, 20.0)], [True], PARAMS) is None


@pytest.mark.slow
def test_how_often_it_is_noticed_and_never_by_mistake() -> None:
    """Floors below what was measured (docs/accuracy.md), on seeds of the develop half."""
    counts = dict.fromkeys(("driven", "lead and lag", "one pump"), 0)
    for kind in counts:
        for number in range(30, 42):
            counts[kind] += bool(codes(measured(kind, number)))
    assert counts["one pump"] == 0
    assert counts["driven"] >= 6
    assert counts["lead and lag"] >= 2
