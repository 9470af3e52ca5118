"""How one operation of a switch differs from the next, and how a room colours it. In: a clip; out: a clip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.benchmarks.sounds import Array, Clip, resampled


@dataclass(frozen=True)
class Placed:
    """A sound ready to be added. ``onset`` is in samples from its first one, not a whole number."""

    samples: Array
    onset: float


def tilted(samples: Array, rate_hz: int, tilt_db: float, pivot_hz: float = 2000.0) -> Array:
    """The sound with ``tilt_db`` more at four times the pivot and as much less at a quarter of it."""
    from scipy.fft import next_fast_len

    count = next_fast_len(len(samples) + 256, real=True)
    f = np.fft.rfftfreq(count, 1 / rate_hz)
    octaves = np.clip(np.log2(np.maximum(f, 20.0) / pivot_hz) / 2, -1.5, 1.5)
    spectrum = np.fft.rfft(samples, count) * 10 ** (tilt_db * octaves / 20)
    return np.fft.irfft(spectrum, count)[: len(samples)].astype(np.float32)


def varied(clip: Clip, rng: np.random.Generator, amount: float) -> Placed:
    """One operation: level, tilt, speed, decay and bounce drawn anew. ``amount`` scales it all; 0 is an exact copy.

    At amount 1: level within 2 dB, tilt within 3 dB, speed within 1 %, decay within about a third, and in 6 of 10
    operations a bounce 3 to 25 ms later, 8 to 20 dB down. A guess: no real pressure switch was measured.
    """
    rate_hz, samples, onset = clip.rate_hz, clip.samples, clip.onset_s * clip.rate_hz
    level_db, tilt_db, speed, decay = rng.uniform(-1, 1, 4) * np.array([2.0, 3.0, 0.01, 0.3]) * amount
    bounce, delay_s, down_db = rng.uniform(size=3)
    if amount > 0:
        ratio = float(np.exp(speed))
        out = resampled(samples, ratio)
        onset *= ratio
        out = tilted(out, rate_hz, tilt_db)
        t = np.clip((np.arange(len(out)) - onset) / rate_hz, 0, 0.06)
        out = (out * np.exp(decay * t / 0.01)).astype(np.float32)
        if bounce < 0.6:
            late = round((0.003 + 0.022 * delay_s) * rate_hz)
            gain = min(0.5, amount**0.5 * 10 ** (-(8 + 12 * down_db) / 20))
            first = max(0, round(onset - 0.001 * rate_hz))
            length = min(round(0.012 * rate_hz), len(out) - first - late)
            contact = out[first : first + length] * np.hanning(2 * length)[length:]
            out[first + late : first + late + length] += gain * contact
        samples = out * 10 ** (level_db / 20)
    return Placed(np.asarray(samples, np.float32), onset)


def shifted(samples: Array, fraction: float) -> Array:
    """The sound ``fraction`` of a sample later (0 to 1)."""
    from scipy.fft import next_fast_len

    count = next_fast_len(len(samples) + 64, real=True)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(count) * fraction)
    return np.fft.irfft(np.fft.rfft(samples, count) * turn, count).astype(np.float32)


def room_response(
    rng: np.random.Generator, rate_hz: int, decay_s: float, reverb_db: float, echo: bool = False
) -> Array:
    """A room as heard from one place: the direct sound, then a dying hiss ``reverb_db`` against it, perhaps an echo."""
    count = round(decay_s * rate_hz)
    t = np.arange(count) / rate_hz
    tail = rng.standard_normal(count) * np.exp(-6.9 * t / decay_s) * np.clip(t / 0.004, 0, 1)
    tail *= 10 ** (reverb_db / 20) / np.sqrt(np.sum(tail**2))
    tail = np.convolve(tail, [0.25, 0.5, 0.25], "same")
    tail[0] += 1.0
    if echo:
        for delay_s, gain in ((rng.uniform(0.04, 0.09), 0.5), (rng.uniform(0.1, 0.16), 0.3)):
            at = round(delay_s * rate_hz)
            if at < count:
                tail[at] += gain
    return tail.astype(np.float32)


def in_room(placed: Placed, response: Array) -> Placed:
    """The sound as the room hands it on; the direct sound keeps its time."""
    from scipy.signal import fftconvolve

    return Placed(np.asarray(fftconvolve(placed.samples, response), np.float32), placed.onset)


def add_at(target: Array, placed: Placed, at_sample: float, gain: float) -> None:
    """Add a sound so that its onset falls on ``at_sample`` (not a whole number) of the target.

    Sounds of about a second and more, never the switch, go to the whole sample before.
    """
    begin = at_sample - placed.onset
    whole = int(np.floor(begin))
    piece = placed.samples if len(placed.samples) > 40_000 else shifted(placed.samples, begin - whole)
    piece = piece * np.float32(gain)
    first, last = max(0, whole), min(len(target), whole + len(piece))
    if last > first:
        target[first:last] += piece[first - whole : last - whole]
