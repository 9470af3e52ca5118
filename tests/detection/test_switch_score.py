"""The shape of a snap: switches rank over barks, hums, talk and steps; the stored table fits the code."""

from __future__ import annotations

from importlib import resources

import numpy as np
import pytest

from clicktimer.detection import switch_score
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.params import default_params
from clicktimer.records import Block
from clicktimer.simulator import Use, simulate, us_system
from clicktimer.simulator.sounds import Noise, SoundSettings, render_all

RATE_HZ = 16_000
ROOM = 0.0004
RANGE = default_params().switch_score


def found_in(x: np.ndarray, rate_hz: int = RATE_HZ) -> Candidates:
    finder = OnsetFinder()
    return Candidates.join([finder.feed(Block(x.astype(np.float32), rate_hz, 0.0)), finder.flush()])


def best_score(x: np.ndarray, near_s: float, rate_hz: int = RATE_HZ) -> float:
    """Highest score of a candidate 0.1 s before to 0.5 s after a time; the lowest there is where there is none."""
    found = found_in(x, rate_hz)
    scores = switch_score.switch_scores(found, RANGE)[(found.time_s > near_s - 0.1) & (found.time_s < near_s + 0.5)]
    return float(scores.max()) if len(scores) else RANGE.lowest


def room(seconds: float, rng: np.random.Generator) -> np.ndarray:
    return ROOM * rng.standard_normal(int(seconds * RATE_HZ))


def placed(sound: np.ndarray, at_s: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    x = room(at_s + 2.0, rng)
    at = round(at_s * RATE_HZ)
    x[at : at + len(sound)] += sound
    return x


def snap_of_metal(rng: np.random.Generator) -> np.ndarray:
    """Damped modes over the whole band, gone after some milliseconds."""
    t = np.arange(int(0.05 * RATE_HZ)) / RATE_HZ
    modes = [np.exp(-t / rng.uniform(0.001, 0.005)) * np.sin(2 * np.pi * f * t) for f in rng.uniform(700, 7000, 9)]
    return 0.05 * (np.sum(modes, axis=0) + 2 * rng.standard_normal(t.size) * np.exp(-t / 0.0015))


def bark(rng: np.random.Generator) -> np.ndarray:
    """A rough harmonic sound that swells in 20 ms and lasts a fifth of a second."""
    t = np.arange(int(0.25 * RATE_HZ)) / RATE_HZ
    f0 = rng.uniform(400, 700) * (1 - 0.3 * t / 0.25)
    wave = sum(np.sin(2 * np.pi * k * np.cumsum(f0) / RATE_HZ) / k**0.5 for k in range(1, 9))
    swell = np.minimum(t / 0.02, 1.0) * np.exp(-np.maximum(t - 0.15, 0) / 0.03)
    return 0.1 * wave * swell * (1 + 0.3 * rng.standard_normal(t.size))


def hum(rng: np.random.Generator) -> np.ndarray:
    """A motor that comes on within 50 ms and stays."""
    t = np.arange(int(1.5 * RATE_HZ)) / RATE_HZ
    wave = sum(np.sin(2 * np.pi * 60 * k * t + rng.uniform(0, 6)) / k for k in (1, 2, 3, 4, 6, 8, 12))
    return 0.05 * wave * np.minimum(t / 0.05, 1.0)


@pytest.fixture(scope="module")
def ranked() -> dict[str, np.ndarray]:
    """Scores of a dozen of each sound at levels that differ by 14 dB."""
    scores: dict[str, list[float]] = {"snap": [], "bark": [], "hum": []}
    for seed in range(12):
        rng = np.random.default_rng(seed)
        gain = 10 ** rng.uniform(-1.2, -0.5)
        for name, make in (("snap", snap_of_metal), ("bark", bark), ("hum", hum)):
            scores[name].append(best_score(placed(gain * make(rng), 3.0, seed), 3.0))
    return {name: np.array(values) for name, values in scores.items()}


def test_a_snap_ranks_over_a_hum(ranked: dict[str, np.ndarray]) -> None:
    assert ranked["snap"].min() > ranked["hum"].max() + 1.0


def test_a_snap_ranks_over_most_barks(ranked: dict[str, np.ndarray]) -> None:
    """Chance that a snap ranks over a bark; not all do: what begins within a millisecond looks like a snap at first."""
    assert np.mean(ranked["snap"][:, None] > ranked["bark"][None, :]) > 0.8
    assert np.median(ranked["snap"]) > np.median(ranked["bark"]) + 1.5


@pytest.fixture(scope="module")
def household() -> tuple[Candidates, np.ndarray]:
    """Candidates of a simulated household with everything that is not a switch, and which of them are the switch."""
    timeline = simulate(us_system(6.0, pump_gpm=8.0), [Use(0.0, 120.0, 14.0)], duration_s=120.0, seed=5)
    noises = tuple(Noise(k) for k in ("crackle", "clock", "footsteps", "doors", "speech"))
    x = render_all(timeline, SoundSettings(pump="jet", noises=noises), rate_hz=RATE_HZ, seed=5)
    found = found_in(x)
    true = np.array(sorted(timeline.cut_ins_s + timeline.cut_outs_s))
    assert len(true) >= 4
    return found, np.abs(found.time_s[:, None] - true[None, :]).min(axis=1) < 0.005


def test_the_switch_stands_out_in_a_household(household: tuple[Candidates, np.ndarray]) -> None:
    """The area under the curve of hits against false alarms: 0.5 would be a coin."""
    found, is_switch = household
    scores = switch_score.switch_scores(found, RANGE)
    ours, others = scores[is_switch], scores[~is_switch]
    assert len(others) > 50
    auc = np.mean((ours[:, None] > others[None, :]) + 0.5 * (ours[:, None] == others[None, :]))
    assert auc > 0.9


def test_the_order_and_the_number_of_candidates_do_not_matter(household: tuple[Candidates, np.ndarray]) -> None:
    found, _ = household
    whole = switch_score.switch_scores(found, RANGE)
    some = np.array([17, 3, 40])
    np.testing.assert_allclose(switch_score.switch_scores(found.take(some), RANGE), whole[some], atol=1e-4)
    assert len(switch_score.switch_scores(Candidates.none(), RANGE)) == 0
    many = found.take(np.tile(np.arange(len(found)), 4200 // len(found) + 1))  # more than one portion
    np.testing.assert_allclose(
        switch_score.switch_scores(many, RANGE), np.tile(whole, 4200 // len(found) + 1), atol=1e-4
    )


def test_scores_stay_in_their_range(household: tuple[Candidates, np.ndarray]) -> None:
    scores = switch_score.switch_scores(household[0], RANGE)
    assert scores.min() >= RANGE.lowest
    assert scores.max() <= RANGE.highest


def test_the_level_of_the_recording_does_not_matter() -> None:
    x = placed(snap_of_metal(np.random.default_rng(1)), 3.0, 1)
    assert best_score(4 * x, 3.0) == pytest.approx(best_score(x, 3.0), abs=0.5)


def test_the_table_fits_the_features() -> None:
    text = resources.files("clicktimer.detection").joinpath("switch_score.csv").read_text(encoding="ascii")
    rows = [line.split(",") for line in text.splitlines() if line and not line.startswith("#")]
    ranges = [r for r in rows if r[0] != "weight"]
    assert tuple(r[0] for r in ranges) == switch_score.FEATURES
    for name, *numbers in ranges:
        low, high, first, second = map(float, numbers)
        assert low < first < second < high, name
    weights = np.array([float(r[1]) for r in rows if r[0] == "weight"])
    table = np.array([[float(v) for v in r[1:]] for r in ranges])
    assert weights.size == switch_score.terms(np.zeros((1, len(switch_score.FEATURES))), table).shape[1]
    assert np.isfinite(weights).all()


def test_features_beyond_what_was_seen_are_held() -> None:
    text = resources.files("clicktimer.detection").joinpath("switch_score.csv").read_text(encoding="ascii")
    rows = [line.split(",") for line in text.splitlines() if line and not line.startswith(("#", "weight"))]
    table = np.array([[float(v) for v in r[1:]] for r in rows])
    highest, far = table[:, 1][None, :], table[:, 1][None, :] + 100.0
    np.testing.assert_array_equal(switch_score.terms(highest, table), switch_score.terms(far, table))
