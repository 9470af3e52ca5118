"""Spectral lines of each second -> does a machine change its speed while it runs?

A pump on a variable-speed drive is not switched by pressure: its tones glide with its speed, which follows the water
drawn. An induction motor on the line holds its tones within its slip, some 2 %. So look for a moment at which several
lines vanish that had stood still for seconds, and as many appear, moved by one ratio, and stand still for seconds
again. What stays through it is another machine, or the mains. Talk, music and traffic hold nothing for seconds; a
machine that only starts or stops moves nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.detection.params import DetectionParams as Params
from clicktimer.detection.spectral_lines import ToneSegment

F32 = npt.NDArray[np.float32]
I64 = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

MAINS_HZ = (50.0, 60.0)
"""Lines of the mains and its multiples are in every house and never move."""
PIECE_STEPS, OVERLAP_STEPS = 3000, 40
"""Steps that are searched at once, to bound memory."""


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


def speed_changes(segments: Sequence[ToneSegment], params: Params) -> tuple[SpeedChange, ...]:
    """Return changes of speed of a driven machine, in order of time; empty if too few are heard to be sure."""
    found: list[SpeedChange] = []
    for segment in segments:
        for first in range(0, len(segment.freq_codes), PIECE_STEPS):
            last = min(first + PIECE_STEPS + OVERLAP_STEPS, len(segment.freq_codes))
            found += _in_piece(segment, first, last, params)
    sure = (
        len(found) >= params.speed_changes.least_changes
        and max(c.lines for c in found) >= params.speed_changes.sure_lines
    )
    return tuple(found) if sure else ()


def cell_count(p: Params) -> int:
    """Return the number of cells on the scale of pitch."""
    return int(np.log(p.spectral_lines.highest_hz / p.spectral_lines.lowest_hz) / p.speed_changes.cell) + 1


def cells_of(freq_hz: F32, p: Params) -> I64:
    """Return the cell on the scale of pitch of each line; -1 if there is none, or it is the mains' own."""
    mains = np.zeros(freq_hz.shape, bool)
    for hertz in MAINS_HZ:
        mains |= np.abs(freq_hz - hertz * np.round(freq_hz / hertz)) < p.speed_changes.mains_near_hz
    cell = np.round(np.log(np.maximum(freq_hz, 1.0) / p.spectral_lines.lowest_hz) / p.speed_changes.cell).astype(
        np.int64
    )
    return np.where((freq_hz > 0) & ~mains & (cell >= 0) & (cell < cell_count(p)), cell, -1)


def lines_near(cell: I64, p: Params) -> Mask:
    """Return whether a line is in each cell or close by, (n, cells); a low one is known less finely."""
    near = np.zeros((len(cell), cell_count(p)), bool)
    row = np.broadcast_to(np.arange(len(cell))[:, None], cell.shape)
    blur = _blur(cell, p)
    for off in range(-int(blur.max(initial=1)), int(blur.max(initial=1)) + 1):
        at = cell + off
        ok = (cell >= 0) & (np.abs(off) <= blur) & (at >= 0) & (at < near.shape[1])
        near[row[ok], at[ok]] = True
    return near


def _blur(cell: I64, p: Params) -> I64:
    """Return how many cells to each side a line may be off."""
    hertz = p.spectral_lines.lowest_hz * np.exp(p.speed_changes.cell * np.maximum(cell, 0))
    return np.maximum(np.ceil(p.speed_changes.blur_hz / (p.speed_changes.cell * hertz)).astype(np.int64), 1)


def standing(cell: I64, steps: int, p: Params) -> list[I64]:
    """Return for each step the cells of the lines that stand still from it on for so many steps; ascending."""
    near = lines_near(cell, p)
    total = np.concatenate([np.zeros((1, near.shape[1]), np.int16), np.cumsum(near, axis=0, dtype=np.int16)])
    count = total[steps:] - total[:-steps]
    held = count >= np.ceil(steps * p.speed_changes.hold_share)
    found: list[I64] = []
    for k in range(len(count)):
        at = np.flatnonzero(held[k])
        if not len(at):
            found.append(at)
            continue
        # Neighbouring cells are one line: its middle.
        groups = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
        middles = [
            round(float(np.average(g, weights=count[k, g] ** 2)))
            for g in groups
            if len(g) <= p.speed_changes.most_cells
        ]
        found.append(np.array(middles, np.int64))
    return found


def _in_piece(segment: ToneSegment, first: int, last: int, p: Params) -> list[SpeedChange]:
    steps = max(round(p.speed_changes.hold_s / segment.step_s), 3)
    if last - first < 2 * steps:
        return []
    cell = cells_of(segment.freq_hz[first:last], p)
    lines = standing(cell, steps, p)
    between = round(p.speed_changes.change_s / segment.step_s)
    seen: list[tuple[int, int, int, int, int]] = []  # lines, last step before, first step after, shift, one line
    for k, j in _other_lines(lines, range(steps, steps + between + 1), p):
        moved = _moved(lines[k], lines[j], p)
        if moved is not None:
            seen.append((moved[0], k + steps, j, moved[1], moved[2]))
    found: list[SpeedChange] = []
    taken: list[tuple[int, int]] = []
    for count, a, b, shift, line in sorted(seen, key=lambda s: (-s[0], s[2] - s[1], s[1])):
        if any(a <= its_b and b >= its_a for its_a, its_b in taken):
            continue
        taken.append((a, b))
        hertz, ratio = (
            p.spectral_lines.lowest_hz * float(np.exp(p.speed_changes.cell * line)),
            float(np.exp(p.speed_changes.cell * shift)),
        )
        time_s = segment.start_s + (first + 0.5 * (a + b)) * segment.step_s
        found.append(SpeedChange(time_s, hertz, hertz * ratio, ratio, count))
    return sorted(found, key=lambda c: c.time_s)


def _other_lines(lines: list[I64], apart: range, p: Params) -> list[tuple[int, int]]:
    """Return pairs of steps so far apart between which enough lines vanish and appear for a change of speed."""
    there = np.zeros((len(lines), cell_count(p)), bool)
    for k, at in enumerate(lines):
        there[k, at] = True
    near = there.copy()
    for off in range(1, p.speed_changes.same_cells + 1):
        near[:, off:] |= there[:, :-off]
        near[:, :-off] |= there[:, off:]
    pairs: list[tuple[int, int]] = []
    for d in apart:
        gone = (there[:-d] & ~near[d:]).sum(axis=1)
        new = (there[d:] & ~near[:-d]).sum(axis=1)
        pairs += [
            (int(k), int(k) + d)
            for k in np.flatnonzero((gone >= p.speed_changes.least_lines) & (new >= p.speed_changes.least_lines))
        ]
    return sorted(pairs)


def _moved(before: I64, after: I64, p: Params) -> tuple[int, int, int] | None:
    """Return how many lines that vanish and appear share one shift, the shift in cells, and one of the lines.

    None if they are too few, or the shift is no more than slip.
    """
    near = np.abs(after[None, :] - before[:, None]) <= p.speed_changes.same_cells
    gone, new = before[~near.any(axis=1)], after[~near.any(axis=0)]
    apart = new[None, :] - gone[:, None]
    blur = _blur(gone, p)[:, None]
    best: tuple[int, int, int] | None = None
    size = np.abs(apart) * p.speed_changes.cell
    for shift in np.unique(apart[(size >= p.speed_changes.slip_share) & (size <= p.speed_changes.farthest)]):
        fits = np.abs(apart - shift) <= blur
        count = int(min(fits.any(axis=1).sum(), fits.any(axis=0).sum()))
        if count >= p.speed_changes.least_lines and (best is None or count > best[0]):
            best = (count, int(shift), int(gone[np.flatnonzero(fits.any(axis=1))[0]]))
    return best
