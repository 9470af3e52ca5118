"""Medians and spreads by counting, against numpy's of the same numbers."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from clicktimer.detection import level_statistics


@settings(max_examples=60)
@given(st.integers(0, 10_000), st.integers(1, 300), st.integers(1, 255))
def test_levels_are_numpys_medians(seed: int, steps: int, highest: int) -> None:
    rng = np.random.default_rng(seed)
    codes = rng.integers(0, highest + 1, (steps, 4)).astype(np.uint8)
    chosen = rng.random(steps) < 0.5
    chosen[0] = True
    middle, spread = level_statistics.levels(codes, chosen)
    db = 0.5 * codes[chosen] - 128.0
    np.testing.assert_allclose(middle, np.median(db, axis=0), atol=1e-5)
    np.testing.assert_allclose(spread, 1.4826 * np.median(np.abs(db - np.median(db, axis=0)), axis=0), atol=1e-4)


def test_nothing_chosen_is_no_level() -> None:
    middle, spread = level_statistics.levels(np.zeros((5, 3), np.uint8), np.zeros(5, bool))
    assert np.isnan(middle).all()
    assert np.isnan(spread).all()


@settings(max_examples=60)
@given(st.integers(0, 10_000), st.integers(1, 300))
def test_changes_are_numpys_medians(seed: int, steps: int) -> None:
    quarters = np.random.default_rng(seed).integers(-510, 511, (steps, 3)).astype(np.int16)
    middle, spread = level_statistics.changes(quarters)
    db = 0.25 * quarters
    np.testing.assert_allclose(middle, np.median(db, axis=0), atol=1e-5)
    np.testing.assert_allclose(spread, 1.4826 * np.median(np.abs(db - np.median(db, axis=0)), axis=0), atol=1e-3)


@settings(max_examples=60)
@given(st.integers(0, 10_000), st.integers(0, 60), st.sampled_from([2, 4, 6]))
def test_a_change_is_the_median_after_less_that_before(seed: int, steps: int, width: int) -> None:
    codes = np.random.default_rng(seed).integers(0, 256, (steps, 2)).astype(np.uint8)
    quarters = np.zeros(codes.shape, np.int16)
    level_statistics.note_changes(codes, width, quarters)
    db = 0.5 * codes
    for k in range(steps):
        told = width <= k < steps - width
        after, before = db[k + 1 : k + 1 + width], db[k - width : k]
        expected = np.median(after, axis=0) - np.median(before, axis=0) if told else 0.0
        np.testing.assert_array_equal(0.25 * quarters[k], expected)
