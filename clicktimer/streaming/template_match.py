"""While listening: the kind of a click by its likeness to the clicks of this switch that are known already.

A full detection costs a third of a second, and in a lively room there is no time for it after each sound. But a switch
clicks alike every time: once a click of each kind is known, the waveform of a new one agrees with theirs as no other
sound does. This names it within half a second, provisionally; the next full detection confirms it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.detection.candidates import Candidates
from clicktimer.detection.live_params import TemplateMatch
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.switch_score import switch_scores
from clicktimer.detection.waveforms import Waveforms
from clicktimer.records import Click, Kind

KINDS: Final[tuple[Kind, ...]] = ("cut-in", "cut-out", "unknown")


@dataclass(frozen=True, slots=True)
class Compared:
    """found: index and kind of the sounds that are the switch. unlike: indices of those that plainly are not."""

    found: tuple[tuple[int, Kind], ...]
    unlike: tuple[int, ...]


class ByLook:
    """Remembers what the last clicks of each kind look like, and recognizes a new one by that."""

    def __init__(self, params: DetectionParams) -> None:
        self._detection, self._params = params, params.template_match
        self._known: dict[Kind, list[Candidates]] = {}
        self._found_s: list[float] = []

    def learn(self, clicks: Sequence[Click], candidates: Candidates) -> None:
        """Remember these clicks of a full detection among these candidates, instead of those known before.

        A click that other sounds resemble as well is left out: something in the house drips or rattles like it.
        """
        if not clicks:
            return
        p = self._params
        times_s = np.array([c.time_s for c in clicks])
        apart_s = np.min(np.abs(candidates.time_s[:, None] - times_s), axis=1, initial=np.inf)
        waveforms = Waveforms(candidates, self._detection)
        self._known, self._found_s = {}, []
        for kind in KINDS:
            for click in [c for c in clicks if c.kind == kind][-p.kept :]:
                member = int(np.argmin(np.abs(candidates.time_s - click.time_s))) if len(candidates) else -1
                if member < 0 or apart_s[member] > p.member_s or not waveforms.has(member):
                    continue
                alike = np.nan_to_num(waveforms.alike(member))
                if np.count_nonzero((alike >= p.stranger) & (apart_s > p.again_s)) <= p.most_strangers:
                    self._known.setdefault(kind, []).append(candidates.take(np.array([member])))

    @property
    def knows(self) -> bool:
        """Whether any click is known."""
        return any(self._known.values())

    def compared(self, new: Candidates, last: Kind) -> Compared:
        """Return which of the new sounds are the switch, and which are not. last: the kind named last before them."""
        p = self._params
        likely = np.flatnonzero(
            (new.wave_hz > 0.0) & (switch_scores(new, self._detection.switch_score) >= p.least_score)
        )
        if not len(likely) or not self.knows:
            return Compared((), ())
        of = [kind for kind, clicks in self._known.items() for _ in clicks]
        waveforms = Waveforms(
            Candidates.join([*(c for clicks in self._known.values() for c in clicks), new.take(likely)]),
            self._detection,
        )
        found: list[tuple[int, Kind]] = []
        unlike: list[int] = []
        sure = min(len(self._known.get("cut-in", ())), len(self._known.get("cut-out", ()))) >= p.least_sure
        for n, index in enumerate(likely.tolist()):
            likeness = np.nan_to_num(waveforms.among(len(of) + n, np.arange(len(of)))).tolist()
            best: dict[Kind, float] = {}
            for kind, like in zip(of, likeness, strict=True):
                best[kind] = max(best.get(kind, 0.0), like)
            chatter = found and float(new.time_s[index] - new.time_s[found[-1][0]]) < p.again_s
            which = None if chatter or self._too_many(float(new.time_s[index])) else _which(best, last, p)
            if which is not None:
                found.append((index, which))
                self._found_s.append(float(new.time_s[index]))
                last = which
            elif sure and max(best.values()) < p.unlike:
                unlike.append(index)
        return Compared(tuple(found), tuple(unlike))

    def _too_many(self, time_s: float) -> bool:
        """Return True if so many were found lately, without a full detection since, that it is more likely a rattle."""
        return sum(1 for t in self._found_s if t > time_s - self._params.rattle_s) >= self._params.most_in_a_row


def _which(best: dict[Kind, float], last: Kind, p: TemplateMatch) -> Kind | None:
    """Return the kind by the best likeness to the clicks of each; None if it is no click, or may be either."""
    if max(best.values()) < p.least_alike:
        return None
    kind = max(best, key=lambda k: best[k])
    if kind == "unknown":
        return kind
    other: Kind = "cut-out" if kind == "cut-in" else "cut-in"
    if other not in best:  # the other one may sound the same
        return None if last == kind else kind
    if best[kind] - best[other] < p.apart and last in (kind, other):
        return other if last == kind else kind
    return kind
