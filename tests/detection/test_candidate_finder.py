"""Stage 2: candidates and levels from blocks."""

from __future__ import annotations

import itertools

import mir_eval
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clicktimer.detection import onset_strength
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates, from_codes, to_codes
from clicktimer.detection.params import default_params
from clicktimer.records import Block, Gap

BAND_EDGES_HZ = default_params().bands.edges_hz

CLICK_TIMES_S = (1.0003, 2.31, 3.7, 4.9)


def sound(
    rate_hz: int = 16000, seconds: float = 6.0, click: float = 0.3, noise: float = 0.003, seed: int = 5
) -> np.ndarray:
    rng = np.random.default_rng(seed)
    x = (noise * rng.standard_normal(int(rate_hz * seconds))).astype(np.float32)
    for t in (t for t in CLICK_TIMES_S if t < seconds - 0.1):
        at, n = round(t * rate_hz), int(0.02 * rate_hz)
        k = np.arange(n) / rate_hz
        x[at : at + n] += (click * np.exp(-k / 0.004) * np.sin(2 * np.pi * 2600 * k + 1)).astype(np.float32)
    return x


def find(x: np.ndarray, rate_hz: int, cuts: list[int] | None = None) -> tuple[Candidates, np.ndarray]:
    finder = OnsetFinder()
    edges = [0, *sorted(cuts or []), len(x)]
    parts = [finder.feed(Block(x[a:b], rate_hz, a / rate_hz)) for a, b in itertools.pairwise(edges)]
    parts.append(finder.flush())
    return Candidates.join(parts), finder.levels()[0].codes


@pytest.mark.parametrize("rate_hz", [8000, 11025, 16000, 22050, 44100, 48000, 96000, 192000])
def test_clicks_are_found_at_their_time_at_any_rate(rate_hz: int) -> None:
    found, _ = find(sound(rate_hz), rate_hz)
    strong = found.take(found.rise_db > 12.0)
    # mir_eval: the field's own scoring of onset times; a window of 2 ms instead of its 50.
    f1, _, _ = mir_eval.onset.f_measure(np.array(CLICK_TIMES_S), strong.time_s, window=0.002)
    assert f1 == 1.0


def test_librosa_agrees_on_where_the_clicks_are() -> None:
    import librosa

    x = sound(22050)
    theirs = librosa.onset.onset_detect(y=x, sr=22050, hop_length=128, units="time")
    ours, _ = find(x, 22050)
    for t in CLICK_TIMES_S:
        assert np.min(np.abs(ours.time_s - t)) < 0.001
        assert np.min(np.abs(theirs - t)) < 0.030  # its lag at this hop is about 10 ms


@settings(max_examples=25)
@given(st.lists(st.integers(0, 6 * 16000), max_size=12))
def test_any_cutting_gives_the_same(cuts: list[int]) -> None:
    x = sound()
    whole, levels = find(x, 16000)
    parts, part_levels = find(x, 16000, cuts)
    for name in Candidates.__slots__:
        np.testing.assert_array_equal(getattr(whole, name), getattr(parts, name))
    np.testing.assert_array_equal(levels, part_levels)


def test_one_sample_at_a_time_gives_the_same() -> None:
    x = sound(8000, 1.6)
    whole, _ = find(x, 8000)
    parts, _ = find(x, 8000, list(range(1, len(x))))
    np.testing.assert_array_equal(whole.time_s, parts.time_s)
    np.testing.assert_array_equal(whole.prints, parts.prints)


def test_silence_gives_none_and_noise_nothing_strong() -> None:
    assert len(find(np.zeros(16000 * 5, np.float32), 16000)[0]) == 0
    rng = np.random.default_rng(3)
    noise, _ = find((0.01 * rng.standard_normal(16000 * 30)).astype(np.float32), 16000)
    assert not len(noise) or noise.rise_db.max() < 8.0


def test_one_bang_does_not_hide_a_click_ten_seconds_away() -> None:
    x = np.concatenate([sound(), sound(seed=6), sound(seed=7)])
    bang = x.copy()
    bang[8000:8400] += np.float32(0.9)
    quiet, loud = find(x, 16000)[0], find(bang, 16000)[0]
    late_quiet = quiet.take((quiet.time_s > 10.5) & (quiet.rise_db > 12))
    late_loud = loud.take((loud.time_s > 10.5) & (loud.rise_db > 12))
    np.testing.assert_array_equal(late_quiet.time_s, late_loud.time_s)


def test_a_constant_offset_changes_nothing_that_matters() -> None:
    plain, shifted = find(sound(), 16000)[0], find(sound() + np.float32(0.2), 16000)[0]
    for t in CLICK_TIMES_S:
        a, b = (c.time_s[np.argmin(np.abs(c.time_s - t))] for c in (plain, shifted))
        assert abs(a - b) < 0.0005


def test_a_gap_starts_afresh_and_moves_the_times() -> None:
    x = sound()
    finder = OnsetFinder()
    parts = [finder.feed(Block(x, 16000, 0.0))]
    parts.append(finder.feed(Block(x, 16000, 60.0, Gap(6.0, 60.0, "test"))))
    parts.append(finder.flush())
    strong = Candidates.join(parts)
    strong = strong.take(strong.rise_db > 12)
    expected = [*CLICK_TIMES_S, *(60.0 + t for t in CLICK_TIMES_S)]
    np.testing.assert_allclose(strong.time_s, expected, atol=0.002)
    assert [s.start_s for s in finder.levels()] == [0.0, 60.0]


def test_no_more_than_the_cap_in_any_second() -> None:
    rng = np.random.default_rng(1)
    x = np.zeros(16000 * 4, np.float32)
    x[rng.integers(0, x.size, 400)] = 0.5
    found, _ = find(x, 16000)
    assert np.max(np.bincount(found.time_s.astype(int))) <= 7  # 6, and one that lies on the border of its second


def test_level_codes_keep_half_a_decibel() -> None:
    energy = 10.0 ** (np.linspace(-120, -1, 200) / 10)
    assert np.max(np.abs(from_codes(to_codes(energy)) - 10 * np.log10(energy))) <= 0.251


@pytest.mark.parametrize("rate_hz", [8000, 44100, 192000])
def test_filters_equal_scipys(rate_hz: int) -> None:
    from scipy import signal

    f = np.geomspace(30, rate_hz * 0.49, 300)
    for low, high in itertools.pairwise(BAND_EDGES_HZ):
        if high > 0.47 * rate_hz:
            continue
        c = onset_strength.band_pass(low, high, rate_hz).astype(float)
        ours = signal.sosfreqz([[c[0], 0, -c[0], 1, c[1], c[2]], [c[3], 0, -c[3], 1, c[4], c[5]]], f, fs=rate_hz)[1]
        theirs = signal.sosfreqz(signal.butter(2, [low, high], "band", fs=rate_hz, output="sos"), f, fs=rate_hz)[1]
        assert np.max(np.abs(np.abs(ours) - np.abs(theirs))) < 1e-3


@pytest.mark.parametrize("rate_hz", [8000, 11025, 44100, 48000])
def test_frames_are_the_energy_of_scipys_filters(rate_hz: int) -> None:
    """At 11 025 Hz a frame is 11 samples, which four do not divide."""
    from scipy import signal

    frame_len, used = round(0.001 * rate_hz), sum(low < 0.4 * rate_hz for low in BAND_EDGES_HZ[:-1])
    x = np.random.default_rng(3).standard_normal(200 * frame_len).astype(np.float32)
    edges = [(low, min(high, 0.47 * rate_hz)) for low, high in itertools.pairwise(BAND_EDGES_HZ)][:used]
    coef = np.zeros((6, 8), np.float32)
    coef[:, :used] = np.array([onset_strength.band_pass(low, high, rate_hz) for low, high in edges]).T
    frames, low_rate = np.empty((200, 8), np.float32), np.empty(len(x) // frame_len, np.float32)
    onset_strength.filter_frames(x, coef, np.zeros((6, 8), np.float32), frame_len, frame_len, frames, low_rate)
    for b, (low, high) in enumerate(edges):
        passed = signal.sosfilt(signal.butter(2, [low, high], "band", fs=rate_hz, output="sos"), x.astype(float))
        np.testing.assert_allclose(frames[:, b], (passed.reshape(200, -1) ** 2).mean(axis=1), rtol=2e-3, atol=1e-7)
    assert not frames[:, used:].any()
    np.testing.assert_allclose(low_rate, x.reshape(-1, frame_len).mean(axis=1), atol=1e-6)


@given(st.integers(1, 40), st.integers(40, 60))
def test_moving_sums_are_numpys(width: int, count: int) -> None:
    values = np.random.default_rng(width).standard_normal((count, 3)).astype(np.float32)
    windows = np.lib.stride_tricks.sliding_window_view(values, width, axis=0)
    np.testing.assert_allclose(onset_strength.moving_sum(values, width), windows.sum(axis=2), atol=1e-4)


@given(st.integers(0, 1000), st.integers(1, 12), st.integers(1, 3))
def test_geometric_means_are_means_of_decibels(seed: int, count: int, steps: int) -> None:
    level = (10.0 ** np.random.default_rng(seed).uniform(-13, 0, (count * steps, 8))).astype(np.float32)
    out = np.empty((steps, 8), np.float32)
    onset_strength.geometric_means(level, count, out)
    db = 10.0 * np.log10(level.reshape(steps, count, 8).astype(float) + 1e-14)
    np.testing.assert_allclose(10.0 * np.log10(out), db.mean(axis=1), atol=1e-3)


@given(st.integers(0, 1000), st.integers(0, 30))
def test_mean_levels_are_numpys(seed: int, at: int) -> None:
    level = np.random.default_rng(seed).random((60, 8)).astype(np.float32)
    spans = np.array([[0, 2], [2, 5], [-6, -1], [-40, -10]])
    out = np.empty((1, len(spans), 8), np.float32)
    onset_strength.mean_levels(level, np.array([at]), spans, out)
    for found, (first, end) in zip(out[0], spans, strict=True):
        rows = np.maximum(np.arange(at + first, at + end), 0)
        np.testing.assert_allclose(found, level[rows].mean(axis=0), rtol=1e-5)
