"""How much does a sudden sound resemble a snap-action switch, whatever the switch?

A logistic score of a candidate's shape: how fast it rises and is over, how broad it is, how quiet it is around it. Its
coefficients (snap.csv) were fitted by tests/benchmarks/train_snap.py on the develop half of the benchmark's sounds.
The score only ranks: how rare a score is in *this* recording is counted there (see clicks.py).
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources

import numpy as np

from clicktimer.kernel import F32, F64
from clicktimer.onsets import Candidates, from_codes

FEATURES = (
    "rise", "attack", "decay", "slice0", "slice1", "slice2", "slice3", "slice4", "slice5", "before", "after",
    "fall", "broad", "spread", "tilt", "after_over_peak", "before_over_peak",
)  # fmt: skip


def features(candidates: Candidates) -> F64:
    """Shape of each candidate, (n, features): decibels over the room, logarithms of milliseconds."""
    n = len(candidates)
    if not n:
        return np.zeros((0, len(FEATURES)))
    used = int(candidates.bands.min())
    room = from_codes(candidates.room)[:, None, :used]
    over = np.clip(from_codes(candidates.prints)[:, :, :used] - room, 0.0, 30.0)
    around = np.clip(from_codes(candidates.context)[:, :, :used] - room, 0.0, 30.0)
    by_slice = over.mean(axis=2)
    top = over[:, :3].max(axis=1)
    peak = by_slice[:, :3].max(axis=1)
    half = max(used // 2, 1)
    before, after = around[:, 0].mean(axis=1), around[:, 1].mean(axis=1)
    return np.column_stack(
        [
            candidates.rise_db,
            np.log(candidates.attack_s * 1e3 + 0.3),
            np.log(candidates.decay_s * 1e3 + 0.5),
            by_slice,
            before,
            after,
            peak - by_slice[:, 5],
            (top > 6.0).mean(axis=1) * 10.0,
            top.std(axis=1),
            top[:, half:].mean(axis=1) - top[:, :half].mean(axis=1),
            10.0 * after / (peak + 2.0),
            10.0 * before / (peak + 2.0),
        ]
    ).astype(np.float64)


def expand(x: F64) -> F64:
    """Features and their squares and the products of a few: (n, terms)."""
    scaled = x / 10.0
    pairs = [scaled[:, i : i + 1] * scaled[:, j : j + 1] for i in range(x.shape[1]) for j in range(i, x.shape[1])]
    return np.concatenate([np.ones((len(x), 1)), scaled, *pairs], axis=1)


@lru_cache(maxsize=1)
def _coefficients() -> F64:
    text = resources.files("clicktimer").joinpath("snap.csv").read_text(encoding="ascii")
    return np.array([float(line) for line in text.splitlines() if line and not line.startswith("#")])


def snap_score(candidates: Candidates) -> F32:
    """Logit of being a snap among all sorts of noises, (n,)."""
    out = [
        expand(features(candidates.take(np.arange(first, min(first + 4096, len(candidates)))))) @ _coefficients()
        for first in range(0, len(candidates), 4096)
    ]
    return np.clip(np.concatenate(out) if out else np.zeros(0), -12.0, 12.0).astype(np.float32)
