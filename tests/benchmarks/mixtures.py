"""Short recordings full of different switches, to fit the snap score on: each click another size, colour and ring.

A score fitted on a score of recorded switches knows those switches. Here each click is one of them made into another:
played faster or slower, tilted, damped or let ring, with a resonance of a body of its own, now and then with a second
contact.
"""

from __future__ import annotations

import numpy as np

from tests.benchmarks import backgrounds, phone
from tests.benchmarks.sounds import Array, Bank, Clip, resampled
from tests.benchmarks.variation import Placed, add_at, in_room, room_response, tilted, varied

_EVENTS = ("step", "door", "speech", "coin", "dog_bark", "cough", "person_sneeze", "baby_cry", "rooster", "latch")
_TEXTURES = ("rain", "sea_waves", "helicopter", "fire_crackling", "chainsaw")
_RATES_HZ = (48_000, 44_100, 22_050, 16_000, 8_000)
_CODECS = (("aac", 24_000), ("aac", 32_000), ("mp3", 32_000), ("mp3", 48_000))


def another_switch(clip: Clip, rng: np.random.Generator) -> Clip:
    """A switch that was never recorded, made of one that was."""
    rate_hz = clip.rate_hz
    ratio = float(np.exp(rng.uniform(-0.4, 0.4)))
    x = tilted(resampled(clip.samples, ratio), rate_hz, float(rng.uniform(-8, 8)))
    onset = clip.onset_s * rate_hz * ratio
    if rng.random() < 0.5:
        t = np.clip((np.arange(len(x)) - onset) / rate_hz, 0, 0.08)
        x = (x * np.exp(-t * rng.uniform(-20, 60))).astype(np.float32)
    if rng.random() < 0.5:
        tone_hz = float(np.exp(rng.uniform(np.log(400), np.log(min(7000, 0.4 * rate_hz)))))
        t = np.arange(round(0.05 * rate_hz)) / rate_hz
        ring = np.cos(2 * np.pi * tone_hz * t) * np.exp(-t / np.exp(rng.uniform(np.log(0.001), np.log(0.012))))
        y = np.convolve(x, ring)[: len(x)].astype(np.float32)
        share = np.float32(rng.uniform(0.3, 1.5) * np.abs(x).max() / max(float(np.abs(y).max()), 1e-9))
        x = np.asarray(x + share * y, np.float32)
    if rng.random() < 0.15:
        late = round(rng.uniform(0.002, 0.02) * rate_hz)
        again = np.concatenate([np.zeros(late, np.float32), x[:-late]])
        x = np.asarray(x + np.float32(rng.uniform(0.2, 0.9)) * again, np.float32)
    return Clip(clip.name, (x / np.abs(x).max()).astype(np.float32), rate_hz, onset / rate_hz)


def _background(bank: Bank, rng: np.random.Generator, seconds: float, rate_hz: int) -> Array:
    count, hum_hz = round(seconds * rate_hz), float(rng.choice([50.0, 60.0]))
    x = backgrounds.room_bed(rng, count, rate_hz, hum_hz, float(rng.uniform(0.3, 30 if rng.random() < 0.15 else 4)))
    if rng.random() < 0.5:
        kind = str(rng.choice(_TEXTURES))
        x = x + 10 ** (rng.uniform(-12, 6) / 20) * backgrounds.texture(kind, bank, rng, count, rate_hz)
    x = (x / backgrounds.rms_above_1khz(x, rate_hz)).astype(np.float32)
    if rng.random() < 0.75:
        pump = backgrounds.Pump(str(rng.choice(["jet", "flow"])), bank, rng, rate_hz, hum_hz)
        for _ in range(int(rng.integers(1, 5))):
            sound, _delay = pump.run(float(rng.uniform(3, 20)), True, True)
            first = round(rng.uniform(0, seconds - 2) * rate_hz)
            sound = sound[: count - first]
            x[first : first + len(sound)] += np.float32(10 ** (rng.uniform(-6, 16) / 20)) * sound
    return np.asarray(x, np.float32)


def _add_events(x: Array, bank: Bank, rng: np.random.Generator, rate_hz: int, unit: float, less_db: float) -> None:
    seconds = len(x) / rate_hz
    for kind in rng.choice(_EVENTS, size=int(rng.integers(1, 4)), replace=False):
        for _ in range(int(rng.poisson(rng.uniform(2, 8)))):
            sound = backgrounds.event("door" if kind == "latch" else str(kind), bank, rng, rate_hz)
            if kind == "latch":
                sound = varied(Clip("latch", sound, rate_hz), rng, 0.7).samples
            response = room_response(rng, rate_hz, float(rng.uniform(0.2, 0.6)), -4.0)
            placed = in_room(Placed(sound[: 3 * rate_hz], 0.0), response)
            add_at(x, placed, rng.uniform(0, seconds) * rate_hz, unit * 10 ** ((less_db + rng.uniform(-10, 8)) / 20))
    if rng.random() < 0.2:
        x += np.float32(unit * 10 ** (rng.uniform(-20, 0) / 20)) * backgrounds.ticking(bank, rng, len(x), rate_hz)
    if rng.random() < 0.25:
        for _ in range(int(rng.integers(2, 10))):
            knock = backgrounds.thump(rng, rate_hz, *((60, 250) if rng.random() < 0.5 else (150, 600)))
            add_at(x, Placed(knock, 0.0), rng.uniform(0, seconds) * rate_hz, unit * rng.uniform(0.4, 1.5))


def mixture(bank: Bank, seed: int, seconds: float = 45.0) -> tuple[Array, int, Array]:
    """Samples, their rate, and the times of the clicks: one about every 2.6 s, each of another switch."""
    rng = np.random.default_rng([seed, 991])
    rate_hz = int(rng.choice(_RATES_HZ, p=[0.3, 0.35, 0.12, 0.15, 0.08]))
    x = _background(bank, rng, seconds, rate_hz)
    base_db = float(rng.uniform(14, 54))
    less_db = -8.0 if base_db > 40 and rng.random() < 0.5 else 0.0
    _add_events(x, bank, rng, rate_hz, 10 ** (base_db / 20), less_db)
    times_s = np.arange(1.5, seconds - 1.0, 2.6)
    times_s = times_s + rng.uniform(-0.7, 0.7, len(times_s))
    for time_s in times_s:
        clip = bank.at(bank.clicks[int(rng.integers(len(bank.clicks)))], rate_hz)
        if rng.random() < 0.8:
            clip = another_switch(clip, rng)
        response = room_response(rng, rate_hz, float(rng.uniform(0.12, 0.5)), float(rng.uniform(-12, -3)))
        placed = in_room(varied(clip, rng, 1.0), response)
        peak = float(np.abs(backgrounds.above_1khz(placed.samples, rate_hz)).max())
        add_at(x, placed, time_s * rate_hz, 10 ** ((base_db + rng.uniform(-9, 5)) / 20) / peak)
    x *= np.float32(10 ** (rng.uniform(-66, -50) / 20))
    doing = rng.random()
    if doing < 0.06 and rate_hz <= 22_050:
        x = phone.suppresses(x, rate_hz)
    elif doing < 0.12:
        x = phone.rides_gain(x, rate_hz)
    elif doing < 0.16:
        x = phone.handled(x, rate_hz, rng)
    x *= np.float32(min(1.0, 0.9 / max(float(np.abs(x).max()), 1e-9)))
    if rng.random() < 0.15 and rate_hz >= 16_000:
        x, rate_hz = phone.through_codec(x, rate_hz, *_CODECS[int(rng.integers(len(_CODECS)))])
    return np.asarray(x, np.float32), rate_hz, times_s.astype(np.float32)
