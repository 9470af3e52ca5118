"""Simulator, second half: a timeline -> the sound that a phone beside the switch would have recorded.

Everything is synthetic and seeded. Levels hang on one figure, the room's rms above 1 kHz: ``click_over_room_db`` is a
click's peak over it, ``pump_over_room_db`` the pump's rms above 1 kHz over it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np

from clicktimer.errors import SettingsError
from clicktimer.simulator.colour import Colour, EventLayer, FloatArray, Layer, ShapedNoise, Wavetable, amplitude
from clicktimer.simulator.noises import NOISE_KINDS, Noise, noise_layer
from clicktimer.simulator.pump_sound import PumpKind, PumpSound
from clicktimer.simulator.switch_sound import Operation, plan_operations, switch_events
from clicktimer.simulator.system import Timeline

__all__ = ["Noise", "SoundSettings", "operations", "render", "render_all"]

CHUNK_S = 2
_ROOM: Colour = ((20, 0), (60, 0), (200, -8), (1_000, -22), (4_000, -30), (12_000, -36), (24_000, -42))
_MAINS_DB = (-4.0, 0.0, -10.0, -8.0, -18.0, -14.0, -22.0, -20.0)


@dataclass(frozen=True, slots=True)
class SoundSettings:
    """What the recording sounds like. Decibels throughout; "room" is the room's rms above 1 kHz.

    room_dbfs: the room itself, below full scale. click_over_room_db: peak of a cut-in, on average; cut-outs are
    ``cut_out_less_db`` softer. variation: how much one operation differs from the next (0 = copies, 1 = level within
    2 dB, tilt, decay, pitch, bounce). chatter: share of operations that are bursts of snaps.
    pump: "jet", "flow" (a submersible heard in the pipes), "booster", "sump" or "none". pump_over_room_db: None = usual
    for the kind.
    mains_hz, hum_over_room_db: mains hum (rms of all harmonics). reverb_s: time in which the echo falls by 60 dB.
    noises: what else is heard.
    """

    room_dbfs: float = -68.0
    click_over_room_db: float = 34.0
    cut_out_less_db: float = 1.5
    variation: float = 1.0
    chatter: float = 0.0
    pump: PumpKind = "flow"
    pump_over_room_db: float | None = None
    mains_hz: float = 60.0
    hum_over_room_db: float = 6.0
    reverb_s: float = 0.25
    noises: tuple[Noise, ...] = ()

    def __post_init__(self) -> None:
        if self.pump not in get_args(PumpKind):
            raise SettingsError(f"pump is one of {', '.join(get_args(PumpKind))}, got {self.pump!r}")
        if not (self.variation >= 0 and 0 <= self.chatter <= 1 and 0 < self.reverb_s <= 3):
            raise SettingsError("variation must be 0 or more, chatter 0 to 1 and reverb_s above 0 and at most 3")
        for noise in self.noises:
            if noise.kind not in NOISE_KINDS:
                raise SettingsError(f"unknown noise {noise.kind!r}; the kinds are {', '.join(NOISE_KINDS)}")


def operations(timeline: Timeline, settings: SoundSettings, seed: int) -> tuple[Operation, ...]:
    """Tell how each operation of the switch will sound in ``render`` with the same seed: level, bounce, chatter."""
    return plan_operations(
        timeline,
        click_over_room_db=settings.click_over_room_db,
        cut_out_less_db=settings.cut_out_less_db,
        variation=settings.variation,
        chatter=settings.chatter,
        seed=seed,
    )


def render(
    timeline: Timeline, settings: SoundSettings, *, rate_hz: int, seed: int, more: Sequence[Layer] = ()
) -> Iterator[FloatArray]:
    """Give the recording in blocks of about two seconds, mono, full scale = 1; memory does not grow with its length.

    more: what else sounds in it (a driven pump, a second one: see ``pump_and_switch``).
    A click's first sample of energy is the first sample at or after its time. Sounds above full scale are clipped.
    Raises SettingsError for a rate below 8,000 Hz or above 192,000 Hz.
    """
    if not 8_000 <= rate_hz <= 192_000:
        raise SettingsError(f"rate_hz must be 8000 to 192000, got {rate_hz}")
    layers = [_Room(settings, rate_hz, seed), *pump_and_switch(timeline, settings, rate_hz=rate_hz, seed=seed), *more]
    total = round(timeline.duration_s * rate_hz)
    return _mix(layers, total, CHUNK_S * rate_hz)


def render_all(
    timeline: Timeline, settings: SoundSettings, *, rate_hz: int, seed: int, more: Sequence[Layer] = ()
) -> FloatArray:
    """Return the whole recording as one array; for short ones."""
    blocks = render(timeline, settings, rate_hz=rate_hz, seed=seed, more=more)
    return np.concatenate([np.zeros(0, np.float32), *blocks])


def _mix(layers: list[Layer], total: int, chunk: int) -> Iterator[FloatArray]:
    for start in range(0, total, chunk):
        out = np.zeros(min(chunk, total - start), np.float32)
        for layer in layers:
            layer.add(out, start)
        yield np.clip(out, -1.0, 1.0)


def pump_and_switch(timeline: Timeline, settings: SoundSettings, *, rate_hz: int, seed: int) -> list[Layer]:
    """Return what a pump, its switch and the settings' noises sound like, without the room: for a second pump too."""
    room_rms = amplitude(settings.room_dbfs)
    answer = room_answer(settings.reverb_s, rate_hz, seed)
    layers: list[Layer] = []
    if settings.pump != "none":
        layers.append(
            PumpSound(
                timeline,
                settings.pump,
                over_room_db=settings.pump_over_room_db,
                room_rms=room_rms,
                mains_hz=settings.mains_hz,
                rate_hz=rate_hz,
                seed=seed,
            )
        )
    for number, noise in enumerate(settings.noises):
        layers.append(
            noise_layer(
                noise,
                duration_s=timeline.duration_s,
                room_rms=room_rms,
                room_answer=answer,
                rate_hz=rate_hz,
                seed=[seed, 31, number],
            )
        )
    clicks = switch_events(
        operations(timeline, settings, seed),
        room_rms=room_rms,
        room_answer=answer,
        variation=settings.variation,
        rate_hz=rate_hz,
        seed=seed,
    )
    layers.append(EventLayer(clicks))
    return layers


def room_answer(reverb_s: float, rate_hz: int, seed: int) -> FloatArray:
    """Invent a room's impulse response: direct sound 1 at sample 0, a few early reflections, a dying tail."""
    rng = np.random.default_rng([seed, 41])
    time_s = np.arange(round(min(1.2 * reverb_s, 1.0) * rate_hz)) / rate_hz
    answer = np.zeros(len(time_s))
    for after_s in rng.uniform(0.002, 0.02, 7):
        answer[int(after_s * rate_hz)] += rng.choice([-1, 1]) * rng.uniform(0.08, 0.3) * math.exp(-after_s / 0.02)
    # the tail takes 10 ms to build up and loses its treble first
    tail = rng.standard_normal(len(time_s)) * (1 - np.exp(-time_s / 0.01)) * 10 ** (-3 * time_s / reverb_s)
    dull = np.concatenate([[0.0], (tail[1:] + tail[:-1]) / 2])
    share = np.exp(-time_s / (0.25 * reverb_s))
    tail = share * tail + (1 - share) * dull
    answer += tail * 0.35 / max(1e-9, math.sqrt(float(np.sum(tail**2))))
    answer[0] = 1.0
    return answer.astype(np.float32)


class _Room:
    """Room tone and mains hum, both slowly alive."""

    def __init__(self, settings: SoundSettings, rate_hz: int, seed: int) -> None:
        rng = np.random.default_rng([seed, 51])
        self._rate_hz = rate_hz
        self._rms = amplitude(settings.room_dbfs)
        self._hum_rms = self._rms * amplitude(settings.hum_over_room_db)
        self._mains_hz = settings.mains_hz
        self._noise = ShapedNoise(_ROOM, rate_hz, rng)
        self._hum = Wavetable(_MAINS_DB, rng)
        self._phases = rng.uniform(0, 2 * np.pi, 3)

    def add(self, out: FloatArray, start: int) -> None:
        """Add room tone and hum to a block."""
        middle_s = (start + len(out) / 2) / self._rate_hz
        edges_s = np.array([start, start + len(out)]) / self._rate_hz
        # the room breathes by half a decibel, the mains wanders by a few hundredths of a hertz
        breath_db = 0.3 * np.sin(0.11 * edges_s + self._phases[0]) + 0.3 * np.sin(0.047 * edges_s + self._phases[1])
        from_gain, to_gain = (self._rms * amplitude(float(level_db)) for level_db in breath_db)
        gain = np.linspace(from_gain, to_gain, len(out), endpoint=False).astype(np.float32)
        out += gain * self._noise.block(len(out))
        hertz = self._mains_hz + 0.02 * math.sin(0.031 * middle_s + self._phases[2])
        out += np.float32(self._hum_rms) * self._hum.read(float(hertz / self._rate_hz), len(out))
