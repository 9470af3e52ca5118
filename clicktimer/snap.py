"""How much does a sudden sound resemble a snap-action switch, whatever the switch?

An additive logistic score of a candidate's shape: how fast it rises and is over, how broad it is, how quiet it is
around it. Each feature counts by a line with two bends, held to the range that was seen in fitting. The numbers
(snap.csv) come from tests/benchmarks/train_snap.py, fitted on the develop half of the sounds. The score only ranks:
how rare a score is in *this* recording is counted there (see clicks.py).
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources

import numpy as np

from clicktimer.candidates import Candidates, from_codes
from clicktimer.kernel import F32, F64

FEATURES = (
    "rise", "attack", "decay", "slice0", "slice1", "slice2", "slice3", "slice4", "slice5", "before", "after",
    "fall", "broad", "spread", "tilt", "after_over_peak", "before_over_peak",
)  # fmt: skip
LOWEST, HIGHEST = -6.0, 12.0


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


def terms(x: F64, table: F64) -> F64:
    """What the score is a sum of, (n, terms): each feature as a line with two bends, and the products of every two.

    table: (features, 4) lowest and highest value that counts, first and second bend. Products are of features
    brought to the range -1 to 1, so that nothing runs away outside what was seen in fitting.
    """
    low, high, first, second = table.T
    held = np.clip(x, low, high)
    unit = 2.0 * (held - low) / (high - low) - 1.0
    i, j = np.triu_indices(x.shape[1], 1)
    bends = [np.maximum(held - first, 0.0), np.maximum(held - second, 0.0)]
    return np.concatenate([np.ones((len(x), 1)), held, *bends, unit[:, i] * unit[:, j]], axis=1)


@lru_cache(maxsize=1)
def _fitted() -> tuple[F64, F64]:
    """The table of ranges and bends, and the weight of each term."""
    text = resources.files("clicktimer").joinpath("snap.csv").read_text(encoding="ascii")
    rows = [line.split(",") for line in text.splitlines() if line and not line.startswith("#")]
    ranges = [row for row in rows if row[0] != "weight"]
    if tuple(row[0] for row in ranges) != FEATURES:
        raise AssertionError("snap.csv does not hold the features of snap.py: fit it again")
    weights = [float(row[1]) for row in rows if row[0] == "weight"]
    return np.array([[float(v) for v in row[1:]] for row in ranges]), np.array(weights)


def snap_score(candidates: Candidates) -> F32:
    """Logit of being a snap among all sorts of noises, (n,), between LOWEST and HIGHEST."""
    table, weights = _fitted()
    # Summed row by row: a matrix product's last digit would depend on how many rows it has.
    out = []
    for first in range(0, len(candidates), 4096):
        some = candidates.take(np.arange(first, min(first + 4096, len(candidates))))
        out.append((terms(features(some), table) * weights).sum(axis=1))
    return np.clip(np.concatenate(out) if out else np.zeros(0), LOWEST, HIGHEST).astype(np.float32)
