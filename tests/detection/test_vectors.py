"""The loops in vectors give what the Python beside them gives, to the last bit; and that is numpy's correlation."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from clicktimer.detection import vectors
from clicktimer.detection.compiled import compiled


@compiled
def fast_cascade(x, first, count, coef, state, power):
    vectors.cascade(x, first, count, coef, state, power)


@compiled
def fast_slide(re, im, body_re, body_im, first, end, stride, lags, out_re, out_im):
    vectors.slide(re, im, body_re, body_im, first, end, stride, lags, out_re, out_im)


def float32(rng: np.random.Generator, *shape: int) -> np.ndarray:
    return rng.standard_normal(shape).astype(np.float32)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 20), st.integers(0, 100))
def test_the_cascade_is_its_plain_form(seed: int, first: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    x, coef = float32(rng, first + count + 3), 0.4 * float32(rng, 6, vectors.LANES)
    ours, plain = [
        [float32(np.random.default_rng(1), 6, vectors.LANES), np.zeros(vectors.LANES, np.float32)] for _ in "ab"
    ]
    fast_cascade(x, first, count, coef, *ours)
    with np.errstate(over="ignore", invalid="ignore"):
        vectors._plain_cascade(x, first, count, coef, *plain)
    np.testing.assert_array_equal(ours[0], plain[0])
    np.testing.assert_array_equal(ours[1], plain[1])


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 70), st.integers(1, 50), st.integers(1, 3), st.integers(0, 9))
def test_sliding_is_its_plain_form_and_numpys(seed: int, lags: int, length: int, stride: int, first: int) -> None:
    rng = np.random.default_rng(seed)
    end, room = first + length, first + length + lags + vectors.LAGS
    signal, body = float32(rng, 2, room), float32(rng, 2, end)
    ours, plain = np.zeros((2, 2, lags + vectors.LAGS), np.float32)
    fast_slide(*signal, *body, first, end, stride, lags, *ours)
    vectors._plain_slide(*signal, *body, first, end, stride, lags, *plain)
    np.testing.assert_array_equal(ours, plain)
    at = np.arange(first, end, stride)
    there, own = signal[0] + 1j * signal[1], np.conj(body[0] + 1j * body[1])
    expected = [np.sum(there[at + lag] * own[at]) for lag in range(lags)]
    np.testing.assert_allclose(ours[0, :lags] + 1j * ours[1, :lags], expected, atol=1e-3)


def test_where_nothing_is_compiled_the_plain_forms_are_used() -> None:
    import os
    import subprocess
    import sys

    code = "from clicktimer.detection import vectors; print(vectors.cascade is vectors._plain_cascade)"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == ["True"]


def test_the_detector_has_as_many_bands_as_lanes() -> None:
    from clicktimer.detection.candidates import N_BANDS

    assert N_BANDS == vectors.LANES
