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
from clicktimer.detection.level_statistics import CODE_DB
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.signal_params import Similarity

_NONE = np.float32(1e-20)
_CODES = np.arange(256, dtype=np.uint8)
_ENERGY = (10.0 ** (from_codes(_CODES) / np.float32(10.0))).astype(np.float32)
_ENERGY_LN = (from_codes(_CODES) * (np.log(10.0) / 10.0)).astype(np.float32)
_LESS_ROOM_LN = np.log(1.0 - 10.0 ** (np.maximum(np.arange(256), 1) / -20.0)).astype(np.float32)
"""What taking off the room does to the logarithm of an energy that stands so many half decibels over it."""


@dataclass(frozen=True, slots=True)
class Prints:
    """Prints and the room around them, (n, slices, bands) and (n, bands), in codes of half decibels (see to_codes), and
    the number of bands that exist.
    """

    codes: U8
    room: U8
    used: int
    params: Similarity

    def __len__(self) -> int:
        return int(self.codes.shape[0])

    def energy(self, index: np.ndarray | slice) -> F32:
        """Mean square of some prints, (index, slices, bands)."""
        return np.asarray(_ENERGY[self.codes[index]])

    def room_energy(self, index: np.ndarray | slice) -> F32:
        """Mean square of the room around some prints, (index, 1, bands)."""
        return np.asarray(_ENERGY[self.room[index]][:, None, :])


def prints_of(candidates: Candidates, params: Similarity) -> Prints:
    """The prints of candidates."""
    used = int(candidates.bands.min()) if len(candidates) else N_BANDS
    # Of one layout in memory, whatever they come from: the order of a sum, and so its last digit, depends on it.
    return Prints(np.ascontiguousarray(candidates.prints), np.ascontiguousarray(candidates.room), used, params)


def pattern_of(prints: Prints, members: np.ndarray, weights: np.ndarray | None = None) -> F32:
    """The mean print of some clicks, each set to the same level, room taken off: (slices, bands), energy, sum 1."""
    p, room = prints.params, prints.room_energy(members)
    signal = np.maximum(prints.energy(members) - room, np.float32(p.least_signal_share) * room)
    signal[:, :, prints.used :] = 0.0
    signal /= signal[:, : p.level_slices].sum(axis=(1, 2), keepdims=True) + 1e-20
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
    clear_codes: int,
    least_cell_share: float,
    least_cells: int,
    visible: np.float32,
    least_room_ln: np.float32,
    most_off_db: float,
    stranger_cells: float,
    stranger_db: float,
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
                if over >= clear_codes and pattern[s, b] > least_cell_share:
                    diffs[count] = ln_of[codes[i, s, b]] + less_room_ln[over] - pattern_ln[s, b]
                    count += 1
        if count < least_cells:
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
            least_ln = ln_of[room_codes[i, b]] + least_room_ln
            for s in range(slices):
                want = pattern[s, b] * scale + room
                if want > visible * room or energy_of[codes[i, s, b]] > visible * room:
                    d = 4.342944819 * (max(ln_of[codes[i, s, b]], least_ln) - np.log(want))
                    d = min(max(d, -most_off_db), most_off_db)
                    total += d * d
                    weight += 1.0
        # Few visible cells prove little, so a few cells of a different sound are added.
        out[k] = np.sqrt((total + stranger_cells * stranger_db**2) / (weight + stranger_cells))


def distances(prints: Prints, pattern: F32, index: np.ndarray | None = None) -> tuple[F32, F32]:
    """Distance of each print from a pattern, and the level at which it fits best; both dB, shape (n,)."""
    p = prints.params
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
        round(p.clear_db / CODE_DB),
        p.least_cell_share,
        p.least_cells,
        np.float32(10.0 ** (p.visible_db / 10.0)),
        np.float32(np.log(p.least_room_share)),
        p.most_off_db,
        p.stranger_cells,
        p.stranger_db,
        out,
        gains,
    )
    return out, gains


def seed_vectors(prints: Prints, index: np.ndarray | None = None) -> F32:
    """What stands above the room, in dB, as one vector each of length 1: for finding what recurs among many."""
    some = slice(None) if index is None else index
    over = np.maximum(from_codes(prints.codes[some]) - from_codes(prints.room[some])[:, None, :], 0.0)
    over = np.minimum(over, prints.params.vector_cap_db)[:, :, : prints.used].reshape(len(over), N_SLICES * prints.used)
    over = over - over.mean(axis=1, keepdims=True)
    length = np.linalg.norm(over, axis=1, keepdims=True) + 1e-6
    return np.asarray(over / length, np.float32)
