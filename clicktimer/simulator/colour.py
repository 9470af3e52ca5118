"""Coloured noise in a stream, and the layers that a synthetic recording is added up from.

Levels here are rms above 1 kHz, the band in which a switch is heard: a room's rumble says nothing about its clicks.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Protocol

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]
# (frequency in Hz, level in dB): joined by straight lines over the logarithm of frequency, flat beyond the ends
Colour = tuple[tuple[float, float], ...]
Event = tuple[float, FloatArray]  # onset in samples (whole), waveform

EAR_HZ = 1_000.0
_FILTER_S = 0.02


class Layer(Protocol):
    """One ingredient of the sound. ``add`` puts its samples from ``start`` onward on top of ``out``."""

    def add(self, out: FloatArray, start: int) -> None:
        """Add this layer's sound in place."""


def amplitude(level_db: float) -> float:
    """Return the factor of a level in decibels (20 dB = 10)."""
    return math.pow(10.0, level_db / 20)


def fast_length(at_least: int) -> int:
    """Return the smallest 2^a 3^b 5^c that is no less: lengths at which a Fourier transform is quick."""
    best = 1 << max(0, at_least - 1).bit_length()
    for fives in (1, 5, 25):
        for threes in (1, 3, 9):
            rest = -(-at_least // (fives * threes))
            best = min(best, fives * threes * (1 << max(0, rest - 1).bit_length()))
    return best


def convolve(wave: FloatArray, kernel: FloatArray) -> FloatArray:
    """Full linear convolution by Fourier transform, length len(wave) + len(kernel) - 1."""
    full = len(wave) + len(kernel) - 1
    size = fast_length(full)
    return np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(kernel, size), size)[:full].astype(np.float32)


def colour_filter(colour: Colour, rate_hz: int) -> FloatArray:
    """Design a filter that turns white noise of sd 1 into this colour with an rms of 1 above 1 kHz."""
    taps = 2 * int(_FILTER_S * rate_hz / 2)
    freq_hz = np.fft.rfftfreq(taps, 1 / rate_hz)
    points = np.array(colour)
    level_db = np.interp(np.log10(np.maximum(freq_hz, 1.0)), np.log10(points[:, 0]), points[:, 1])
    gain = 10 ** (level_db / 20)
    gain[0] = 0.0
    kernel = np.roll(np.fft.irfft(gain, taps), taps // 2) * np.hanning(taps + 1)[:-1]
    fine = 8 * taps
    power = np.abs(np.fft.rfft(kernel, fine)) ** 2
    above = np.fft.rfftfreq(fine, 1 / rate_hz) >= EAR_HZ
    return (kernel / math.sqrt(2 * power[above].sum() / fine)).astype(np.float32)


class ShapedStream:
    """Runs whatever it is fed through a filter, block after block without a seam."""

    def __init__(self, kernel: FloatArray) -> None:
        self._kernel = kernel
        self._tail = np.zeros(len(kernel) - 1, np.float32)
        self._size = 0
        self._spectrum = np.fft.rfft(kernel)

    def shape(self, block: FloatArray) -> FloatArray:
        """Return the filtered block, of the same length; what rings on is kept for the next."""
        full = len(block) + len(self._kernel) - 1
        size = fast_length(full)
        if self._size != size:
            self._size, self._spectrum = size, np.fft.rfft(self._kernel, size)
        shaped = np.fft.irfft(np.fft.rfft(block, size) * self._spectrum, size)[:full].astype(np.float32)
        shaped[: len(self._tail)] += self._tail
        self._tail = shaped[len(block) :]
        return shaped[: len(block)]


class ShapedNoise:
    """Endless noise of one colour, with an rms of 1 above 1 kHz."""

    def __init__(self, colour: Colour, rate_hz: int, rng: np.random.Generator) -> None:
        self._rng = rng
        self._stream = ShapedStream(colour_filter(colour, rate_hz))

    def block(self, count: int) -> FloatArray:
        """Return the next ``count`` samples."""
        return self._stream.shape(self._rng.standard_normal(count, dtype=np.float32))


class EventLayer:
    """Single sounds at their own times; each may ring on into the blocks that follow."""

    def __init__(self, events: Iterator[Event]) -> None:
        self._events = events
        self._next = next(events, None)
        self._tail = np.zeros(0, np.float32)

    def add(self, out: FloatArray, start: int) -> None:
        """Add the events that begin in this block, and what is left of earlier ones."""
        buffer = self._tail
        while self._next is not None and self._next[0] < start + len(out):
            at, wave = int(self._next[0]) - start, self._next[1]
            if at < 0:  # began before the recording: only its end is heard
                at, wave = 0, wave[-at:]
            if len(buffer) < at + len(wave):
                buffer = np.concatenate([buffer, np.zeros(at + len(wave) - len(buffer), np.float32)])
            buffer[at : at + len(wave)] += wave
            self._next = next(self._events, None)
        heard = min(len(out), len(buffer))
        out[:heard] += buffer[:heard]
        self._tail = buffer[len(out) :].copy()


class Wavetable:
    """A hum of fixed harmonics whose pitch may move: one period is stored and read at any speed."""

    _SIZE = 8192

    def __init__(self, harmonics_db: tuple[float, ...], rng: np.random.Generator) -> None:
        angle = 2 * np.pi * np.arange(self._SIZE) / self._SIZE
        wave = np.zeros(self._SIZE)
        for number, level_db in enumerate(harmonics_db, start=1):
            wave += amplitude(level_db) * np.sin(number * angle + rng.uniform(0, 2 * np.pi))
        self._wave: FloatArray = (wave / np.sqrt(np.mean(np.square(wave)))).astype(np.float32)
        self._turns = float(rng.uniform())

    def read(self, turns_per_sample: npt.NDArray[np.float64] | float, count: int) -> FloatArray:
        """Return the next ``count`` samples, rms 1; the pitch is given in turns of the period per sample."""
        if isinstance(turns_per_sample, float):
            turns = self._turns + turns_per_sample * np.arange(1, count + 1)
        else:
            turns = self._turns + np.cumsum(turns_per_sample)
        self._turns = float(turns[-1] % 1.0)
        heard: FloatArray = self._wave[(turns * self._SIZE).astype(np.int64) & (self._SIZE - 1)]
        return heard
