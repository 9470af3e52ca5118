"""The simulator's own sounds instead of real ones, by seed: clicks, noises, impostors and pump; out: a Bank.

Used where no folder of sounds is given. They are simpler than any real sound, so scores on them are kinder. What the
simulator has no sound for (dogs, sneezes, dishes, an engine) is made here by formula.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from clicktimer.simulator.noises import Noise
from clicktimer.simulator.sounds import SoundSettings, render_all
from clicktimer.simulator.system import Timeline
from tests.benchmarks.sounds import Array, Bank, Clip, Split, as_click

RATE_HZ = 48000


def _rendered(length_s: float, seed: int, timeline: dict[str, Any], **settings: Any) -> Array:
    """The simulator's sound in an all but silent room (100 dB below full scale)."""
    given: dict[str, Any] = {"cut_ins_s": (), "cut_outs_s": (), "pump_on_at_start": False, **timeline}
    line = Timeline(duration_s=length_s, uses=(), water_l=0.0, no_use_run_s=1.0, **given)
    quiet: dict[str, Any] = {
        "room_dbfs": -100.0,
        "hum_over_room_db": -60.0,
        "reverb_s": 0.05,
        "pump": "none",
        **settings,
    }
    return np.asarray(render_all(line, SoundSettings(**quiet), rate_hz=RATE_HZ, seed=seed), np.float32)


def _click(seed: int, kind: str) -> Array:
    key = "cut_ins_s" if kind == "cut-in" else "cut_outs_s"
    return _rendered(0.6, seed, {key: (0.1,), "pump_on_at_start": kind == "cut-out"}, click_over_room_db=92.0)


def _noise(kind: str, length_s: float, seed: int, per_min: float | None = None) -> Array:
    """Passing sounds fall at random times: the first of a few seeds that holds one."""
    noises = (Noise(kind, 85.0 if kind != "rain" else 70.0, per_min),)
    for turn in range(20):
        sound = _rendered(length_s, seed + 100 * turn, {}, noises=noises)
        if float(np.abs(sound).max()) > 1e-2:
            return sound
    raise RuntimeError(f"twenty seeds gave no sound of {kind!r}")


def _pump(kind: str, seed: int, length_s: float) -> Array:
    return _rendered(length_s, seed, {"pump_on_at_start": True}, pump=kind, pump_over_room_db=70.0)


def _hiss(rng: np.random.Generator, length_s: float, low_hz: float, high_hz: float, slope: float) -> Array:
    count = round(length_s * RATE_HZ)
    f = np.fft.rfftfreq(count, 1 / RATE_HZ)
    gain = np.where((f >= low_hz) & (f <= high_hz), (np.maximum(f, low_hz) / low_hz) ** slope, 0.0)
    out = np.fft.irfft(np.fft.rfft(rng.standard_normal(count)) * gain, count)
    return np.asarray(0.2 * out / out.std(), np.float32)


def _voice(rng: np.random.Generator, length_s: float) -> Array:
    """A bark or cry: a buzz at a moving pitch that comes and goes."""
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    pitch = rng.uniform(200, 500) * (1 + 0.3 * np.sin(2 * np.pi * rng.uniform(1, 3) * t))
    buzz = np.sign(np.sin(2 * np.pi * np.cumsum(pitch) / RATE_HZ)) * np.sin(np.pi * t / length_s) ** 0.5
    return np.asarray(0.2 * buzz + 0.02 * rng.standard_normal(len(t)), np.float32)


def synthetic_bank(split: Split) -> Bank:
    """Synthetic sounds of one half: the halves differ by their seeds."""
    first = 1000 if split == "develop" else 5000
    rng = np.random.default_rng([11, first])

    def clips(name: str, sounds: list[Array]) -> list[Clip]:
        return [Clip(f"{name}{i}", sound, RATE_HZ) for i, sound in enumerate(sounds)]

    clicks = [
        as_click(f"switch{s} {k}", _click(first + s, k), RATE_HZ) for s in range(8) for k in ("cut-in", "cut-out")
    ]
    noise = {
        "rain": clips("rain", [_noise("rain", 5, first + i) for i in range(3)]),
        "sea_waves": clips("sea", [_hiss(rng, 5, 100, 9000, -0.6) for _ in range(3)]),
        "fire_crackling": clips("crackle", [_noise("crackle", 5, first + i, 400) for i in range(3)]),
        "clock_tick": clips("clock", [_noise("clock", 5, first + i) for i in range(2)]),
        "dog_bark": clips("bark", [_voice(rng, 0.35) for _ in range(3)]),
        "person_sneeze": clips("sneeze", [_hiss(rng, 0.35, 400, 9000, -0.2) for _ in range(2)]),
        "helicopter": clips("rotor", [_hiss(rng, 5, 40, 4000, -0.8) for _ in range(2)]),
    }
    impostors = {
        "door": clips("door", [_noise("doors", 1.5, first + i, 120) for i in range(3)]),
        "step": clips("step", [_noise("footsteps", 1.5, first + i, 120) for i in range(2)]),
        "coin": [as_click("coin", _click(first + 90, "cut-in"), RATE_HZ)],
        "speech": clips("speech", [_noise("speech", 5, first + i, 60) for i in range(2)]),
    }
    pump = {
        "electric_motor_run": Clip("motor", _pump("jet", first, 4), RATE_HZ),
        "running_tap": Clip("flow", _pump("flow", first, 20), RATE_HZ),
    }
    return Bank(clicks, noise, impostors, pump, real=False)
