"""What the first pass keeps: candidates (anything that could be a click), each with a small print, and the level track.

All of it is of fixed size for each candidate but the wave: 16 ms of sound, kept only of those that stand out as
snaps (see onsets.py), because a day has half a million candidates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

U8 = npt.NDArray[np.uint8]
F64 = npt.NDArray[np.float64]

N_BANDS, N_SLICES = 8, 6
N_HUM_BANDS = 13
N_LEVELS = N_HUM_BANDS + N_BANDS
"""Bands and slices of a candidate's spectrum, and bands of a level; their edges are in params.toml (section bands)."""
N_WAVE = 256
"""Samples of a wave, at 11 to 23 kHz (see WAVE_RATE_HZ in onsets.py)."""


def to_codes(energy: npt.NDArray[np.floating]) -> U8:
    """Mean square -> half decibels in one byte (0 = -128 dB of full scale, 255 = -0.5 dB)."""
    db = 10.0 * np.log10(np.maximum(energy, 1e-13))
    return np.asarray(np.clip(np.round(2.0 * (db + 128.0)), 0, 255), np.uint8)


def from_codes(codes: U8) -> npt.NDArray[np.float32]:
    """Half decibels in one byte -> dB of full scale."""
    return codes.astype(np.float32) * np.float32(0.5) - np.float32(128.0)


@dataclass(frozen=True, slots=True)
class Candidates:
    """Sudden rises, in order of time; n of them.

    time_s: (n,) onset. rise_db: (n,) mean rise over the room. timing_sd_s: (n,). attack_s, decay_s: (n,) from the
    onset to the loudest point, and from there until the energy stays below a tenth. peak_db: (n,) largest sample,
    dB of full scale. prints: (n, slices, bands), context: (n, 2, bands) what sounds before and after, and room: (n,
    bands), codes of half decibels (see to_codes); bands that the recording cannot hold are 0. bands: (n,) bands
    below half the sample rate. approach_s: (n,) how long before the onset a fainter sound
    began that was not counted, 0 for none: some contacts slide before they snap. wave_hz: (n,) sample rate of its
    wave, 0 where none is kept. waves: (kept, N_WAVE), those that are kept, in the same order: from 4 ms before the
    onset, the loudest sample 127.
    """

    time_s: F64
    rise_db: npt.NDArray[np.float32]
    timing_sd_s: npt.NDArray[np.float32]
    attack_s: npt.NDArray[np.float32]
    decay_s: npt.NDArray[np.float32]
    peak_db: npt.NDArray[np.float32]
    prints: U8
    context: U8
    room: U8
    bands: U8
    approach_s: npt.NDArray[np.float32]
    wave_hz: npt.NDArray[np.float32]
    waves: npt.NDArray[np.int8]

    def __len__(self) -> int:
        return int(self.time_s.size)

    @staticmethod
    def none() -> Candidates:
        """An empty set."""
        f32 = np.zeros(0, dtype=np.float32)
        return Candidates(
            np.zeros(0),
            f32,
            f32,
            f32,
            f32,
            f32,
            np.zeros((0, N_SLICES, N_BANDS), np.uint8),
            np.zeros((0, 2, N_BANDS), np.uint8),
            np.zeros((0, N_BANDS), np.uint8),
            np.zeros(0, np.uint8),
            f32,
            f32,
            np.zeros((0, N_WAVE), np.int8),
        )

    @staticmethod
    def join(parts: list[Candidates]) -> Candidates:
        """Several sets in order as one."""
        if not parts:
            return Candidates.none()
        return Candidates(*(np.concatenate([getattr(p, f) for p in parts]) for f in Candidates.__slots__))

    def take(self, index: npt.NDArray[np.intp] | npt.NDArray[np.bool_]) -> Candidates:
        """Some of them."""
        kept = self.wave_hz > 0.0
        row = (np.cumsum(kept) - 1)[index]
        arrays = [getattr(self, f)[row[kept[index]] if f == "waves" else index] for f in Candidates.__slots__]
        return Candidates(*arrays)


class Gathered:
    """Candidates that come a few at a time, put into arrays that double when they are full.

    Thousands of small arrays take more room than what is in them; and what was never written to takes none.
    """

    def __init__(self) -> None:
        self._arrays = {name: getattr(Candidates.none(), name) for name in Candidates.__slots__}
        self._used = dict.fromkeys(self._arrays, 0)

    def add(self, more: Candidates) -> None:
        """Further candidates, later than those before."""
        for name, array in self._arrays.items():
            new = getattr(more, name)
            used = self._used[name]
            if used + len(new) > len(array):
                larger = np.empty((max(2 * len(array), used + len(new), 64), *array.shape[1:]), array.dtype)
                larger[:used] = array[:used]
                self._arrays[name] = array = larger
            array[used : used + len(new)] = new
            self._used[name] = used + len(new)

    def whole(self) -> Candidates:
        """All of them, without a copy."""
        return Candidates(*(array[: self._used[name]] for name, array in self._arrays.items()))


@dataclass(frozen=True, slots=True)
class LevelSegment:
    """The sound level by band at a coarse step, without a hole: codes (n, levels), first step at start_s."""

    start_s: float
    step_s: float
    codes: U8
    used: int
