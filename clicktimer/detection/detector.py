"""Stage 3: candidates and levels -> clicks of the switch, each with its kind and how sure that is.

What is known beforehand is little: a switch clicks alike each time, cut-in and cut-out take turns, and the pump
sounds between them. So: guess where the pump is heard (several guesses, one of them "nowhere"); under each guess
decode the best sequence; learn from it what the two clicks sound like and how loud they are; weigh every candidate
anew against all the noises that the sequence leaves unexplained; repeat. The guess whose clicks explain most wins,
if it wins clearly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clicktimer.detection import acceptance, pump_state
from clicktimer.detection.acceptance import LEAST_EACH
from clicktimer.detection.assemble import EDGE_SD_S, told
from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.detection.precursors import led_by
from clicktimer.detection.proposals import by_recurrence, cored, seeds_of, stepped, together, turn_of, with_pump
from clicktimer.detection.shortlist import DetectionContext, shortlist
from clicktimer.detection.template_em import Solution, doubtful, learn, worth_of
from clicktimer.records import Click
from clicktimer.settings import PumpState

_CORED = 3
"""So many of the best answers, with the pump's sound and without, are learnt anew from their core."""
_MORE_TRACKS = 3
"""So many more tracks are tried, from sounds that recur."""
_LEAST_LEAD = 0.35
"""The best answer must lead the best quite different one by this share of itself."""
_HALF_AS_GOOD = 0.8
"""... and, where no pump is heard, no answer that shares but one kind of click may be worth this share of it."""
_LEAST_ORDER = 0.8
_LEAST_WORTH = 8.0
"""Nats that a sequence must explain to be told at all ..."""
_LEAST_WORTH_ALONE = 30.0
"""... where no pump is heard with it ..."""
_ALONE = 2.25
"""... and how much more each click must explain there: of rain and crackle some drops are always alike."""
_LEAST_WORTH_APART = 4.0
"""... and where every click of it is more of a snap, by far, than anything else."""
_SURE_TURN = 4.5
"""t value of the change of level at the clicks from which it tells cut-in from cut-out."""
_NO_TURN = 3.0
"""... and below which the level knows nothing of the clicks."""


@dataclass(frozen=True, slots=True)
class DetectionResult:
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
    track: pump_state.Track | None
    conflict: bool = False


def find_clicks(
    candidates: Candidates,
    segments: list[LevelSegment],
    *,
    duration_s: float,
    pump_at_start: PumpState | None = None,
    params: DetectionParams | None = None,
) -> DetectionResult:
    """The clicks among the candidates of a recording.

    Where sound was lost, or parts were joined, a stretch in which nothing was told is asked once more by itself: the
    phone may have been moved, and the switch have sounded otherwise there.
    """
    params = params or default_params()
    heard = _found(candidates, segments, duration_s, pump_at_start)
    for segment in segments if len(segments) > 1 and heard.clicks else ():
        end_s = segment.start_s + segment.step_s * len(segment.codes)
        inside = (candidates.time_s >= segment.start_s) & (candidates.time_s <= end_s)
        if not inside.any() or any(segment.start_s <= c.time_s <= end_s for c in heard.clicks):
            continue
        part = _found(candidates.take(inside), [segment], max(end_s - segment.start_s, 1.0), None)
        if part.clicks:
            edges = [e for e in heard.edges if not segment.start_s <= e.time_s <= end_s]
            heard = replace(
                heard,
                clicks=tuple(sorted((*heard.clicks, *part.clicks), key=lambda c: c.time_s)),
                edges=tuple(sorted((*edges, *part.edges), key=lambda e: e.time_s)),
            )
    return heard


def _found(
    candidates: Candidates, segments: list[LevelSegment], duration_s: float, pump_at_start: PumpState | None
) -> DetectionResult:
    levels = pump_state.gather(segments)
    if levels is None or not len(candidates):
        return _nothing(0.0)
    field = shortlist(candidates, levels, duration_s)
    tracks = pump_state.guesses(field.levels, field.row)
    answers = _answers(field, tracks, pump_at_start)
    heard = _chosen(field, tracks, answers, pump_at_start) if answers else None
    return heard or _by_sound(levels, tracks) or _nothing(answers[0][0] if answers else 0.0)


def _answers(
    field: DetectionContext, tracks: list[pump_state.Track], pump_at_start: PumpState | None
) -> list[tuple[float, Solution]]:
    """All guesses worked out, with what each explains in nats, the best first."""
    start = {"off": (0.0, -12.0), "on": (-12.0, 0.0), None: (0.0, 0.0)}[pump_at_start]
    # Where the pump is heard it is asked, not the user: a wrong word must not bend what the level tells.
    unsaid = (0.0, 0.0)
    seeds = seeds_of(field)
    tracks = [*tracks, *_other_tracks(tracks, [stepped(field, seed) for seed in seeds])]
    found = [learn(field, track, None, unsaid) for track in tracks]
    recurring = by_recurrence(field, seeds, start)
    found += recurring
    found += [with_pump(field, s, unsaid) for s in recurring if s is not None]
    found += together(field, tracks, [s for s in recurring if s is not None], unsaid)
    answers = _weighed(field, found)
    for some in ([a for a in answers if a[1].track is not None], [a for a in answers if a[1].track is None]):
        for whole in some[:_CORED]:
            core = cored(field, whole[1], start if whole[1].track is None else unsaid)
            better = _weighed(field, [core])
            if better and acceptance.purer(better[0], whole):
                answers.remove(whole)
            answers += better
            if better and whole[1].track is None:
                answers += _weighed(field, [with_pump(field, better[0][1], unsaid)])
    answers.sort(key=lambda pair: -pair[0])
    if any(acceptance.plain(field, s, worth) for worth, s in answers):
        # The pump is plainly heard to start and stop with some of the sounds: what takes turns without it, be it
        # ever so often, is not its switch.
        answers = [(worth, s) for worth, s in answers if s.track is not None]
    return answers


def _other_tracks(known: list[pump_state.Track], more: list[pump_state.Track | None]) -> list[pump_state.Track]:
    """Those that are not much like any before."""
    others: list[pump_state.Track] = []
    for track in more:
        if track is not None and pump_state.is_new(track, [*known, *others]):
            others.append(track)
    return others[:_MORE_TRACKS]


def _weighed(field: DetectionContext, found: Sequence[Solution | None]) -> list[tuple[float, Solution]]:
    denied = (acceptance.pump_unheard, acceptance.level_denies, acceptance.dull)
    likely = [s for s in found if s and not any(rule(field, s) for rule in denied)]
    return sorted(((worth_of(field, s), s) for s in likely), key=lambda pair: -pair[0])


def _chosen(
    field: DetectionContext,
    tracks: list[pump_state.Track],
    answers: Sequence[tuple[float, Solution]],
    pump_at_start: PumpState | None,
) -> DetectionResult | None:
    """The best answer, if it is good enough and no other is nearly as good. None: the pump's sound counts."""
    place = next((k for k, (worth, s) in enumerate(answers) if _good_enough(field, worth, s)), None)
    if place is None:
        return None
    worth, best = answers[place]
    if not all(acceptance.outshines(best, s) for _, s in answers[:place]):
        return None
    others = [answer for k, answer in enumerate(answers) if k != place]
    if acceptance.of_no_kind(best):
        return None
    best = led_by(field, best)
    chosen = np.flatnonzero(best.path.kind)
    apart = best.track is None and acceptance.stand_apart(field, best)
    turn = 0.0 if best.track is not None else turn_of(field, best)
    rivals = [
        (its_worth, s)
        for its_worth, s in others
        if acceptance.shared(field, chosen, np.flatnonzero(s.path.kind)) < 0.3
        and not acceptance.outshines(best, s)  # nor is crackle, be it long
        and acceptance.snap_of(field, s) > acceptance.snap_of(field, best) - 2.5  # words are no rival of a clear snap
        and (
            s.track is not None or acceptance.duller_kind(field, s) >= acceptance.LEAST_SNAP_ALONE
        )  # nor what is never told
    ]
    margin = worth - (max(rivals[0][0], 0.0) if rivals else 0.0)
    if best.track is None:
        near = [s for its_worth, s in others if its_worth > _HALF_AS_GOOD * worth]
        if abs(turn) < _SURE_TURN and any(acceptance.half_differs(field, s, best) for s in near):
            return _nothing(worth)
        if any(acceptance.as_good(s, its_worth, worth / len(chosen)) for its_worth, s in rivals):
            return _nothing(worth)  # two switches, or a switch and a latch: which is it?
        if not apart and acceptance.two_kinds(best) < _LEAST_ORDER:
            return None
        if abs(turn) < _NO_TURN and _by_sound(field.levels, tracks) is not None:
            return None  # a pump is plainly heard, and these sounds have nothing to do with it
        if acceptance.duller_kind(field, best) < acceptance.LEAST_SNAP_ALONE:
            return _nothing(worth)  # a word or a chirp that comes again and again
        if acceptance.two_steps(field, best) or (abs(turn) < _SURE_TURN and acceptance.like_clockwork(field, best)):
            return _nothing(worth)
    if margin < _LEAST_LEAD * worth:
        return None
    order_known = best.track is not None or (
        pump_at_start is not None and worth >= LEAST_EACH * len(chosen) and acceptance.none_before(field, best)
    )
    heard = best.track is not None or abs(turn) >= _SURE_TURN
    flip = heard and turn < 0
    conflict = flip and pump_at_start is not None
    if best.track is not None and pump_at_start is not None:
        conflict = bool(best.path.on[0] != (pump_at_start == "on")) and abs(float(best.track.llr[:8].mean())) > 0.6
    clicks, edges = told(field, best, order_known or heard, flip)
    return DetectionResult(clicks, edges, heard, order_known or heard, worth, margin, best.track, conflict)


def _good_enough(field: DetectionContext, worth: float, solution: Solution) -> bool:
    """Whether an answer explains enough, in all and by each of its clicks, to be told if there is no other."""
    apart = solution.track is None and acceptance.stand_apart(field, solution)
    if worth < (_LEAST_WORTH_APART if apart else _LEAST_WORTH_ALONE if solution.track is None else _LEAST_WORTH):
        return False
    if solution.track is None and not apart and acceptance.bare_order(field, solution):
        return False
    doubt = doubtful(solution.track) if solution.track is not None else 0.0 if apart else _ALONE
    return worth >= LEAST_EACH * int(np.count_nonzero(solution.path.kind)) * (1.0 + doubt)


def _nothing(worth: float) -> DetectionResult:
    return DetectionResult((), (), False, False, worth, 0.0, None)


def _by_sound(levels: pump_state.Levels, tracks: list[pump_state.Track]) -> DetectionResult | None:
    """No click can be told, but the pump itself can be heard to start and stop."""
    for track in sorted(tracks, key=lambda t: -t.apart):
        changes = pump_state.runs_by_sound(levels, track)
        if changes:
            edges = tuple(
                Click(t, "cut-in" if start else "cut-out", 0.8, timing_sd_s=EDGE_SD_S, how="pump sound")
                for t, start in changes
            )
            return DetectionResult((), edges, True, True, 0.0, 0.0, track)
    return None
