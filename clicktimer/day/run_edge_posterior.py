"""Runs in, a posterior of r0 out: the edge below which no run lies, blurred, with a decaying excess above it.

Cut-in happens while water runs, so run = r0 + (water used in the run) / Q: runs begin at an edge at r0 and thin out
above it; there is often no pile. Everything is a ratio to r0, so the density of log(run / r0) is made once for each
set of shape parameters and slid along a histogram of log run: the cost does not grow with the number of runs.
The shapes are invented to be broad (common practice, no source); they are integrated over, not chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np

from clicktimer.day.cycle_log import Floats
from clicktimer.day.params import DEFAULT_PARAMS, DayParams, RunEdge


@dataclass(frozen=True, slots=True)
class Posterior:
    """Densities over log r0: ``log_s`` are logs of r0 in seconds, ``weight`` sums to 1."""

    log_s: Floats
    weight: Floats

    def quantile_s(self, share: float) -> float:
        """r0 in seconds below which this share of the weight lies."""
        return float(np.exp(np.interp(share, np.cumsum(self.weight) - self.weight / 2, self.log_s)))


@cache
def _shapes(edge: RunEdge) -> tuple[Floats, Floats, Floats, Floats]:
    """Shape densities of u = log(run / r0) on a grid, one a row, and for each row its stray share and log prior."""
    from scipy.special import erfc

    grid = np.arange(-edge.reach, edge.reach + edge.step / 2, edge.step)
    ratio = np.exp(grid)
    rows, strays, priors = [], [], []
    x = ratio - 1.0

    def decaying(scale: float, blur: float) -> Floats:
        """An exponential excess blurred by a normal error, cut where the exponent would run over."""
        exponent = np.clip((blur / scale) ** 2 / 2 - x / scale, -700, 50)
        density = np.exp(exponent) * erfc((blur / scale - x / blur) / np.sqrt(2)) * ratio
        return np.asarray(density / (density.sum() * edge.step))

    def hump(at: float) -> Floats:
        """Draws that outlast the run, at every share of the pump's rate about one; none below r0."""
        density = np.exp(-0.5 * ((grid - at) / edge.hump_sd) ** 2) * (grid > 0)
        return np.asarray(density / (density.sum() * edge.step))

    rest = [(scale, False) for scale in edge.long] + [(at, True) for at in edge.hump]
    for blur, short, (long, is_hump), share in product(edge.blur, edge.short, rest, edge.share):
        tail = hump(long) if is_hump else decaying(long, blur)
        density = share * decaying(short, blur) + (1 - share) * tail
        for stray in edge.stray:
            rows.append(density)
            strays.append(stray)
            # narrow blur is as likely as wide; a large share of strays is not
            priors.append(-2.0 * stray / edge.stray[-1])
    return grid, np.array(rows), np.array(strays), np.array(priors)


def edge_posterior(
    runs_s: Floats, extra: tuple[tuple[float, float, float], ...] = (), *, params: DayParams = DEFAULT_PARAMS
) -> Posterior:
    """Reckon the posterior of r0 from runs in seconds.

    extra: what else is known of r0, each (log r0, standard deviation of it, trust 0..1): steady uses.
    """
    tuned = params.run_edge
    logs = np.log(runs_s)
    low, high = float(logs.min()) - 0.5, float(logs.max()) + 0.2
    if extra:
        low, high = min(low, min(e[0] for e in extra) - 0.3), max(high, max(e[0] for e in extra) + 0.3)
    edges = np.arange(low, high + tuned.step, tuned.step)
    counts = np.bincount(
        np.clip(((logs - low) / tuned.step).round().astype(int), 0, len(edges) - 1), minlength=len(edges)
    )
    grid, rows, strays, priors = _shapes(params.run_edge)
    flat = 1.0 / max(1.0, high - low)
    # The log density slid along the histogram: a correlation of the two, by Fourier transform. Beyond the shapes' reach
    # only strays are left, and that constant is taken out first.
    beyond = np.log(strays * flat)[:, None]
    table = np.log((1 - strays)[:, None] * rows + (strays * flat)[:, None]) - beyond
    middle, size = len(grid) // 2, len(grid) + len(edges)
    slid = np.fft.irfft(np.fft.rfft(table[:, ::-1], size) * np.fft.rfft(counts, size), size)
    total = slid[:, middle : middle + len(edges)] + len(logs) * beyond
    total += priors[:, None]
    for log_s, sd, trust in extra:
        total += np.log(trust / (sd * 2.5066) * np.exp(-0.5 * ((edges - log_s) / sd) ** 2) + (1 - trust) * flat)
    peak = float(total.max())
    weight = np.exp(total - peak).sum(axis=0)
    return Posterior(edges, weight / weight.sum())
