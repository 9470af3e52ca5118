"""How alike are two sudden sounds? Prints compared band by band and slice by slice, above what the room hides.

A print is the energy of six time slices in eight bands. Compared with a pattern (the mean print of several clicks),
the pattern is first set to the candidate's own level, then the candidate's room is added to it: a cell that the
room buries says nothing for or against.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.detection.candidates import N_BANDS, N_SLICES, U8, Candidates, from_codes
from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32

_VISIBLE = np.float32(10.0 ** (2.0 / 10.0))
"""A cell counts when it, or the pattern, stands 2 dB over the room."""

_MOST_DB = 15.0
"""A single cell can be wrong by no more than this: a cough in one slice must not outweigh all the others."""


_NONE = np.float32(1e-20)
_CLEAR = 7
"""Half decibels by which an energy is more than twice the room's: then what is over the room can be told."""
_CODES = np.arange(256, dtype=np.uint8)
_ENERGY = (10.0 ** (from_codes(_CODES) / np.float32(10.0))).astype(np.float32)
_ENERGY_LN = (from_codes(_CODES) * (np.log(10.0) / 10.0)).astype(np.float32)
_LESS_ROOM_LN = np.log(1.0 - 10.0 ** (np.maximum(np.arange(256), 1) / -20.0)).astype(np.float32)
"""What taking off the room does to the logarithm of an energy that stands so many half decibels over it."""
_LEAST_HAD_LN = np.float32(np.log(0.3))
"""An energy is never held to be less than this much of the room: in it the room itself comes and goes."""


@dataclass(frozen=True, slots=True)
class Prints:
    """Prints and the room around them, (n, slices, bands) and (n, bands), in codes of half decibels (see to_codes), and
    the number of bands that exist.
    """

    codes: U8
    room: U8
    used: int

    def __len__(self) -> int:
        return int(self.codes.shape[0])

    def energy(self, index: np.ndarray | slice) -> F32:
        """Mean square of some prints, (index, slices, bands)."""
        return np.asarray(_ENERGY[self.codes[index]])

    def room_energy(self, index: np.ndarray | slice) -> F32:
        """Mean square of the room around some prints, (index, 1, bands)."""
        return np.asarray(_ENERGY[self.room[index]][:, None, :])


def prints_of(candidates: Candidates) -> Prints:
    """The prints of candidates."""
    used = int(candidates.bands.min()) if len(candidates) else N_BANDS
    # Of one layout in memory, whatever they come from: the order of a sum, and so its last digit, depends on it.
    return Prints(np.ascontiguousarray(candidates.prints), np.ascontiguousarray(candidates.room), used)


def pattern_of(prints: Prints, members: np.ndarray, weights: np.ndarray | None = None) -> F32:
    """The mean print of some clicks, each set to the same level, room taken off: (slices, bands), energy, sum 1."""
    room = prints.room_energy(members)
    signal = np.maximum(prints.energy(members) - room, np.float32(0.02) * room)
    signal[:, :, prints.used :] = 0.0
    signal /= signal[:, :4].sum(axis=(1, 2), keepdims=True) + 1e-20
    # The geometric mean: one member with a thump in it must not make the pattern.
    logs = np.log(signal + 1e-9)
    mean = np.exp(np.average(logs, axis=0, weights=weights))
    mean[:, prints.used :] = 0.0
    return (mean / max(float(mean.sum()), 1e-20)).astype(np.float32)


@compiled
def _median(values: F32, count: int) -> float:
    """The median of the first few values. Counted, each against all: quicker than sorting so few."""
    low, high = np.float32(0.0), np.float32(0.0)
    for j in range(count):
        below, upto = np.int32(0), np.int32(0)
        for k in range(count):
            below += np.int32(values[k] < values[j])
            upto += np.int32(values[k] <= values[j])
        if below <= (count - 1) // 2 < upto:
            low = values[j]
        if below <= count // 2 < upto:
            high = values[j]
    return np.float64(np.float32(0.5) * (low + high))


@compiled
def _distances(  # noqa: C901, PLR0913
    codes: U8,
    room_codes: U8,
    index: npt.NDArray[np.int64],
    used: int,
    pattern: F32,
    pattern_ln: F32,
    energy_of: F32,
    ln_of: F32,
    less_room_ln: F32,
    out: F32,
    gains: F32,
) -> None:
    slices = codes.shape[1]
    diffs = np.empty(slices * used, dtype=np.float32)
    for k in range(index.shape[0]):
        i = index[k]
        # Level: the ratio of sums over the cells in which the candidate stands clear of its room.
        count = 0
        for s in range(slices):
            for b in range(used):
                over = np.int64(codes[i, s, b]) - np.int64(room_codes[i, b])
                if over >= _CLEAR and pattern[s, b] > 1e-4:
                    diffs[count] = ln_of[codes[i, s, b]] + less_room_ln[over] - pattern_ln[s, b]
                    count += 1
        if count < 4:
            top = 0.0
            for s in range(slices):
                for b in range(used):
                    top += max(energy_of[codes[i, s, b]] - energy_of[room_codes[i, b]], 0.0)
            gain = np.log(top + 1e-20)
        else:
            gain = _median(diffs, count)
        gains[k] = 4.342944819 * gain
        scale = np.float32(np.exp(gain))
        total = 0.0
        weight = 0.0
        for b in range(used):
            room = energy_of[room_codes[i, b]]
            least_ln = ln_of[room_codes[i, b]] + _LEAST_HAD_LN
            for s in range(slices):
                want = pattern[s, b] * scale + room
                if want > _VISIBLE * room or energy_of[codes[i, s, b]] > _VISIBLE * room:
                    d = 4.342944819 * (max(ln_of[codes[i, s, b]], least_ln) - np.log(want))
                    d = min(max(d, -_MOST_DB), _MOST_DB)
                    total += d * d
                    weight += 1.0
        # Few visible cells prove little: two cells' worth of a typical stranger's distance is mixed in.
        out[k] = np.sqrt((total + 2.0 * 25.0) / (weight + 2.0))


def distances(prints: Prints, pattern: F32, index: np.ndarray | None = None) -> tuple[F32, F32]:
    """Distance of each print from a pattern, and the level at which it fits best; both dB, shape (n,)."""
    index = np.arange(len(prints)) if index is None else index
    out, gains = np.zeros(len(index), np.float32), np.zeros(len(index), np.float32)
    _distances(
        prints.codes,
        prints.room,
        index,
        prints.used,
        pattern,
        np.log(pattern + _NONE),
        _ENERGY,
        _ENERGY_LN,
        _LESS_ROOM_LN,
        out,
        gains,
    )
    return out, gains


def seed_vectors(prints: Prints, index: np.ndarray | None = None) -> F32:
    """What stands above the room, in dB, as one vector each of length 1: for finding what recurs among many."""
    some = slice(None) if index is None else index
    over = np.maximum(from_codes(prints.codes[some]) - from_codes(prints.room[some])[:, None, :], 0.0)
    over = np.minimum(over, 25.0)[:, :, : prints.used].reshape(len(over), N_SLICES * prints.used)
    over = over - over.mean(axis=1, keepdims=True)
    length = np.linalg.norm(over, axis=1, keepdims=True) + 1e-6
    return np.asarray(over / length, np.float32)
