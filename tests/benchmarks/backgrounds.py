"""What else is heard: room, weather, pump, passing events. In: a bank and a generator; out: arrays to add up.

Nothing repeats exactly: every piece of a clip is used at its own speed, offset, tilt and level. Levels are relative:
1 is the room's rms above 1 kHz.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from tests.benchmarks.sounds import Array, Bank, Clip
from tests.benchmarks.variation import tilted

REVERSIBLE = {"rain", "sea_waves", "helicopter", "chainsaw"}


@lru_cache(maxsize=32)
def _high_pass(rate_hz: int) -> Any:
    from scipy.signal import butter

    return butter(2, 1000.0, "highpass", fs=rate_hz, output="sos").astype(np.float32)


def above_1khz(samples: Array, rate_hz: int) -> Array:
    """The part of a sound above 1 kHz (second-order Butterworth)."""
    from scipy.signal import sosfilt

    return np.asarray(sosfilt(_high_pass(rate_hz), samples), np.float32)


def rms_above_1khz(samples: Array, rate_hz: int) -> float:
    """Its rms; of a long sound, twelve stretches of 5 s spread over it."""
    piece = 5 * rate_hz
    if len(samples) > 12 * piece:
        starts = np.linspace(0, len(samples) - piece, 12).astype(int)
        power = [np.mean(above_1khz(samples[s : s + piece], rate_hz)[100:] ** 2) for s in starts]
        return float(np.sqrt(np.mean(power)))
    return float(np.sqrt(np.mean(above_1khz(samples, rate_hz)[100:] ** 2)))


def room_bed(rng: np.random.Generator, count: int, rate_hz: int, hum_hz: float, hum: float) -> Array:
    """A quiet room: noise that falls with frequency, and the mains with its harmonics, all steady."""
    from scipy.signal import lfilter

    white = rng.standard_normal(count, dtype=np.float32)
    pole = np.float32(np.exp(-2 * np.pi * rng.uniform(120, 400) / rate_hz))
    low = np.asarray(lfilter([np.float32(1) - pole], [np.float32(1), -pole], white), np.float32)
    bed = low * np.float32(rng.uniform(8, 25)) + white * np.float32(rng.uniform(0.5, 1.0))
    bed /= np.float32(rms_above_1khz(bed, rate_hz))
    if hum > 0:
        # One second holds whole periods of every harmonic, so it can be laid end to end.
        t, second = np.arange(rate_hz) / rate_hz, np.zeros(rate_hz)
        for k in range(1, 7):
            level = hum * 10 ** (rng.uniform(-14, 0) / 20) / k
            second += level * np.sin(2 * np.pi * k * hum_hz * t + rng.uniform(0, 6.3))
        for first in range(0, count, rate_hz):
            bed[first : first + rate_hz] += second[: count - first].astype(np.float32)
    return bed


def _piece(clip: Clip, rng: np.random.Generator, count: int, speed: float, reverse: bool) -> Array:
    """``count`` samples of a clip from a random place on, at a speed, wrapped at its end."""
    source = clip.samples
    at = rng.uniform(0, len(source)) + np.arange(count) * speed
    whole = at.astype(np.int64)
    part = (at - whole).astype(np.float32)
    a, b = source[whole % len(source)], source[(whole + 1) % len(source)]
    out = a + (b - a) * part
    return out[::-1] if reverse else out


def woven(  # noqa: PLR0913
    clips: list[Clip],
    bank: Bank,
    rng: np.random.Generator,
    count: int,
    rate_hz: int,
    piece_s: tuple[float, float],
    spread: float,
    reversible: bool = False,
    tilt_db: float = 3.0,
) -> Array:
    """A sound of any length out of random pieces of clips, faded over one another; rms above 1 kHz is 1.

    spread: speeds vary by this share, log-uniform.
    """
    native = [bank.at(c, rate_hz) for c in clips]
    levels = [max(1e-6, rms_above_1khz(c.samples, rate_hz)) for c in native]
    out = np.zeros(count, np.float32)
    at = 0
    while at < count:
        k = int(rng.integers(len(native)))
        length = round(rng.uniform(*piece_s) * rate_hz)
        fade = length // 5
        speed = float(np.exp(rng.uniform(-spread, spread)))
        piece = _piece(native[k], rng, length, speed, reversible and rng.random() < 0.5)
        tilt = rng.uniform(-tilt_db, tilt_db)
        if tilt_db:  # a one-pole tilt: cheap, and enough to make two uses of a clip differ
            piece = piece + np.float32(0.1 * tilt) * np.diff(piece, prepend=piece[:1])
        ramp = np.sin(np.linspace(0, np.pi / 2, fade, dtype=np.float32))
        piece[:fade] *= ramp
        piece[-fade:] *= ramp[::-1]
        piece *= np.float32(10 ** (rng.uniform(-1.5, 1.5) / 20) / levels[k])
        last = min(count, at + length)
        out[at:last] += piece[: last - at]
        at += length - fade
    return out / np.float32(max(1e-9, rms_above_1khz(out, rate_hz)))


def texture(kind: str, bank: Bank, rng: np.random.Generator, count: int, rate_hz: int) -> Array:
    """Rain, waves, crackle or an engine without end; rms above 1 kHz is 1."""
    clips = bank.noise.get(kind) or next(iter(bank.noise.values()))
    return woven(clips, bank, rng, count, rate_hz, (1.5, 4.5), 0.2, kind in REVERSIBLE)


def ticking(bank: Bank, rng: np.random.Generator, count: int, rate_hz: int) -> Array:
    """A clock: two to four ticks cut from one clip, in turn, at an even pace with 2 ms of jitter; largest sample 1."""
    clip = bank.at(bank.noise["clock_tick"][int(rng.integers(len(bank.noise["clock_tick"])))], rate_hz)
    energy = np.abs(above_1khz(clip.samples, rate_hz))
    length = round(0.12 * rate_hz)
    ticks: list[Array] = []
    for _ in range(int(rng.integers(2, 5))):
        at = int(np.argmax(energy))
        first = max(0, at - length // 8)
        tick = clip.samples[first : first + length].copy()
        tick *= np.hanning(2 * len(tick))[len(tick) :].astype(np.float32) / max(1e-9, float(np.abs(tick).max()))
        ticks.append(tick)
        energy[max(0, at - 2 * length) : at + 2 * length] = 0
    out = np.zeros(count, np.float32)
    period, t, k = float(rng.choice([0.25, 0.5, 1.0]) * rng.uniform(0.97, 1.03)), float(rng.uniform(0, 1)), 0
    while True:
        at = round((t + 0.002 * rng.standard_normal()) * rate_hz)
        tick = ticks[k % len(ticks)] * np.float32(10 ** (rng.uniform(-1, 1) / 20))
        if at + len(tick) >= count:
            return out
        if at > 0:
            out[at : at + len(tick)] += tick
        t, k = t + period, k + 1


def event(kind: str, bank: Bank, rng: np.random.Generator, rate_hz: int) -> Array:
    """One passing sound of a kind of impostor or noise, varied (speech is shuffled); its peak above 1 kHz is 1."""
    clips = bank.impostors.get(kind) or bank.noise.get(kind) or [c for group in bank.impostors.values() for c in group]
    if kind == "speech":
        # The same words over and over would recur as no talk does: syllables are shuffled, each at its own pitch.
        out = woven(clips, bank, rng, round(rng.uniform(1, 5) * rate_hz), rate_hz, (0.12, 0.5), 0.2)
        return out / np.float32(max(1e-9, float(np.abs(above_1khz(out, rate_hz)).max())))
    clip = bank.at(clips[int(rng.integers(len(clips)))], rate_hz)
    speed = float(np.exp(rng.uniform(-0.12, 0.12)))
    count = min(int(len(clip.samples) / speed), 6 * rate_hz)
    at = np.arange(count) * speed
    out = np.interp(at, np.arange(len(clip.samples)), clip.samples).astype(np.float32)
    out = tilted(out, rate_hz, rng.uniform(-4, 4))
    fade = min(len(out) // 4, round(0.01 * rate_hz))
    out[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
    return out / np.float32(max(1e-9, float(np.abs(above_1khz(out, rate_hz)).max())))


def thump(rng: np.random.Generator, rate_hz: int, low_hz: float = 60.0, high_hz: float = 250.0) -> Array:
    """A dull knock in the pipe (water hammer, check valve); largest sample 1."""
    t = np.arange(round(0.4 * rate_hz)) / rate_hz
    out = np.zeros(len(t))
    for _ in range(3):
        f = rng.uniform(low_hz, high_hz)
        out += np.sin(2 * np.pi * f * t + rng.uniform(0, 6.3)) * np.exp(-t / rng.uniform(0.03, 0.09))
    out += 0.05 * rng.standard_normal(len(t)) * np.exp(-t / 0.006)
    return np.asarray(out / np.abs(out).max(), np.float32)


class Pump:
    """The sound of one pump: a motor's loops woven at random (no period of the loop is left), hum and flowing water."""

    def __init__(self, kind: str, bank: Bank, rng: np.random.Generator, rate_hz: int, hum_hz: float) -> None:
        self.kind, self.bank, self.rng, self.rate_hz = kind, bank, rng, rate_hz
        motors = [k for k in ("electric_motor_run", "air_compressor_run", "generator_run") if k in bank.pump]
        motor = bank.at(bank.pump[motors[int(rng.integers(len(motors)))]], rate_hz)
        pitch = float(np.exp(rng.uniform(-0.25, 0.2)))
        length = int(len(motor.samples) / pitch)
        bent = np.interp(np.arange(length) * pitch, np.arange(len(motor.samples)), motor.samples).astype(np.float32)
        self.motor = Clip(f"{motor.name}@{pitch:.3f}", bent, rate_hz)
        self.tap = bank.pump["running_tap"]
        self.hum_hz = hum_hz * 2 * rng.uniform(0.985, 1.0)
        self.hum = rng.uniform(1, 4) if kind == "flow" else rng.uniform(0.5, 6)
        self.hiss = rng.uniform(0.3, 1.0)
        self.rise_s, self.fall_s = rng.uniform(0.08, 0.6), rng.uniform(0.06, 0.8)

    def run(self, length_s: float, starts: bool, stops: bool) -> tuple[Array, int]:
        """The sound of one run and its first sample's place after the cut-in; rms above 1 kHz about 1."""
        rate_hz, rng = self.rate_hz, self.rng
        delay = round(rng.uniform(0.01, 0.05) * rate_hz) if starts else 0
        count = round((length_s + (self.fall_s if stops else 0)) * rate_hz) - delay
        if count < 400:
            return np.zeros(0, np.float32), 0
        water = woven([self.tap], self.bank, rng, count, rate_hz, (2.0, 6.0), 0.08)
        if self.kind == "flow":
            out = water
        else:
            out = woven([self.motor], self.bank, rng, count, rate_hz, (0.25, 0.9), 0.006, tilt_db=0.5)
            out += np.float32(self.hiss) * water
            out /= np.float32(np.sqrt(1 + self.hiss**2))
        t = np.arange(count) / rate_hz
        wander = 1 + 0.004 * np.sin(2 * np.pi * 0.15 * t + rng.uniform(0, 6.3))
        half = ((np.pi * self.hum_hz / rate_hz * np.cumsum(wander)) % (2 * np.pi)).astype(np.float32)
        tones = np.sin(2 * half) + np.float32(0.5) * np.sin(4 * half + 1) + np.float32(0.3) * np.sin(half)
        out += np.float32(self.hum) * tones
        if starts:
            n = min(count, round(self.rise_s * rate_hz))
            out[:n] *= np.linspace(0, 1, n, dtype=np.float32) ** np.float32(0.7)
        if stops:
            n = min(count, round(self.fall_s * rate_hz))
            out[-n:] *= np.linspace(1, 0, n, dtype=np.float32) ** np.float32(1.5)
        return out, delay
