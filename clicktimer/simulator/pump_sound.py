"""The sound of the pump while it runs: hiss and hum, swelling at the start, dying away at the stop, never a loop.

Kinds: a jet pump in the same room (loud hiss and hum), a submersible heard only as water flowing in the pipes (faint),
and one that cannot be heard at all; as a second machine, a booster (bright) or a sump pump (dull, droning). Levels and
spectra are plausible inventions, not measurements.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
import numpy.typing as npt

from clicktimer.simulator.colour import Colour, FloatArray, ShapedNoise, Wavetable, amplitude
from clicktimer.simulator.system import Timeline

PumpKind = Literal["jet", "flow", "booster", "sump", "none"]
# rms above 1 kHz over the room's, where nothing else is asked for
USUAL_OVER_ROOM_DB: dict[str, float] = {"jet": 18.0, "flow": 2.0, "booster": 14.0, "sump": 8.0}

_COLOURS: dict[str, Colour] = {
    "jet": ((20, -12), (60, 0), (150, 0), (400, -4), (1_000, -6), (3_000, -8), (8_000, -14), (16_000, -24)),
    "flow": ((20, -10), (80, -4), (200, 0), (600, -2), (1_200, -9), (3_000, -18), (8_000, -30)),
    "booster": ((20, -24), (100, -10), (400, -4), (1_500, 0), (4_000, -3), (10_000, -10), (16_000, -20)),
    "sump": ((20, -6), (60, 4), (120, 6), (300, 2), (800, -8), (2_000, -16), (8_000, -30)),
}
# rms of all harmonics over the rms of hiss above 1 kHz
_HUM_OVER_HISS_DB: dict[str, float] = {"jet": 4.0, "flow": 2.0, "booster": 3.0, "sump": 8.0}
_HUM_DB = (-9.0, 0.0, -14.0, -5.0, -12.0, -8.0, -20.0, -14.0)  # of the shaft's turning rate
# an induction motor of two poles turns a little slower than the mains
_SLIP = {"jet": 0.96, "flow": 0.96, "booster": 0.975, "sump": 0.945}


class PumpSound:
    """The pump of one timeline as a layer. ``room_rms``: the room's rms above 1 kHz."""

    def __init__(
        self,
        timeline: Timeline,
        kind: Literal["jet", "flow", "booster", "sump"],
        *,
        over_room_db: float | None,
        room_rms: float,
        mains_hz: float,
        rate_hz: int,
        seed: int,
    ) -> None:
        rng = np.random.default_rng([seed, 21])
        level_db = USUAL_OVER_ROOM_DB[kind] if over_room_db is None else over_room_db
        self._rate_hz = rate_hz
        self._gain = room_rms * amplitude(level_db)
        self._hum_gain = amplitude(_HUM_OVER_HISS_DB[kind])
        self._noise = ShapedNoise(_COLOURS[kind], rate_hz, rng)
        self._hum = Wavetable(_HUM_DB, rng)
        self._shaft_hz = mains_hz * _SLIP[kind]
        starts_s = ([-math.inf] if timeline.pump_on_at_start else []) + list(timeline.cut_ins_s)
        stops_s = [*timeline.cut_outs_s, math.inf]
        self._runs_s = list(zip(starts_s, stops_s[: len(starts_s)], strict=True))
        count = len(self._runs_s)
        # every run a little different: its swell, its dying away, its level
        self._swell_s = rng.uniform(0.08, 0.4, count)
        self._die_s = rng.uniform(0.03, 0.12, count)
        self._level = 10 ** (np.clip(rng.normal(0, 0.5, count), -1.2, 1.2) / 20)
        self._waver = [(rng.uniform(0.05, 1.6), rng.uniform(0, 2 * np.pi), rng.uniform(0.1, 0.35)) for _ in range(5)]

    def add(self, out: FloatArray, start: int) -> None:
        """Add the pump to a block; nothing is worked out while it stands still."""
        time_s = (start + np.arange(len(out))) / self._rate_hz
        level, speed = self._envelope(time_s)
        running = np.flatnonzero(level > 1e-4)
        if not len(running):
            return
        part = slice(running[0], running[-1] + 1)
        time_s, level, speed = time_s[part], level[part], speed[part]
        # slow enough to work out at 100 Hz and join up
        coarse_s = np.arange(time_s[0], time_s[-1] + 0.02, 0.01)
        waver_db = sum(db * np.sin(2 * np.pi * hz * coarse_s + phase) for hz, phase, db in self._waver)
        level = level * np.interp(time_s, coarse_s, 10 ** (waver_db / 20))
        drift = 1 + 0.004 * np.interp(time_s, coarse_s, np.sin(2 * np.pi * 0.021 * coarse_s + self._waver[0][1]))
        hiss = self._noise.block(len(time_s))
        hum = self._hum.read(self._shaft_hz * speed * drift / self._rate_hz, len(time_s))
        out[part] += (self._gain * level).astype(np.float32) * (hiss + np.float32(self._hum_gain) * hum)

    def _envelope(self, time_s: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Loudness (1 = running) and speed (1 = full) over time. The sound begins with the click and never before."""
        level = np.zeros(len(time_s))
        speed = np.ones(len(time_s))
        for number, (on_s, off_s) in enumerate(self._runs_s):
            die_s = self._die_s[number]
            if off_s + 12 * die_s < time_s[0] or on_s > time_s[-1]:
                continue
            since_s = np.maximum(time_s - on_s, 0.0)
            swell = 1 - np.exp(-since_s / (self._swell_s[number] / 3))
            # starting takes more than running: a surge that is gone in half a second
            surge = 1 + 0.35 * np.exp(-since_s / 0.25)
            dying = np.exp(-np.maximum(time_s - off_s, 0.0) / die_s) if math.isfinite(off_s) else 1.0
            here = (time_s >= on_s) & (time_s <= off_s + 12 * die_s)
            level += np.where(here, self._level[number] * swell * surge * dying, 0.0)
            speed = np.where(here, (0.15 + 0.85 * swell) * (0.3 + 0.7 * dying), speed)
        return level, speed
