"""Proof of clicks: copies laid in as whole runs, several passes, the whole detector asked each time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.proof_result import FAINTER_DB, Count, Proof
from clicktimer.audio.cutting import cut_spans
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.detector import find_clicks
from clicktimer.detection.params import DetectionParams
from clicktimer.quality.proof.compose import FADE_S, ROOM_S, Composer, Insert
from clicktimer.quality.proof.copies import LEAD_S, TAIL_S, bare, varied
from clicktimer.quality.proof.counting import count_of
from clicktimer.quality.proof.part import PART_S, busiest_part, measured_in, only, state_at
from clicktimer.quality.proof.result import (
    Again,
    dice,
    nothing_proved,
)
from clicktimer.quality.proof.stretches import Stretch, kinds_by_turns, known_stretches
from clicktimer.records import (
    Click,
    Kind,
    Reason,
    Samples,
)
from clicktimer.settings import Progress, PumpState

COPIES = 100
"""Of each loudness, where there is room for them."""
MOST_PASSES = 10
MOST_SOUND_S = PART_S
"""Of each loudness: longer recordings get fewer passes, at least one; the longest only a part of them (part.py)."""
CATCH_S = 0.020
"""A copy is caught when a click of its kind is told this near to its onset (the benchmark's own window)."""
MARGIN_S = 1.2
"""Nothing is laid in nearer than this to an operation of the switch, a gap or an end."""
SPACING_S = 4.0
LONGEST_S, SHORTEST_S = 10.0, 2.0
"""Length of the stretch between two copies; the detector asks for 1.5 s between clicks."""
SLICES = 6
"""Stretches of background kept for each state of the pump."""
MOST_CUTS = 24
SURE = 0.9
"""Copies are made of clicks at least so sure, where there are two: what is doubtful may be no click of the switch."""


@dataclass(frozen=True, slots=True)
class Material:
    """What copies are made of. clicks: bare clicks by state (True: starts the pump). slices: background, on and off."""

    clicks: dict[bool, list[Samples]]
    slices: dict[bool, list[Samples]]
    kinds: dict[bool, Kind]
    stretches: list[Stretch]
    rate_hz: int


def prove_clicks(
    again: Again,
    measured: Measurement,
    *,
    pump_at_start: PumpState | None = None,
    params: DetectionParams | None = None,
    progress: Progress | None = None,
) -> Proof:
    """Lay copies of the reported clicks into the recording and count how many are detected. See docs/proof.md.

    params: those that the recording was measured with; those of params.toml if None.
    """
    part_s = busiest_part([c.time_s for c in measured.clicks], measured.source.duration_s)
    m = measured
    if part_s is not None:
        again, pump_at_start = only(again, part_s), state_at(m, part_s, pump_at_start)
        m = measured_in(m, part_s)
    rng = dice(m.source.sha256, 1)
    material = _gather(again, m, rng)
    if isinstance(material, Reason):
        return nothing_proved("clicks", material)
    pairs = max(2, min(len(m.clicks) // 2, COPIES // 2))
    passes = int(np.clip(MOST_SOUND_S // max(m.source.duration_s, 1.0), 1, min(MOST_PASSES, -(-COPIES // (2 * pairs)))))
    pairs = min(max(pairs, -(-COPIES // (2 * passes))), 2 * max(len(m.clicks), 2))
    usual: list[tuple[int, int]] = []
    fainter: list[tuple[int, int]] = []
    by_kind: dict[bool, list[tuple[int, int]]] = {True: [], False: []}
    again_told, others, silent, heard_s = 0, 0, 0, 0.0
    rounds = [(i, faint) for i in range(passes) for faint in (False, True)]
    longest_s = max(map(len, (*material.slices[False], *material.slices[True]))) / material.rate_hz
    expected_s = len(rounds) * (m.source.duration_s + pairs * longest_s)
    for _, faint in rounds:
        composer = Composer(_inserts(material, pairs, faint, rng), material.rate_hz)
        before_s = heard_s

        def step(s: float, before_s: float = before_s) -> None:
            if progress is not None:
                progress(before_s + s, max(expected_s, before_s + s))

        reported, length_s = _hear(again, composer, pump_at_start, params, step)
        heard_s += length_s
        if not reported:  # the whole was not told: not a matter of one click, so counted by itself
            silent += 1
            continue
        left = list(reported)
        results = [(copy, _caught(copy.time_s, copy.kind, left)) for copy in composer.placed]
        counted = [(copy, hit) for copy, hit in results if copy.fainter == faint]
        (fainter if faint else usual).append((len(counted), sum(hit for _, hit in counted)))
        if not faint:
            for on in (True, False):
                mine = [hit for copy, hit in counted if copy.kind == material.kinds[on]]
                by_kind[on].append((len(mine), sum(mine)))
        again_told += sum(_caught(composer.moved(c.time_s), c.kind, left) for c in m.clicks)
        others += len(left)
    whole = count_of(usual)
    same_kind = material.kinds[True] == material.kinds[False]
    none = Count(0, 0, None, None, None)
    return Proof(
        "clicks",
        whole,
        count_of(fainter),
        none if same_kind else count_of(by_kind[True]),
        none if same_kind else count_of(by_kind[False]),
        told_before=len(measured.clicks),
        others=others,
        told_again=again_told / max((len(rounds) - silent) * len(m.clicks), 1),
        hours=heard_s / 3600.0,
        passes=len(rounds),
        silent=silent,
        without_click=_without_click(measured),
        of_all=_of_all(measured, whole),
        missed_runs=_missed(measured, whole),
        part_s=part_s,
    )


def _without_click(m: Measurement) -> int:
    """Starts and stops that only the pump's sound told."""
    return sum(edge.kind != "unknown" for edge in m.edges)


def _of_all(m: Measurement, count: Count) -> float | None:
    """The share of all clicks that were told: missed are those by the rate, or those that the pump shows, if more."""
    if not count.rate:
        return None
    reported = len(m.clicks)
    return reported / (reported + max(reported * (1.0 / count.rate - 1.0), float(_without_click(m))))


def _missed(m: Measurement, count: Count) -> tuple[float, float] | None:
    """Runs expected to be missed with both clicks: beside n told whole at a rate p for each click, n ((1 - p)/p)^2.

    A run of which one click was missed is among those told, by its other click.
    """
    whole = sum(cycle.complete for cycle in m.cycles)
    if not whole or not count.low or not count.high:
        return None
    return whole * (1.0 / count.high - 1.0) ** 2, whole * (1.0 / count.low - 1.0) ** 2


def _caught(time_s: float, kind: Kind, left: list[Click]) -> bool:
    """Whether a click of the kind was told there; it is struck off, so that it counts once."""
    near = [c for c in left if abs(c.time_s - time_s) <= CATCH_S and c.kind == kind]
    if near:
        left.remove(min(near, key=lambda c: abs(c.time_s - time_s)))
    return bool(near)


def _hear(
    again: Again,
    composer: Composer,
    pump_at_start: PumpState | None,
    params: DetectionParams | None,
    step: Callable[[float], None],
) -> tuple[tuple[Click, ...], float]:
    finder, parts, end_s = OnsetFinder(params), [], 0.0
    for block in composer.blocks(again()):
        parts.append(finder.feed(block))
        end_s = block.start_s + len(block.samples) / block.rate_hz
        step(end_s)
    parts.append(finder.flush())
    heard = find_clicks(
        Candidates.join(parts),
        finder.levels(),
        duration_s=max(end_s, 1.0),
        pump_at_start=pump_at_start,
        params=params,
    )
    return heard.clicks, end_s


# -- what copies are made of -------------------------------------------------------------------------------------------


def _gather(again: Again, m: Measurement, rng: np.random.Generator) -> Material | Reason:  # noqa: C901
    """Clicks and backgrounds in one pass, or why there is nothing to prove with."""
    operations = sorted((*m.clicks, *m.edges), key=lambda c: c.time_s)
    if len(m.clicks) < 2:
        return Reason("proof.few-clicks")
    starts = dict(zip([id(op) for op in operations], kinds_by_turns(operations), strict=True))
    stretches = known_stretches(operations, m.gaps, m.source.duration_s)
    lengths = {on: _slice_length(stretches, on) for on in (True, False)}
    room = [s for s in stretches if s.length_s >= 2 * MARGIN_S + ROOM_S]
    if not room or not lengths[not room[0].on]:
        return Reason("proof.too-close")
    spans: list[tuple[float, float]] = []
    owners: list[tuple[str, bool]] = []
    for on in (True, False):
        mine = [c for c in m.clicks if starts[id(c)] == on]
        sure = [c for c in mine if c.confidence >= SURE]
        mine = sure if len(sure) >= 2 else mine
        for i in np.unique(np.linspace(0, len(mine) - 1, min(len(mine), MOST_CUTS)).astype(int)) if mine else ():
            spans.append((mine[i].time_s - LEAD_S, mine[i].time_s + TAIL_S))
            owners.append(("click", on))
        length_s = lengths[on]
        places = [s for s in stretches if s.on == on and s.length_s >= length_s + FADE_S + 0.8] if length_s else []
        for _ in range(SLICES if places else 0):
            weights = np.array([s.length_s - length_s - FADE_S - 0.7 for s in places])
            s = places[int(rng.choice(len(places), p=weights / weights.sum()))]
            begin = rng.uniform(s.from_s + 0.5, s.to_s - length_s - FADE_S - 0.2)
            spans.append((begin, begin + length_s + FADE_S))
            owners.append(("slice", on))
    cuts = cut_spans(again(), spans)
    rates = [cut.rate_hz for cut in cuts if cut is not None]
    if not rates:
        return Reason("proof.not-whole")
    rate_hz = max(set(rates), key=rates.count)
    clicks: dict[bool, list[Samples]] = {True: [], False: []}
    slices: dict[bool, list[Samples]] = {True: [], False: []}
    for cut, (what, on) in zip(cuts, owners, strict=True):
        if cut is not None and cut.rate_hz == rate_hz:
            if what == "click":
                clicks[on].append(bare(cut.samples, rate_hz))
            else:
                slices[on].append(cut.samples)
    if not (clicks[True] or clicks[False]) or not (slices[True] or slices[False]):
        return Reason("proof.not-whole")
    known = any(op.kind != "unknown" for op in operations)
    kinds: dict[bool, Kind] = {True: "cut-in", False: "cut-out"} if known else {True: "unknown", False: "unknown"}
    return Material(clicks, slices, kinds, stretches, rate_hz)


def _slice_length(stretches: list[Stretch], on: bool) -> float:
    """How long a piece of background of this state is laid in, s: 0 where none is long enough."""
    longest = max((s.length_s for s in stretches if s.on == on), default=0.0)
    length_s = min(LONGEST_S, 0.8 * (longest - FADE_S - 1.0))
    return length_s if length_s >= SHORTEST_S else 0.0


def _inserts(material: Material, pairs: int, faint: bool, rng: np.random.Generator) -> list[Insert]:
    """So many pairs at random places, as far as there is room; in a faint round one click of each is the fainter
    one.
    """
    places: list[tuple[float, bool]] = []
    room = [s for s in material.stretches if s.length_s >= 2 * MARGIN_S + ROOM_S and material.slices[not s.on]]
    if not room:
        return []
    weights = np.array([s.length_s - 2 * MARGIN_S for s in room])
    weights = weights / weights.sum()
    for _ in range(20 * pairs):
        if len(places) == pairs:
            break
        s = room[int(rng.choice(len(room), p=weights))]
        at = float(rng.uniform(s.from_s + MARGIN_S + 0.4, max(s.to_s - MARGIN_S - ROOM_S, s.from_s + MARGIN_S + 0.4)))
        if all(abs(at - other) >= SPACING_S for other, _ in places):
            places.append((at, s.on))
    inserts = []
    for at, on in sorted(places):
        slices = material.slices[not on]
        which = int(rng.integers(2)) if faint else -1
        copies = [
            _copy(material, state, -FAINTER_DB if place == which else 0.0, rng)
            for place, state in enumerate((not on, on))
        ]
        kinds = (material.kinds[not on], material.kinds[on])
        inserts.append(
            Insert(at, kinds, copies[0], copies[1], slices[int(rng.integers(len(slices)))], (which == 0, which == 1))
        )
    return inserts


def _copy(material: Material, starts: bool, level_db: float, rng: np.random.Generator) -> Samples | None:
    sounds = material.clicks[starts]
    if not sounds:
        return None
    return varied(sounds[int(rng.integers(len(sounds)))], material.rate_hz, rng, level_db=level_db)
