"""How alike two fingerprints are: the level and the room must not matter, the shape must."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from clicktimer.detection.candidates import N_BANDS, N_SLICES, N_WAVE, Candidates, to_codes
from clicktimer.detection.params import default_params
from clicktimer.detection.similarity import Fingerprints, distances, pattern_of, seed_vectors
from clicktimer.detection.similarity import fingerprints_of as fingerprints_with

Floats = np.ndarray[Any, np.dtype[np.float64]]

# Two switches of one build, dB of full scale over slices and bands: the one bright and dry, the other dull and ringing.
BRIGHT_DB = -30.0 - 6.0 * np.arange(N_SLICES)[:, None] - 3.0 * np.abs(np.arange(N_BANDS) - 5)[None, :]
DULL_DB = -30.0 - 2.5 * np.arange(N_SLICES)[:, None] - 3.0 * np.abs(np.arange(N_BANDS) - 1)[None, :]
QUIET_DB = np.full(N_BANDS, -80.0)


def candidates(prints_db: list[Floats], rooms_db: list[Floats], used: int = N_BANDS) -> Candidates:
    """Candidates whose fingerprints are a click over a room: energies add up."""
    n = len(prints_db)
    room = 10 ** (np.array(rooms_db) / 10)
    energy = 10 ** (np.array(prints_db) / 10) + room[:, None, :]
    fingerprints, rooms = to_codes(energy), to_codes(room)
    fingerprints[:, :, used:] = 0
    rooms[:, used:] = 0
    f32 = np.full(n, 0.001, np.float32)
    return Candidates(
        np.arange(n, dtype=float),
        np.full(n, 20.0, np.float32),
        f32,
        f32,
        f32,
        f32,
        fingerprints,
        np.zeros((n, 2, N_BANDS), np.uint8),
        rooms,
        np.full(n, used, np.uint8),
        f32,
        np.zeros(n, np.float32),
        np.zeros((0, N_WAVE), np.int8),
    )


def fingerprints_of(of: Candidates) -> Fingerprints:
    return fingerprints_with(of, default_params().similarity)


def varied(shape_db: Floats, count: int, seed: int, sd_db: float = 1.0) -> list[Floats]:
    rng = np.random.default_rng(seed)
    return [shape_db + rng.normal(0, sd_db, shape_db.shape) for _ in range(count)]


def pattern(shape_db: Floats = BRIGHT_DB, seed: int = 1) -> Any:
    fingerprints = fingerprints_of(candidates(varied(shape_db, 8, seed), [QUIET_DB] * 8))
    return pattern_of(fingerprints, np.arange(8))


def distance_of(shapes_db: list[Floats], rooms_db: list[Floats]) -> Floats:
    return distances(fingerprints_of(candidates(shapes_db, rooms_db)), pattern())[0].astype(float)


def test_a_pattern_sums_to_one_and_is_the_shape() -> None:
    ours = pattern()
    assert ours.sum() == pytest.approx(1.0, abs=1e-5)
    true = 10 ** (BRIGHT_DB / 10)
    clear = true / true.sum() > 1e-3
    np.testing.assert_allclose(10 * np.log10(ours / (true / true.sum()))[clear], 0.0, atol=1.5)


@pytest.mark.parametrize("gain_db", [-25.0, -10.0, 0.0, 15.0])
def test_the_same_click_at_another_level_is_near(gain_db: float) -> None:
    (shape,) = varied(BRIGHT_DB, 1, 9)
    found, gain = distances(fingerprints_of(candidates([shape + gain_db, shape], [QUIET_DB, QUIET_DB])), pattern())
    assert found[0] < 2.5
    assert gain[0] - gain[1] == pytest.approx(gain_db, abs=0.5)


def test_the_same_click_in_a_louder_room_is_near_and_another_is_far() -> None:
    rng = np.random.default_rng(2)
    loud = QUIET_DB + 30.0 + rng.normal(0, 4, N_BANDS)
    same, other = varied(BRIGHT_DB, 6, 3), varied(DULL_DB, 6, 4)
    near = distance_of(same * 2, [QUIET_DB] * 6 + [loud] * 6)
    far = distance_of(other * 2, [QUIET_DB] * 6 + [loud] * 6)
    assert near.max() < 3.5
    assert far.min() > 4.5
    assert far.min() > near.max() + 1.0


def test_what_the_room_buries_says_nothing() -> None:
    """Below the room the click may be anything: that changes no distance."""
    # In the four upper bands the room is 25 dB over the click.
    room = np.where(np.arange(N_BANDS) >= 4, BRIGHT_DB.max() + 25.0, -80.0)
    (shape,) = varied(BRIGHT_DB, 1, 5)
    changed = shape.copy()
    changed[:, 4:] -= 20.0
    plain, hidden = distance_of([shape, changed], [room, room])
    assert hidden == pytest.approx(plain, abs=0.1)
    open_plain, open_changed = distance_of([shape, changed], [QUIET_DB, QUIET_DB])
    assert open_changed > open_plain + 3.0


def test_few_cells_in_sight_prove_little() -> None:
    """A click of which all but a cell or two are buried is not called near, however well those fit."""
    room = np.full(N_BANDS, float(BRIGHT_DB.max()) + 1.0)
    (buried,) = distance_of([BRIGHT_DB], [room])
    (clear,) = distance_of([BRIGHT_DB], [QUIET_DB])
    assert clear < 1.5
    assert buried > 2.0


def test_a_single_cell_gone_wrong_does_not_make_a_stranger() -> None:
    coughed = BRIGHT_DB.copy()
    coughed[5, 0] += 60.0
    assert distance_of([coughed], [QUIET_DB])[0] < 4.0


def test_one_member_with_a_thump_in_it_does_not_make_the_pattern() -> None:
    shapes = varied(BRIGHT_DB, 7, 6)
    shapes[3][:, 0] += 25.0
    fingerprints = fingerprints_of(candidates(shapes, [QUIET_DB] * 7))
    assert distances(fingerprints, pattern_of(fingerprints, np.arange(7)))[0][[0, 1, 2, 4, 5, 6]].max() < 4.0


def test_bands_that_the_recording_does_not_hold_are_left_out() -> None:
    narrow = fingerprints_of(candidates(varied(BRIGHT_DB, 4, 7), [QUIET_DB] * 4, used=5))
    assert narrow.used == 5
    ours = pattern_of(narrow, np.arange(4))
    assert not ours[:, 5:].any()
    assert distances(narrow, ours)[0].max() < 2.5


def test_an_index_gives_the_same_as_the_whole() -> None:
    fingerprints = fingerprints_of(candidates(varied(BRIGHT_DB, 4, 1) + varied(DULL_DB, 4, 2), [QUIET_DB] * 8))
    some = np.array([6, 1, 3])
    whole, part = distances(fingerprints, pattern()), distances(fingerprints, pattern(), some)
    np.testing.assert_array_equal(whole[0][some], part[0])
    np.testing.assert_array_equal(whole[1][some], part[1])


def test_distances_against_a_plain_reckoning() -> None:
    """Written out in decibels for loud fingerprints in a quiet room, where nothing is hidden and no cell is cut off."""
    shapes = varied(BRIGHT_DB, 5, 11, sd_db=2.0)
    fingerprints = fingerprints_of(candidates(shapes, [QUIET_DB] * 5))
    ours = pattern()
    found, _ = distances(fingerprints, ours)
    for i in range(5):
        have, want = 10 * np.log10(fingerprints.energy(np.array([i]))[0]), 10 * np.log10(ours)
        off = have - want - np.median((have - want)[ours > 1e-4])
        plain = np.sqrt((np.sum(off**2) + 2 * 25.0) / (off.size + 2))
        assert found[i] == pytest.approx(plain, abs=0.3)


def test_vectors_for_seeds_are_of_length_one_and_tell_kinds_apart() -> None:
    fingerprints: Fingerprints = fingerprints_of(
        candidates(varied(BRIGHT_DB, 5, 1) + varied(DULL_DB, 5, 2), [QUIET_DB + 30.0] * 10)
    )
    vectors = seed_vectors(fingerprints)
    np.testing.assert_allclose(np.linalg.norm(vectors, axis=1), 1.0, atol=1e-3)
    alike = vectors @ vectors.T
    assert min(alike[:5, :5].min(), alike[5:, 5:].min()) > 0.9
    assert alike[:5, 5:].max() < 0.8
