"""The sound of a pressure switch: a snap-action contact in a small box, no two operations quite alike.

No real switch has been measured for this: the modes, their decay and how much operations differ are chosen to be
plausible for a snap-action contact and wide enough to be no gift to a detector.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from clicktimer.simulator.colour import Event, FloatArray, amplitude, convolve
from clicktimer.simulator.system import Timeline

WAVE_S = 0.06  # what a single snap lasts before the room takes over
_ATTACK_S = 0.00012  # full strength well within a millisecond


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation as it will sound.

    time_s: first energy, seconds. level_over_room_db: peak over the room's rms above 1 kHz.
    chatter_s: further snaps of a burst, seconds after the first (empty = a clean one). bounce_s: contact bounce after
    the first snap, or None.
    """

    time_s: float
    kind: Literal["cut-in", "cut-out"]
    level_over_room_db: float
    chatter_s: tuple[float, ...] = ()
    bounce_s: float | None = None


@dataclass(frozen=True, slots=True)
class _Voice:
    """Modes of one kind of operation: frequency, amplitude, decay (1/e), phase; and its own burst of noise."""

    freq_hz: npt.NDArray[np.float64]
    strength: npt.NDArray[np.float64]
    decay_s: npt.NDArray[np.float64]
    phase: npt.NDArray[np.float64]
    noise_share: float
    noise_decay_s: float
    noise_seed: int


def plan_operations(
    timeline: Timeline,
    *,
    click_over_room_db: float,
    cut_out_less_db: float,
    variation: float,
    chatter: float,
    seed: int,
) -> tuple[Operation, ...]:
    """Decide level, bounce and chatter of every operation of a timeline, in order of time."""
    times = [(t, "cut-in") for t in timeline.cut_ins_s] + [(t, "cut-out") for t in timeline.cut_outs_s]
    times.sort()
    rng = np.random.default_rng([seed, 11])
    planned = []
    for number, (time_s, kind) in enumerate(times):
        away_db = variation * float(np.clip(rng.standard_normal(), -2, 2))
        bounces, bounce_s = rng.random() < 0.4, float(rng.uniform(0.001, 0.004))
        bursts = rng.random() < chatter
        gaps_s = np.cumsum(rng.uniform(0.015, 0.08, int(rng.integers(1, 6))))
        next_s = times[number + 1][0] if number + 1 < len(times) else timeline.duration_s
        snaps_s = tuple(float(g) for g in gaps_s if g < 0.4 * (next_s - time_s)) if bursts else ()
        level_db = click_over_room_db - (cut_out_less_db if kind == "cut-out" else 0.0) + away_db
        planned.append(
            Operation(
                time_s=time_s,
                kind="cut-in" if kind == "cut-in" else "cut-out",
                level_over_room_db=level_db,
                chatter_s=snaps_s,
                bounce_s=bounce_s if bounces and variation > 0 else None,
            )
        )
    return tuple(planned)


def switch_events(
    operations: tuple[Operation, ...],
    *,
    room_rms: float,
    room_answer: FloatArray,
    variation: float,
    rate_hz: int,
    seed: int,
) -> Iterator[Event]:
    """Give each operation's waveform, in order of time.

    room_rms: the room's rms above 1 kHz. room_answer: impulse response whose first sample is the direct sound.
    The first sample of energy is the first at or after the operation's time; the peak is as planned, to rounding.
    """
    voices = _voices(np.random.default_rng([seed, 12]))
    for number, operation in enumerate(operations):
        rng = np.random.default_rng([seed, 13, number])
        # small slack: a time that is a whole sample up to rounding is that sample
        first = int(np.ceil(operation.time_s * rate_hz - 1e-6))
        lead_s = max(0.0, first / rate_hz - operation.time_s)
        wave = _snap(voices[operation.kind], rng, variation, lead_s, rate_hz)
        wave /= np.abs(wave).max()
        if operation.bounce_s is not None:
            again = amplitude(rng.uniform(-16, -8)) * _snap(voices[operation.kind], rng, variation, 0.0, rate_hz)
            wave = _add_at(wave, again / max(1.0, float(np.abs(again).max())), round(operation.bounce_s * rate_hz))
        for after_s in operation.chatter_s:
            again = _snap(voices[operation.kind], rng, 1.5 * max(variation, 0.3), 0.0, rate_hz)
            again *= amplitude(rng.uniform(-8, -1)) / np.abs(again).max()
            wave = _add_at(wave, again, round(after_s * rate_hz))
        heard = convolve(wave.astype(np.float32), room_answer)
        yield first, heard * np.float32(room_rms * amplitude(operation.level_over_room_db) / np.abs(heard).max())


def _voices(rng: np.random.Generator) -> dict[str, _Voice]:
    """Invent a switch: one box, struck in two ways. Closing and opening share its modes but not how much of each."""
    count = 11
    box_hz = np.exp(np.sort(rng.uniform(np.log(1_500), np.log(9_000), count)))
    decay_s = rng.uniform(0.0022, 0.008, count) * (3_000 / box_hz) ** 0.4

    def struck(tilt_db: float, noise_share: float) -> _Voice:
        octaves = np.log2(box_hz / 3_500)
        strength = 10 ** ((tilt_db * octaves + rng.normal(0, 4, count)) / 20)
        return _Voice(
            freq_hz=box_hz * np.exp(rng.normal(0, 0.012, count)),
            strength=strength / strength.sum(),
            decay_s=decay_s * np.exp(rng.normal(0, 0.2, count)),
            phase=rng.uniform(0, 2 * np.pi, count),
            noise_share=noise_share,
            noise_decay_s=float(rng.uniform(0.0006, 0.0018)),
            noise_seed=int(rng.integers(2**31)),
        )

    return {"cut-in": struck(rng.uniform(-4, 0), 0.5), "cut-out": struck(rng.uniform(0, 4), 0.35)}


def _snap(
    voice: _Voice, rng: np.random.Generator, variation: float, lead_s: float, rate_hz: int
) -> npt.NDArray[np.float64]:
    """One snap, ``lead_s`` after its true beginning at the first sample. Modes too high for the rate are left out."""
    count = len(voice.freq_hz)
    time_s = lead_s + np.arange(round(WAVE_S * rate_hz)) / rate_hz
    tilt_db = variation * rng.normal(0, 1.0)
    each_db = variation * rng.normal(0, 1.2, count) + tilt_db * np.log2(voice.freq_hz / 3_500)
    pitch = np.exp(variation * (rng.normal(0, 0.003) + rng.normal(0, 0.001, count)))
    decay_s = voice.decay_s * np.exp(variation * rng.normal(0, 0.1))
    phase = voice.phase + variation * rng.normal(0, 0.25, count)
    wave = np.zeros(len(time_s))
    for mode in range(count):
        freq_hz = voice.freq_hz[mode] * pitch[mode]
        if freq_hz < 0.46 * rate_hz:
            strength = voice.strength[mode] * 10 ** (each_db[mode] / 20)
            wave += strength * np.exp(-time_s / decay_s[mode]) * np.sin(2 * np.pi * freq_hz * time_s + phase[mode])
    # the contact lands on the same spots each time, though never quite: part of its crackle is its own, part is new
    new = min(1.0, 0.6 * variation)
    own = np.random.default_rng(voice.noise_seed).standard_normal(len(time_s) + 1)
    crackle = np.sqrt(1 - new**2) * own + new * rng.standard_normal(len(time_s) + 1)
    hiss = np.diff(crackle) * np.exp(-time_s / voice.noise_decay_s)
    wave += voice.noise_share * 0.35 * hiss
    return wave * (1 - 0.9 * np.exp(-time_s / _ATTACK_S))


def _add_at(wave: npt.NDArray[np.float64], more: npt.NDArray[np.float64], at: int) -> npt.NDArray[np.float64]:
    longer = np.zeros(max(len(wave), at + len(more)))
    longer[: len(wave)] = wave
    longer[at : at + len(more)] += more
    return longer
