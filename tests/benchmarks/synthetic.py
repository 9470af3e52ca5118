"""Stand-ins for real sounds, by formula and seed: clicks, noises, impostors and pump; out: a Bank.

Used where no folder of sounds is given. They are simpler than any real sound, so scores on them are kinder.
"""

from __future__ import annotations

import numpy as np

from .sounds import Array, Bank, Clip, Split, as_click

RATE_HZ = 48000


def _snap(rng: np.random.Generator) -> Array:
    """A click as a sum of damped tones after a sharp edge, with a fainter second contact."""
    count = round(0.2 * RATE_HZ)
    t = np.arange(count) / RATE_HZ
    out = np.zeros(count)
    for _ in range(int(rng.integers(5, 10))):
        tone = np.sin(2 * np.pi * np.exp(rng.uniform(np.log(700), np.log(11000))) * t + rng.uniform(0, 6.28))
        out += rng.uniform(0.2, 1) * tone * np.exp(-t / np.exp(rng.uniform(np.log(0.0008), np.log(0.008))))
    out += 0.5 * rng.standard_normal(count) * np.exp(-t / 0.0012)
    late = round(rng.uniform(0.004, 0.015) * RATE_HZ)
    out[late:] += rng.uniform(0.1, 0.35) * out[:-late]
    return np.asarray(np.concatenate([np.zeros(2000), out]), np.float32)


def _coloured(rng: np.random.Generator, count: int, low_hz: float, high_hz: float, slope: float) -> Array:
    spectrum = np.fft.rfft(rng.standard_normal(count))
    f = np.fft.rfftfreq(count, 1 / RATE_HZ)
    gain = np.zeros_like(f)
    keep = (f >= low_hz) & (f <= high_hz)
    gain[keep] = (f[keep] / low_hz) ** slope
    out = np.fft.irfft(spectrum * gain, count)
    return np.asarray(0.2 * out / out.std(), np.float32)


def _pops(rng: np.random.Generator, count: int, per_s: float, decay_s: float) -> Array:
    out = np.zeros(count)
    t = np.arange(round(8 * decay_s * RATE_HZ)) / RATE_HZ
    for _ in range(int(per_s * count / RATE_HZ)):
        at = int(rng.integers(0, count - len(t)))
        pop = rng.standard_normal(len(t)) * np.exp(-t / (decay_s * rng.uniform(0.5, 1.5)))
        out[at : at + len(t)] += rng.lognormal(-1.5, 0.8) * pop
    return out.astype(np.float32)


def _vowels(rng: np.random.Generator, count: int) -> Array:
    t = np.arange(count) / RATE_HZ
    pitch = 120 + 30 * np.sin(2 * np.pi * rng.uniform(0.3, 0.8) * t)
    source = np.sign(np.sin(2 * np.pi * np.cumsum(pitch) / RATE_HZ)) * 0.2
    gate = np.clip(np.sin(2 * np.pi * rng.uniform(1.5, 3) * t) * 3, 0, 1)
    return np.asarray(source * gate + 0.02 * gate * rng.standard_normal(count), np.float32)


def synthetic_bank(split: Split) -> Bank:
    """Synthetic sounds of one half: the halves differ by their seeds."""
    rng = np.random.default_rng([11, 0 if split == "develop" else 1])
    five = 5 * RATE_HZ

    def clip(name: str, samples: Array) -> Clip:
        return Clip(name, samples, RATE_HZ)

    clicks = [as_click(f"snap{i}", _snap(rng), RATE_HZ) for i in range(16)]
    rain = [_coloured(rng, five, 300, 14000, -0.3) + _pops(rng, five, 120, 0.002) for _ in range(3)]
    noise = {
        "rain": [clip(f"rain{i}", sound) for i, sound in enumerate(rain)],
        "sea_waves": [clip(f"sea{i}", _coloured(rng, five, 100, 9000, -0.6)) for i in range(3)],
        "fire_crackling": [
            clip(f"fire{i}", 0.1 * _coloured(rng, five, 80, 8000, -0.5) + _pops(rng, five, 12, 0.003)) for i in range(3)
        ],
        "clock_tick": [clip(f"tick{i}", np.tile(_snap(rng)[:9000], 6)) for i in range(2)],
        "dog_bark": [clip(f"dog{i}", _vowels(rng, RATE_HZ // 3)) for i in range(2)],
        "person_sneeze": [clip(f"sneeze{i}", _coloured(rng, RATE_HZ // 3, 400, 9000, -0.2)) for i in range(2)],
        "helicopter": [clip(f"rotor{i}", _coloured(rng, five, 40, 4000, -0.8)) for i in range(2)],
    }
    t = np.arange(round(0.3 * RATE_HZ)) / RATE_HZ

    def thump(low_hz: float) -> Array:
        out = np.sin(2 * np.pi * low_hz * t) * np.exp(-t / 0.05) + 0.3 * rng.standard_normal(len(t)) * np.exp(-t / 0.01)
        return np.asarray(out, np.float32)

    impostors = {
        "door": [clip("door0", thump(90)), clip("door1", thump(140))],
        "step": [clip("step0", thump(60))],
        "coin": [clip("coin0", _snap(rng))],
        "speech": [clip("speech0", _vowels(rng, 4 * RATE_HZ))],
    }
    pump = {
        "electric_motor_run": clip("motor", _coloured(rng, 4 * RATE_HZ, 90, 6000, -0.5)),
        "running_tap": clip("tap", _coloured(rng, 20 * RATE_HZ, 500, 9000, -0.2)),
    }
    return Bank(clicks, noise, impostors, pump, real=False)
