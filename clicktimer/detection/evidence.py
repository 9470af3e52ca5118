"""Evidence for a candidate: log-likelihood ratios of "one of these clicks" against "one of all other sounds", in nats.

Three kinds of evidence that have little to do with each other: the features (similarity.py), the waveform
(waveforms.py) and the level; and how much it sounds like a switch at all (switch_score.py). Each is a density among
the clicks over a density among the other candidates of the same recording: what is common there proves nothing there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection import similarity, small_statistics
from clicktimer.detection.onset_strength import F32, F64
from clicktimer.detection.shortlist import SCORE_LOWEST, SCORE_STEP, SCORE_STEPS, DetectionContext

SQRT_TWO_PI = 2.5066
WAVE_STEP, WAVE_STEPS = 0.025, 40
"""Histogram of waveform correlations, from 0."""
LEVEL_LOWEST_DB, LEVEL_STEP_DB, LEVEL_STEPS = -100.0, 2.0, 51
"""Histogram of levels."""
DISTANCE_STEP_DB, DISTANCE_MOST_DB, RISE_STEP_DB, RISE_MOST_DB = 0.5, 16.0, 2.0, 26.0
"""Histogram of feature distances by rise."""


def score_evidence(context: DetectionContext, members: np.ndarray, clicks: np.ndarray) -> F64:
    """Return the evidence of the switch score of every candidate, (n,), nats.

    Parameters
    ----------
    context
        The short-listed candidates.
    members
        Indices of the clicks of one kind; with fewer than two, switches in general stand for them.
    clicks
        Indices of all clicks of the sequence: they are not among the other sounds.
    """
    p = context.params.evidence
    center = SCORE_LOWEST + SCORE_STEP * (np.arange(SCORE_STEPS) + 0.5)
    of_clicks = small_statistics.counts(context.switch_score[clicks], SCORE_LOWEST, SCORE_STEP, SCORE_STEPS)
    kernel = np.exp(-0.5 * ((center[:, None] - center[None, :]) / p.score_blur) ** 2)
    kernel /= kernel.sum(axis=1, keepdims=True)
    others = np.maximum(context.score_counts - of_clicks, 0.0)
    rate = (kernel @ others / SCORE_STEP + p.score_count) / context.duration_s
    # A better score than usual is no reason for doubt.
    below = np.minimum(center - p.score_center, 0.0)
    broad = (1.0 - p.score_floor) * np.exp(-0.5 * (below / p.score_spread) ** 2) / p.score_width
    broad = broad + p.score_floor / p.score_range
    density = broad
    if len(members) >= 2:
        middle, sd = small_statistics.median_and_sd(context.switch_score[members])
        sd = max(sd, p.score_least_spread)
        wide = np.where(center > middle, p.score_upper_ratio * sd, sd)
        norm = 0.5 * (1.0 + p.score_upper_ratio) * sd * SQRT_TWO_PI
        bell = np.exp(-0.5 * ((center - middle) / wide) ** 2) / norm
        density = (1.0 - p.score_broad_share) * bell + p.score_broad_share * broad
    return np.asarray(np.interp(context.switch_score, center, np.log(density / rate)), np.float64)


def template_evidence(
    context: DetectionContext,
    members: np.ndarray,
    others: np.ndarray,
    *,
    templates: int | None = None,
    rows: np.ndarray | None = None,
) -> F64:
    """Return how much more each candidate sounds like these clicks than like the others, nats.

    Parameters
    ----------
    context
        The short-listed candidates.
    members
        Indices of the clicks of one kind; with fewer than two there is no evidence.
    others
        (n,) True for candidates that are none of these clicks.
    templates
        Waveforms are compared with so many members, the clearest; by default as params.toml says.
    rows
        Only these candidates are weighed, the members among them, ascending; all if None.

    Returns
    -------
    (len(rows),) sum of the evidence of features, waveform and level.
    """
    p = context.params.evidence
    rows = np.arange(len(context.candidates)) if rows is None else rows
    if len(members) < 2:
        return np.zeros(len(rows))
    sample = _Sample(rows, np.searchsorted(rows, members), others[rows])
    by_features = _feature_evidence(context, members, sample)
    by_wave = _wave_evidence(context, members, sample, p.most_templates if templates is None else templates)
    return by_features + by_wave + _level_evidence(context, sample)


@dataclass(frozen=True, slots=True)
class _Sample:
    """The candidates that are weighed: their indices, where among them the members are, and which are others."""

    rows: np.ndarray
    members: np.ndarray
    others: np.ndarray


def _wave_evidence(context: DetectionContext, members: np.ndarray, sample: _Sample, templates: int) -> F64:
    """Return log( density of the waveform correlation among these clicks / among the others )."""
    p = context.params.evidence
    evidence = np.zeros(len(sample.rows))
    has = np.array([context.waveforms.has(int(m)) for m in members])
    if np.count_nonzero(has) < 2:
        return evidence
    clearest = np.flatnonzero(has)[np.argsort(-context.rise_db[members[has]], kind="stable")[:templates]]
    alike = _mean_of_better_half(context, members[clearest], sample, sample.members[clearest])
    known = ~np.isnan(alike)
    center = WAVE_STEP * (np.arange(WAVE_STEPS) + 0.5)
    kernel = np.exp(-0.5 * ((center[:, None] - center[None, :]) / p.wave_blur) ** 2)
    kernel /= kernel.sum(axis=0, keepdims=True)
    prior = np.exp(-0.5 * ((center - p.wave_center) / p.wave_spread) ** 2)
    prior = prior / prior.sum() + p.wave_floor / len(center)
    counts = small_statistics.counts(alike[sample.others & known], 0.0, WAVE_STEP, WAVE_STEPS)
    other = kernel @ counts + p.wave_count * prior
    other /= other.sum() * WAVE_STEP
    middle, sd = small_statistics.median_and_sd(alike[sample.members[clearest]])
    sd = max(sd, p.wave_least_spread)
    wide = np.where(center > middle, p.wave_upper_spread, sd)  # a better match than usual is no reason for doubt
    same = (1.0 - p.wave_broad_share) * np.exp(-0.5 * ((center - middle) / wide) ** 2) / (sd * SQRT_TWO_PI)
    same = same + p.wave_broad_share
    score = np.clip(np.log(same / other), -p.most_wave_against, p.most_wave)
    evidence[known] = np.interp(alike[known], center, score)
    return evidence


def _mean_of_better_half(context: DetectionContext, templates: np.ndarray, sample: _Sample, own: np.ndarray) -> F32:
    """Return the mean correlation of each waveform with the better half of the templates; NaN if it is not known.

    own: where among the sample each template is: a click must not vouch for itself.
    """
    if len(sample.rows) < len(context.candidates):
        columns = context.waveforms.some_alike(templates, sample.rows)
    else:
        columns = context.waveforms.all_alike(templates)
    columns[np.arange(len(templates)), own] = np.nan
    columns = -np.sort(-columns, axis=0)  # NaN last
    count = np.maximum((np.count_nonzero(~np.isnan(columns), axis=0) + 1) // 2, 1)
    sums = np.cumsum(np.nan_to_num(columns), axis=0)
    mean = sums[count - 1, np.arange(columns.shape[1])] / count
    mean[np.isnan(columns[0])] = np.nan
    return np.asarray(mean)


def _level_evidence(context: DetectionContext, sample: _Sample) -> F64:
    """Return log( density of the peak level among these clicks / among the others )."""
    p = context.params.evidence
    level = context.candidates.peak_db[sample.rows]
    center = LEVEL_LOWEST_DB + LEVEL_STEP_DB * (np.arange(LEVEL_STEPS) + 0.5)
    kernel = np.exp(-0.5 * ((center[:, None] - center[None, :]) / p.level_blur_db) ** 2)
    kernel /= kernel.sum(axis=0, keepdims=True)
    counts = small_statistics.counts(level[sample.others], LEVEL_LOWEST_DB, LEVEL_STEP_DB, LEVEL_STEPS)
    other = kernel @ counts + p.level_count / len(center)
    other /= other.sum()
    middle, sd = small_statistics.median_and_sd(level[sample.members])
    sd = max(sd, p.level_least_spread_db)
    same = np.exp(-0.5 * ((center - middle) / sd) ** 2)
    same = (1.0 - p.level_broad_share) * same / same.sum() + p.level_broad_share / len(center)
    score = np.clip(np.log(same / other), -p.most_level, p.most_level)
    return np.asarray(np.interp(level, center, score), np.float64)


def _feature_evidence(context: DetectionContext, members: np.ndarray, sample: _Sample) -> F64:
    """Return log( density of the feature distance among these clicks / among others of the same rise )."""
    p = context.params.evidence
    distance = _feature_distance(context, members, sample)
    rise = context.rise_db[sample.rows]
    d_bins = np.arange(0.0, DISTANCE_MOST_DB + DISTANCE_STEP_DB, DISTANCE_STEP_DB)
    r_bins = np.arange(0.0, RISE_MOST_DB + RISE_STEP_DB, RISE_STEP_DB)
    d_mid, r_mid = d_bins[:-1] + 0.5 * DISTANCE_STEP_DB, r_bins[:-1] + 0.5 * RISE_STEP_DB
    table = np.histogram2d(rise[sample.others], distance[sample.others], (r_bins, d_bins))[0]
    k_r = np.exp(-0.5 * ((r_mid[:, None] - r_mid[None, :]) / p.features_rise_blur_db) ** 2)
    k_d = np.exp(-0.5 * ((d_mid[:, None] - d_mid[None, :]) / p.features_blur_db) ** 2)
    k_d /= k_d.sum(axis=1, keepdims=True)
    table = k_r @ table @ k_d
    prior = np.exp(-0.5 * ((d_mid - p.features_center_db) / p.features_spread_db) ** 2) + p.features_floor
    table += p.features_count * prior / prior.sum()
    table /= table.sum(axis=1, keepdims=True) * DISTANCE_STEP_DB
    other = table[
        np.clip((rise / RISE_STEP_DB).astype(int), 0, len(r_mid) - 1),
        np.clip((distance / DISTANCE_STEP_DB).astype(int), 0, len(d_mid) - 1),
    ]
    # How far clicks of one kind lie apart depends on the recording: noise suppression and codecs change each
    # differently.
    typical = small_statistics.median(distance[sample.members])
    typical = float(np.clip(typical, p.features_low_db, p.features_high_db))
    same = _gamma(distance, p.features_shape, typical * p.features_mean_ratio) * (1.0 - p.features_broad_share)
    same = same + p.features_broad_share / DISTANCE_MOST_DB
    return np.asarray(np.clip(np.log(same / other), -p.most_features, p.most_features), np.float64)


def _feature_distance(context: DetectionContext, members: np.ndarray, sample: _Sample) -> F32:
    """Return the distance of each candidate's features to the template of these clicks, dB."""
    p = context.params.evidence
    weights = np.clip(context.rise_db[members], p.least_weight_db, None)
    pattern = similarity.pattern_of(context.fingerprints, members, weights)
    distance, _ = similarity.distances(context.fingerprints, pattern, sample.rows)
    if len(members) <= p.most_left_out:  # a click must not vouch for itself
        for m in range(len(members)):
            rest = np.delete(members, m)
            pattern = similarity.pattern_of(context.fingerprints, rest, np.delete(weights, m))
            own = similarity.distances(context.fingerprints, pattern, members[m : m + 1])[0]
            distance[sample.members[m]] = own[0]
    return distance


def _gamma(x: F32, shape: float, mean: float) -> F64:
    """Return the density of a gamma distribution with a whole shape."""
    scale = mean / shape
    y = np.maximum(x.astype(np.float64), 1e-3) / scale
    log_norm = float(np.sum(np.log(np.arange(1, int(shape)))))
    return np.exp((shape - 1) * np.log(y) - y - log_norm) / scale


def level_change_t(context: DetectionContext, members: np.ndarray, sign: np.ndarray) -> float:
    """Return the t value of the change of level at some candidates, each taken with its sign.

    Each change is judged by the direction that the others show, so that chance does not vouch for itself. A negative
    value means that the level changes the other way.

    Parameters
    ----------
    context
        The short-listed candidates and the levels.
    members
        (m,) indices of candidates.
    sign
        (m,) 1 if the level should rise there, -1 if it should fall.
    """
    p = context.params.evidence
    change = context.levels.change_db_at(context.row[members]) / context.levels.spread_db
    signed = np.clip(change * sign[:, None], -p.change_cap, p.change_cap)
    total = signed.sum(axis=0)
    own = np.array([float(row @ (total - row)) / (float(np.linalg.norm(total - row)) + 1e-9) for row in signed])
    t = float(own.mean() / (own.std() / np.sqrt(len(own)) + p.change_floor))
    return t if float(total.sum()) > 0 else -t
