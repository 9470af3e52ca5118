"""Waves of candidates: two operations of one switch are alike, two different sounds are not.

Checked against scipy's resampling and correlation, and on sounds of the simulator's switches; the rest are properties.
"""

from __future__ import annotations

import numpy as np
import pytest

from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import N_WAVE, Candidates
from clicktimer.detection.params import default_params
from clicktimer.detection.waveforms import Waveforms, cut, rate_of
from clicktimer.records import Block

RATE = 48_000
WAVEFORM = default_params().waveform
BEFORE_S, AFTER_S = WAVEFORM.before_s, WAVEFORM.after_s


def ring(tones_hz: tuple[float, ...], decay_s: float, seed: int) -> np.ndarray:
    """A click: tones that die away, their phases by the seed."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(0.02 * RATE)) / RATE
    x = sum(np.sin(2 * np.pi * f * t + rng.uniform(0, 6.3)) for f in tones_hz) * np.exp(-t / decay_s)
    return np.asarray(x / np.abs(x).max(), np.float32)


ONE = ring((900.0, 2300.0, 3700.0, 5900.0), 0.004, 1)
OTHER = ring((620.0, 1700.0, 3100.0, 6600.0), 0.003, 2)


def recording(
    clicks: list[tuple[float, np.ndarray, float]], seconds: float, room: float, hum: float = 0.0
) -> np.ndarray:
    """Clicks at times and levels over a hissing room that hums."""
    rng = np.random.default_rng(7)
    x = rng.standard_normal(round(seconds * RATE)).astype(np.float32) * np.float32(room)
    x += np.float32(hum) * np.sin(2 * np.pi * 120.0 * np.arange(len(x)) / RATE).astype(np.float32)
    for time_s, click, level in clicks:
        at = round(time_s * RATE)
        x[at : at + len(click)] += np.float32(level) * click
    return x


def heard(x: np.ndarray, block_s: float = 5.0) -> Candidates:
    finder, step = OnsetFinder(), round(block_s * RATE)
    parts = [finder.feed(Block(x[i : i + step], RATE, i / RATE)) for i in range(0, len(x), step)]
    return Candidates.join([*parts, finder.flush()])


def at(candidates: Candidates, time_s: float) -> int:
    k = int(np.argmin(np.abs(candidates.time_s - time_s)))
    assert abs(float(candidates.time_s[k]) - time_s) < 0.002
    return k


@pytest.mark.parametrize("hum", [0.0, 0.2])
def test_the_same_click_is_alike_and_another_is_not(hum: float) -> None:
    """At other levels, in a room that hums far louder than it hisses."""
    clicks = [(2.0, ONE, 0.3), (4.0, OTHER, 0.3), (6.5, ONE, 0.15), (8.0, OTHER, 0.2)]
    c = heard(recording(clicks, 10.0, 0.001, hum))
    waveforms = Waveforms(c)
    first, other, again, other_again = (at(c, t) for t, _, _ in clicks)
    assert waveforms.alike(first)[again] > 0.85
    assert waveforms.alike(other)[other_again] > 0.85
    assert waveforms.alike(first)[other] < 0.6
    assert waveforms.alike(again)[other_again] < 0.6


def test_likeness_goes_both_ways_and_is_highest_with_itself() -> None:
    c = heard(recording([(2.0, ONE, 0.3), (4.0, OTHER, 0.3), (6.0, ONE, 0.2)], 8.0, 0.001))
    waveforms = Waveforms(c)
    a, b = at(c, 2.0), at(c, 6.0)
    assert waveforms.alike(a)[a] >= waveforms.alike(a)[b]
    assert abs(float(waveforms.alike(a)[b] - waveforms.alike(b)[a])) < 0.1


def test_a_click_a_little_slower_and_late_is_still_the_same() -> None:
    """1 % slower (scipy's resampling) and found 2 ms off."""
    from scipy.signal import resample

    slower = np.asarray(resample(ONE, round(len(ONE) * 1.01)), np.float32)
    c = heard(recording([(2.0, ONE, 0.3), (4.0, slower, 0.3)], 6.0, 0.001))
    assert Waveforms(c).alike(at(c, 2.0))[at(c, 4.0)] > 0.8


def test_what_the_room_buries_is_not_alike() -> None:
    c = heard(recording([(2.0, ONE, 0.3), (4.0, ONE, 0.3)], 6.0, 0.001))
    buried = heard(recording([(2.0, ONE, 0.3), (4.0, ONE, 0.03)], 6.0, 0.01))
    clear = float(Waveforms(c).alike(at(c, 2.0))[at(c, 4.0)])
    assert float(Waveforms(buried).alike(at(buried, 2.0))[at(buried, 4.0)]) < clear


def test_a_cut_holds_16_ms_from_4_ms_before_the_onset() -> None:
    every, wave_hz = rate_of(RATE, WAVEFORM)
    x = np.zeros(RATE, np.float32)
    x[RATE // 2] = 1.0
    wave = cut(x, np.array([RATE // 2]), RATE, WAVEFORM)[0]
    assert wave.shape == (N_WAVE,)
    assert abs(int(np.argmax(np.abs(wave))) - round(BEFORE_S * wave_hz)) <= 1
    assert np.abs(wave).max() == 127
    assert not wave[round((BEFORE_S + AFTER_S) * wave_hz) :].any()
    assert every == 3


def test_a_steady_hum_leaves_nothing_in_a_wave() -> None:
    """Against the same wave without it: the hum is thirty times the click."""
    t = np.arange(RATE) / RATE
    click = np.zeros(RATE, np.float32)
    click[RATE // 2 : RATE // 2 + len(ONE)] = 0.01 * ONE
    hum = np.float32(0.3) * np.sin(2 * np.pi * 60.0 * t).astype(np.float32)
    clean, with_hum = (cut(x, np.array([RATE // 2]), RATE, WAVEFORM)[0].astype(float) for x in (click, click + hum))
    assert np.corrcoef(clean, with_hum)[0, 1] > 0.95


@pytest.mark.parametrize("index", [0, RATE - 1, -50, RATE + 50])
def test_a_cut_at_the_edge_is_filled_with_silence(index: int) -> None:
    x = np.random.default_rng(3).standard_normal(RATE).astype(np.float32)
    assert cut(x, np.array([index]), RATE, WAVEFORM).shape == (1, N_WAVE)


@pytest.mark.parametrize("rate_hz", [8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000, 96000])
def test_every_rate_fits(rate_hz: int) -> None:
    every, wave_hz = rate_of(rate_hz, WAVEFORM)
    assert every * wave_hz == rate_hz
    assert (BEFORE_S + AFTER_S) * wave_hz <= N_WAVE


def test_waves_do_not_depend_on_the_cutting() -> None:
    x = recording([(t, ONE if k % 2 else OTHER, 0.2) for k, t in enumerate(np.arange(1.0, 20.0, 0.7))], 21.0, 0.003)
    whole, pieces = heard(x, 30.0), heard(x, 0.37)
    assert np.array_equal(whole.wave_hz, pieces.wave_hz)
    assert np.array_equal(whole.waves, pieces.waves)


def test_over_a_long_time_about_one_wave_in_a_second_is_kept() -> None:
    """Rattling that never ends: five minutes of six candidates a second."""
    rng = np.random.default_rng(11)
    clicks = [
        (float(t), ring((1000.0, 3000.0), 0.002, k % 50), float(rng.uniform(0.05, 0.3)))
        for k, t in enumerate(np.arange(0.5, 299.0, 0.16))
    ]
    c = heard(recording(clicks, 300.0, 0.001))
    last = c.time_s > 200.0
    assert np.count_nonzero(last) > 400
    assert np.count_nonzero(c.wave_hz[last] > 0) < 160


def test_taking_some_keeps_each_with_its_own_wave() -> None:
    c = heard(recording([(1.0, ONE, 0.3), (2.0, OTHER, 0.3), (3.0, ONE, 0.3)], 4.0, 0.001))
    order = np.arange(len(c))[::-1]
    back = c.take(order).take(order)
    assert all(np.array_equal(getattr(c, f), getattr(back, f)) for f in Candidates.__slots__)
    some = c.take(np.array([at(c, 2.0)]))
    kept = (np.cumsum(c.wave_hz > 0) - 1)[at(c, 2.0)]
    assert np.array_equal(some.waves[0], c.waves[kept])


def test_where_no_wave_is_known_nothing_is_said() -> None:
    c = heard(recording([(1.0, ONE, 0.3), (2.0, ONE, 0.3)], 3.0, 0.001))
    without = Candidates(
        *(
            np.zeros_like(getattr(c, f))[:0]
            if f == "waves"
            else np.zeros_like(c.wave_hz)
            if f == "wave_hz"
            else getattr(c, f)
            for f in Candidates.__slots__
        )
    )
    waveforms = Waveforms(without)
    assert np.isnan(waveforms.alike(0)).all()
    assert not waveforms.has(0)


@pytest.mark.parametrize(
    ("lags", "length", "seed"), [(1, 1, 0), (5, 4, 1), (13, 9, 2), (45, 32, 3), (46, 33, 4), (2, 40, 5)]
)
def test_the_correlation_of_two_waves_is_numpys_to_the_last_digit(lags: int, length: int, seed: int) -> None:
    from clicktimer.detection.waveforms import _correlation_power, _energy_at_lags

    rng = np.random.default_rng(seed)
    signal = rng.integers(-127, 128, (2, 2 * (length + 1) + lags)).astype(np.float32)
    body = np.zeros((2, length + length % 2), np.float32)  # an odd number of samples is filled up with silence
    body[:, :length] = rng.integers(-127, 128, (2, length))
    found, scratch, energy, power = np.zeros((4, signal.shape[1]), np.float32)
    _correlation_power(*signal, *body, lags, found, scratch)
    _energy_at_lags(*signal, 2 * length, lags, power, energy)
    there, own = signal[0] + 1j * signal[1], np.conj(body[0, :length] + 1j * body[1, :length])
    windows = np.stack([there[lag : lag + 2 * length : 2] for lag in range(lags)])
    sums = windows @ own
    real, imaginary = sums.real.astype(np.float32), sums.imag.astype(np.float32)  # whole numbers: exact
    np.testing.assert_array_equal(found[:lags], real * real + imaginary * imaginary)
    np.testing.assert_array_equal(energy[:lags], (np.abs(windows) ** 2).round().sum(axis=1))
