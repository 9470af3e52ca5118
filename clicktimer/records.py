"""The records that the stages hand on, in the order in which they come to be.

Reading this file from top to bottom tells the whole story: blocks of sound, clicks, cycles, the
run with no water in use, the verdict. All are frozen; every number has its unit in its name.
Times named ``*_s`` are seconds from the first decoded sample of the recording; a jump of known
length in the recording's own time stamps moves what follows it by that length.

The trade says "cycle length" loosely for the run. Here a **run** is cut-in to cut-out, a **rest**
is cut-out to the next cut-in and a **cycle** is cut-in to the next cut-in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any, Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from clicktimer.targets import MARKS_S, Band, Marks

Samples = npt.NDArray[np.float32]
Kind = Literal["cut-in", "cut-out", "unknown"]
How = Literal["clicks", "pump sound"]
Change = Literal["kept", "moved", "renamed", "added", "by turns"]


AS_WRITTEN: Final = "notice.as-written"
"""The code of a sentence that an earlier program noted in words."""

Figure: TypeAlias = "float | int | str | bool | tuple[Figure, ...] | Reason | None"
"""What a reason may carry: SI numbers, names, codes, times in seconds, tuples of these, or another reason."""


@dataclass(frozen=True, slots=True, init=False)
class Reason:
    """Why something was decided: a code of the message catalogue with its figures. Hashable; equal by value.

    >>> Reason("verdict.crosses", mark_s=30.0)["mark_s"]
    30.0
    """

    code: str
    figures: tuple[tuple[str, Figure], ...]

    def __init__(self, code: str, **figures: Figure) -> None:
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "figures", tuple(sorted(figures.items())))

    def __getitem__(self, name: str) -> Figure:
        return dict(self.figures)[name]

    @classmethod
    def from_data(cls, noted: Any) -> Reason:
        """Return a reason from plain data: its code and figures, or the words that an earlier program wrote instead.

        Raises
        ------
        ValueError
            If it is neither.
        """
        if isinstance(noted, str):
            return cls(AS_WRITTEN, words=noted)
        if not (isinstance(noted, dict) and isinstance(noted.get("code"), str)):
            raise ValueError("neither a code with figures nor words")
        figures = noted.get("figures", {})
        if not isinstance(figures, dict):
            raise ValueError("the figures of a code are not named")
        return cls(noted["code"], **{name: _figure(figure) for name, figure in figures.items()})

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: Any) -> Any:
        """Let a checked reader of plain data read a reason as ``from_data`` does."""
        from pydantic import PlainValidator

        return handler.generate_schema(Annotated[Any, PlainValidator(cls.from_data)])


def _figure(noted: Any) -> Figure:
    if isinstance(noted, dict):
        return Reason.from_data(noted)
    return tuple(_figure(one) for one in noted) if isinstance(noted, list) else noted


@dataclass(frozen=True, slots=True)
class Gap:
    """Sound that is missing. ``to_s`` is None where its length is not known."""

    from_s: float
    to_s: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the user should know. ``code`` is listed in docs/json.md; ``time_s`` None: the whole recording."""

    code: str
    reason: Reason
    time_s: float | None = None


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of sound without a hole in it.

    samples: shape (n,), mono, float32, full scale = 1.
    start_s: time of the first sample.
    gap_before: the gap just before this block, or None. After a gap every memory of the sound before is void.
    """

    samples: Samples
    rate_hz: int
    start_s: float
    gap_before: Gap | None = None


@dataclass(frozen=True, slots=True)
class SourceInfo:
    """Where the sound came from. ``started_how``: "given", "container" or "unknown"."""

    name: str
    duration_s: float
    sample_rate_hz: int
    channels: int
    sha256: str | None
    started_at: str | None = None
    started_how: Literal["given", "container", "clock", "unknown"] = "unknown"


@dataclass(frozen=True, slots=True)
class Click:
    """One operation of the pressure switch.

    confidence: chance that this is the switch and that the kind is right, 0..1.
    timing_sd_s: standard deviation of its time. chatter: how many clicks of a burst it stands for (1 = none).
    level_db: its peak over the room in the click's own band. note: what a person did to it, or None.
    how: "pump sound" where no click was heard and only the pump's sound began or ended (never among the clicks told).
    """

    time_s: float
    kind: Kind
    confidence: float
    timing_sd_s: float = 0.001
    chatter: int = 1
    level_db: float | None = None
    note: Reason | None = None
    how: How = "clicks"


@dataclass(frozen=True, slots=True)
class Cycle:
    """A run and the rest after it. Unknown is None.

    complete: both clicks of the run were heard and there is no gap between (``rest_s`` may still be None). A run
    timed by the pump's sound at one end or both (``how``) has its ``run_s``, with a wider interval, but is not
    complete. run_low_s, run_high_s: 95 % interval of this run alone (timing and the recorder's clock). notes: why it is
    not complete, and what else is to be said of it.
    """

    cut_in_s: float | None
    cut_out_s: float | None
    run_s: float | None
    run_low_s: float | None
    run_high_s: float | None
    rest_s: float | None
    complete: bool
    how: How = "clicks"
    confidence: float = 1.0
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Intervals:
    """The times between clicks whose kinds could not be told: either reading may be the run."""

    first_s: tuple[float, ...]
    second_s: tuple[float, ...]
    first_starts_s: tuple[float, ...]
    second_starts_s: tuple[float, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class RunTime:
    """r0, the run with no water in use, with its 95 % interval.

    count: runs or cycles it rests on. how: the estimator ("taps shut", "steady tap", "shortest run").
    one_sided: only an upper bound (water may have been in use).
    timing_s: half width from timing and clock alone. spread_s: half width from the spread between runs, None when
    unknown.
    notes: what it rests on. doubts: why the figure may not be what it seems; while there is one, no verdict is sure.
    """

    seconds: float
    low_s: float
    high_s: float
    count: int
    how: str
    one_sided: bool
    timing_s: float
    spread_s: float | None
    notes: tuple[Reason, ...] = ()
    doubts: tuple[Reason, ...] = ()

    @property
    def doubted(self) -> bool:
        """Whether anything makes the figure uncertain."""
        return bool(self.doubts)


@dataclass(frozen=True, slots=True)
class Verdict:
    """The judgement of r0 against the marks.

    band: where r0 lies; None when nothing can be said (not measured, or only "at most" a good figure).
    sure: the whole interval lies in that band (a one-sided "short" can be sure; a good one never).
    reasons: what it says and on what it rests, in the order in which it is read. settle: what would settle an open
    question.
    """

    band: Band | None
    sure: bool
    reasons: tuple[Reason, ...] = ()
    settle: tuple[Reason, ...] = ()

    def has(self, code: str) -> bool:
        """Return whether one of its reasons has this code."""
        return any(reason.code == code for reason in self.reasons)


@dataclass(frozen=True, slots=True)
class CorrectedClick:
    """A click as a person left it.

    change: "kept"; "moved", "renamed" or "added" by hand; "by turns": its kind follows from one that a person named.
    was_s, was_kind: time and kind as detected, None for an added one.
    """

    click: Click
    change: Change
    was_s: float | None
    was_kind: Kind | None


@dataclass(frozen=True, slots=True)
class Correction:
    """What a person made of the clicks, and what had been measured before.

    file: name of the label file. clicks: those that now count (``how``: "pump sound" for starts and stops of the pump
    without a click). deleted: detected, and struck out by hand. figures: names of what rests on a change.
    detected_*: cycles, run and verdict from the clicks as detected.
    """

    file: str
    clicks: tuple[CorrectedClick, ...]
    deleted: tuple[Click, ...]
    figures: tuple[str, ...]
    detected_cycles: tuple[Cycle, ...]
    detected_run: RunTime | None
    detected_verdict: Verdict


@dataclass(frozen=True, slots=True)
class Measurement:
    """All that was measured in one recording (or one set of joined parts).

    tank is the result of the sizing (see clicktimer.tank), or None. settings: every value used, with where it came
    from.
    causes: the likely causes (see clicktimer.assessment.causes), or None where they were not looked for.
    marks_s: the minimum and the target by which it was judged, in seconds.
    edges: starts and stops of the pump without a sure click; where nothing tells which, of kind "unknown".
    correction: what a person changed, or None. clicks and edges are always as detected; with a correction, cycles,
    ambiguous, run, verdict and tank rest on its clicks instead. proof: see clicktimer.quality.proof, or None.
    """

    source: SourceInfo
    clicks: tuple[Click, ...]
    cycles: tuple[Cycle, ...]
    gaps: tuple[Gap, ...]
    ambiguous: Intervals | None
    run: RunTime | None
    verdict: Verdict
    tank: Any | None = None
    warnings: tuple[Notice, ...] = ()
    settings: dict[str, Any] = field(default_factory=dict)
    causes: Any | None = None
    edges: tuple[Click, ...] = ()
    correction: Correction | None = None
    proof: Any | None = None
    marks_s: Marks = MARKS_S
