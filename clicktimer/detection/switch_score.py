"""How much does a sudden sound resemble a snap-action switch, whatever the switch?

An additive logistic score of a candidate's shape: how fast it rises and is over, how broad it is, how quiet it is
around it. Each feature counts by a line with two bends, held to the range that was seen in fitting. The numbers
(switch_score.csv) come from tests/benchmarks/train_snap.py, fitted on the develop half of the sounds. The score only
ranks: how rare a score is in *this* recording is counted there (evidence.py).
"""

from __future__ import annotations

import math
from functools import lru_cache
from importlib import resources

import numpy as np

from clicktimer.detection.candidates import U8, Candidates
from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32, F64, I64

FEATURES = (
    "rise",
    "attack",
    "decay",
    "slice0",
    "slice1",
    "slice2",
    "slice3",
    "slice4",
    "slice5",
    "before",
    "after",
    "fall",
    "broad",
    "spread",
    "tilt",
    "after_over_peak",
    "before_over_peak",
)
LOWEST, HIGHEST = -6.0, 12.0


def features(candidates: Candidates) -> F64:
    """Shape of each candidate, (n, features): decibels over the room, logarithms of milliseconds."""
    out = np.zeros((len(candidates), len(FEATURES)))
    if len(candidates):
        out[:, 0] = candidates.rise_db
        out[:, 1] = np.log(candidates.attack_s * 1e3 + 0.3)
        out[:, 2] = np.log(candidates.decay_s * 1e3 + 0.5)
        used = int(candidates.bands.min())
        _over_the_room(candidates.prints, candidates.context, candidates.room, used, out)
    return out


@compiled
def _over_the_room(prints: U8, context: U8, room: U8, used: int, out: F64) -> None:
    """The features from the fourth on: of levels over the room in dB, 30 at most, in the bands that there are."""
    slices, half = prints.shape[1], max(used // 2, 1)
    top = np.zeros(used)
    for i in range(prints.shape[0]):
        for s in range(slices):
            for b in range(used):
                out[i, 3 + s] += _over_db(prints[i, s, b], room[i, b]) / used
        before, after = 0.0, 0.0
        for b in range(used):
            before += _over_db(context[i, 0, b], room[i, b]) / used
            after += _over_db(context[i, 1, b], room[i, b]) / used
        # The loudest of the first three slices, in each band and in all.
        peak, mean, low, broad, spread = 0.0, 0.0, 0.0, 0.0, 0.0
        for s in range(3):
            peak = max(peak, out[i, 3 + s])
        for b in range(used):
            top[b] = 0.0
            for s in range(3):
                top[b] = max(top[b], _over_db(prints[i, s, b], room[i, b]))
            mean += top[b] / used
            if b < half:
                low += top[b] / half
            if top[b] > 6.0:
                broad += 10.0 / used
        for b in range(used):
            spread += (top[b] - mean) ** 2 / used
        high = (mean * used - low * half) / max(used - half, 1)
        at = 3 + slices
        out[i, at], out[i, at + 1], out[i, at + 2] = before, after, peak - out[i, 8]
        out[i, at + 3], out[i, at + 4], out[i, at + 5] = broad, math.sqrt(spread), high - low
        out[i, at + 6], out[i, at + 7] = 10.0 * after / (peak + 2.0), 10.0 * before / (peak + 2.0)


@compiled
def _over_db(code: int, room: int) -> float:
    return min(max(0.5 * (float(code) - float(room)), 0.0), 30.0)


def terms(x: F64, table: F64) -> F64:
    """What the score is a sum of, (n, terms): each feature as a line with two bends, and the products of every two.

    table: (features, 4) lowest and highest value that counts, first and second bend. Products are of features
    brought to the range -1 to 1, so that nothing runs away outside what was seen in fitting.
    """
    low, high, first, second = table.T
    held = np.clip(x, low, high)
    unit = 2.0 * (held - low) / (high - low) - 1.0
    i, j = _pairs(x.shape[1])
    bends = [np.maximum(held - first, 0.0), np.maximum(held - second, 0.0)]
    return np.concatenate([np.ones((len(x), 1)), held, *bends, unit[:, i] * unit[:, j]], axis=1)


@lru_cache(maxsize=1)
def _pairs(count: int) -> tuple[I64, I64]:
    return np.triu_indices(count, 1)


@lru_cache(maxsize=1)
def _fitted() -> tuple[F64, F64]:
    """The table of ranges and bends, and the weight of each term."""
    text = resources.files("clicktimer.detection").joinpath("switch_score.csv").read_text(encoding="ascii")
    rows = [line.split(",") for line in text.splitlines() if line and not line.startswith("#")]
    ranges = [row for row in rows if row[0] != "weight"]
    if tuple(row[0] for row in ranges) != FEATURES:
        raise AssertionError("switch_score.csv does not hold the features of switch_score.py: fit it again")
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
