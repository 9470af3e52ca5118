"""Which candidates are the switch, and which click is which: on sounds of the simulator, whose truth is physics."""

from __future__ import annotations

import numpy as np
import pytest

from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.detector import DetectionResult, find_clicks
from clicktimer.detection.params import default_params
from clicktimer.pipeline import Listened, hear_blocks
from clicktimer.records import Block
from clicktimer.settings import PumpState
from clicktimer.simulator import Use, simulate, us_system
from clicktimer.simulator.noises import Noise
from clicktimer.simulator.sounds import SoundSettings, render
from tests.support.recordings import HOUSE, SCENE_RATE_HZ, nearest, scene


def clicks_of(heard: Listened, pump_at_start: PumpState | None = None) -> DetectionResult:
    return find_clicks(heard.candidates, heard.levels, duration_s=heard.end_s, pump_at_start=pump_at_start)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("pump", ["jet", "flow"])
def test_where_the_pump_is_heard_every_click_is_told_with_its_kind(pump: str, seed: int) -> None:
    heard, truth = scene(pump, seed=seed)
    found = clicks_of(heard)
    assert [c.kind for c in found.clicks] == [kind for _, kind in truth.clicks]
    np.testing.assert_allclose([c.time_s for c in found.clicks], [t for t, _ in truth.clicks], atol=0.002)
    assert found.pump_heard
    assert found.order_known
    assert not found.edges
    assert min(c.confidence for c in found.clicks) > 0.9


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("pump", ["jet", "flow"])
def test_in_a_busy_house_nothing_else_is_told_and_little_missed(pump: str, seed: int) -> None:
    heard, truth = scene(pump, noises=HOUSE, seed=seed)
    found = clicks_of(heard)
    for c in found.clicks:
        time_s, kind = nearest(truth, c.time_s)
        assert abs(c.time_s - time_s) < 0.020
        assert c.kind == kind
    assert len(found.clicks) >= len(truth.clicks) - 1
    # What is missed is still told by the pump's sound, within a second.
    assert len(found.clicks) + len(found.edges) == len(truth.clicks)
    for e in found.edges:
        time_s, kind = nearest(truth, e.time_s)
        assert abs(e.time_s - time_s) < 1.0
        assert e.kind == kind
        assert e.how == "pump sound"


@pytest.mark.parametrize("seed", [1, 2])
def test_cut_outs_under_a_roaring_pump_are_told_by_the_level(seed: int) -> None:
    """Clicks 22 dB over the room and a jet pump beside it: what cannot be heard is not told as heard."""
    heard, truth = scene("jet", click_db=22.0, seed=seed)
    found = clicks_of(heard)
    assert {c.kind for c in found.clicks} >= {"cut-in"}
    for c in (*found.clicks, *found.edges):
        time_s, kind = nearest(truth, c.time_s)
        assert abs(c.time_s - time_s) < (0.020 if c.how == "clicks" else 1.0)
        assert c.kind == kind
    assert len(found.clicks) + len(found.edges) == len(truth.clicks)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("noises", [(), HOUSE])
def test_where_no_pump_is_heard_no_kind_is_told(noises: tuple[Noise, ...], seed: int) -> None:
    """There are clicks or there are none; which of them is which cannot be known."""
    heard, truth = scene("none", noises=noises, seed=seed)
    found = clicks_of(heard)
    assert not found.pump_heard
    assert not found.order_known
    assert {c.kind for c in found.clicks} <= {"unknown"}
    for c in found.clicks:
        assert abs(c.time_s - nearest(truth, c.time_s)[0]) < 0.020


def test_the_users_word_settles_the_order_where_no_pump_is_heard() -> None:
    heard, truth = scene("none", seed=2)
    off, on = clicks_of(heard, "off"), clicks_of(heard, "on")
    assert [c.kind for c in off.clicks] == [kind for _, kind in truth.clicks]
    assert off.order_known
    assert not off.pump_heard
    other = {"cut-in": "cut-out", "cut-out": "cut-in"}
    assert [c.kind for c in on.clicks] == [other[c.kind] for c in off.clicks]


def test_a_wrong_word_does_not_turn_the_clicks_where_the_pump_is_heard() -> None:
    heard, truth = scene("jet")
    assert [c.kind for c in clicks_of(heard, "on").clicks] == [kind for _, kind in truth.clicks]


@pytest.mark.parametrize(("pump_at_start", "seed"), [("off", 1), ("on", 2)])
def test_the_users_word_brings_no_click_that_was_not_there(pump_at_start: PumpState, seed: int) -> None:
    heard, truth = scene("none", noises=HOUSE, seed=seed)
    found = clicks_of(heard, pump_at_start)
    for c in found.clicks:
        assert abs(c.time_s - nearest(truth, c.time_s)[0]) < 0.020


def noise(rate_hz: int, seconds: float, colour: float, seed: int) -> np.ndarray:
    """Noise whose power falls with frequency to the given power: 0 white, 1 pink, 2 brown, -1 blue."""
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal(int(rate_hz * seconds)))
    f = np.fft.rfftfreq(int(rate_hz * seconds), 1 / rate_hz)
    x = np.fft.irfft(spectrum * np.maximum(f, 20.0) ** (-colour / 2), int(rate_hz * seconds))
    return (0.05 * x / x.std()).astype(np.float32)


def heard_in(x: np.ndarray, rate_hz: int) -> Listened:
    finder = OnsetFinder()
    found = Candidates.join([finder.feed(Block(x, rate_hz, 0.0)), finder.flush()])
    return Listened(found, finder, (), len(x) / rate_hz)


@pytest.mark.parametrize(
    ("rate_hz", "colour"), [(8_000, 0.0), (8_000, 2.0), (16_000, 1.0), (16_000, -1.0), (44_100, 0.0), (44_100, 2.0)]
)
def test_noise_of_any_colour_holds_no_click(rate_hz: int, colour: float) -> None:
    heard = heard_in(noise(rate_hz, 30.0, colour, seed=rate_hz), rate_hz)
    for word in (None, "off"):
        found = clicks_of(heard, word)  # type: ignore[arg-type]
        assert found.clicks == ()
        assert found.edges == ()


def test_a_recording_without_clicks_has_a_reason_and_one_with_clicks_has_none() -> None:
    assert clicks_of(scene("jet")[0]).rejection is None
    found = find_clicks(Candidates.none(), [], duration_s=1.0)
    assert found.rejection is not None
    assert found.rejection.code == "no-candidates"


def test_more_evidence_asked_than_there_is_rejects_by_that_check_and_says_how_much_there_was() -> None:
    heard, _ = scene("jet")
    most = clicks_of(heard).gain
    names = [f"acceptance.least_log_odds{which}" for which in ("", "_alone", "_apart")]
    params = default_params().changed(dict.fromkeys(names, min(most + 1.0, 1000.0)))
    found = find_clicks(heard.candidates, heard.levels, duration_s=heard.end_s, params=params)
    assert found.clicks == ()
    assert found.rejection is not None
    assert found.rejection.code == "too-little-evidence"
    assert found.rejection.evidence["log_odds"] == pytest.approx(most)


@pytest.mark.slow
@pytest.mark.parametrize("colour", [0.0, 1.0, 2.0, -1.0])
def test_an_hour_of_noise_holds_no_click(colour: float) -> None:
    for seed in range(15):
        heard = heard_in(noise(16_000, 240.0, colour, seed), 16_000)
        assert clicks_of(heard).clicks == ()


def test_noise_that_swells_and_fades_holds_no_click() -> None:
    x = noise(16_000, 120.0, 1.0, 3)
    swell = 1.0 + 0.9 * np.sin(2 * np.pi * np.arange(x.size) / (16_000 * 17.0))
    assert clicks_of(heard_in((x * swell).astype(np.float32), 16_000)).clicks == ()


@pytest.mark.parametrize("rate_hz", [8_000, 48_000])
def test_silence_holds_no_click(rate_hz: int) -> None:
    for x in (np.zeros(rate_hz * 20, np.float32), np.full(rate_hz * 20, 0.3, np.float32)):
        assert clicks_of(heard_in(x, rate_hz)).clicks == ()


def test_a_clock_that_ticks_is_no_switch() -> None:
    """Ticks recur exactly and even take turns; they come every second, and no pump goes with them."""
    x = noise(16_000, 90.0, 1.0, 5) * np.float32(0.02)
    t = np.arange(int(0.02 * 16_000)) / 16_000
    for k in range(1, 89):
        tick = 0.05 * np.exp(-t / 0.003) * np.sin(2 * np.pi * (2600.0 if k % 2 else 3400.0) * t)
        x[k * 16_000 : k * 16_000 + t.size] += tick.astype(np.float32)
    assert clicks_of(heard_in(x, 16_000)).clicks == ()


@pytest.mark.slow
@pytest.mark.parametrize("seed", [11])
def test_hours_of_steps_and_doors_beside_a_pump_hold_its_clicks_and_no_other(seed: int) -> None:
    """Steps recur, come in pairs and raise the level for seconds; between the first and the last no pump runs."""
    duration_s = 2.0 * 3600.0
    uses = [Use(900.0 * k + 100.0, 60.0, 20.0) for k in range(8)]
    line = simulate(us_system(6.0, pump_gpm=8.0), uses, duration_s=duration_s, seed=seed)
    sound = SoundSettings(noises=(Noise("footsteps", per_min=0.2), Noise("doors", per_min=0.1)))
    blocks, at = [], 0
    for piece in render(line, sound, rate_hz=SCENE_RATE_HZ, seed=seed):
        blocks.append(Block(piece, SCENE_RATE_HZ, at / SCENE_RATE_HZ))
        at += len(piece)
    found = clicks_of(hear_blocks(blocks))
    truth = np.sort([*line.cut_ins_s, *line.cut_outs_s])
    assert len(truth) >= 8
    np.testing.assert_allclose([c.time_s for c in found.clicks], truth, atol=0.003)


def test_a_clock_that_ticks_just_before_a_click_does_not_hide_it() -> None:
    """Ticks each second, a tenth before every click: within the time in which a chattering switch snaps again."""
    heard, truth = scene("jet", noises=(Noise("clock"),), seed=3)
    found = clicks_of(heard)
    assert [c.kind for c in found.clicks] == [kind for _, kind in truth.clicks]
    np.testing.assert_allclose([c.time_s for c in found.clicks], [t for t, _ in truth.clicks], atol=0.003)


def test_nothing_gives_nothing() -> None:
    found = find_clicks(Candidates.none(), [], duration_s=1.0)
    assert (found.clicks, found.edges, found.gain) == ((), (), 0.0)
