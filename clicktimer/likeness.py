"""How alike are two sudden sounds? Prints compared band by band and slice by slice, above what the room hides.

A print is the energy of six time slices in eight bands. Compared with a pattern (the mean print of several clicks),
the pattern is first set to the candidate's own level, then the candidate's room is added to it: a cell that the
room buries says nothing for or against.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.candidates import N_BANDS, N_SLICES, Candidates, from_codes
from clicktimer.compiled import compiled
from clicktimer.kernel import F32

_VISIBLE = np.float32(10.0 ** (2.0 / 10.0))
"""A cell counts when it, or the pattern, stands 2 dB over the room."""

_MOST_DB = 15.0
"""A single cell can be wrong by no more than this: a cough in one slice must not outweigh all the others."""


_NONE, _NOT_CLEAR = np.float32(1e-20), -80.0


@dataclass(frozen=True, slots=True)
class Prints:
    """Linear prints: energy (n, slices, bands), room (n, bands), both mean square; used: bands that exist.

    clear_ln: natural logarithm of the energy less the room, where that stands clear of the room, else -99. have_ln: of
    the energy, or of what the room lets be told of it. Both (n, slices, bands), worked out but once.
    """

    energy: F32
    room: F32
    used: int
    clear_ln: F32
    have_ln: F32

    def __len__(self) -> int:
        return int(self.energy.shape[0])


def linear_prints(candidates: Candidates) -> Prints:
    """The prints of candidates as energies."""
    energy = (10.0 ** (from_codes(candidates.prints) / np.float32(10.0))).astype(np.float32)
    room = (10.0 ** (from_codes(candidates.room) / np.float32(10.0))).astype(np.float32)
    used = int(candidates.bands.min()) if len(candidates) else N_BANDS
    around = room[:, None, :]
    clear_ln = np.where(energy > 2.0 * around, np.log(np.maximum(energy - around, _NONE)), np.float32(-99.0))
    have_ln = np.log(np.maximum(energy, np.float32(0.3) * around) + _NONE)
    return Prints(energy, room, used, clear_ln.astype(np.float32), have_ln.astype(np.float32))


def taken(prints: Prints, index: np.ndarray) -> Prints:
    """Some of the prints."""
    return Prints(
        prints.energy[index], prints.room[index], prints.used, prints.clear_ln[index], prints.have_ln[index]
    )


def pattern_of(prints: Prints, members: np.ndarray, weights: np.ndarray | None = None) -> F32:
    """The mean print of some clicks, each set to the same level, room taken off: (slices, bands), energy, sum 1."""
    signal = np.maximum(
        prints.energy[members] - prints.room[members][:, None, :], 0.02 * prints.room[members][:, None, :]
    )
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
def _distances(
    energy: F32, room: F32, clear_ln: F32, have_ln: F32, index: npt.NDArray[np.int64], used: int, pattern: F32,
    pattern_ln: F32, out: F32, gains: F32,
) -> None:  # fmt: skip
    slices = energy.shape[1]
    diffs = np.empty(slices * used, dtype=np.float32)
    for k in range(index.shape[0]):
        i = index[k]
        # Level: the ratio of sums over the cells in which the candidate stands clear of its room.
        top = 0.0
        count = 0
        for s in range(slices):
            for b in range(used):
                if clear_ln[i, s, b] > _NOT_CLEAR and pattern[s, b] > 1e-4:
                    diffs[count] = clear_ln[i, s, b] - pattern_ln[s, b]
                    count += 1
        if count < 4:
            for s in range(slices):
                for b in range(used):
                    top += max(energy[i, s, b] - room[i, b], 0.0)
            gain = np.log(top + 1e-20)
        else:
            gain = _median(diffs, count)
        gains[k] = 4.342944819 * gain
        scale = np.float32(np.exp(gain))
        total = 0.0
        weight = 0.0
        for s in range(slices):
            for b in range(used):
                want = pattern[s, b] * scale + room[i, b]
                have = max(energy[i, s, b], np.float32(0.3) * room[i, b])
                if want > _VISIBLE * room[i, b] or have > _VISIBLE * room[i, b]:
                    d = 4.342944819 * (have_ln[i, s, b] - np.log(want))
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
        prints.energy, prints.room, prints.clear_ln, prints.have_ln, index, prints.used, pattern,
        np.log(pattern + _NONE), out, gains,
    )  # fmt: skip
    return out, gains


def seed_vectors(prints: Prints, index: np.ndarray | None = None) -> F32:
    """What stands above the room, in dB, as one vector each of length 1: for finding what recurs among many."""
    energy = prints.energy if index is None else prints.energy[index]
    room = prints.room if index is None else prints.room[index]
    over = 10.0 * np.log10(np.maximum(energy / (room[:, None, :] + 1e-20), 1.0))
    over = np.minimum(over, 25.0)[:, :, : prints.used].reshape(len(energy), N_SLICES * prints.used)
    over = over - over.mean(axis=1, keepdims=True)
    length = np.linalg.norm(over, axis=1, keepdims=True) + 1e-6
    return np.asarray(over / length, np.float32)
