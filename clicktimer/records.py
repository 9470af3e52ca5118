"""The records that the stages hand on, in the order in which they come to be.

Reading this file from top to bottom tells the whole story: blocks of sound, clicks, cycles, the
run with no water in use, the verdict. All are frozen; every number has its unit in its name.
Times named ``*_s`` are seconds from the first decoded sample of the recording; a jump of known
length in the recording's own time stamps moves what follows it by that length.

The trade says "cycle length" loosely for the run. Here a **run** is cut-in to cut-out, a **rest**
is cut-out to the next cut-in and a **cycle** is cut-in to the next cut-in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from clicktimer.reason import AS_WRITTEN as AS_WRITTEN
from clicktimer.reason import Figure as Figure
from clicktimer.reason import Reason as Reason
from clicktimer.targets import Band

Samples = npt.NDArray[np.float32]
Kind = Literal["cut-in", "cut-out", "unknown"]
How = Literal["clicks", "pump sound"]
Change = Literal["kept", "moved", "renamed", "added", "by turns"]


@dataclass(frozen=True, slots=True)
class Gap:
    """Sound that is missing.

    Attributes
    ----------
    from_s : float
        When the sound ends, seconds.
    to_s : float or None
        When it goes on, seconds; None where the length is not known.
    why : str
        The reason, in words.
    """

    from_s: float
    to_s: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that the user should know.

    Attributes
    ----------
    code : str
        What it is about; docs/json.md lists the codes.
    reason : Reason
        The same as a code of the message catalogue with its figures.
    time_s : float or None
        Where in the recording, seconds; None: the whole of it.
    """

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
    """Where the sound came from.

    Attributes
    ----------
    name : str
        Name of the file, without its folder.
    duration_s : float
        Length, seconds.
    sample_rate_hz : int
        Samples per second and channel.
    channels : int
        Channels in the file; they are mixed to one.
    sha256 : str or None
        Fingerprint of the file, 64 hexadecimal digits; None where there is no single file.
    started_at : str or None
        Date and time of the first sample, ISO 8601; None where it is not known.
    started_how : {"given", "container", "clock", "unknown"}
        Whether the user gave it, the file holds it, or the computer's clock was read while it listened.
    """

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

    Attributes
    ----------
    time_s : float
        Its onset, seconds.
    kind : {"cut-in", "cut-out", "unknown"}
        Whether the pump starts or stops.
    confidence : float
        Probability that this is the switch and that the kind is right, 0 to 1.
    timing_sd_s : float
        Standard deviation of its time, seconds.
    chatter : int
        How many clicks of a burst it stands for; 1 for a single click.
    level_db : float or None
        Its peak over the room in the click's own band, dB.
    note : Reason or None
        What a person did to it, or None.
    how : {"clicks", "pump sound"}
        "pump sound" where no click was heard and only the pump's sound began or ended; never in ``Measurement.clicks``.
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
    """A run and the rest after it. What is unknown is None.

    Attributes
    ----------
    cut_in_s, cut_out_s : float or None
        When the pump starts and stops, seconds.
    run_s : float or None
        Length of the run, seconds.
    run_low_s, run_high_s : float or None
        95% interval of this run alone, seconds: timing and the recorder's clock.
    rest_s : float or None
        Length of the rest, cut-out to the next cut-in, seconds.
    complete : bool
        True if both clicks of the run were heard with no gap between. A run timed by the pump's sound is not complete.
    how : {"clicks", "pump sound"}
        "pump sound" where one end or both were timed by the pump's sound; the interval is wider then.
    confidence : float
        Probability that both of its clicks are right, 0 to 1.
    notes : tuple of Reason
        Why it is not complete, and what else there is to say of it.
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
    """The times between clicks whose kinds are unknown: either reading may be the run.

    Attributes
    ----------
    first_s, second_s : tuple of float
        Lengths of the intervals by each reading, seconds.
    first_starts_s, second_starts_s : tuple of float
        When each of them begins, seconds.
    reasons : tuple of Reason
        What is said of the two readings.
    """

    first_s: tuple[float, ...]
    second_s: tuple[float, ...]
    first_starts_s: tuple[float, ...]
    second_starts_s: tuple[float, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class RunTime:
    """The run time with no water running, with its 95% interval.

    Attributes
    ----------
    seconds : float
        The estimate, seconds.
    low_s, high_s : float
        The interval, seconds.
    count : int
        How many runs or cycles it rests on.
    how : str
        The estimator: "taps shut", "steady tap", "shortest run", or one of a run timed by hand.
    one_sided : bool
        True if it is only an upper bound, because water may have been running.
    timing_s : float
        Half width of the interval from timing and clock alone, seconds.
    spread_s : float or None
        Half width from the spread between runs, seconds; None where it is not known.
    notes : tuple of Reason
        What it rests on.
    doubts : tuple of Reason
        Why the figure may be wrong. With a doubt, no verdict on it is sure.
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
    """The judgment of the run time against the minimum and the target.

    Attributes
    ----------
    band : str or None
        Where the run time lies (docs/json.md lists the bands); None where nothing can be said.
    sure : bool
        True if the whole interval lies in that band. A one-sided "short" can be sure, a good band never.
    reasons : tuple of Reason
        What it says and on what it rests, in the order in which it is read.
    settle : tuple of Reason
        What would settle an open question.
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
