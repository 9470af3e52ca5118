"""The level track read as a pump that is off or on, with other sounds over it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clicktimer.detection import pump_state
from clicktimer.detection.candidates import N_LEVELS, LevelSegment
from clicktimer.detection.params import default_params
from clicktimer.detection.pump_state import Levels

STEP_S = 0.25
PUMP_BANDS = np.isin(np.arange(N_LEVELS), [2, 3, 5, 6, 9, 10, 14, 15, 16])


def on_of(rows: int, runs: list[tuple[int, int]]) -> np.ndarray:
    on = np.zeros(rows, bool)
    for a, b in runs:
        on[a:b] = True
    return on


def segment(
    on: np.ndarray, *, rise_db: float = 9.0, start_s: float = 0.0, sd_db: float = 1.0, seed: int = 1, talk: int = 0
) -> LevelSegment:
    """A level track: a room, a pump over it in its own bands, and bursts of talk of half a second to three seconds."""
    rng = np.random.default_rng(seed)
    db = -75.0 + rng.normal(0, sd_db, (len(on), N_LEVELS)) - np.arange(N_LEVELS) * 0.3
    db[on] += np.where(PUMP_BANDS, rise_db, 0.0)
    for _ in range(talk):
        a = int(rng.integers(0, len(on) - 12))
        voiced = rng.random(N_LEVELS) < 0.6
        db[a : a + int(rng.integers(2, 12))] += np.where(voiced, rng.uniform(5, 20, N_LEVELS), 0.0)
    codes = np.clip(np.round(2 * (db + 128)), 0, 255).astype(np.uint8)
    return LevelSegment(start_s, STEP_S, codes, 8)


PARAMS = default_params().pump_state
RUNS = [(60, 140), (220, 300), (420, 520)]
ON = on_of(640, RUNS)


def gathered(*segments: LevelSegment) -> Levels:
    levels = pump_state.gather(list(segments), PARAMS)
    assert levels is not None
    return levels


def first_guess(levels: Levels, on: np.ndarray = ON) -> tuple[np.ndarray, np.ndarray]:
    return np.median(levels.db[~on][:40], axis=0), np.median(levels.db[on][:40], axis=0)


@pytest.mark.parametrize("rise_db", [4.0, 9.0, 20.0])
@pytest.mark.parametrize("talk", [0, 12])
def test_a_pump_is_followed_with_bursts_of_talk_over_it(rise_db: float, talk: int) -> None:
    levels = gathered(segment(ON, rise_db=rise_db, talk=talk))
    track = pump_state.refine(levels, *first_guess(levels), PARAMS)
    assert track is not None
    assert np.mean(track.on == ON) > 0.96
    assert track.on[ON].mean() > 0.98
    if not talk:  # each start and stop within half a second; talk just before a start may look like one
        assert np.abs(track.edges - np.array(RUNS).ravel()).max() <= 2
    assert track.contrast_db[PUMP_BANDS].mean() == pytest.approx(rise_db, abs=1.5)
    assert np.abs(track.contrast_db[~PUMP_BANDS]).max() < 2.0
    assert np.abs(track.llr).max() <= 1.2
    assert np.mean((track.llr > 0) == ON) > 0.93


@pytest.mark.parametrize("seed", range(4))
def test_with_talk_half_of_the_time_the_pump_is_still_followed(seed: int) -> None:
    levels = gathered(segment(ON, talk=25, seed=seed))
    track = pump_state.refine(levels, *first_guess(levels), PARAMS)
    assert track is not None
    assert np.mean(track.on == ON) > 0.9
    assert track.on[ON].mean() > 0.98  # talk adds sound: it may look like the pump, it never hides it


def test_talk_alone_is_no_pump_that_runs_on() -> None:
    """Bursts of sound over a room without a pump: whatever is read into it lasts no longer than the bursts."""
    none = on_of(640, [])
    levels = gathered(segment(none, talk=40))
    for track in pump_state.estimates(levels, np.arange(0, 640, 3), PARAMS):
        stretches = np.diff(np.flatnonzero(np.diff(np.r_[0, track.on.astype(int), 0])))[::2]
        assert stretches.max() * STEP_S < 8.0


def test_a_steady_room_gives_no_guess() -> None:
    levels = gathered(segment(on_of(640, [])))
    assert pump_state.estimates(levels, np.arange(20, 620, 40), PARAMS) == []
    assert pump_state.estimates(levels, np.zeros(0, int), PARAMS) == []


def test_what_gets_quieter_does_not_run() -> None:
    """A track whose "on" is the quieter state is refused: whatever runs adds sound."""
    levels = gathered(segment(ON))
    low, high = first_guess(levels)
    assert pump_state.refine(levels, high, low, PARAMS) is None


def test_a_pump_that_is_never_heard_to_change_gives_no_track() -> None:
    levels = gathered(segment(on_of(640, [(0, 640)])))
    low = levels.db.mean(axis=0) - np.where(PUMP_BANDS, 9.0, 0.0).astype(np.float32)
    assert pump_state.refine(levels, low, levels.db.mean(axis=0), PARAMS) is None


def test_the_plainest_guess_is_the_pump() -> None:
    levels = gathered(segment(ON, talk=25, seed=3))
    rows = np.sort(np.r_[np.array(RUNS).ravel(), np.arange(7, 640, 31)])
    best = max(np.mean(t.on == ON) for t in pump_state.estimates(levels, rows, PARAMS))
    assert best > 0.97


def test_levels_around_the_clicks_are_those_of_off_and_on() -> None:
    levels = gathered(segment(ON))
    low, high = pump_state.levels_around(levels, np.array([a for a, _ in RUNS]), np.array([b for _, b in RUNS]), PARAMS)
    np.testing.assert_allclose((high - low)[PUMP_BANDS], 9.0, atol=1.5)
    np.testing.assert_allclose((high - low)[~PUMP_BANDS], 0.0, atol=1.5)


def test_a_gap_parts_the_track_and_its_times() -> None:
    one, two = on_of(200, [(80, 200)]), on_of(200, [(0, 90)])
    levels = gathered(segment(one), segment(two, start_s=1000.0, seed=2))
    assert levels.first.tolist() == [0, 200, 400]
    np.testing.assert_array_equal(levels.position(np.array([0.0, 20.1, 49.9, 1000.0, 1010.3])), [0, 80, 199, 200, 241])
    assert levels.time_of(80) == 20.0
    assert levels.time_of(241) == 1010.25
    # A change of level is never taken across the gap.
    edge = PARAMS.step_window
    assert not levels.changes[200 - edge : 200 + edge].any()
    on = np.r_[one, two]
    track = pump_state.refine(levels, *first_guess(levels, on), PARAMS)
    assert track is not None
    assert np.mean(track.on == on) > 0.98
    assert not np.isin(track.edges, [0, 200]).any()


@settings(max_examples=30)
@given(st.lists(st.floats(0, 2000), min_size=1, max_size=10))
def test_every_time_has_its_row(times: list[float]) -> None:
    levels = gathered(segment(on_of(100, [])), segment(on_of(50, []), start_s=300.0))
    rows = levels.position(np.array(times))
    assert ((rows >= 0) & (rows < 150)).all()
    for time_s, row in zip(times, rows, strict=True):
        if time_s < 25.0 or 300.0 <= time_s < 312.5:
            assert 0 <= time_s - levels.time_of(int(row)) < STEP_S + 1e-9


def test_changes_are_medians_before_and_after() -> None:
    levels = gathered(segment(ON))
    w = PARAMS.step_window
    for k in (w, 60, 140, 333, 640 - w - 2):
        plain = np.median(levels.db[k + 1 : k + 1 + w], axis=0) - np.median(levels.db[k - w : k], axis=0)
        np.testing.assert_allclose(levels.change_db_at(np.array([k]))[0], plain, atol=1e-5)


def test_no_levels_where_there_is_no_sound() -> None:
    assert pump_state.gather([], PARAMS) is None
    assert pump_state.gather([LevelSegment(0.0, STEP_S, np.zeros((0, N_LEVELS), np.uint8), 8)], PARAMS) is None
