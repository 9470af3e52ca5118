"""Options of a measurement.

Nothing here is global state: a frozen object is made once and handed down.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.targets import MARKS_S, Marks

Progress = Callable[[float, float | None], None]
"""Called with the seconds of sound heard so far, and of the whole where that is known."""
Taps = Literal["shut", "steady"]
PumpState = Literal["on", "off"]


@dataclass(frozen=True, slots=True)
class MeasureOptions:
    """What the user says of a recording and asks of it.

    taps: "shut" (no water in use), "steady" (one tap ran steadily) or None (not said).
    system: parsed values of tank, switch and pump with their origin, or None. detection: the parameters of the detector
    (clicktimer/detection/params.toml).
    """

    taps: Taps | None = None
    pump_at_start: PumpState | None = None
    marks_s: Marks = MARKS_S
    started: str | None = None
    joined: bool = False
    system: Any | None = None
    detection: DetectionParams = field(default_factory=default_params)
