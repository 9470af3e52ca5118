"""Stage 3, the learning: decode the most likely sequence, learn what its clicks sound like, decode again.

The short list of candidates is weighed by three things: how much each resembles a snap switch at all (snap.py), how
much it resembles the clicks that the sequence has so far (likeness.py), each against how often the *other* sounds
of this recording do so, and whether the pump's level changes with it (pump.py, sequence.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer import likeness, pump, sequence, snap
from clicktimer.candidates import Candidates
from clicktimer.kernel import F32, F64
from clicktimer.waves import Waves

HAZARD_PER_S = 1.0 / 60.0
"""How often a switch clicks, to an order of magnitude: only its logarithm counts."""
_MISS = 0.05
"""Share of clicks that are not among the candidates (about 3 % in hard recordings)."""
_MOST_CANDIDATES = 3000
_LEAST_RUN_S = 1.5
_CHATTER_S = 1.0
_SNAP_MIDDLE, _SNAP_SPREAD = 3.5, 2.3
"""Snap score of the true clicks of the develop half: median, and spread below it."""
AROUND_S = 1.2
"""What is nearer to a click than this may be its echo or its chatter."""
_LEFT_OUT = 0.7
_PLAIN_APART = 4.5
_DULL = -0.3
"""Snap score below which clicks that come with a faint pump may as well be words."""
_EDGE_S = 0.4
"""A click and the change of level that goes with it lie within this time."""
_BURST_S = 6.0
_SUSTAINED_S = 8.0
_RAMP_STEPS = 3
"""Level steps after a click in which the pump may still be starting or running down."""
_ROUNDS = 4
_MOST_TEMPLATES = 12
_MOST_PRINT, _MOST_AGAINST, _MOST_WAVE, _MOST_LEVEL = 4.0, 4.0, 7.0, 2.0
"""No one comparison may say more than this, in nats."""


@dataclass(frozen=True, slots=True)
class Field:
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
    waves: Waves


@dataclass(frozen=True, slots=True)
class Seed:
    """A sound that recurs: its members, and how alike every candidate is to it."""

    members: np.ndarray
    like: F64


@dataclass(frozen=True, slots=True)
class Solution:
    """A decoded sequence with what was learnt on the way: every candidate's likeness and score as either kind."""

    path: sequence.Path
    track: pump.Track | None
    like: tuple[F64, F64]
    score: tuple[F64, F64]
    members: tuple[np.ndarray, np.ndarray]


def shortlist(candidates: Candidates, levels: pump.Levels, duration_s: float) -> Field:
    """The candidates worth weighing: the most snap-like, those at changes of level; a burst as one."""
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
    prints = likeness.Prints(prints.energy[first], prints.room[first], prints.used)
    return Field(
        short, prints, short.rise_db, row[keep], levels, duration_s, snaps[keep], burst[first], snaps, Waves(short)
    )


def _bursts(time_s: F64, snaps: F32, vectors: F32) -> tuple[np.ndarray, np.ndarray]:
    """Which candidates are not the rest of a chattering click, and how many clicks each stands for.

    A switch that chatters clicks two to five times within a second. What follows within a second, sounds alike and
    is no stronger belongs to the first: it would otherwise be counted as so much unexplained noise.
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


def learn(
    field: Field,
    track: pump.Track | None,
    seeds: tuple[Seed, Seed] | None,
    start: tuple[float, float],
    rounds: int = _ROUNDS,
) -> Solution | None:
    """Decode, learn, decode again. seeds: what cut-in and cut-out may sound like, to begin with."""
    n = len(field.cand)
    levels = field.levels
    llr = track.llr if track is not None else np.zeros(len(levels.db), np.float32)
    silent = float(np.log(HAZARD_PER_S * levels.step_s[0] * _MISS))
    # The click comes first, then the pump's sound changes: what the level says just after a click is not held against
    # it.
    ahead = [llr[np.minimum(field.row + k, len(llr) - 1)] for k in range(_RAMP_STEPS)]
    ramp = (sum(np.maximum(-a, 0.0) for a in ahead), sum(np.maximum(a, 0.0) for a in ahead))
    members: tuple[np.ndarray, np.ndarray] = (np.zeros(0, np.int64), np.zeros(0, np.int64))
    like = (np.zeros(n), np.zeros(n))
    if seeds is not None:
        members, like = (seeds[0].members, seeds[1].members), (seeds[0].like, seeds[1].like)
    best: Solution | None = None
    for turn in range(rounds):
        used = np.unique(np.concatenate(members))
        others = np.ones(n, bool)
        loud = [snap_likelihood(field, m, used) for m in members]
        score = tuple(np.clip(np.log(HAZARD_PER_S) + loud[k] + like[k], -15.0, 12.0) for k in (0, 1))
        path = sequence.decode(
            llr, levels.first, field.row, field.cand.time_s, score[0] + ramp[0], score[1] + ramp[1],
            silent=silent, least_s=_LEAST_RUN_S, start=start, posteriors=turn == rounds - 1 and rounds > 1,
        )  # fmt: skip
        members = (np.flatnonzero(path.kind == 1), np.flatnonzero(path.kind == 2))
        if not len(members[0]) and not len(members[1]):
            return None
        best = Solution(path, track, like, (score[0], score[1]), members)
        if turn < rounds - 1:
            others[:] = True
            others[np.concatenate(members)] = False
            like = (like_score(field, members[0], others), like_score(field, members[1], others))
    return best


def snap_likelihood(field: Field, members: np.ndarray, used: np.ndarray) -> F64:
    """log( density of the snap score among these clicks / rate of the unexplained candidates of that score )."""
    bins = np.arange(-12.5, 13.0, 0.5)
    centre = bins[:-1] + 0.25
    counts = np.histogram(field.population, bins)[0].astype(float)
    if len(used):
        counts -= np.histogram(field.snap[used], bins)[0]
    kernel = np.exp(-0.5 * ((centre[:, None] - centre[None, :]) / 1.0) ** 2)
    kernel /= kernel.sum(axis=1, keepdims=True)
    rate = (kernel @ np.maximum(counts, 0.0) / 0.5 + 0.15) / field.duration_s
    below = np.minimum(
        centre - _SNAP_MIDDLE, 0.0
    )  # of all switches of the develop half; better is no reason for doubt
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
    return np.asarray(np.interp(field.snap, centre, np.log(density / rate)), np.float64)


def like_score(field: Field, members: np.ndarray, others: np.ndarray) -> F64:
    """How much more each candidate sounds like these clicks than like the others: by print, wave and loudness, in
    nats.
    """
    if len(members) < 2:
        return np.zeros(len(field.cand))
    by_print = np.clip(_print_score(field, members, others), -_MOST_PRINT, _MOST_PRINT)
    return by_print + _wave_score(field, members, others) + _level_score(field, members, others)


def _wave_score(field: Field, members: np.ndarray, others: np.ndarray) -> F64:
    """log( density of the waves' likeness among these clicks / among the others )."""
    none = np.zeros(len(field.cand))
    known = members[[field.waves.has(int(m)) for m in members]]
    if len(known) < 2:
        return none
    known = known[np.argsort(-field.rise[known], kind="stable")[:_MOST_TEMPLATES]]
    columns = np.stack([field.waves.alike(int(m)) for m in known])
    columns[np.arange(len(known)), known] = np.nan  # a click must not vouch for itself
    columns = -np.sort(-columns, axis=0)  # NaN last
    use = np.maximum((np.count_nonzero(~np.isnan(columns), axis=0) + 1) // 2, 1)
    sums = np.cumsum(np.nan_to_num(columns), axis=0)
    alike = sums[use - 1, np.arange(columns.shape[1])] / use
    heard = ~np.isnan(columns[0])
    bins = np.arange(0.0, 1.0001, 0.025)
    centre = bins[:-1] + 0.0125
    kernel = np.exp(-0.5 * ((centre[:, None] - centre[None, :]) / 0.04) ** 2)
    kernel /= kernel.sum(axis=0, keepdims=True)
    prior = np.exp(-0.5 * ((centre - 0.45) / 0.09) ** 2)
    prior = prior / prior.sum() + 0.01 / len(centre)
    other = kernel @ np.histogram(alike[others & heard], bins)[0] + 3.0 * prior
    other /= other.sum() * 0.025
    mine = alike[known]
    middle = float(np.median(mine))
    spread = max(1.4826 * float(np.median(np.abs(mine - middle))), 0.07)
    wide = np.where(centre > middle, 1.0, spread)  # better than usual is no reason for doubt
    same = 0.92 * np.exp(-0.5 * ((centre - middle) / wide) ** 2) / (spread * 2.5066) + 0.08
    score = np.clip(np.log(same / other), -_MOST_AGAINST, _MOST_WAVE)
    none[heard] = np.interp(alike[heard], centre, score)
    return none


def _level_score(field: Field, members: np.ndarray, others: np.ndarray) -> F64:
    """log( density of the loudness among these clicks / among the others )."""
    level = field.cand.peak_db
    bins = np.arange(-100.0, 4.0, 2.0)
    centre = bins[:-1] + 1.0
    kernel = np.exp(-0.5 * ((centre[:, None] - centre[None, :]) / 2.5) ** 2)
    kernel /= kernel.sum(axis=0, keepdims=True)
    other = kernel @ np.histogram(level[others], bins)[0] + 3.0 / len(centre)
    other /= other.sum()
    middle = float(np.median(level[members]))
    spread = max(1.4826 * float(np.median(np.abs(level[members] - middle))), 2.5)
    same = np.exp(-0.5 * ((centre - middle) / spread) ** 2)
    same = 0.85 * same / same.sum() + 0.15 / len(centre)
    score = np.clip(np.log(same / other), -_MOST_LEVEL, _MOST_LEVEL)
    return np.asarray(np.interp(level, centre, score), np.float64)


def _print_score(field: Field, members: np.ndarray, others: np.ndarray) -> F64:
    """log( density of the distance to these clicks among themselves / among the unexplained candidates of like
    loudness ).
    """
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
    other = table[
        np.clip((field.rise / 2.0).astype(int), 0, len(r_mid) - 1),
        np.clip((distance * 2).astype(int), 0, len(d_mid) - 1),
    ]
    # How far clicks of one kind lie apart depends on the recording: noise suppression and codecs change each
    # differently.
    typical = float(np.clip(np.median(distance[members]), 2.0, 3.5))
    same = _gamma(distance, 6.0, typical * 1.1) * 0.92 + 0.08 / 16.0
    return np.asarray(np.clip(np.log(same / other), -6.0, 6.0), np.float64)


def _gamma(x: F32, shape: float, mean: float) -> F64:
    scale = mean / shape
    y = np.maximum(x.astype(np.float64), 1e-3) / scale
    log_norm = float(np.sum(np.log(np.arange(1, int(shape)))))
    return np.exp((shape - 1) * np.log(y) - y - log_norm) / scale


def worth_of(field: Field, solution: Solution) -> float:
    """What the clicks explain, in nats, comparable between guesses.

    A level that comes and goes with a click at each edge speaks for a pump; how much depends on how often so good a
    click stands at an edge by chance, or because whatever noise begins there begins with it. An edge without a
    click speaks against the guess, unless it is one of a short burst.
    """
    path = solution.path
    picks = np.flatnonzero(path.kind)
    chosen = np.where(path.kind == 1, solution.score[0], solution.score[1])[picks]
    worth = float(np.minimum(chosen, 8.0).sum())
    doubt = 3.0 if solution.track is None else 1.5
    if solution.track is not None:
        less = max(_DULL - float(np.median(field.snap[picks])), 0.0)
        worth -= 2.0 * doubtful(solution.track) * len(picks) * less
    for kind in (1, 2):
        members = np.flatnonzero(path.kind == kind)
        if len(members):  # what recurs may still be no switch: words and barks recur too
            worth -= doubt * np.sqrt(len(members)) * max(0.5 - float(np.median(field.snap[members])), 0.0)
    worth -= _LEFT_OUT * _left_out(field, solution)
    if solution.track is None:
        return worth - 2.5 * len(path.silent_rows)
    others = np.ones(len(field.cand), bool)
    others[picks] = False
    rivals = np.sort(field.snap[others])
    above = len(rivals) - np.searchsorted(rivals, field.snap[picks] - 0.5) + 0.3
    chance = above * (2.0 * _EDGE_S / field.duration_s + 0.7 / (len(field.population) + 1.0))
    worth += float(np.clip(-np.log(chance), 0.0, 5.0).sum())
    worth += _sustained_bonus(field, solution)
    lone = lone_changes(path.silent_rows, field)
    # A level that comes and goes mostly without a click is not that of the pump.
    many = max(len(path.silent_rows) - 0.3 * len(picks), 0.0) * (1.0 + 3.0 * doubtful(solution.track))
    return worth - 2.5 * float(lone.sum()) - 0.5 * float((~lone).sum()) - 6.0 * many


def doubtful(track: pump.Track) -> float:
    """From 0, where the pump is heard plainly, to 1, where its level is hardly apart: words have such a level too."""
    return min(max((_PLAIN_APART - track.apart) / 1.5, 0.0), 1.0)


def _left_out(field: Field, solution: Solution) -> float:
    """What the sounds say that resemble the clicks and yet are none of them, in nats.

    A switch takes turns: all that sounds like it is in the sequence. Of crackle that recurs, half is left over.
    """
    picks = field.cand.time_s[solution.path.kind > 0]
    at = np.searchsorted(picks, field.cand.time_s)
    to_next = picks[np.minimum(at, len(picks) - 1)] - field.cand.time_s
    to_last = field.cand.time_s - picks[np.maximum(at - 1, 0)]
    away = np.minimum(np.abs(to_next), np.abs(to_last)) > AROUND_S
    score = np.maximum(solution.score[0], solution.score[1])[away]
    return float(np.clip(score, 0.0, 8.0).sum())


def lone_changes(rows: np.ndarray, field: Field) -> np.ndarray:
    """Which changes without a click are not one of a short burst: (n,) bool."""
    near = np.diff(rows) * float(field.levels.step_s[0]) < _BURST_S
    burst = np.concatenate([near, [False]]) | np.concatenate([[False], near])
    return np.asarray(~burst[: len(rows)])


def _sustained_bonus(field: Field, solution: Solution) -> float:
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
