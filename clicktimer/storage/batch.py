"""What one commit writes to a listening folder, and the queue of what could not be written yet."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final, Literal

from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.spectral_lines import ToneSegment
from clicktimer.records import Gap, Kind, Notice

JOINED: Final = 120
"""So many waiting batches are joined into one: a minute of sound, which one transaction writes."""
LISTS: Final = ("candidates", "levels", "tones", "gaps", "events", "marks", "log", "sounds")

What = Literal["heard", "kind", "settled", "withdrawn"]


@dataclass(frozen=True, slots=True)
class Event:
    """Something said of one click. at_s: when, by the sound; time_s: of the click.

    what: "heard" (kind unknown yet), "kind" (provisional), "settled", "withdrawn" (not the switch after all).
    timing_sd_s: standard deviation of the click's time, where it is known.
    """

    at_s: float
    what: What
    time_s: float
    kind: Kind = "unknown"
    confidence: float | None = None
    level_db: float | None = None
    note: str = ""
    timing_sd_s: float | None = None


@dataclass
class Batch:
    """What is committed together. pending: replaces what was pending; levels, tones: each with its stretch's
    beginning; about: what is noted of the listening, by name, as JSON can hold it; ended: why the session ended.
    """

    end_s: float = 0.0
    candidates: list[Candidates] = field(default_factory=list)
    pending: Candidates | None = None
    levels: list[tuple[float, LevelSegment]] = field(default_factory=list)
    tones: list[tuple[float, ToneSegment]] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    marks: list[tuple[float, str, str]] = field(default_factory=list)
    log: list[tuple[float, str, str]] = field(default_factory=list)
    sounds: list[tuple[float, float, str, str]] = field(default_factory=list)
    notices: list[Notice] | None = None
    about: dict[str, Any] = field(default_factory=dict)
    ended: str | None = None


class Waiting:
    """Batches in the order in which they came, the older ones joined. Empty while the disk takes everything."""

    def __init__(self) -> None:
        self._joined: list[Batch] = []
        self._single: list[Batch] = []

    def __len__(self) -> int:
        return len(self._joined) + len(self._single)

    def add(self, batch: Batch) -> None:
        """Put a batch at the end."""
        self._single.append(batch)
        if len(self._single) >= 2 * JOINED:
            self._joined.append(_joined(self._single[:JOINED]))
            del self._single[:JOINED]

    def oldest(self) -> Batch:
        """Return what is to be written next; all that is not joined yet counts as one."""
        if self._joined:
            return self._joined[0]
        if len(self._single) > 1:
            self._single = [_joined(self._single)]
        return self._single[0]

    def written(self) -> None:
        """Drop what ``oldest`` returned."""
        del (self._joined or self._single)[0]


def _joined(batches: list[Batch]) -> Batch:
    """Return one batch that writes what these write, one after the other."""
    last = batches[-1]
    whole = Batch(end_s=last.end_s, ended=last.ended)
    for batch in batches:
        for name in LISTS:
            getattr(whole, name).extend(getattr(batch, name))
        whole.pending = batch.pending if batch.pending is not None else whole.pending
        whole.notices = batch.notices if batch.notices is not None else whole.notices
        whole.about |= batch.about
    whole.candidates = [Candidates.join(whole.candidates)] if whole.candidates else []
    return whole
