"""Stage 3, where no pump is heard yet: pairs of sounds that recur and take turns, and whether the level turns with
them.
"""

from __future__ import annotations

import numpy as np

from clicktimer.detection import pump_state, similarity
from clicktimer.detection.evidence import like_score, snap_likelihood
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import HAZARD_PER_S, Seed, Solution, learn, worth_of

_GROUPS = 12
_SEEDS = 14
_LEADERS = 80
_KEPT = 8
_SAMPLED = 500
_MOST_CORE, _CORE_ALIKE = 16, 0.65
_MOST_STEPPED, _LEAST_STEPPED, _STEPPED = 16, 3, 3.0
"""Members of a group that are asked whether the level changes at them, the most alike first, and the t value for it."""
_TEMPLATES = 6
"""Of a group of which one does not know yet whether it is a click, fewer waves are compared."""


def seeds_of(field: DetectionContext) -> list[Seed]:
    """Sounds that recur, each with how much every candidate resembles it; those that stand out most come first."""
    order = np.argsort(-field.snap, kind="stable")[:1200]
    vectors = similarity.seed_vectors(field.prints)[order]
    alike = vectors @ vectors.T
    time_s = field.cand.time_s[order]
    for k in range(len(order)):  # row by row: in one the times of all pairs would take twenty megabytes
        near = np.abs(time_s - time_s[k]) < 1.2
        near[k] = False
        alike[k, near] = -1.0
    groups = _groups(alike, np.clip(field.snap[order] + 5.0, 0.1, 12.0)) + _wave_groups(field, order)
    # Of many groups of noises that recur, only those are tried in pairs whose members stand out by themselves; for that
    # a sample of the others is enough.
    members = [order[group[:40]] for group in groups]
    alone = [_alone(field, some) for some in members]
    best = np.argsort(-np.array(alone), kind="stable")[:_SEEDS]
    return [
        Seed(members[k], like_score(field, members[k], _all_but(field, members[k]), templates=_TEMPLATES)) for k in best
    ]


def by_recurrence(field: DetectionContext, seeds: list[Seed], start: tuple[float, float]) -> list[Solution | None]:
    """Answers without the pump's sound, from pairs of sounds that recur."""
    tries: list[tuple[float, int, int, set[int]]] = []
    for a in range(len(seeds)):
        for b in range(0 if start[0] != start[1] else a, len(seeds)):
            one = learn(field, None, (seeds[a], seeds[b]), start, rounds=1)
            if one is not None:
                tries.append((worth_of(field, one), a, b, set(np.flatnonzero(one.path.kind).tolist())))
    tries.sort(key=lambda t: -t[0])
    kept: list[tuple[float, int, int, set[int]]] = []
    for one_try in tries:  # the best, and what is quite different from it: a rival must have had its chance
        alike_tries = sum(len(one_try[3] & k[3]) > 0.6 * min(len(one_try[3]), len(k[3])) for k in kept)
        if alike_tries < 2 and len(kept) < _KEPT:
            kept.append(one_try)
    return [learn(field, None, (seeds[a], seeds[b]), start) for _, a, b, _ in kept]


def _alone(field: DetectionContext, members: np.ndarray) -> float:
    """What the members of a group explain without taking turns with any other, in nats."""
    every = max(len(field.cand) // _SAMPLED, 1)
    rows = np.union1d(np.arange(0, len(field.cand), every), members)
    like = like_score(field, members, _all_but(field, members), templates=_TEMPLATES, rows=rows)
    like = like[np.searchsorted(rows, members)]
    each = np.maximum(snap_likelihood(field, members, members)[members] + like, -3.0) + np.log(HAZARD_PER_S)
    return float(np.sum(each))


def _all_but(field: DetectionContext, members: np.ndarray) -> np.ndarray:
    others = np.ones(len(field.cand), bool)
    others[members] = False
    return others


def _groups(alike: F32, weight: F32) -> list[np.ndarray]:
    """Groups of sounds that resemble each other, the most alike first in each.

    Leaders are chosen twice: by how much resembles them, and by how much they resemble a snap; a few clear clicks
    would else drown in the hundreds of a clock or of rain. Cut-in and cut-out may be much alike, so that of each
    group the whole and its two halves are worth a try.
    """
    found: dict[tuple[int, ...], np.ndarray] = {}
    strength = np.maximum(alike - 0.72, 0.0)
    for by_support in (True, False):
        free = np.ones(len(weight), bool)
        support = strength @ weight
        for _ in range(_GROUPS):
            score = support * np.sqrt(weight) if by_support else weight
            top = int(np.argmax(np.where(free, score, -1.0)))
            if not free[top]:
                break
            group = np.flatnonzero((alike[top] > 0.80) & free)
            free[group] = False
            support -= strength[:, group] @ weight[group]
            if len(group) < 2:
                continue
            group = group[np.argsort(-alike[top, group], kind="stable")]
            tight = alike[top, group] > 0.91
            for part in (group, group[tight], group[~tight]):
                if len(part) >= 2 and (part is group or (len(group) >= 4 and not tight.all())):
                    found[tuple(sorted(part.tolist()))] = part
    return list(found.values())


def _wave_groups(field: DetectionContext, order: np.ndarray) -> list[np.ndarray]:
    """Groups of sounds whose waves agree; led by those that are most of a snap."""
    found: list[np.ndarray] = []
    free = np.ones(len(order), bool)
    time_s = field.cand.time_s[order]
    for k in np.flatnonzero([field.waves.has(int(i)) for i in order[:_LEADERS]]):
        if not free[k]:
            continue
        free[k] = False
        alike = np.nan_to_num(field.waves.among(int(order[k]), order))
        least = float(np.clip(np.quantile(alike, 0.97) + 0.06, 0.6, 0.8))
        away = np.abs(time_s - time_s[k]) > 1.2
        group = np.flatnonzero((alike > least) & free & away)
        if len(group):
            free[group] = False
            found.append(np.concatenate([[k], group[np.argsort(-alike[group], kind="stable")]]))
        if len(found) >= _GROUPS:
            break
    return found


def turn_of(field: DetectionContext, solution: Solution) -> float:
    """How surely the level rises at the first kind of click and falls at the second: a t value, negative the other
    way.

    Each click is judged by the direction that the others show, so that chance does not vouch for itself.
    """
    first, second = solution.members
    if len(first) < 2 or len(second) < 2:
        return 0.0
    sign = np.concatenate([np.ones(len(first)), -np.ones(len(second))])
    return _turn(field, np.concatenate([first, second]), sign)


def _turn(field: DetectionContext, members: np.ndarray, sign: np.ndarray) -> float:
    """The t value of the change of level at some candidates, each taken with its sign."""
    change = field.levels.change_db_at(field.row[members]) / field.levels.spread_db
    signed = np.clip(change * sign[:, None], -6.0, 6.0)
    total = signed.sum(axis=0)
    own = np.array([float(row @ (total - row)) / (float(np.linalg.norm(total - row)) + 1e-9) for row in signed])
    t = float(own.mean() / (own.std() / np.sqrt(len(own)) + 0.3))
    return t if float(total.sum()) > 0 else -t


def stepped(field: DetectionContext, seed: Seed) -> pump_state.Track | None:
    """The pump, where the level changes one way at most of the sounds that recur: they are one of its two clicks.

    Its other click may be heard less often, or not at all. That the changes at some candidates are the largest of all,
    which is where a pump is looked for otherwise, need not be so: a door or a kettle makes larger ones.
    """
    members = seed.members[:_MOST_STEPPED]
    if len(members) < _LEAST_STEPPED:
        return None
    turn = _turn(field, members, np.ones(len(members)))
    if abs(turn) < _STEPPED:
        return None
    rows, none = field.row[members], np.zeros(0, np.int64)
    low, high = pump_state.levels_around(field.levels, *((rows, none) if turn > 0 else (none, rows)))
    return pump_state.refine(field.levels, low, high)


def with_pump(field: DetectionContext, solution: Solution, start: tuple[float, float]) -> Solution | None:
    """The same sounds, if the level changes one way at the one and the other way at the other: then a pump is
    heard.
    """
    turn = turn_of(field, solution)
    if abs(turn) < 3.0:
        return None
    ins, outs = solution.members if turn > 0 else solution.members[::-1]
    low, high = pump_state.levels_around(field.levels, field.row[ins], field.row[outs])
    track = pump_state.refine(field.levels, low, high)
    if track is None:
        return None
    like = solution.like if turn > 0 else solution.like[::-1]
    return learn(field, track, (Seed(ins, like[0]), Seed(outs, like[1])), start)


def together(
    field: DetectionContext, tracks: list[pump_state.Track], recurring: list[Solution], start: tuple[float, float]
) -> list[Solution | None]:
    """The plainest tracks with the sounds that recur best, either way round: each may be wrong where the other is
    right.
    """
    best = sorted(recurring, key=lambda s: -worth_of(field, s))[:3]
    out = []
    for track in sorted(tracks, key=lambda t: -t.apart)[:3]:
        for solution in best:
            seeds = tuple(Seed(m, like) for m, like in zip(solution.members, solution.like, strict=True))
            out.append(learn(field, track, (seeds[0], seeds[1]), start))
            out.append(learn(field, track, (seeds[1], seeds[0]), start))
    return out


def cored(field: DetectionContext, solution: Solution, start: tuple[float, float]) -> Solution | None:
    """The same learnt anew from the clicks of each kind whose waves agree; None where all or too few of them do.

    Learning goes from likeness to sequence and back, and stays where it is: a word that was once taken for a click
    speaks for other words.
    """
    cores = [_core(field, members) for members in solution.members]
    if all(len(core) == len(members) for core, members in zip(cores, solution.members, strict=True)):
        return None
    if min(len(core) for core in cores) < 2:
        return None
    first, second = (Seed(core, like_score(field, core, _all_but(field, core))) for core in cores)
    return learn(field, solution.track, (first, second), start)


def _core(field: DetectionContext, members: np.ndarray) -> np.ndarray:
    """Those members whose waves agree with that of one of them: as many as can be."""
    known = members[[field.waves.has(int(m)) for m in members]]
    known = known[np.argsort(-field.rise[known], kind="stable")[:_MOST_CORE]]
    if len(known) < 2:
        return known
    alike = np.stack([field.waves.among(int(m), known) for m in known])
    agree = alike > _CORE_ALIKE
    leader = int(np.argmax(np.sum(np.where(agree, alike, 0.0), axis=1)))
    return np.asarray(known[agree[leader]])
