"""Lengths heard in, how likely any length is out: a density of runs, or of rests, learnt from the log itself.

Kernels about the lengths that were heard (narrow ones for steady use, wide ones for a house's draws) and a broad
density for lengths that this log has not shown yet. A length that is itself one of those heard is judged by the others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.day.cycle_log import Floats
from clicktimer.day.params import DEFAULT_PARAMS, DayParams

STEP: Final = 0.02  # of log length
LEAST_LOG_DENSITY: Final = -60.0
NEVER: Final = -1e9


@dataclass(frozen=True, slots=True)
class Lengths:
    """A density of lengths in seconds: kernels about the lengths heard, and a broad one. floor_s: none is shorter."""

    points_s: Floats
    weights: Floats
    grid: Floats
    log_density: Floats
    own: float
    total: float
    floor_s: float
    broad: float

    def at(self, lengths_s: Floats) -> Floats:
        """Log density per second."""
        safe_s = np.maximum(lengths_s, 1e-3)
        logs = np.log(safe_s)
        found = np.interp(logs, self.grid, self.log_density) - logs
        return np.where(lengths_s >= self.floor_s, np.maximum(found, LEAST_LOG_DENSITY), NEVER)

    def without_own(self, lengths_s: Floats, weight: Floats) -> Floats:
        """The same for lengths that are themselves among the kernels' centres: without their own kernel."""
        logs = np.log(np.maximum(lengths_s, 1e-3))
        whole = np.exp(np.interp(logs, self.grid, self.log_density))
        # density is (1 - broad) kernels / total + broad of the broad one; take one kernel out, and its weight
        rest = max(self.total, 1e-9)
        other = np.maximum(whole - (1 - self.broad) * weight * self.own / rest, 1e-12)
        found = np.log(other) - logs
        return np.where(lengths_s >= self.floor_s, np.maximum(found, LEAST_LOG_DENSITY), NEVER)


def lengths_of(
    heard_s: Floats,
    weights: Floats,
    blur: tuple[float, float],
    floor_s: float,
    broad: tuple[float, float, float],
    far: float | None = None,
    *,
    params: DayParams = DEFAULT_PARAMS,
) -> Lengths:
    """broad: logs of the shortest and longest length that a broad density covers, and how fast it falls in the log.

    far: log of the length from which on a small part of it does not fall: a hose that runs for an hour.
    """
    tuned = params.duration_density
    grid: Floats = np.arange(math.log(max(floor_s, 0.2)) - 0.2, math.log(2e6), STEP)
    keep = (heard_s >= max(floor_s, 0.2)) & (weights > 0.02)
    heard_s, weights = heard_s[keep], weights[keep]
    flat = np.where((grid >= broad[0]) & (grid <= broad[1]), np.exp(-broad[2] * (grid - broad[0])), 1e-9)
    flat /= flat.sum() * STEP
    if far is not None and far < broad[1]:
        beyond = np.where((grid >= far) & (grid <= broad[1]), 1.0, 0.0)
        flat = (1 - tuned.far_part) * flat + tuned.far_part * beyond / (beyond.sum() * STEP)
    own = float(sum(0.5 / (b * math.sqrt(2 * math.pi)) for b in blur))
    density = flat.copy()
    total = float(weights.sum())
    if total > 0:
        counts = np.bincount(
            np.clip(np.round((np.log(heard_s) - grid[0]) / STEP).astype(int), 0, len(grid) - 1), weights, len(grid)
        )
        kernels = np.zeros(len(grid))
        span = np.arange(-len(grid) + 1, len(grid)) * STEP
        for b in blur:
            kernel = 0.5 * np.exp(-0.5 * (span / b) ** 2) / (b * math.sqrt(2 * math.pi))
            kernels += np.convolve(counts, kernel[np.abs(span) < 5 * b], mode="same")
        density = (1 - tuned.broad) * kernels / total + tuned.broad * flat
    order = np.argsort(heard_s)
    if len(order) > tuned.most_points:
        shares = np.cumsum(weights[order]) / total
        at = np.searchsorted(shares, (np.arange(tuned.most_points) + 0.5) / tuned.most_points)
        points_s, point_weights = (
            heard_s[order][at],
            np.full(tuned.most_points, 1.0 / tuned.most_points),
        )
    elif len(order):
        points_s, point_weights = heard_s, weights / total
    else:
        points_s, point_weights = np.array([max(1.1 * floor_s, 1.0)]), np.array([1.0])
    return Lengths(points_s, point_weights, grid, np.log(density + 1e-12), own, total, floor_s, tuned.broad)


def log_sum(values: Floats) -> float:
    """Log of the sum of what these are the logs of."""
    top = float(values.max())
    return top + math.log(float(np.exp(values - top).sum()))


def log_sums(table: Floats) -> Floats:
    """The same for each row."""
    if not table.size:
        return np.zeros(len(table))
    top = table.max(axis=1, keepdims=True)
    return np.asarray(top[:, 0] + np.log(np.exp(table - top).sum(axis=1)))
