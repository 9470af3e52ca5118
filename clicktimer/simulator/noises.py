"""Other sounds of a house that a detector must not take for the switch: never exactly repeating, all synthetic."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.simulator.colour import (
    Colour,
    Event,
    EventLayer,
    FloatArray,
    Layer,
    ShapedNoise,
    ShapedStream,
    amplitude,
    colour_filter,
    convolve,
)

Wave = npt.NDArray[np.float64]
Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Noise:
    """One sort of noise.

    kind: "rain", "crackle", "clock", "footsteps", "doors" or "speech". over_room_db: over the room's rms above 1 kHz:
    the rms above 1 kHz of rain, the typical peak of the others; None = usual for the kind. per_min: how often (single
    crackles, walks, doors, sentences; ticks of a clock); None = usual. Neither says how often rain drops fall.
    """

    kind: str
    over_room_db: float | None = None
    per_min: float | None = None


# kind: (over_room_db, per_min)
_USUAL: dict[str, tuple[float, float]] = {
    "rain": (6.0, 0.0),
    "crackle": (18.0, 90.0),
    "clock": (20.0, 60.0),
    "footsteps": (40.0, 1.0),
    "doors": (44.0, 0.5),
    "speech": (42.0, 4.0),
}
NOISE_KINDS = tuple(_USUAL)
_HISS: Colour = ((20, -20), (500, -8), (2_000, 0), (8_000, -2), (16_000, -10))
_SPLASH: Colour = ((20, -40), (700, -12), (2_000, 0), (5_000, 0), (12_000, -14))


def noise_layer(
    noise: Noise, *, duration_s: float, room_rms: float, room_answer: FloatArray, rate_hz: int, seed: list[int]
) -> Layer:
    """Return a layer of this noise. room_rms: rms above 1 kHz; room_answer: see ``sounds.room_answer``."""
    usual_db, usual_per_min = _USUAL[noise.kind]
    level = room_rms * amplitude(usual_db if noise.over_room_db is None else noise.over_room_db)
    rng = np.random.default_rng(seed)
    if noise.kind == "rain":
        return _Rain(level, rate_hz, rng)
    per_min = usual_per_min if noise.per_min is None else noise.per_min
    makers: dict[str, Callable[[], Iterator[tuple[float, Wave]]]] = {
        "crackle": lambda: _scattered(rng, per_min, duration_s, lambda: _crackle(rng, rate_hz)),
        "clock": lambda: _clock(rng, per_min, duration_s, rate_hz),
        "footsteps": lambda: _scattered(rng, per_min, duration_s, lambda: _walk(rng, rate_hz)),
        "doors": lambda: _scattered(rng, per_min, duration_s, lambda: _door(rng, rate_hz)),
        "speech": lambda: _scattered(rng, per_min, duration_s, lambda: _sentence(rng, rate_hz)),
    }

    def events() -> Iterator[Event]:
        for time_s, wave in makers[noise.kind]():
            heard = convolve((level * wave).astype(np.float32), room_answer)
            yield int(time_s * rate_hz), heard

    return EventLayer(events())


class _Rain:
    """Rain outside: hiss, and drops close by that fall one by one, both swelling and easing."""

    _DROPS_PER_S = 250.0
    _DROP_SPREAD = 0.5  # of the logarithm of a drop's strength
    _DROP_SHARE = 0.6  # of the rms

    def __init__(self, level: float, rate_hz: int, rng: Rng) -> None:
        self._level, self._rate_hz, self._rng = level, rate_hz, rng
        self._hiss = ShapedNoise(_HISS, rate_hz, rng)
        self._splash = ShapedStream(colour_filter(_SPLASH, rate_hz))
        self._phases = rng.uniform(0, 2 * np.pi, 2)

    def add(self, out: FloatArray, start: int) -> None:
        """Add rain to a block."""
        at_s = start / self._rate_hz
        swell = 10 ** ((1.5 * np.sin(0.05 * at_s + self._phases[0]) + np.sin(0.31 * at_s + self._phases[1])) / 20)
        hits = np.zeros(len(out), np.float32)
        count = self._rng.poisson(self._DROPS_PER_S * swell * len(out) / self._rate_hz)
        sizes = self._rng.lognormal(0.0, self._DROP_SPREAD, count) * self._rng.choice([-1.0, 1.0], count)
        np.add.at(hits, self._rng.integers(0, len(out), count), sizes.astype(np.float32))
        # white hits of this mean power have the same spectrum as white noise of that sd
        sd = np.sqrt(self._DROPS_PER_S / self._rate_hz * np.exp(2 * self._DROP_SPREAD**2))
        drops = self._splash.shape(hits) * np.float32(self._DROP_SHARE / sd)
        hiss = self._hiss.block(len(out)) * np.float32(swell * np.sqrt(1 - self._DROP_SHARE**2))
        out += np.float32(self._level) * (drops + hiss)


def _scattered(rng: Rng, per_min: float, duration_s: float, make: Callable[[], Wave]) -> Iterator[tuple[float, Wave]]:
    """Events at random times, ``per_min`` of them in a minute on average."""
    time_s = 0.0
    while per_min > 0:
        time_s += float(rng.exponential(60 / per_min))
        if time_s >= duration_s:
            return
        yield time_s, make()


def _ring(rng: Rng, rate_hz: int, lasts_s: float, modes: tuple[tuple[float, float, float], ...]) -> Wave:
    """Damped modes, peak 1: each (Hz, strength, decay in s), all a little off each time. Too high ones are left out."""
    time_s = np.arange(max(2, round(lasts_s * rate_hz))) / rate_hz
    wave = np.zeros(len(time_s))
    for hertz, strength, decay_s in modes:
        freq_hz = hertz * np.exp(rng.normal(0, 0.04))
        if freq_hz < 0.46 * rate_hz:
            strength *= np.exp(rng.normal(0, 0.25))
            decaying = np.exp(-time_s / (decay_s * np.exp(rng.normal(0, 0.15))))
            wave += strength * decaying * np.sin(2 * np.pi * freq_hz * time_s + rng.uniform(0, 2 * np.pi))
    return wave / max(1e-9, float(np.abs(wave).max()))


def _crackle(rng: Rng, rate_hz: int) -> Wave:
    """A spark of dust or a settling beam: a fraction of a millisecond, of very uneven strength."""
    length = max(2, int(rng.uniform(0.0002, 0.002) * rate_hz))
    wave = np.diff(rng.standard_normal(length + 1)) * np.exp(-4 * np.arange(length) / length)
    return np.asarray(wave / np.abs(wave).max() * min(2.0, float(rng.exponential(0.6))))


def _clock(rng: Rng, per_min: float, duration_s: float, rate_hz: int) -> Iterator[tuple[float, Wave]]:
    """Tick and tock in turn, evenly but for a millisecond, never twice the same."""
    if per_min <= 0:
        return
    tick = ((2_900.0, 1.0, 0.0012), (5_200.0, 0.7, 0.0008), (1_300.0, 0.3, 0.003))
    tock = ((2_500.0, 1.0, 0.0015), (4_600.0, 0.5, 0.0008), (1_150.0, 0.4, 0.003))
    first_s = float(rng.uniform(0, 60 / per_min))
    for number in range(int((duration_s - first_s) * per_min / 60) + 1):
        time_s = first_s + number * 60 / per_min + float(rng.normal(0, 0.001))
        if 0 <= time_s < duration_s:
            loud = amplitude(rng.normal(0, 1.0))
            yield time_s, loud * _ring(rng, rate_hz, 0.03, (tick, tock)[number % 2])


def _walk(rng: Rng, rate_hz: int) -> Wave:
    """A few steps across the floor: a thump, and the scuff of a sole."""
    count = int(rng.integers(4, 13))
    beats_s = np.cumsum(rng.normal(0.55, 0.03, count))
    wave = np.zeros(int((beats_s[-1] + 0.4) * rate_hz))
    coming = rng.uniform(0.3, 1.0), rng.uniform(0.3, 1.0)
    for number, beat_s in enumerate(beats_s):
        thump = _ring(rng, rate_hz, 0.2, ((85.0, 1.0, 0.04), (160.0, 0.6, 0.03), (420.0, 0.25, 0.015)))
        scuff_length = int(rng.uniform(0.03, 0.09) * rate_hz)
        scuff = np.diff(rng.standard_normal(scuff_length + 1)) * np.hanning(scuff_length) * 0.05
        heel = _ring(rng, rate_hz, 0.02, ((1_400.0, 1.0, 0.003), (2_600.0, 0.6, 0.002)))
        loud = np.interp(number / count, [0, 1], coming) * amplitude(rng.normal(0, 1.5))
        at = int(beat_s * rate_hz)
        for part, strength in ((thump, 1.0), (scuff, 1.0), (heel, 0.25)):
            wave[at : at + len(part)] += loud * strength * part
    return wave


def _door(rng: Rng, rate_hz: int) -> Wave:
    """A door: latch, thump of the leaf, latch again; or the other way about."""
    wave = np.zeros(int(1.6 * rate_hz))
    latch = ((1_900.0, 1.0, 0.004), (3_300.0, 0.8, 0.003), (5_600.0, 0.4, 0.002), (700.0, 0.5, 0.01))
    leaf = ((70.0, 1.0, 0.08), (130.0, 0.8, 0.05), (310.0, 0.4, 0.03), (900.0, 0.15, 0.01))
    leaf_s = rng.uniform(0.25, 0.9)
    parts = ((0.0, latch, 0.5), (leaf_s, leaf, 1.0), (leaf_s + rng.uniform(0.01, 0.06), latch, 0.8))
    for at_s, modes, strength in parts:
        ringing = _ring(rng, rate_hz, 0.4, modes) * strength * amplitude(rng.normal(0, 2))
        at = int(at_s * rate_hz)
        wave[at : at + len(ringing)] += ringing
    return wave


def _sentence(rng: Rng, rate_hz: int) -> Wave:
    """Speech-like: voiced syllables of moving pitch through three resonances, with hissed consonants between."""
    pieces = []
    pitch_hz = rng.uniform(95, 210)
    for _ in range(int(rng.integers(3, 12))):
        length = int(rng.uniform(0.08, 0.28) * rate_hz)
        glide = np.linspace(pitch_hz * np.exp(rng.normal(0, 0.1)), pitch_hz * np.exp(rng.normal(0, 0.1)), length)
        turns = np.cumsum(glide * np.exp(rng.normal(0, 0.002, length)) / rate_hz)
        pulses = np.diff(np.floor(turns), prepend=0.0)
        vowel = ((rng.uniform(300, 800), 1.0, 0.006), (rng.uniform(900, 2_200), 0.6, 0.004), (2_700.0, 0.3, 0.003))
        voiced = np.convolve(pulses, _ring(rng, rate_hz, 0.025, vowel))[:length] * np.hanning(length)
        hissed = int(rng.uniform(0.0, 0.09) * rate_hz)
        hiss = np.diff(rng.standard_normal(hissed + 1)) * np.hanning(hissed) * rng.uniform(0.03, 0.15)
        pause = np.zeros(int(rng.choice([0.0, 0.02, 0.15]) * rate_hz))
        pieces += [hiss, voiced * rng.uniform(0.4, 1.0), pause]
    wave = np.concatenate(pieces)
    return np.asarray(wave / np.abs(wave).max() * amplitude(rng.normal(0, 2)))
