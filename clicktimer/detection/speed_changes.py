"""Stage 3, beside the clicks: the lines of each second -> does a machine change its speed while it runs?

A pump on a variable-speed drive is not switched by pressure: its tones glide with its speed, which follows the water
drawn. An induction motor on the line holds its tones within its slip, some 2 %. So: look for a moment at which several
lines vanish that had stood still for seconds, and as many appear, moved by one ratio, and stand still for seconds
again. What stays through it is another machine, or the mains. Talk, music and traffic hold nothing for seconds; a
machine that only starts or stops moves nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.detection.spectral_lines import HIGHEST_HZ, LOWEST_HZ, ToneSegment

F32 = npt.NDArray[np.float32]
I64 = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

CELL = 0.004
"""Width of a cell of the scale of pitch, as a share of the frequency."""
FARTHEST = 0.45
"""Largest change of speed that is followed, as a logarithm: to two thirds, or half as much again."""
SLIP_SHARE = 0.04
"""Two speeds that differ by less may be the slip of a motor on the line."""
HOLD_S = 5.0
"""A speed counts when its lines stand still for so long (in two thirds of the seconds) ..."""
CHANGE_S = 12.0
"""... and is another one of the same run when no more than this lies between the two."""
LEAST_LINES = 2
"""Lines that must move together for a change of speed; chance brings two together now and then ..."""
SURE_LINES = 3
"""... so that in one change at least so many must ..."""
LEAST_CHANGES = 2
"""... and there must be another one. Both were chosen on the develop half of tests/benchmarks/machines.py."""
MAINS_HZ = (50.0, 60.0)
"""Lines of the mains and its multiples are in every house and never move."""
_MAINS_NEAR_HZ = 1.2
_BLUR_HZ = 0.6
_SAME_CELLS = 3
_CELLS = int(np.log(HIGHEST_HZ / LOWEST_HZ) / CELL) + 1
_PIECE_STEPS = 3000


@dataclass(frozen=True, slots=True)
class SpeedChange:
    """A machine went from one held speed to another while it ran.

    time_s: about when. from_hz, to_hz: one of its lines. ratio: of the speeds. lines: how many moved together.
    """

    time_s: float
    from_hz: float
    to_hz: float
    ratio: float
    lines: int


def speed_changes(segments: Sequence[ToneSegment]) -> tuple[SpeedChange, ...]:
    """Changes of speed of a driven machine, in order of time; empty where too few are heard to be sure."""
    found: list[SpeedChange] = []
    for segment in segments:
        for first in range(0, len(segment.freq_codes), _PIECE_STEPS):
            last = min(first + _PIECE_STEPS + 40, len(segment.freq_codes))
            found += _in_piece(segment, first, last)
    sure = len(found) >= LEAST_CHANGES and max(c.lines for c in found) >= SURE_LINES
    return tuple(found) if sure else ()


def cells_of(freq_hz: F32) -> I64:
    """Cell on the scale of pitch of each line; -1 where there is none, or where it is the mains' own."""
    mains = np.zeros(freq_hz.shape, bool)
    for hertz in MAINS_HZ:
        mains |= np.abs(freq_hz - hertz * np.round(freq_hz / hertz)) < _MAINS_NEAR_HZ
    cell = np.round(np.log(np.maximum(freq_hz, 1.0) / LOWEST_HZ) / CELL).astype(np.int64)
    return np.where((freq_hz > 0) & ~mains & (cell >= 0) & (cell < _CELLS), cell, -1)


def field_of(cell: I64) -> Mask:
    """(n, cells): whether a line is there or close by; a low one is known less finely, as a share of itself."""
    field = np.zeros((len(cell), _CELLS), bool)
    row = np.broadcast_to(np.arange(len(cell))[:, None], cell.shape)
    blur = _blur(cell)
    for off in range(-int(blur.max(initial=1)), int(blur.max(initial=1)) + 1):
        at = cell + off
        ok = (cell >= 0) & (np.abs(off) <= blur) & (at >= 0) & (at < _CELLS)
        field[row[ok], at[ok]] = True
    return field


def _blur(cell: I64) -> I64:
    """How many cells to each side a line may be off."""
    hertz = LOWEST_HZ * np.exp(CELL * np.maximum(cell, 0))
    return np.maximum(np.ceil(_BLUR_HZ / (CELL * hertz)).astype(np.int64), 1)


def standing(cell: I64, steps: int) -> list[I64]:
    """For each step, the cells of the lines that stand still from it on for so many steps; ascending."""
    field = field_of(cell)
    total = np.concatenate([np.zeros((1, _CELLS), np.int16), np.cumsum(field, axis=0, dtype=np.int16)])
    count = total[steps:] - total[:-steps]
    held = count >= np.ceil(steps * 2 / 3)
    found: list[I64] = []
    for k in range(len(count)):
        at = np.flatnonzero(held[k])
        if not len(at):
            found.append(at)
            continue
        # Neighbouring cells are one line: its middle.
        groups = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
        middles = [round(float(np.average(g, weights=count[k, g] ** 2))) for g in groups if len(g) <= 12]
        found.append(np.array(middles, np.int64))
    return found


def _in_piece(segment: ToneSegment, first: int, last: int) -> list[SpeedChange]:
    steps = max(round(HOLD_S / segment.step_s), 3)
    if last - first < 2 * steps:
        return []
    cell = cells_of(segment.freq_hz[first:last])
    lines = standing(cell, steps)
    between = round(CHANGE_S / segment.step_s)
    seen: list[tuple[int, int, int, int, int]] = []  # lines, last step before, first step after, shift, one line
    for k, j in _other_lines(lines, range(steps, steps + between + 1)):
        moved = _moved(lines[k], lines[j])
        if moved is not None:
            seen.append((moved[0], k + steps, j, moved[1], moved[2]))
    found: list[SpeedChange] = []
    taken: list[tuple[int, int]] = []
    for count, a, b, shift, line in sorted(seen, key=lambda s: (-s[0], s[2] - s[1], s[1])):
        if any(a <= its_b and b >= its_a for its_a, its_b in taken):
            continue
        taken.append((a, b))
        hertz, ratio = LOWEST_HZ * float(np.exp(CELL * line)), float(np.exp(CELL * shift))
        time_s = segment.start_s + (first + 0.5 * (a + b)) * segment.step_s
        found.append(SpeedChange(time_s, hertz, hertz * ratio, ratio, count))
    return sorted(found, key=lambda c: c.time_s)


def _other_lines(lines: list[I64], apart: range) -> list[tuple[int, int]]:
    """Pairs of steps so far apart between which enough lines vanish, and enough appear, for a change of speed."""
    there = np.zeros((len(lines), _CELLS), bool)
    for k, at in enumerate(lines):
        there[k, at] = True
    near = there.copy()
    for off in range(1, _SAME_CELLS + 1):
        near[:, off:] |= there[:, :-off]
        near[:, :-off] |= there[:, off:]
    pairs: list[tuple[int, int]] = []
    for d in apart:
        gone = (there[:-d] & ~near[d:]).sum(axis=1)
        new = (there[d:] & ~near[:-d]).sum(axis=1)
        pairs += [(int(k), int(k) + d) for k in np.flatnonzero((gone >= LEAST_LINES) & (new >= LEAST_LINES))]
    return sorted(pairs)


def _moved(before: I64, after: I64) -> tuple[int, int, int] | None:
    """Of the lines that vanish and appear: most that share one shift, the shift in cells, and one of the lines.

    None where they are too few, or the shift is no more than slip.
    """
    near = np.abs(after[None, :] - before[:, None]) <= _SAME_CELLS
    gone, new = before[~near.any(axis=1)], after[~near.any(axis=0)]
    apart = new[None, :] - gone[:, None]
    blur = _blur(gone)[:, None]
    best: tuple[int, int, int] | None = None
    for shift in np.unique(apart[(np.abs(apart) * CELL >= SLIP_SHARE) & (np.abs(apart) * CELL <= FARTHEST)]):
        fits = np.abs(apart - shift) <= blur
        count = int(min(fits.any(axis=1).sum(), fits.any(axis=0).sum()))
        if count >= LEAST_LINES and (best is None or count > best[0]):
            best = (count, int(shift), int(gone[np.flatnonzero(fits.any(axis=1))[0]]))
    return best
