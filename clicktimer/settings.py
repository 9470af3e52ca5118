"""Options of a measurement, and the bands and time slices in which sound is described.

Nothing here is global state: a frozen object is made once and handed down.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.targets import MARKS_S, Marks

Taps = Literal["shut", "steady"]
PumpState = Literal["on", "off"]

BAND_EDGES_HZ = (300.0, 600.0, 1100.0, 1800.0, 2800.0, 4200.0, 6300.0, 9500.0, 15000.0)
"""Edges of the eight bands in which a click is looked for, about 0.7 octave each: wide enough to rise within 2 ms."""

SLICE_EDGES_S = (0.0, 0.002, 0.005, 0.010, 0.020, 0.040, 0.080)
"""Time slices of a candidate's print, from its onset: fine where a click lives, coarse where only the room rings."""

CONTEXT_S = ((-0.060, -0.010), (0.080, 0.250))
"""What sounds before and after a candidate: a snap stands alone, a word or a bark goes on."""

LOW_EDGES_HZ = (40.0, 55.0, 70.0, 90.0, 110.0, 130.0, 165.0, 210.0, 270.0, 350.0, 450.0, 580.0, 750.0, 1000.0)
"""Edges of the bands, below those of the clicks, in which a motor hums; mains lines of 50 and 60 Hz lie inside one."""


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
