"""How alike are two sudden sounds? Fingerprints compared band by band and slice by slice, above what the room hides.

A fingerprint is the energy of six time slices in eight bands. Before it is compared with a pattern (the mean
fingerprint of several clicks), the pattern is set to the candidate's level and the candidate's room is added to it. So
a cell that the room buries says nothing for or against.
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
class Fingerprints:
    """Fingerprints of n candidates and the room around them.

    codes: (n, slices, bands) and room: (n, bands), in codes of half decibels (see to_codes). used: number of bands that
    exist. params: how they are compared.
    """

    codes: U8
    room: U8
    used: int
    params: Similarity

    def __len__(self) -> int:
        return int(self.codes.shape[0])

    def energy(self, index: np.ndarray | slice) -> F32:
        """Return the mean square of some fingerprints, (index, slices, bands)."""
        return np.asarray(_ENERGY[self.codes[index]])

    def room_energy(self, index: np.ndarray | slice) -> F32:
        """Return the mean square of the room around some fingerprints, (index, 1, bands)."""
        return np.asarray(_ENERGY[self.room[index]][:, None, :])


def fingerprints_of(candidates: Candidates, params: Similarity) -> Fingerprints:
    """Return the fingerprints of candidates.

    Parameters
    ----------
    candidates
        The n candidates.
    params
        How the fingerprints will be compared.

    Returns
    -------
    Fingerprints
        Of n candidates, in the same order.
    """
    used = int(candidates.bands.min()) if len(candidates) else N_BANDS
    # Of one layout in memory, whatever they come from: the order of a sum, and so its last digit, depends on it.
    return Fingerprints(np.ascontiguousarray(candidates.prints), np.ascontiguousarray(candidates.room), used, params)


def pattern_of(fingerprints: Fingerprints, members: np.ndarray, weights: np.ndarray | None = None) -> F32:
    """Return the mean fingerprint of some clicks, each set to the same level, without their rooms.

    Parameters
    ----------
    fingerprints
        Of n candidates.
    members
        (m,) which of them are averaged, geometrically.
    weights
        (m,) weight of each member; equal if None.

    Returns
    -------
    F32
        Energy of each cell, (slices, bands), with the sum 1.
    """
    p, room = fingerprints.params, fingerprints.room_energy(members)
    signal = np.maximum(fingerprints.energy(members) - room, np.float32(p.least_signal_share) * room)
    signal[:, :, fingerprints.used :] = 0.0
    signal /= signal[:, : p.level_slices].sum(axis=(1, 2), keepdims=True) + 1e-20
    # The geometric mean: one member with a thump in it must not make the pattern.
    logs = np.log(signal + 1e-9)
    mean = np.exp(np.average(logs, axis=0, weights=weights))
    mean[:, fingerprints.used :] = 0.0
    return (mean / max(float(mean.sum()), 1e-20)).astype(np.float32)


@compiled
def _median(values: F32, count: int) -> float:
    """Return the median of the first few values, by counting, which is quicker than sorting so few."""
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


def distances(fingerprints: Fingerprints, pattern: F32, index: np.ndarray | None = None) -> tuple[F32, F32]:
    """Return the distance of each fingerprint from a pattern, and the level at which it fits best.

    Parameters
    ----------
    fingerprints
        Of n candidates.
    pattern
        (slices, bands) from ``pattern_of``.
    index
        (k,) which of the n are compared; all if None.

    Returns
    -------
    out
        (k,) rms difference over the visible cells, dB.
    gains
        (k,) level of the pattern, dB.
    """
    p = fingerprints.params
    index = np.arange(len(fingerprints)) if index is None else index
    out, gains = np.zeros(len(index), np.float32), np.zeros(len(index), np.float32)
    _distances(
        fingerprints.codes,
        fingerprints.room,
        index,
        fingerprints.used,
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


def seed_vectors(fingerprints: Fingerprints, index: np.ndarray | None = None) -> F32:
    """Return what stands above the room as vectors of length 1, to find which of many sounds recur.

    Parameters
    ----------
    fingerprints
        Of n candidates.
    index
        (k,) which of the n; all if None.

    Returns
    -------
    F32
        (k, slices * bands) dB over the room, less its mean, divided by its length. A product of two is a correlation.
    """
    some = slice(None) if index is None else index
    over = np.maximum(from_codes(fingerprints.codes[some]) - from_codes(fingerprints.room[some])[:, None, :], 0.0)
    over = np.minimum(over, fingerprints.params.vector_cap_db)[:, :, : fingerprints.used].reshape(
        len(over), N_SLICES * fingerprints.used
    )
    over = over - over.mean(axis=1, keepdims=True)
    length = np.linalg.norm(over, axis=1, keepdims=True) + 1e-6
    return np.asarray(over / length, np.float32)
