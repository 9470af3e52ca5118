"""Switch score: how much a candidate resembles a snap-action switch, whatever the switch.

An additive logistic score of a candidate's shape: how fast it rises and is over, how broad it is, how quiet it is
around it. Each feature counts by a line with two bends, held to the range that was seen in fitting. The numbers in
switch_score.csv are fitted on the develop half of the sounds by tests/benchmarks/fit_switch_score.py. The score only
ranks: how rare a score is in *this* recording is counted there (evidence.py).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np

from clicktimer.detection.candidates import U8, Candidates
from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32, F64, I64
from clicktimer.detection.signal_params import SwitchScore


@dataclass(frozen=True, slots=True)
class Feature:
    """One feature of a candidate: its name in switch_score.csv, its unit, and what it measures."""

    name: str
    unit: str
    meaning: str


FEATURE_TABLE = (
    Feature("rise", "dB", "mean rise over the room"),
    Feature("attack", "ln ms", "from the onset to the loudest point"),
    Feature("decay", "ln ms", "from the loudest point until the sound is over"),
    Feature("slice0", "dB", "mean over the bands of the level over the room, 0 to 2 ms after the onset"),
    Feature("slice1", "dB", "the same, 2 to 5 ms"),
    Feature("slice2", "dB", "the same, 5 to 10 ms"),
    Feature("slice3", "dB", "the same, 10 to 20 ms"),
    Feature("slice4", "dB", "the same, 20 to 40 ms"),
    Feature("slice5", "dB", "the same, 40 to 80 ms"),
    Feature("before", "dB", "the same, 60 to 10 ms before the onset"),
    Feature("after", "dB", "the same, 80 to 250 ms after the onset"),
    Feature("fall", "dB", "from the loudest of the first three slices to the last slice"),
    Feature("broad", "10 x share", "share of the bands that stand more than 6 dB over the room"),
    Feature("spread", "dB", "standard deviation over the bands of their peak over the room"),
    Feature("tilt", "dB", "mean peak of the upper half of the bands less that of the lower half"),
    Feature("after_over_peak", "10 x ratio", "after / (loudest slice + 2 dB)"),
    Feature("before_over_peak", "10 x ratio", "before / (loudest slice + 2 dB)"),
)
"""The columns of ``features``, in order. Levels over the room count up to 30 dB a band."""
FEATURES = tuple(feature.name for feature in FEATURE_TABLE)
_COLUMN = {name: column for column, name in enumerate(FEATURES)}
_SLICES, _FALL = _COLUMN["slice0"], _COLUMN["fall"]
_BEFORE, _AFTER = _COLUMN["before"], _COLUMN["after"]
_BROAD, _SPREAD, _TILT = _COLUMN["broad"], _COLUMN["spread"], _COLUMN["tilt"]
_AFTER_OVER_PEAK, _BEFORE_OVER_PEAK = _COLUMN["after_over_peak"], _COLUMN["before_over_peak"]


def features(candidates: Candidates) -> F64:
    """Return the features of each candidate, shape (n, features); the columns are those of ``FEATURE_TABLE``."""
    out = np.zeros((len(candidates), len(FEATURES)))
    if len(candidates):
        out[:, _COLUMN["rise"]] = candidates.rise_db
        out[:, _COLUMN["attack"]] = np.log(candidates.attack_s * 1e3 + 0.3)
        out[:, _COLUMN["decay"]] = np.log(candidates.decay_s * 1e3 + 0.5)
        used = int(candidates.bands.min())
        _over_the_room(candidates.prints, candidates.context, candidates.room, used, out)
    return out


@compiled
def _over_the_room(fingerprints: U8, context: U8, room: U8, used: int, out: F64) -> None:  # noqa: C901
    """Fill in the features from ``slice0`` on: of levels over the room in the bands that exist."""
    slices, half = fingerprints.shape[1], max(used // 2, 1)
    top = np.zeros(used)
    for i in range(fingerprints.shape[0]):
        for s in range(slices):
            for b in range(used):
                out[i, _SLICES + s] += _over_db(fingerprints[i, s, b], room[i, b]) / used
        before, after = 0.0, 0.0
        for b in range(used):
            before += _over_db(context[i, 0, b], room[i, b]) / used
            after += _over_db(context[i, 1, b], room[i, b]) / used
        # The loudest of the first three slices, in each band and in all.
        peak, mean, low, broad, spread = 0.0, 0.0, 0.0, 0.0, 0.0
        for s in range(3):
            peak = max(peak, out[i, _SLICES + s])
        for b in range(used):
            top[b] = 0.0
            for s in range(3):
                top[b] = max(top[b], _over_db(fingerprints[i, s, b], room[i, b]))
            mean += top[b] / used
            if b < half:
                low += top[b] / half
            if top[b] > 6.0:
                broad += 10.0 / used
        for b in range(used):
            spread += (top[b] - mean) ** 2 / used
        high = (mean * used - low * half) / max(used - half, 1)
        out[i, _BEFORE], out[i, _AFTER], out[i, _FALL] = before, after, peak - out[i, _SLICES + slices - 1]
        out[i, _BROAD], out[i, _SPREAD], out[i, _TILT] = broad, math.sqrt(spread), high - low
        out[i, _AFTER_OVER_PEAK], out[i, _BEFORE_OVER_PEAK] = 10.0 * after / (peak + 2.0), 10.0 * before / (peak + 2.0)


@compiled
def _over_db(code: int, room: int) -> float:
    return min(max(0.5 * (float(code) - float(room)), 0.0), 30.0)


def terms(x: F64, table: F64) -> F64:
    """Return what the score is a sum of, (n, terms): each feature as a line with two bends, and all products of two.

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
    """Return the table of ranges and bends, and the weight of each term."""
    text = resources.files("clicktimer.detection").joinpath("switch_score.csv").read_text(encoding="ascii")
    rows = [line.split(",") for line in text.splitlines() if line and not line.startswith("#")]
    ranges = [row for row in rows if row[0] != "weight"]
    if tuple(row[0] for row in ranges) != FEATURES:
        raise AssertionError("switch_score.csv does not hold the features of switch_score.py: fit it again")
    weights = [float(row[1]) for row in rows if row[0] == "weight"]
    return np.array([[float(v) for v in row[1:]] for row in ranges]), np.array(weights)


def switch_scores(candidates: Candidates, params: SwitchScore) -> F32:
    """Return the log-odds that each candidate is a switch among all sorts of noises, (n,), clipped to the range."""
    table, weights = _fitted()
    # Summed row by row: a matrix product's last digit would depend on how many rows it has.
    out = []
    for first in range(0, len(candidates), 4096):
        some = candidates.take(np.arange(first, min(first + 4096, len(candidates))))
        out.append((terms(features(some), table) * weights).sum(axis=1))
    return np.clip(np.concatenate(out) if out else np.zeros(0), params.lowest, params.highest).astype(np.float32)
