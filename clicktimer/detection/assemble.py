"""A decoded sequence -> clicks, each with its kind, its time and how sure it is, and edges without a click."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from clicktimer.detection import similarity
from clicktimer.detection.model_params import Assemble
from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import Solution, lone_changes
from clicktimer.records import Click, Kind


def assemble(
    context: DetectionContext, solution: Solution, *, order_known: bool, reverse: bool
) -> tuple[tuple[Click, ...], tuple[Click, ...]]:
    """Return the clicks, and the edges: changes of the pump without a click that is sure enough.

    Parameters
    ----------
    context
        The short-listed candidates.
    solution
        The accepted sequence.
    order_known
        Whether the kinds are known; if not, each click is "unknown".
    reverse
        The level falls at the first kind of click: cut-in and cut-out are exchanged.
    """
    p, path, time_s = context.params.assemble, solution.path, context.candidates.time_s
    clicks, edges = [], []
    chatter = _chatter(context, solution)
    sure = _sure_bursts(context, solution, chatter, order_known)
    for i in solution.clicks.tolist():
        if i in chatter:
            continue
        kind: Kind = "cut-in" if (path.kind[i] == 1) != reverse else "cut-out"
        if i in sure:
            clicks.append(_click(context, solution, i, sure[i], kind if order_known else "unknown"))
        else:
            edges.append(_edge(float(time_s[i]), kind, solution, p))
    lone = lone_changes(context, path.silent_rows)
    for row, silent, is_lone in zip(path.silent_rows, path.silent_kinds, lone, strict=True):
        at_s = context.levels.time_of(int(row))
        if any(0.0 <= time_s[i] - at_s < p.burst_s for i in chatter):
            continue
        if is_lone:
            edges.append(_edge(at_s, "cut-in" if (silent == 1) != reverse else "cut-out", solution, p))
        else:  # a few seconds of some other sound: not a run, but no run may span it either
            edges.append(_unknown_edge(at_s, p))
    return tuple(clicks), tuple(sorted(edges, key=lambda e: e.time_s))


def edges_by_sound(changes: Sequence[tuple[float, bool]], p: Assemble) -> tuple[Click, ...]:
    """Return starts (True) and stops of a pump that only its sound shows, as edges."""
    return tuple(_known_edge(time_s, "cut-in" if start else "cut-out", p) for time_s, start in changes)


def _edge(time_s: float, kind: Kind, solution: Solution, p: Assemble) -> Click:
    """Return a change without a sure click; its kind is known only if the pump's sound is."""
    return _unknown_edge(time_s, p) if solution.pump is None else _known_edge(time_s, kind, p)


def _known_edge(time_s: float, kind: Kind, p: Assemble) -> Click:
    return Click(time_s, kind, p.edge_confidence, timing_sd_s=p.edge_sd_s, how="pump sound")


def _unknown_edge(time_s: float, p: Assemble) -> Click:
    return Click(time_s, "unknown", p.unknown_confidence, timing_sd_s=p.edge_sd_s, how="pump sound")


@dataclass(frozen=True, slots=True)
class _Burst:
    """The sounds of one click: the first is the click. members: all of them. chance: that there was a click."""

    first: int
    members: np.ndarray
    chance: float = 0.0


def _click(context: DetectionContext, solution: Solution, i: int, burst: _Burst, kind: Kind) -> Click:
    p, time_s, first = context.params.assemble, context.candidates.time_s, burst.first
    chatter = max(int(context.burst[i]), len(burst.members))
    # If an earlier sound of the burst may have been the click, its time is less certain by that much.
    earlier_s = p.earlier_sd * (time_s[first] - time_s[burst.members].min())
    buried_s = p.buried_sd_s if chatter > 1 and context.rise_db[first] < p.buried_db else 0.0
    return Click(
        time_s=float(time_s[first] + _slide_s(context, solution, first, solution.path.kind[i] - 1)),
        kind=kind,
        confidence=min(burst.chance, p.most_confidence),
        timing_sd_s=float(context.candidates.timing_sd_s[first] + earlier_s + buried_s),
        chatter=chatter,
        level_db=float(context.rise_db[i]),
    )


def _chatter(context: DetectionContext, solution: Solution) -> set[int]:
    """Return clicks that repeat the last one of the same kind: a switch that chatters, not one missed between."""
    p, time_s, kind = context.params.assemble, context.candidates.time_s, solution.path.kind
    return {
        int(b)
        for a, b in pairwise(solution.clicks)
        if kind[a] == kind[b]
        and time_s[b] - time_s[a] < p.burst_s
        and float(np.nan_to_num(context.waveforms.among(int(a), np.array([b])))[0]) > p.same_wave
    }


def _sure_bursts(
    context: DetectionContext, solution: Solution, chatter: set[int], order_known: bool
) -> dict[int, _Burst]:
    """Return the clicks that are sure enough to report, each with its burst.

    If two in three of a kind are not, that kind is hardly heard, and what is left of it may be the noise nearest to
    where the pump stopped, too.
    """
    p, path = context.params.assemble, solution.path
    sure: dict[int, _Burst] = {}
    for which in (0, 1):
        picks = [int(i) for i in np.flatnonzero(path.kind == which + 1) if i not in chatter]
        found = {i: burst for i in picks if (burst := _sure_burst(context, solution, i, order_known)) is not None}
        if len(found) <= p.most_unheard * len(picks):
            found = {i: burst for i, burst in found.items() if solution.score[which][i] >= p.clear_own}
        sure |= found
    return sure


def _sure_burst(context: DetectionContext, solution: Solution, pick: int, order_known: bool) -> _Burst | None:
    """Return the burst of a click if it is sure enough to report."""
    p, a = context.params.assemble, context.params.acceptance
    path, which = solution.path, solution.path.kind[pick] - 1
    burst = _burst_of(context, solution, pick)
    # In a burst the paths share their belief among its sounds: that there was a click is their sum.
    chances = (path.chance_out if which else path.chance_in) if order_known else path.chance_in + path.chance_out
    chance = float(min(chances[burst.members].sum(), 1.0))
    own = float(solution.score[which][pick])
    of_its_kind = float(np.median(solution.score[which][solution.members[which]]))
    leads = own > _best_beside(context, solution, which, burst.members) + p.leads
    if chance < (a.doubted_chance if leads else a.least_chance):
        return None
    if own < p.least_own and (chance < a.sure_chance or of_its_kind < p.least_own):
        return None
    return _Burst(burst.first, burst.members, chance)


def _best_beside(context: DetectionContext, solution: Solution, which: int, burst: np.ndarray) -> float:
    """Return the best score of what lies around a burst and is no part of it."""
    time_s, around_s = context.candidates.time_s, context.params.assemble.burst_s
    first, last = np.searchsorted(time_s, [time_s[burst].min() - around_s, time_s[burst].max() + around_s])
    around = np.setdiff1d(np.arange(first, last), burst)
    return float(solution.score[which][around].max(initial=-np.inf))


def _burst_of(context: DetectionContext, solution: Solution, pick: int) -> _Burst:
    """Return the burst that a click is part of: sounds that are alike and about as loud.

    Another click of the sequence ends the burst. An earlier sound is taken for the click only if it resembles this
    kind of click about as well.
    """
    p, time_s = context.params.assemble, context.candidates.time_s
    members, first = [pick], pick
    base = max(pick - p.most_neighbors, 0)
    around = np.arange(base, min(pick + p.most_neighbors + 1, len(time_s)))
    vectors = similarity.seed_vectors(context.fingerprints, around)
    score = solution.score[solution.path.kind[pick] - 1]
    waveforms = np.nan_to_num(context.waveforms.among(pick, around))
    for step in (-1, 1):
        k = pick + step
        while 0 <= k - base < len(vectors) and abs(time_s[k] - time_s[pick]) < p.burst_s and not solution.path.kind[k]:
            alike, wave = float(vectors[k - base] @ vectors[pick - base]), float(waveforms[k - base])
            louder_db = float(context.rise_db[k] - context.rise_db[pick])
            sure = score[k] > max(score[pick] - p.sure_within, 0.0)
            same_sound = max(alike, wave + p.wave_over_features) > p.alike or sure
            strong = context.switch_score[k] > context.switch_score[pick] - p.less_score
            if same_sound and louder_db > -p.fainter_db and strong:
                members.append(k)
                plain = wave > p.same_wave or alike > p.plainly_alike or louder_db > p.louder_db or sure
                apart_s = abs(float(time_s[k] - time_s[pick]))
                same_wave = wave > p.surely_same_wave and apart_s > p.approach_s
                scores_well = score[k] > min(score[pick] - p.first_within, p.first_least - alike)
                if step < 0 and plain and (same_wave or scores_well) and time_s[pick] - time_s[k] < p.first_s:
                    first = k
            k += step
    return _Burst(first, np.array(members))


def _slide_s(context: DetectionContext, solution: Solution, pick: int, which: int) -> float:
    """Return what to add to a click's time, seconds, so that it is at the same moment as in the others of its kind.

    A contact that slides before it snaps is sometimes loud enough to be taken for the onset, sometimes not. The
    loudest moment shows which: it follows the onset after the same time in every click of a kind.
    """
    p, members = context.params.assemble, solution.members[which]
    if len(members) < p.slide_clicks:
        return 0.0
    rise_s = context.candidates.attack_s - context.candidates.approach_s
    usual = float(np.median(rise_s[members]))
    scatter = float(np.median(np.abs(rise_s[members] - usual)))
    off = float(rise_s[pick]) - usual
    return off if abs(off) > p.slide_s and scatter < p.slide_scatter * p.slide_s else 0.0
