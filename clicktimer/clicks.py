"""Stage 3: candidates and levels -> clicks of the switch, each with its kind and how sure that is.

What is known beforehand is little: a switch clicks alike each time, cut-in and cut-out take turns, and the pump sounds
between them. So: guess where the pump is heard (several guesses, one of them "nowhere"); under each guess decode the best
sequence; learn from it what the two clicks sound like and how loud they are; weigh every candidate anew against all the
noises that the sequence leaves unexplained; repeat. The guess whose clicks explain most wins, if it wins clearly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer import likeness, pump, sequence, snap
from clicktimer.kernel import F32, F64
from clicktimer.onsets import Candidates, LevelSegment
from clicktimer.records import Click, Kind
from clicktimer.settings import PumpState

_HAZARD_PER_S = 1.0 / 60.0
"""How often a switch clicks, to an order of magnitude: only its logarithm counts."""

_MISS = 0.05
"""Share of clicks that are not among the candidates (about 3 % in hard recordings)."""

_MOST_CANDIDATES = 3000
_LEAST_RUN_S = 1.5
_CHATTER_S = 1.0
_SNAP_MIDDLE, _SNAP_SPREAD = 3.5, 2.3
"""Snap score of the true clicks of the develop half: median, and spread below it."""
_EDGE_S = 0.4
"""A click and the change of level that goes with it lie within this time."""
_BURST_S = 6.0
_SUSTAINED_S = 8.0
_LEAST_EACH = 2.0
"""Nats that each click must explain before the user's word on the first is taken for all."""
_LEAST_LEAD = 0.35
"""The best answer must lead the best quite different one by this share of itself."""
_LEAST_ORDER = 0.8
_SURE_TURN = 4.5
"""t value of the change of level at the clicks from which it tells cut-in from cut-out."""
_LEAST_CHANCE = 0.75
"""A click is told when its chance, by all paths together, is at least this."""
_SURE_CHANCE = 0.9
_LEAST_OWN = -3.0
"""... and, unless the chance is high and clicks of its kind are well heard, its own score (the level apart) at least this:
else it is only the noise nearest to where the pump stopped."""
_EDGE_SD_S = 0.3
"""Standard deviation of a start or stop that only the pump's level tells."""
_RAMP_STEPS = 3
"""Level steps after a click in which the pump may still be starting or running down."""
_GROUPS = 12
_SEEDS = 14
_KEPT = 8
_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class Heard:
    """What came of stage 3.

    edges: starts and stops of the pump that its sound tells and no click does. pump_heard: the level told the kinds. order_known: kinds are told (by the pump or the user's word).
    track: the pump's track or None. gain: what the clicks explain, in nats. margin: lead over the next different answer.
    """

    clicks: tuple[Click, ...]
    edges: tuple[Click, ...]
    pump_heard: bool
    order_known: bool
    gain: float
    margin: float
    track: pump.Track | None
    conflict: bool = False


@dataclass(frozen=True, slots=True)
class _Field:
    """The short list with all that is computed once."""

    cand: Candidates
    prints: likeness.Prints
    rise: F32
    row: np.ndarray
    levels: pump.Levels
    duration_s: float
    snap: F32  # likeness to a snap-action switch, whatever the switch
    burst: np.ndarray  # how many clicks of a chattering burst it stands for
    population: F32  # the same of all candidates, short-listed or not


@dataclass(frozen=True, slots=True)
class _Seed:
    """A sound that recurs: its members, and how alike every candidate is to it."""

    members: np.ndarray
    like: F64


@dataclass(frozen=True, slots=True)
class _Solution:
    path: sequence.Path
    track: pump.Track | None
    like: tuple[F64, F64]
    score: tuple[F64, F64]
    members: tuple[np.ndarray, np.ndarray]


def find_clicks(
    candidates: Candidates,
    segments: list[LevelSegment],
    *,
    duration_s: float,
    pump_at_start: PumpState | None = None,
) -> Heard:
    """The clicks among the candidates of a recording."""
    levels = pump.gather(segments)
    nothing = Heard((), (), False, False, 0.0, 0.0, None)
    if levels is None or not len(candidates):
        return nothing
    field = _field(candidates, levels, duration_s)
    start = {"off": (0.0, -12.0), "on": (-12.0, 0.0), None: (0.0, 0.0)}[pump_at_start]
    tracks = _tracks(field)
    found = [_learn(field, track, None, start) for track in tracks]
    recurring = _by_recurrence(field, start)
    found += recurring
    found += [_with_pump(field, s, start) for s in recurring if s is not None]
    found += _together(field, tracks, [s for s in recurring if s is not None], start)
    solutions = sorted((s for s in found if s is not None), key=lambda s: -_worth(field, s))
    if not solutions or _worth(field, solutions[0]) < 8.0:
        return _by_sound(levels, tracks) or nothing
    best = solutions[0]
    chosen = set(np.flatnonzero(best.path.kind))
    worth = _worth(field, best)
    if best.track is not None and worth < _LEAST_EACH * len(chosen):
        return _by_sound(levels, tracks) or Heard((), (), False, False, worth, 0.0, None)
    rivals = [
        s
        for s in solutions[1:]
        if len(chosen & set(np.flatnonzero(s.path.kind))) < 0.3 * len(chosen)
        and _snap_of(field, s) > _snap_of(field, best) - 2.5  # words that recur are no rival of a clear snap
    ]
    margin = worth - (max(_worth(field, rivals[0]), 0.0) if rivals else 0.0)
    if best.track is None and any(_as_good(field, s, worth / len(chosen)) for s in rivals):
        return Heard((), (), False, False, worth, 0.0, None)  # two switches, or a switch and a latch: which is it?
    if margin < _LEAST_LEAD * worth or (best.track is None and _two_kinds(best) < _LEAST_ORDER):
        return _by_sound(levels, tracks) or Heard((), (), False, False, worth, margin, None)
    # By the user's word alone one missed click would turn every kind round: only where the clicks stand out.
    order_known = best.track is not None or (pump_at_start is not None and worth >= _LEAST_EACH * len(chosen))
    turn = 0.0 if best.track is not None else _turn(field, best)
    heard = best.track is not None or abs(turn) >= _SURE_TURN
    flip = heard and turn < 0
    conflict = flip and pump_at_start is not None
    clicks, edges = _report(field, best, order_known or heard, flip)
    return Heard(clicks, edges, heard, order_known or heard, worth, margin, best.track, conflict)


def _as_good(field: _Field, solution: _Solution, each: float) -> bool:
    """Whether another sequence stands nearly as well, click for click."""
    count = int(np.count_nonzero(solution.path.kind))
    return count >= 4 and _worth(field, solution) > 0.6 * each * count


def _snap_of(field: _Field, solution: _Solution) -> float:
    return float(np.median(field.snap[solution.path.kind > 0]))


def _two_kinds(solution: _Solution) -> float:
    """How clearly the clicks fall into two kinds that take turns: 0.5 = any could be either, 1 = no doubt.

    Crackle recurs too, but nothing in it takes turns.
    """
    picks = np.flatnonzero(solution.path.kind)
    both = np.column_stack([solution.path.chance_in[picks], solution.path.chance_out[picks]])
    return float(np.mean(both.max(axis=1) / np.maximum(both.sum(axis=1), 1e-9)))


def _by_sound(levels: pump.Levels, tracks: list[pump.Track]) -> Heard | None:
    """No click can be told, but the pump itself can be heard to start and stop."""
    for track in sorted(tracks, key=lambda t: -t.apart):
        changes = pump.runs_by_sound(levels, track)
        if changes:
            edges = tuple(
                Click(t, "cut-in" if start else "cut-out", 0.8, timing_sd_s=_EDGE_SD_S, how="pump sound")
                for t, start in changes
            )
            return Heard((), edges, True, True, 0.0, 0.0, track)
    return None


def _worth(field: _Field, solution: _Solution) -> float:
    """What the clicks explain, in nats, comparable between guesses.

    A level that comes and goes with a click at each edge speaks for a pump; how much depends on how often so good a click
    stands at an edge by chance, or because whatever noise begins there begins with it. An edge without a click speaks
    against the guess, unless it is one of a short burst.
    """
    path = solution.path
    picks = np.flatnonzero(path.kind)
    chosen = np.where(path.kind == 1, solution.score[0], solution.score[1])[picks]
    worth = float(np.minimum(chosen, 8.0).sum())
    doubt = 3.0 if solution.track is None else 1.5
    for kind in (1, 2):
        members = np.flatnonzero(path.kind == kind)
        if len(members):  # what recurs may still be no switch: words and barks recur too
            worth -= doubt * np.sqrt(len(members)) * max(0.5 - float(np.median(field.snap[members])), 0.0)
    if solution.track is None:
        return worth - 2.5 * len(path.silent_rows)
    others = np.ones(len(field.cand), bool)
    others[picks] = False
    rivals = np.sort(field.snap[others])
    above = len(rivals) - np.searchsorted(rivals, field.snap[picks] - 0.5) + 0.3
    chance = above * (2.0 * _EDGE_S / field.duration_s + 0.7 / (len(field.population) + 1.0))
    worth += float(np.clip(-np.log(chance), 0.0, 5.0).sum())
    worth += _sustained_bonus(field, solution)
    lone = _lone(path.silent_rows, field)
    return worth - 2.5 * float(lone.sum()) - 0.5 * float((~lone).sum())


def _lone(rows: np.ndarray, field: _Field) -> np.ndarray:
    """Which changes without a click are not one of a short burst: (n,) bool."""
    near = np.diff(rows) * float(field.levels.step_s[0]) < _BURST_S
    return ~(np.concatenate([near, [False]]) | np.concatenate([[False], near]))[: len(rows)]


def _sustained_bonus(field: _Field, solution: _Solution) -> float:
    """For each click between a long quiet and a long sound: barks and words end within seconds, a pump goes on."""
    path, track = solution.path, solution.track
    if track is None or track.apart < 2.0:
        return 0.0
    picks = np.flatnonzero(path.kind)
    changes = np.unique(np.concatenate([field.row[picks], path.silent_rows, field.levels.first]))
    at = np.searchsorted(changes, field.row[picks])
    before = field.row[picks] - changes[np.maximum(at - 1, 0)]
    after = changes[np.minimum(at + 1, len(changes) - 1)] - field.row[picks]
    steps = _SUSTAINED_S / float(field.levels.step_s[0])
    return float(np.sum((before >= steps) & (after >= steps))) * (3.0 if track.apart > 6.0 else 2.5)


def _field(candidates: Candidates, levels: pump.Levels, duration_s: float) -> _Field:
    snaps = snap.snap_score(candidates)
    row = levels.position(candidates.time_s)
    if len(candidates) > _MOST_CANDIDATES:
        most = max(_MOST_CANDIDATES, int(duration_s / 3600.0 * 1500))
        z = np.clip(np.abs(levels.change_db[row] / levels.spread_db), 0.0, 6.0)
        size = np.sqrt(np.mean(z**2, axis=1))
        keep = np.sort(np.argsort(-(snaps + size), kind="stable")[:most])
    else:
        keep = np.arange(len(candidates))
    short = candidates.take(keep)
    prints = likeness.linear_prints(short)
    first, burst = _bursts(short.time_s, snaps[keep], likeness.seed_vectors(prints))
    keep, short = keep[first], short.take(first)
    prints = likeness.linear_prints(short)
    return _Field(
        short, prints, short.rise_db, row[keep], levels, duration_s, snaps[keep], burst[first],
        np.delete(snaps, np.setdiff1d(np.arange(len(first)), first)) if len(first) == len(snaps) else snaps,
    )  # fmt: skip


def _bursts(time_s: F64, snaps: F32, vectors: F32) -> tuple[np.ndarray, np.ndarray]:
    """Which candidates are not the rest of a chattering click, and how many clicks each stands for.

    A switch that chatters clicks two to five times within a second. What follows within a second, sounds alike and is no
    stronger belongs to the first: it would otherwise be counted as so much unexplained noise.
    """
    n = len(time_s)
    burst = np.ones(n, np.int64)
    gone = np.zeros(n, bool)
    strong = np.flatnonzero(snaps > 1.0)
    for at, i in enumerate(strong):
        if gone[i]:
            continue
        for j in strong[at + 1 :]:
            if time_s[j] - time_s[i] > _CHATTER_S:
                break
            if not gone[j] and snaps[j] < snaps[i] + 8.0 and float(vectors[i] @ vectors[j]) > 0.7:
                gone[j] = True
                burst[i] += 1
    return np.flatnonzero(~gone), burst


def _tracks(field: _Field) -> list[pump.Track]:
    return pump.guesses(field.levels, field.row)


# -- learning ----------------------------------------------------------------------------------------------------------


def _learn(
    field: _Field,
    track: pump.Track | None,
    seeds: tuple[_Seed, _Seed] | None,
    start: tuple[float, float],
    rounds: int = _ROUNDS,
) -> _Solution | None:
    """Decode, learn, decode again. seeds: what cut-in and cut-out may sound like, to begin with."""
    n = len(field.cand)
    levels = field.levels
    llr = track.llr if track is not None else np.zeros(len(levels.db), np.float32)
    silent = float(np.log(_HAZARD_PER_S * levels.step_s[0] * _MISS))
    # The click comes first, then the pump's sound changes: what the level says just after a click is not held against it.
    ahead = [llr[np.minimum(field.row + k, len(llr) - 1)] for k in range(_RAMP_STEPS)]
    ramp = (sum(np.maximum(-a, 0.0) for a in ahead), sum(np.maximum(a, 0.0) for a in ahead))
    members: tuple[np.ndarray, np.ndarray] = (np.zeros(0, np.int64), np.zeros(0, np.int64))
    like = (np.zeros(n), np.zeros(n))
    if seeds is not None:
        members, like = (seeds[0].members, seeds[1].members), (seeds[0].like, seeds[1].like)
    best: _Solution | None = None
    for turn in range(rounds):
        used = np.unique(np.concatenate(members))
        others = np.ones(n, bool)
        loud = [_snap_likelihood(field, m, used) for m in members]
        score = tuple(
            np.clip(np.log(_HAZARD_PER_S) + loud[k] + like[k], -15.0, 12.0) for k in (0, 1)
        )
        path = sequence.decode(
            llr, levels.first, field.row, field.cand.time_s, score[0] + ramp[0], score[1] + ramp[1], silent=silent, least_s=_LEAST_RUN_S,
            start=start, posteriors=turn == rounds - 1 and rounds > 1,
        )  # fmt: skip
        members = (np.flatnonzero(path.kind == 1), np.flatnonzero(path.kind == 2))
        if not len(members[0]) and not len(members[1]):
            return None
        best = _Solution(path, track, like, (score[0], score[1]), members)
        if turn < rounds - 1:
            others[:] = True
            others[np.concatenate(members)] = False
            like = (_like_score(field, members[0], others), _like_score(field, members[1], others))
    return best


def _snap_likelihood(field: _Field, members: np.ndarray, used: np.ndarray) -> F64:
    """log( density of the snap score among these clicks / rate of the unexplained candidates of that score )."""
    bins = np.arange(-12.5, 13.0, 0.5)
    centre = bins[:-1] + 0.25
    counts = np.histogram(field.population, bins)[0].astype(float)
    if len(used):
        counts -= np.histogram(field.snap[used], bins)[0]
    kernel = np.exp(-0.5 * ((centre[:, None] - centre[None, :]) / 1.0) ** 2)
    kernel /= kernel.sum(axis=1, keepdims=True)
    rate = (kernel @ np.maximum(counts, 0.0) / 0.5 + 0.15) / field.duration_s
    below = np.minimum(centre - _SNAP_MIDDLE, 0.0)  # of all switches of the develop half; better is no reason for doubt
    broad = 0.9 * np.exp(-0.5 * (below / _SNAP_SPREAD) ** 2) / 10.0 + 0.1 / 18.0
    if len(members) >= 2:
        middle = float(np.median(field.snap[members]))
        spread = max(1.4826 * float(np.median(np.abs(field.snap[members] - middle))), 2.0)
        # Better than usual is no reason for doubt: the upper side is wide.
        wide = np.where(centre > middle, 2.5 * spread, spread)
        bell = np.exp(-0.5 * ((centre - middle) / wide) ** 2) / (1.75 * spread * 2.5066)
        density = 0.85 * bell + 0.15 * broad
    else:
        density = broad
    return np.interp(field.snap, centre, np.log(density / rate))


def _like_score(field: _Field, members: np.ndarray, others: np.ndarray) -> F64:
    """log( density of the distance to these clicks among themselves / among the unexplained candidates of like loudness )."""
    n = len(field.cand)
    if len(members) < 2:
        return np.zeros(n)
    weights = np.clip(field.rise[members], 3.0, None)
    distance, _ = likeness.distances(field.prints, likeness.pattern_of(field.prints, members, weights))
    if len(members) <= 12:  # a click must not vouch for itself
        for m in range(len(members)):
            rest = np.delete(members, m)
            pattern = likeness.pattern_of(field.prints, rest, np.delete(weights, m))
            distance[members[m]] = likeness.distances(field.prints, pattern, members[m : m + 1])[0][0]
    d_bins = np.arange(0.0, 16.5, 0.5)
    r_bins = np.arange(0.0, 28.0, 2.0)
    d_mid, r_mid = d_bins[:-1] + 0.25, r_bins[:-1] + 1.0
    table = np.histogram2d(field.rise[others], distance[others], (r_bins, d_bins))[0]
    k_r = np.exp(-0.5 * ((r_mid[:, None] - r_mid[None, :]) / 2.5) ** 2)
    k_d = np.exp(-0.5 * ((d_mid[:, None] - d_mid[None, :]) / 0.6) ** 2)
    k_d /= k_d.sum(axis=1, keepdims=True)
    table = k_r @ table @ k_d
    prior = np.exp(-0.5 * ((d_mid - 6.5) / 2.5) ** 2) + 0.01
    table += 3.0 * prior / prior.sum()
    table /= table.sum(axis=1, keepdims=True) * 0.5
    other = table[np.clip((field.rise / 2.0).astype(int), 0, len(r_mid) - 1), np.clip((distance * 2).astype(int), 0, len(d_mid) - 1)]
    # How far clicks of one kind lie apart depends on the recording: noise suppression and codecs change each differently.
    typical = float(np.clip(np.median(distance[members]), 2.0, 3.5))
    same = _gamma(distance, 6.0, typical * 1.1) * 0.92 + 0.08 / 16.0
    return np.clip(np.log(same / other), -6.0, 6.0)


def _gamma(x: F32, shape: float, mean: float) -> F64:
    scale = mean / shape
    y = np.maximum(x.astype(np.float64), 1e-3) / scale
    log_norm = float(np.sum(np.log(np.arange(1, int(shape)))))
    return np.exp((shape - 1) * np.log(y) - y - log_norm) / scale


# -- no pump heard: what recurs ----------------------------------------------------------------------------------------


def _by_recurrence(field: _Field, start: tuple[float, float]) -> list[_Solution | None]:
    """Answers without the pump's sound, from pairs of sounds that recur."""
    order = np.argsort(-field.snap, kind="stable")[:1200]
    vectors = likeness.seed_vectors(field.prints)[order]
    alike = vectors @ vectors.T
    near = np.abs(field.cand.time_s[order][:, None] - field.cand.time_s[order][None, :]) < 1.2
    alike[near & ~np.eye(len(order), dtype=bool)] = -1.0
    groups = _groups(alike, np.clip(field.snap[order] + 5.0, 0.1, 12.0))
    seeds = []
    others = np.ones(len(field.cand), bool)
    for group in groups:
        chosen = order[group[:40]]
        others[:] = True
        others[chosen] = False
        seeds.append(_Seed(chosen, _like_score(field, chosen, others)))
    # Of many groups of noises that recur, only those are tried in pairs whose members stand out by themselves.
    alone = [float(np.sum(np.maximum(_snap_likelihood(field, s.members, s.members)[s.members] + s.like[s.members], -3.0)
                          + np.log(_HAZARD_PER_S))) for s in seeds]  # fmt: skip
    seeds = [seeds[k] for k in np.argsort(-np.array(alone), kind="stable")[:_SEEDS]]
    tries: list[tuple[float, int, int, set[int]]] = []
    for a in range(len(seeds)):
        for b in range(0 if start[0] != start[1] else a, len(seeds)):
            one = _learn(field, None, (seeds[a], seeds[b]), start, rounds=1)
            if one is not None:
                tries.append((_worth(field, one), a, b, set(np.flatnonzero(one.path.kind).tolist())))
    tries.sort(key=lambda t: -t[0])
    kept: list[tuple[float, int, int, set[int]]] = []
    for one_try in tries:  # the best, and what is quite different from it: a rival must have had its chance
        alike_tries = sum(len(one_try[3] & k[3]) > 0.6 * min(len(one_try[3]), len(k[3])) for k in kept)
        if alike_tries < 2 and len(kept) < _KEPT:
            kept.append(one_try)
    return [_learn(field, None, (seeds[a], seeds[b]), start) for _, a, b, _ in kept]


def _groups(alike: F32, weight: F32) -> list[np.ndarray]:
    """Groups of sounds that resemble each other, the most alike first in each.

    Leaders are chosen twice: by how much resembles them, and by how much they resemble a snap; a few clear clicks would
    else drown in the hundreds of a clock or of rain. Cut-in and cut-out may be much alike, so that of each group the whole
    and its two halves are worth a try.
    """
    found: dict[tuple[int, ...], np.ndarray] = {}
    strength = np.maximum(alike - 0.72, 0.0)
    for by_support in (True, False):
        free = np.ones(len(weight), bool)
        for _ in range(_GROUPS):
            score = (strength @ (free * weight)) * np.sqrt(weight) if by_support else weight
            top = int(np.argmax(np.where(free, score, -1.0)))
            if not free[top]:
                break
            group = np.flatnonzero((alike[top] > 0.80) & free)
            free[top] = False
            if len(group) < 2:
                continue
            free[group] = False
            group = group[np.argsort(-alike[top, group], kind="stable")]
            tight = alike[top, group] > 0.91
            for part in (group, group[tight], group[~tight]):
                if len(part) >= 2 and (part is group or (len(group) >= 4 and not tight.all())):
                    found[tuple(sorted(part.tolist()))] = part
    return list(found.values())


def _turn(field: _Field, solution: _Solution) -> float:
    """How surely the level rises at the first kind of click and falls at the second: a t value, negative the other way.

    Each click is judged by the direction that the others show, so that chance does not vouch for itself.
    """
    first, second = solution.members
    if len(first) < 2 or len(second) < 2:
        return 0.0
    change = field.levels.change_db[field.row] / field.levels.spread_db
    sign = np.concatenate([np.ones(len(first)), -np.ones(len(second))])
    signed = np.clip(change[np.concatenate([first, second])] * sign[:, None], -6.0, 6.0)
    total = signed.sum(axis=0)
    own = np.array([float(row @ (total - row)) / (float(np.linalg.norm(total - row)) + 1e-9) for row in signed])
    t = float(own.mean() / (own.std() / np.sqrt(len(own)) + 0.3))
    return t if float(total.sum()) > 0 else -t


def _with_pump(field: _Field, solution: _Solution, start: tuple[float, float]) -> _Solution | None:
    """The same sounds, if the level changes one way at the one and the other way at the other: then a pump is heard."""
    turn = _turn(field, solution)
    if abs(turn) < 3.0:
        return None
    ins, outs = solution.members if turn > 0 else solution.members[::-1]
    low, high = pump.levels_around(field.levels, field.row[ins], field.row[outs])
    track = pump.refine(field.levels, low, high)
    if track is None:
        return None
    like = solution.like if turn > 0 else solution.like[::-1]
    return _learn(field, track, (_Seed(ins, like[0]), _Seed(outs, like[1])), start)


def _together(
    field: _Field, tracks: list[pump.Track], recurring: list[_Solution], start: tuple[float, float]
) -> list[_Solution | None]:
    """The plainest tracks with the sounds that recur best, either way round: each may be wrong where the other is right."""
    best = sorted(recurring, key=lambda s: -_worth(field, s))[:3]
    out = []
    for track in sorted(tracks, key=lambda t: -t.apart)[:3]:
        for solution in best:
            seeds = tuple(_Seed(m, like) for m, like in zip(solution.members, solution.like, strict=True))
            out.append(_learn(field, track, (seeds[0], seeds[1]), start))
            out.append(_learn(field, track, (seeds[1], seeds[0]), start))
    return out


# -- what is told ------------------------------------------------------------------------------------------------------


def _report(
    field: _Field, solution: _Solution, order_known: bool, flip: bool
) -> tuple[tuple[Click, ...], tuple[Click, ...]]:
    """The clicks, and the edges: changes of the pump without a click of which one can be sure. flip: the kinds are reversed."""
    path = solution.path
    clicks, edges = [], []
    for i in np.flatnonzero(path.kind):
        kind: Kind = "cut-in" if (path.kind[i] == 1) != flip else "cut-out"
        chance = float(path.chance_in[i] if path.kind[i] == 1 else path.chance_out[i])
        if not order_known:
            chance = float(path.chance_in[i] + path.chance_out[i])
        which = path.kind[i] - 1
        own = float(solution.score[which][i])
        of_its_kind = float(np.median(solution.score[which][solution.members[which]]))
        if chance < _LEAST_CHANCE or (own < _LEAST_OWN and (chance < _SURE_CHANCE or of_its_kind < _LEAST_OWN)):
            edges.append(_edge(float(field.cand.time_s[i]), kind, solution))
            continue
        clicks.append(
            Click(
                time_s=float(field.cand.time_s[i]),
                kind=kind if order_known else "unknown",
                confidence=min(chance, 0.999),
                timing_sd_s=float(field.cand.timing_sd_s[i]),
                chatter=int(field.burst[i]),
                level_db=float(field.rise[i]),
            )
        )
    lone = _lone(path.silent_rows, field)
    for row, silent, alone in zip(path.silent_rows, path.silent_kinds, lone, strict=True):
        if not alone:  # a few seconds of some other sound: no run is made of it, but none is told across it either
            edges.append(Click(field.levels.time_of(int(row)), "unknown", 0.5, timing_sd_s=_EDGE_SD_S, how="pump sound"))
            continue
        kind = "cut-in" if (silent == 1) != flip else "cut-out"
        edges.append(_edge(field.levels.time_of(int(row)), kind, solution))
    return tuple(clicks), tuple(sorted(edges, key=lambda e: e.time_s))


def _edge(time_s: float, kind: Kind, solution: _Solution) -> Click:
    """A change without a sure click: by the pump's sound where that is heard, else only the fact that something is missing."""
    if solution.track is None:
        return Click(time_s, "unknown", 0.5, timing_sd_s=_EDGE_SD_S, how="pump sound")
    return Click(time_s, kind, 0.8, timing_sd_s=_EDGE_SD_S, how="pump sound")


__all__ = ["Heard", "find_clicks"]
