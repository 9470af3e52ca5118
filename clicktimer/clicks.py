"""Stage 3: candidates and levels -> clicks of the switch, each with its kind and how sure that is.

What is known beforehand is little: a switch clicks alike each time, cut-in and cut-out take turns, and the pump
sounds between them. So: guess where the pump is heard (several guesses, one of them "nowhere"); under each guess
decode the best sequence; learn from it what the two clicks sound like and how loud they are; weigh every candidate
anew against all the noises that the sequence leaves unexplained; repeat. The guess whose clicks explain most wins,
if it wins clearly.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from clicktimer import likeness, pump
from clicktimer.candidates import Candidates, LevelSegment
from clicktimer.companions import led_by
from clicktimer.learning import AROUND_S, Field, Solution, doubtful, learn, lone_changes, shortlist, worth_of
from clicktimer.records import Click, Kind
from clicktimer.recurrence import by_recurrence, together, turn_of, with_pump
from clicktimer.settings import PumpState

_LEAST_EACH = 2.0
"""Nats that each click must explain before the user's word on the first is taken for all."""
_LEAST_LEAD = 0.35
"""The best answer must lead the best quite different one by this share of itself."""
_HALF_AS_GOOD = 0.8
"""... and, where no pump is heard, no answer that shares but one kind of click may be worth this share of it."""
_LEAST_ORDER = 0.8
_LEAST_WORTH = 8.0
"""Nats that a sequence must explain to be told at all ..."""
_LEAST_WORTH_APART = 4.0
"""... and where every click of it is more of a snap than anything else, by this much:"""
_APART = 3.0
_RESEMBLES = -4.0
"""Score from which a sound before the first told click may have been one."""
_BURST_S = 1.0
_SLIDE_S = 0.001
_SAME_WAVE = 0.5
_FIRST_S = 0.6
"""A chattering switch snaps again within this time: the first of the snaps is the click."""
_SURE_TURN = 4.5
"""t value of the change of level at the clicks from which it tells cut-in from cut-out."""
_PLAIN_TURN = 6.0
_MOST_DOUBTFUL = 0.5
_LEAST_CHANCE = 0.75
"""A click is told when its chance, by all paths together, is at least this."""
_SURE_CHANCE = 0.9
_LEAST_OWN = -3.0
"""... and, unless the chance is high and clicks of its kind are well heard, its own score (the level apart) at
least this: else it is only the noise nearest to where the pump stopped.
"""
_EDGE_SD_S = 0.3
"""Standard deviation of a start or stop that only the pump's level tells."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What came of stage 3.

    edges: starts and stops of the pump that its sound tells and no click does. pump_heard: the level told the
    kinds. order_known: kinds are told (by the pump or the user's word). track: the pump's track or None. gain: what
    the clicks explain, in nats. margin: lead over the next different answer.
    """

    clicks: tuple[Click, ...]
    edges: tuple[Click, ...]
    pump_heard: bool
    order_known: bool
    gain: float
    margin: float
    track: pump.Track | None
    conflict: bool = False


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
    field = shortlist(candidates, levels, duration_s)
    start = {"off": (0.0, -12.0), "on": (-12.0, 0.0), None: (0.0, 0.0)}[pump_at_start]
    # Where the pump is heard it is asked, not the user: a wrong word must not bend what the level tells.
    unsaid = (0.0, 0.0)
    tracks = pump.guesses(field.levels, field.row)
    found = [learn(field, track, None, unsaid) for track in tracks]
    recurring = by_recurrence(field, start)
    found += recurring
    found += [with_pump(field, s, unsaid) for s in recurring if s is not None]
    found += together(field, tracks, [s for s in recurring if s is not None], unsaid)
    solutions = sorted(((worth_of(field, s), s) for s in found if s is not None), key=lambda pair: -pair[0])
    if not solutions:
        return _by_sound(levels, tracks) or nothing
    if any(_plain(field, s, its_worth) for its_worth, s in solutions):
        # The pump is plainly heard to start and stop with some of the sounds: what takes turns without it, be it
        # ever so often, is not its switch.
        solutions = [(its_worth, s) for its_worth, s in solutions if s.track is not None]
    worth, best = solutions[0]
    best = led_by(field, best)
    chosen = np.flatnonzero(best.path.kind)
    apart = best.track is None and _stand_apart(field, best)
    if worth < (_LEAST_WORTH_APART if apart else _LEAST_WORTH):
        return _by_sound(levels, tracks) or nothing
    doubt = 1.0 if best.track is None and not apart else doubtful(best.track) if best.track is not None else 0.0
    if worth < _LEAST_EACH * len(chosen) * (1.0 + doubt):
        return _by_sound(levels, tracks) or Heard((), (), False, False, worth, 0.0, None)
    rivals = [
        (its_worth, s)
        for its_worth, s in solutions[1:]
        if _shared(field, chosen, np.flatnonzero(s.path.kind)) < 0.3
        and _snap_of(field, s) > _snap_of(field, best) - 2.5  # words that recur are no rival of a clear snap
    ]
    margin = worth - (max(rivals[0][0], 0.0) if rivals else 0.0)
    turn = 0.0 if best.track is not None else turn_of(field, best)
    halves = abs(turn) < _SURE_TURN and any(_half_differs(field, s, best) for its_worth, s in solutions[1:] if its_worth > _HALF_AS_GOOD * worth)
    if best.track is None and (
        halves or any(_as_good(s, its_worth, worth / len(chosen)) for its_worth, s in rivals)
    ):
        return Heard((), (), False, False, worth, 0.0, None)  # two switches, or a switch and a latch: which is it?
    takes_turns = best.track is not None or apart or _two_kinds(best) >= _LEAST_ORDER
    if margin < _LEAST_LEAD * worth or not takes_turns:
        return _by_sound(levels, tracks) or Heard((), (), False, False, worth, margin, None)
    order_known = best.track is not None or (
        pump_at_start is not None and worth >= _LEAST_EACH * len(chosen) and _none_before(field, best)
    )
    heard = best.track is not None or abs(turn) >= _SURE_TURN
    flip = heard and turn < 0
    conflict = flip and pump_at_start is not None
    if best.track is not None and pump_at_start is not None:
        conflict = bool(best.path.on[0] != (pump_at_start == "on")) and abs(float(best.track.llr[:8].mean())) > 0.6
    clicks, edges = _report(field, best, order_known or heard, flip)
    return Heard(clicks, edges, heard, order_known or heard, worth, margin, best.track, conflict)


def _stand_apart(field: Field, solution: Solution) -> bool:
    """Whether every told click is more of a snap, by far, than anything else that was heard."""
    picks = np.flatnonzero(solution.path.kind)
    if len(picks) < 4:
        return False
    away = np.min(np.abs(field.cand.time_s[:, None] - field.cand.time_s[picks][None, :]), axis=1) > 1.2
    others = field.snap[away]
    return bool(not len(others) or field.snap[picks].min() > others.max() + _APART)


def _none_before(field: Field, solution: Solution) -> bool:
    """Whether the first told click can be the first there was, so that the user's word on the start settles all kinds.

    One missed click before it would turn every kind round: so nothing before it may resemble the clicks, it must be
    beyond doubt itself, and no other click may be in doubt.
    """
    path = solution.path
    picks = np.flatnonzero(path.kind)
    chance = np.maximum(path.chance_in[picks], path.chance_out[picks])
    if chance.min() < _LEAST_CHANCE or chance[0] < _SURE_CHANCE or len(path.silent_rows):
        return False
    before = field.cand.time_s < field.cand.time_s[picks[0]] - 1.2
    resembles = np.maximum(solution.score[0], solution.score[1]) > _RESEMBLES
    return not bool((before & resembles).any())


def _as_good(solution: Solution, worth: float, each: float) -> bool:
    """Whether another sequence stands nearly as well, click for click."""
    count = int(np.count_nonzero(solution.path.kind))
    return count >= 4 and worth > 0.6 * each * count


def _plain(field: Field, solution: Solution, worth: float) -> bool:
    """Whether a level that is well apart comes and goes with nearly every click, and hardly ever without one."""
    count, path = int(np.count_nonzero(solution.path.kind)), solution.path
    return (
        solution.track is not None
        and count >= 4
        and doubtful(solution.track) < _MOST_DOUBTFUL
        and len(path.silent_rows) <= 0.3 * count
        and worth >= 2.0 * _LEAST_EACH * count
        and turn_of(field, solution) >= _PLAIN_TURN
    )


def _shared(field: Field, mine: np.ndarray, its: np.ndarray) -> float:
    """Share of these clicks that another answer has too, or has something beside: an echo, a bounce, a relay."""
    if not len(mine) or not len(its):
        return 0.0
    apart = np.abs(field.cand.time_s[mine][:, None] - field.cand.time_s[its][None, :]).min(axis=1)
    return float(np.mean(apart < AROUND_S))


def _half_differs(field: Field, one: Solution, best: Solution) -> bool:
    """Whether one kind of click is about the same in two answers and the other kind is not."""
    share = [max(_shared(field, mine, its) for its in one.members) for mine in best.members]
    return min(share) < 0.3 and max(share) > 0.7 and min(len(m) for m in one.members) > 0


def _snap_of(field: Field, solution: Solution) -> float:
    return float(np.median(field.snap[solution.path.kind > 0]))


def _two_kinds(solution: Solution) -> float:
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


def _report(
    field: Field, solution: Solution, order_known: bool, flip: bool
) -> tuple[tuple[Click, ...], tuple[Click, ...]]:
    """The clicks, and the edges: changes of the pump without a click of which one can be sure. flip: the kinds are
    reversed.
    """
    path = solution.path
    clicks, edges = [], []
    again = _again(field, solution)
    for i in np.flatnonzero(path.kind):
        if i in again:
            continue
        kind: Kind = "cut-in" if (path.kind[i] == 1) != flip else "cut-out"
        first, burst = _burst_of(field, solution, int(i))
        # In a burst the paths share their belief among its snaps: that there was a click here is their sum.
        chance = float(min((path.chance_in if path.kind[i] == 1 else path.chance_out)[burst].sum(), 1.0))
        if not order_known:
            chance = float(min((path.chance_in + path.chance_out)[burst].sum(), 1.0))
        which = path.kind[i] - 1
        own = float(solution.score[which][i])
        of_its_kind = float(np.median(solution.score[which][solution.members[which]]))
        if chance < _LEAST_CHANCE or (own < _LEAST_OWN and (chance < _SURE_CHANCE or of_its_kind < _LEAST_OWN)):
            edges.append(_edge(float(field.cand.time_s[i]), kind, solution))
            continue
        clicks.append(
            Click(
                time_s=float(field.cand.time_s[first] + _as_the_others(field, solution, first, which)),
                kind=kind if order_known else "unknown",
                confidence=min(chance, 0.999),
                # Where an earlier snap of the burst may have been the click, its time is that much less certain.
                timing_sd_s=float(
                    field.cand.timing_sd_s[first] + 0.5 * (field.cand.time_s[first] - field.cand.time_s[burst].min())
                ),
                chatter=max(int(field.burst[i]), len(burst)),
                level_db=float(field.rise[i]),
            )
        )
    lone = lone_changes(path.silent_rows, field)
    for row, silent, alone in zip(path.silent_rows, path.silent_kinds, lone, strict=True):
        if any(0.0 <= field.cand.time_s[i] - field.levels.time_of(int(row)) < _BURST_S for i in again):
            continue
        if not alone:  # a few seconds of some other sound: no run is made of it, but none is told across it either
            edges.append(
                Click(field.levels.time_of(int(row)), "unknown", 0.5, timing_sd_s=_EDGE_SD_S, how="pump sound")
            )
            continue
        kind = "cut-in" if (silent == 1) != flip else "cut-out"
        edges.append(_edge(field.levels.time_of(int(row)), kind, solution))
    return tuple(clicks), tuple(sorted(edges, key=lambda e: e.time_s))


def _again(field: Field, solution: Solution) -> set[int]:
    """Picks that are the last one of the same kind again: a switch that chatters, not one that was missed between."""
    picks = np.flatnonzero(solution.path.kind)
    return {
        int(b)
        for a, b in pairwise(picks)
        if solution.path.kind[a] == solution.path.kind[b]
        and field.cand.time_s[b] - field.cand.time_s[a] < _BURST_S
        and float(np.nan_to_num(field.waves.alike(int(a)))[b]) > _SAME_WAVE
    }


def _burst_of(field: Field, solution: Solution, pick: int) -> tuple[int, np.ndarray]:
    """The first of the snaps that the pick is one of, and all of them.

    They sound alike and are about as loud; one that is a click of its own ends the burst. An earlier one is taken for
    the click only if it resembles this kind of click about as well.
    """
    time_s, near, first = field.cand.time_s, [pick], pick
    base = max(pick - 12, 0)
    vectors = likeness.seed_vectors(field.prints, np.arange(base, min(pick + 13, len(time_s))))
    score = solution.score[solution.path.kind[pick] - 1]
    waves = np.nan_to_num(field.waves.alike(pick))
    for step in (-1, 1):
        k = pick + step
        while 0 <= k - base < len(vectors) and abs(time_s[k] - time_s[pick]) < _BURST_S and not solution.path.kind[k]:
            alike = float(vectors[k - base] @ vectors[pick - base])
            louder = float(field.rise[k] - field.rise[pick])
            wave = float(waves[k])
            sure = score[k] > max(score[pick] - 3.0, 0.0)
            if (max(alike, wave + 0.2) > 0.7 or sure) and louder > -8.0 and field.snap[k] > field.snap[pick] - 7.0:
                near.append(k)
                plain = wave > _SAME_WAVE or alike > 0.85 or louder > 4.0 or sure
                like = score[k] > min(score[pick] - 4.0, 1.0)
                if step < 0 and plain and like and time_s[pick] - time_s[k] < _FIRST_S:
                    first = k
            k += step
    return first, np.array(near)


def _as_the_others(field: Field, solution: Solution, pick: int, which: int) -> float:
    """What to add to a click's time, in seconds, so that it is that of the same moment as in the other clicks.

    A contact that slides before it snaps is at one time loud enough to be taken for the onset, at another not.
    """
    late = field.cand.late_s[solution.members[which]]
    if len(late) < 3:
        return 0.0
    off = float(field.cand.late_s[pick]) - float(np.median(late))
    return off if abs(off) > _SLIDE_S else 0.0


def _edge(time_s: float, kind: Kind, solution: Solution) -> Click:
    """A change without a sure click: by the pump's sound where that is heard, else only the fact that something is
    missing.
    """
    if solution.track is None:
        return Click(time_s, "unknown", 0.5, timing_sd_s=_EDGE_SD_S, how="pump sound")
    return Click(time_s, kind, 0.8, timing_sd_s=_EDGE_SD_S, how="pump sound")


__all__ = ["Heard", "find_clicks"]
