"""Every threshold and option, in seconds, hertz and decibels, each with its reason.

Nothing here is global state: a frozen object is made once and handed down.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

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
class DetectionSettings:
    """How candidates are found. Values were chosen on the develop half of the benchmark (docs/accuracy.md)."""

    frame_s: float = 0.001
    """Length of one energy frame."""
    after_s: float = 0.004
    """A rise is measured over this long after an instant: a snap has most of its energy in it."""
    before_s: float = 0.015
    """... against the mean of this long before it, so that a pump's roar that has just begun does not count twice."""
    guard_s: float = 0.001
    """Left out just before the instant: codecs smear a click forwards."""
    floor_quantile: float = 0.4
    """The room is this quantile of the frames' level: below the median, so that busy seconds do not lift it."""
    floor_db_per_s: float = 30.0
    """How fast the running estimate of the room may follow."""
    rise_cap_db: float = 25.0
    """More than this over the room adds nothing: loud is not the same as click."""
    least_rise_db: float = 2.5
    """Mean rise over the bands (or, less 2.5 dB, over their better half) that makes a candidate."""
    apart_s: float = 0.020
    """A candidate is the highest rise within this distance on both sides."""
    most_per_s: int = 6
    """Candidates kept in each second: rain has more, and the strongest are enough."""
    level_s: float = 0.25
    """Step of the level track by which the pump is followed."""
    clock_ppm: float = 100.0
    """Assumed error of the recorder's clock: typical crystals are within 50 ppm, the rest is margin."""


@dataclass(frozen=True, slots=True)
class MeasureOptions:
    """What the user says of a recording and asks of it.

    taps: "shut" (no water in use), "steady" (one tap ran steadily) or None (not said).
    system: parsed values of tank, switch and pump with their origin, or None.
    """

    taps: Taps | None = None
    pump_at_start: PumpState | None = None
    marks_s: Marks = MARKS_S
    started: str | None = None
    joined: bool = False
    system: Any | None = None
    detection: DetectionSettings = field(default_factory=DetectionSettings)
