"""Sounds that recur: groups of candidates that resemble each other, as seeds of the two kinds of click."""

from __future__ import annotations

import numpy as np

from clicktimer.detection import similarity
from clicktimer.detection.evidence import score_evidence, template_evidence
from clicktimer.detection.model_params import Proposals
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import Seed, all_but


def seeds_of(context: DetectionContext) -> list[Seed]:
    """Return sounds that recur, those that stand out most first."""
    p = context.params.proposals
    order = np.argsort(-context.switch_score, kind="stable")[: p.most_sounds]
    vectors = similarity.seed_vectors(context.fingerprints)[order]
    alike = vectors @ vectors.T
    time_s = context.candidates.time_s[order]
    for k in range(len(order)):  # row by row: the times of all pairs at once would take twenty megabytes
        near = np.abs(time_s - time_s[k]) < p.near_s
        near[k] = False
        alike[k, near] = -1.0
    weight = np.clip(context.switch_score[order] + p.score_offset, p.least_weight, p.most_weight)
    groups = _groups_by_features(alike, weight, p) + _groups_by_wave(context, order)
    # Of many groups of noises that recur, only those whose members stand out by themselves are tried in pairs; for
    # that a sample of the others is enough.
    members = [order[group[: p.most_members]] for group in groups]
    alone = [_evidence_alone(context, some) for some in members]
    best = np.argsort(-np.array(alone), kind="stable")[: p.seeds]
    return [seed_of(context, members[k], templates=p.templates) for k in best]


def seed_of(context: DetectionContext, members: np.ndarray, *, templates: int | None = None) -> Seed:
    """Return the seed of these members, weighed against all other candidates."""
    return Seed(members, template_evidence(context, members, all_but(context, members), templates=templates))


def _evidence_alone(context: DetectionContext, members: np.ndarray) -> float:
    """Return what the members of a group explain without alternating with any other group, nats."""
    p = context.params.proposals
    every = max(len(context.candidates) // p.sampled, 1)
    rows = np.union1d(np.arange(0, len(context.candidates), every), members)
    like = template_evidence(context, members, all_but(context, members), templates=p.templates, rows=rows)
    like = like[np.searchsorted(rows, members)]
    each = np.maximum(score_evidence(context, members, members)[members] + like, p.least_member)
    return float(np.sum(each + np.log(context.params.viterbi.hazard_per_s)))


def _groups_by_features(alike: F32, weight: F32, p: Proposals) -> list[np.ndarray]:
    """Return groups of sounds whose features agree, the most alike first in each.

    Leaders are chosen twice: by how much resembles them, and by their switch score; otherwise a few clear clicks would
    drown in the hundreds of a clock or of rain. Cut-in and cut-out may be much alike, so of each group the whole and
    its two halves are tried.
    """
    found: dict[tuple[int, ...], np.ndarray] = {}
    strength = np.maximum(alike - p.alike_from, 0.0)
    for by_support in (True, False):
        free = np.ones(len(weight), bool)
        support = strength @ weight
        for _ in range(p.groups):
            score = support * np.sqrt(weight) if by_support else weight
            top = int(np.argmax(np.where(free, score, -1.0)))
            if not free[top]:
                break
            group = np.flatnonzero((alike[top] > p.alike_member) & free)
            free[group] = False
            support -= strength[:, group] @ weight[group]
            if len(group) < 2:
                continue
            group = group[np.argsort(-alike[top, group], kind="stable")]
            tight = alike[top, group] > p.alike_tight
            halves = (group[tight], group[~tight]) if len(group) >= p.least_halves and not tight.all() else ()
            for part in (group, *halves):
                if len(part) >= 2:
                    found[tuple(sorted(part.tolist()))] = part
    return list(found.values())


def _groups_by_wave(context: DetectionContext, order: np.ndarray) -> list[np.ndarray]:
    """Return groups of sounds whose waveforms agree; those of the highest switch score lead."""
    p = context.params.proposals
    found: list[np.ndarray] = []
    free = np.ones(len(order), bool)
    time_s = context.candidates.time_s[order]
    for k in np.flatnonzero([context.waveforms.has(int(i)) for i in order[: p.leaders]]):
        if not free[k]:
            continue
        free[k] = False
        alike = np.nan_to_num(context.waveforms.among(int(order[k]), order))
        least = float(np.clip(np.quantile(alike, p.wave_quantile) + p.wave_above, p.wave_least, p.wave_most))
        away = np.abs(time_s - time_s[k]) > p.near_s
        group = np.flatnonzero((alike > least) & free & away)
        if len(group):
            free[group] = False
            found.append(np.concatenate([[k], group[np.argsort(-alike[group], kind="stable")]]))
        if len(found) >= p.groups:
            break
    return found


def core_of(context: DetectionContext, members: np.ndarray) -> np.ndarray:
    """Return those members whose waveforms agree with that of one of them: as many as possible."""
    p = context.params.proposals
    known = members[[context.waveforms.has(int(m)) for m in members]]
    known = known[np.argsort(-context.rise_db[known], kind="stable")[: p.most_core]]
    if len(known) < 2:
        return known
    alike = np.stack([context.waveforms.among(int(m), known) for m in known])
    agree = alike > p.core_alike
    leader = int(np.argmax(np.sum(np.where(agree, alike, 0.0), axis=1)))
    return np.asarray(known[agree[leader]])
