"""All that was measured in one recording: the record that the chain returns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from clicktimer.assessment.proof_result import Proof
from clicktimer.records import (
    Click,
    Correction,
    Cycle,
    Gap,
    Intervals,
    Notice,
    RunTime,
    SourceInfo,
    Verdict,
)
from clicktimer.targets import MARKS_S, Marks

if TYPE_CHECKING:
    from clicktimer.assessment.causes.result import CausesResult
    from clicktimer.tank.sizing import TankSizing


@dataclass(frozen=True, slots=True)
class Measurement:
    """All that was measured in one recording, or in one set of joined parts.

    Attributes
    ----------
    source : SourceInfo
        Where the sound came from.
    clicks : tuple of Click
        The switch's operations as detected, in order.
    cycles : tuple of Cycle
        Runs and rests, in order.
    gaps : tuple of Gap
        Sound that is missing.
    ambiguous : Intervals or None
        The two readings where the kinds of the clicks are unknown.
    run : RunTime or None
        The run time with no water running; None where it could not be measured.
    verdict : Verdict
        The judgment of it.
    tank : TankSizing or None
        Result of the sizing (``clicktimer.tank``); None where it was not done.
    warnings : tuple of Notice
        What the user should know.
    settings : dict
        Every value that was used, with where it came from.
    causes : CausesResult or None
        Likely causes (``clicktimer.assessment.causes``); None where they were not looked for.
    edges : tuple of Click
        Starts and stops of the pump without a sure click.
    correction : Correction or None
        What a person changed. Then cycles, ambiguous, run, verdict and tank rest on its clicks, while ``clicks`` and
        ``edges`` stay as detected.
    proof : Proof or None
        Result of the proof by added clicks (``clicktimer.quality.proof``).
    marks_s : tuple of float
        The minimum and the target by which it was judged, seconds.
    """

    source: SourceInfo
    clicks: tuple[Click, ...]
    cycles: tuple[Cycle, ...]
    gaps: tuple[Gap, ...]
    ambiguous: Intervals | None
    run: RunTime | None
    verdict: Verdict
    tank: TankSizing | None = None
    warnings: tuple[Notice, ...] = ()
    settings: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    causes: CausesResult | None = None
    edges: tuple[Click, ...] = ()
    correction: Correction | None = None
    proof: Proof | None = None
    marks_s: Marks = MARKS_S
