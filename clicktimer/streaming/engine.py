"""Detection while listening: blocks in, events for each click out (heard, its kind, settled or withdrawn).

The detector is that of recordings. While listening, it looks at a bounded part of the sound: the last minutes, and the
surroundings of the clicks that are already known, by which the next one is recognized. Its result is provisional; the
whole is detected at the end (streaming/finalize.py) and compared.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np

from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.detector import DetectionResult, find_clicks
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.detection.switch_score import switch_scores
from clicktimer.records import Block, Click, Gap, Kind
from clicktimer.settings import PumpState
from clicktimer.storage.batch import Event
from clicktimer.streaming import level_step, template_match
from clicktimer.streaming.compute_budget import LOOKS_S, Pace
from clicktimer.streaming.finder import LiveFinder
from clicktimer.streaming.level_buffer import LevelTrack
from clicktimer.streaming.resume import Earlier, merged_pieces
from clicktimer.streaming.state import SAME_S

BOTH: Final[tuple[Kind, ...]] = ("cut-in", "cut-out")
MOST_HEARD_PARTS: Final = 40
"""Batches of candidates that may hold a sound of the last seconds."""


@dataclass(slots=True)
class Known:
    """What is said of one click so far."""

    time_s: float
    rise_db: float
    kind: Kind | None = None
    settled: bool = False
    click: Click | None = None
    looked: bool = False


@dataclass
class Fed:
    """What one block brought: candidates handed out, further levels with the start of their stretch, gap, events."""

    candidates: Candidates
    levels: list[tuple[float, LevelSegment]]
    gap: Gap | None
    events: list[Event] = field(default_factory=list)


class Engine:
    """Feed it blocks; ask ``decide`` when it is ``due``. Memory is bounded but for a few figures of each click."""

    def __init__(
        self,
        *,
        pump_at_start: PumpState | None = None,
        earlier: Earlier | None = None,
        forgets: bool = False,
        params: DetectionParams | None = None,
    ) -> None:
        """params: of the detector; those of params.toml if None. earlier: what was heard before, where a listening is
        resumed.

        forgets: levels that were handed out lie on disk, and the finder need not remember them (7 MB a day).
        """
        earlier = earlier or Earlier()
        self._params = params or default_params()
        self._live = self._params.live
        self.finder = LiveFinder(self._params)
        self._forgets = forgets
        self.pump_at_start = pump_at_start
        self.end_s = 0.0
        self.known: list[Known] = [Known(c.time_s, c.level_db or 0.0, c.kind, True, c) for c in earlier.clicks]
        self.order_known = any(c.kind != "unknown" for c in earlier.clicks)
        self.gaps: list[Gap] = list(earlier.gaps)
        self._by_sound = level_step.BySound(self._params)
        self._by_look = template_match.ByLook(self._params)
        self._by_look.learn(earlier.clicks[-self._live.most_known :], earlier.candidates)
        self._compared_s = self._compared_at_s = 0.0
        self._parts: list[Candidates] = [earlier.candidates] if len(earlier.candidates) else []
        self._track = LevelTrack(earlier.levels)
        self._looked_s = 0.0
        self._stretch: tuple[float, int] | None = None
        self._pace = Pace()
        self._shown: list[float] = []
        self._pruned_s = 0.0

    # -- sound in --------------------------------------------------------------------------------------------------

    def feed(self, block: Block) -> Fed:
        """Take a block; candidates and levels are those that a recording of the same sound would give."""
        fed = Fed(Candidates.none(), [], block.gap_before)
        if block.gap_before is not None and self._stretch is not None:
            # The detector begins afresh after a gap: what the old stretch still holds comes out now.
            rest = self.finder.flush()
            self._take_levels(fed, closed=True)
            fed.candidates = rest
        found = self.finder.feed(replace(block, gap_before=None) if block.gap_before is not None else block)
        fed.candidates = Candidates.join([fed.candidates, found]) if len(fed.candidates) else found
        self._take_levels(fed)
        if len(fed.candidates):
            self._parts.append(fed.candidates)
        self.end_s = block.start_s + len(block.samples) / block.rate_hz
        if block.gap_before is not None:
            self.gaps.append(block.gap_before)
            self._looked_s = self._compared_s = block.start_s
        fed.events = [*self._first_look(), *self._second_look(), *self._third_look()]
        if self.end_s - self._pruned_s > 60.0:
            self._prune()
        return fed

    def flush(self) -> Fed:
        """No more sound: the rest."""
        fed = Fed(self.finder.flush(), [], None)
        self._take_levels(fed, closed=True)
        return fed

    def _take_levels(self, fed: Fed, *, closed: bool = False) -> None:
        """Hand out the level steps that were not handed out yet."""
        if closed:  # all its steps were handed out: the end of a stretch adds none
            self._stretch = None
            return
        start_s = self.finder.stretch_start_s()
        if start_s is None:
            return
        if self._stretch is None or self._stretch[0] != start_s:
            self._stretch = (start_s, 0)
        new = self.finder.newer_levels(start_s, self._stretch[1])
        if new is not None and len(new.codes):
            fed.levels.append((start_s, new))
            self._track.add(new)
            self._stretch = (start_s, self._stretch[1] + len(new.codes))
        if self._forgets:
            self.finder.forget_levels()

    def _first_look(self) -> list[Event]:
        """Sudden sounds that stand out: said at once, kind unknown."""
        least_db = self._least_db()
        events = []
        for sudden in self.finder.sudden(self._looked_s, least_db):
            self._looked_s = sudden.time_s + 0.002
            self._shown = [t for t in self._shown if t > sudden.time_s - self._live.shown_within_s]
            if len(self._shown) >= self._live.most_shown or self._find(sudden.time_s) is not None:
                continue
            self._shown.append(sudden.time_s)
            self.known.append(Known(sudden.time_s, sudden.rise_db))
            self._pace.heard(sudden.time_s)
            events.append(Event(self.end_s, "heard", sudden.time_s, level_db=round(sudden.rise_db, 1)))
        return events

    def _least_db(self) -> float:
        """The rise from which a sudden sound is shown: a little below the fainter of the two clicks."""
        late = self.known[-8 * self._live.most_known :]  # asked at every block: a day has thousands
        most = self._live.most_known
        known_db = [[k.rise_db for k in late if k.kind == kind and k.rise_db > 0.0][-most:] for kind in BOTH]
        middles = [float(np.median(rises)) for rises in known_db if rises]
        if sum(map(len, known_db)) < 2:
            return self._live.loud_db
        return max(min(middles) - self._live.below_known_db, self._live.least_loud_db)

    def _second_look(self) -> list[Event]:
        """Before the switch is known: which way a click went, by the sound that began or ended with it."""
        if self.order_known:
            return []
        late_s = self._params.level_step.late_s
        due = [k for k in self.known if not k.looked and k.kind is None and k.time_s + late_s <= self.end_s]
        if not due and not self._by_sound.waits(self.end_s):
            return []
        recent = self._track.recent(self.end_s - self._params.level_step.history_s)
        events = []
        for known in due:
            known.looked = True
            candidates = Candidates.join([*self._parts[-MOST_HEARD_PARTS:], self.finder.pending()])
            kind = self._by_sound.kind(known.time_s, candidates, recent)
            if kind is not None:
                known.kind = kind
                known.click = Click(known.time_s, kind, self._live.by_sound_confidence, level_db=known.rise_db)
                note = f"provisional: by the sound that {'began' if kind == 'cut-in' else 'ended'} with it"
                events.append(replace(self._said("kind", known.click), note=note))
        ended_s = self._by_sound.ended(recent, self.end_s)
        known_on = None if ended_s is None else self._find(ended_s)
        if known_on is not None and known_on.kind == "cut-in":
            self.known.remove(known_on)
            note = "the sound that began with it has ended, and no click with that"
            events.append(Event(self.end_s, "withdrawn", known_on.time_s, "cut-in", note=note))
        return events

    def _third_look(self) -> list[Event]:
        """Once clicks are known: new ones by their likeness to them, whether shown yet or not."""
        if not self._by_look.knows or self.end_s - self._compared_at_s < self._live.look_every_s:
            return []
        self._compared_at_s = self.end_s
        new = Candidates.join([*self._parts[-4:], self.finder.pending()])
        new = new.take(new.time_s > self._compared_s)
        if not len(new):
            return []
        self._compared_s = float(new.time_s.max())
        new = new.take(np.array([not self._is_named_near(t) for t in new.time_s.tolist()]))
        late = self.known[-4 * self._live.most_known :]
        before = [k for k in late if k.kind is not None and k.time_s < self._compared_s]
        last: Kind = before[-1].kind or "unknown" if before else "unknown"
        compared = self._by_look.compared(new, last)
        for i in compared.unlike:
            self._pace.spare(float(new.time_s[i]))
        return [
            self._alike(float(new.time_s[i]), kind, float(new.rise_db[i]), float(new.timing_sd_s[i]))
            for i, kind in compared.found
        ]

    def _is_named_near(self, time_s: float) -> bool:
        """Return True if this click has a kind already, or is only chatter of one that has."""
        late = self.known[-4 * self._live.most_known :]
        again_s = self._params.template_match.again_s
        return any(k.kind is not None and -SAME_S <= time_s - k.time_s < again_s for k in late)

    def _alike(self, time_s: float, kind: Kind, rise_db: float, sd_s: float) -> Event:
        known = self._find(time_s)
        if known is None:
            known = Known(time_s, rise_db)
            self.known.append(known)
            self._pace.late(time_s)
        self._pace.spare(time_s)
        known.time_s, known.kind = time_s, kind
        known.click = Click(time_s, kind, self._live.by_look_confidence, timing_sd_s=sd_s, level_db=known.rise_db)
        self.known.sort(key=lambda k: k.time_s)
        return replace(self._said("kind", known.click), note="provisional: it sounds like the ones before")

    # -- deciding --------------------------------------------------------------------------------------------------

    def due(self) -> bool:
        """Whether it is time to decide again, within the share of the processor that this may take."""
        return self._pace.due(self.end_s, lambda times_s: not self.order_known or self._like_a_snap(times_s))

    def _like_a_snap(self, times_s: list[float]) -> bool:
        """Whether one of these sounds may be a click of a switch, by its shape."""
        found = Candidates.join([*self._parts[-MOST_HEARD_PARTS:], self.finder.pending()])
        near = np.min(np.abs(found.time_s[:, None] - np.array(times_s)), axis=1, initial=np.inf) <= SAME_S
        if not near.any():
            return False
        scores = switch_scores(found.take(near), self._params.switch_score)
        return bool(scores.max() >= self._live.least_score)

    def decide(self) -> list[Event]:
        """Look at the recent past and the known clicks; say what has changed."""
        began = time.process_time()
        self._pace.deciding(self.end_s)
        pieces = self._pieces()
        detected, found = self._detect_in(pieces)
        events = self._compare(detected, found, pieces)
        self._pace.spent(time.process_time() - began)
        return events

    def _pieces(self) -> list[tuple[float, float]]:
        """Stretches of time to look at, in order, not overlapping."""
        times = [k.time_s for k in self.known if k.kind is not None][-self._live.most_known :]
        around_s, recent_s = self._live.around_s, self._live.recent_s
        wanted = [(t - around_s, t + around_s) for t in times] + [(self.end_s - recent_s, self.end_s)]
        return merged_pieces(wanted, self.end_s)

    def _detect_in(self, pieces: list[tuple[float, float]]) -> tuple[DetectionResult, Candidates]:
        found = Candidates.join([*self._parts, self.finder.pending()])
        inside = np.zeros(len(found), bool)
        for first, last in pieces:
            inside |= (found.time_s >= first) & (found.time_s <= last)
        levels = self._track.cut(pieces)
        length_s = max(sum(last - first for first, last in pieces), 1.0)
        at_start = self.pump_at_start if pieces and pieces[0][0] == 0.0 else None
        found = found.take(inside)
        return find_clicks(found, levels, duration_s=length_s, pump_at_start=at_start, params=self._params), found

    def _compare(self, detected: DetectionResult, found: Candidates, pieces: list[tuple[float, float]]) -> list[Event]:
        events: list[Event] = []
        seen: set[int] = set()
        for click in detected.clicks:
            known = self._find(click.time_s)
            if known is None:
                known = Known(click.time_s, 0.0)
                self.known.append(known)
            seen.add(id(known))
            if known.kind != click.kind and not (known.kind is not None and click.kind == "unknown"):
                events.append(self._said("kind", click))
                known.kind, known.settled = click.kind, False
            if not known.rise_db:
                known.rise_db = _rise_db(click.time_s, found)
            known.click = replace(click, kind=known.kind or click.kind)
            known.time_s = click.time_s
            if not known.settled and known.kind is not None and self.end_s - click.time_s >= self._live.settled_s:
                known.settled = True
                events.append(self._said("settled", known.click))
        if detected.clicks:
            self.order_known = detected.order_known
            self._by_look.learn(detected.clicks, found)
        for known in list(self.known):
            if id(known) in seen or not any(a <= known.time_s <= b for a, b in pieces):
                continue
            age_s = self.end_s - known.time_s
            named = known.kind is not None
            since_s = LOOKS_S[0] if named else LOOKS_S[1]
            gone = bool(detected.clicks) and age_s > since_s
            if gone or (not named and age_s > self._live.forgotten_s / 2):
                self.known.remove(known)
                kind: Kind = known.kind or "unknown"
                note = "not the switch, by what followed"
                events.append(Event(self.end_s, "withdrawn", known.time_s, kind, note=note))
        self.known.sort(key=lambda k: k.time_s)
        return events

    def _said(self, what: Literal["kind", "settled"], click: Click) -> Event:
        level_db = None if click.level_db is None else round(click.level_db, 1)
        sd_s = round(click.timing_sd_s, 5)
        return Event(self.end_s, what, click.time_s, click.kind, round(click.confidence, 3), level_db, "", sd_s)

    def settle(self, final: tuple[Click, ...]) -> list[Event]:
        """The whole has been decided: settle what it holds, withdraw what it does not."""
        events: list[Event] = []
        held: set[int] = set()
        for click in final:
            known = self._find(click.time_s)
            if known is not None:
                held.add(id(known))
            if known is None or not known.settled or known.kind != click.kind:
                events.append(self._said("settled", click))
        for known in self.known:
            if id(known) not in held:
                note = "not the switch, by the whole of the listening"
                events.append(Event(self.end_s, "withdrawn", known.time_s, known.kind or "unknown", note=note))
        self.known = [Known(c.time_s, 0.0, c.kind, True, c) for c in final]
        return events

    def clicks(self) -> tuple[Click, ...]:
        """Return the clicks that have a kind now, provisional or settled, in order of time."""
        return tuple(k.click for k in self.known if k.click is not None and k.kind is not None)

    def settled_s(self) -> set[float]:
        """Return the times of the clicks that have been settled so far."""
        return {k.click.time_s for k in self.known if k.settled and k.click is not None}

    def _find(self, time_s: float) -> Known | None:
        near = [k for k in self.known if abs(k.time_s - time_s) <= SAME_S]
        return min(near, key=lambda k: abs(k.time_s - time_s), default=None)

    def _prune(self) -> None:
        """Let go of what no decision will ask for again."""
        self._pruned_s = self.end_s
        pieces = self._pieces()
        found = Candidates.join(self._parts)
        inside = np.zeros(len(found), bool)
        for first, last in pieces:
            inside |= (found.time_s >= first) & (found.time_s <= last)
        self._parts = [found.take(inside)]
        self._track.prune(pieces)
        self.known = [k for k in self.known if k.kind is not None or k.time_s > self.end_s - self._live.forgotten_s]


def _rise_db(time_s: float, found: Candidates) -> float:
    """The rise of the sudden sound at this moment, 0 where there is none."""
    near = np.abs(found.time_s - time_s)
    return float(found.rise_db[near.argmin()]) if len(near) and near.min() <= SAME_S else 0.0
