"""The median and the counts of a few numbers are numpy's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from clicktimer.detection import small_statistics

NUMBERS = st.integers(-64, 64).map(lambda eighths: eighths / 8.0)


@given(arrays(np.float32, st.integers(1, 40), elements=NUMBERS))
def test_the_median_is_numpys(values: np.ndarray) -> None:
    assert small_statistics.median(values) == pytest.approx(float(np.median(values.astype(float))), abs=1e-6)


def test_of_nothing_there_is_no_median() -> None:
    assert math.isnan(small_statistics.median(np.zeros(0)))


@given(arrays(np.float32, st.integers(0, 40), elements=NUMBERS))
def test_the_counts_are_numpys(values: np.ndarray) -> None:
    edges = np.arange(-3.0, 5.01, 0.5)
    np.testing.assert_array_equal(
        small_statistics.counts(values, -3.0, 0.5, 16), np.histogram(values.astype(float), edges)[0]
    )
