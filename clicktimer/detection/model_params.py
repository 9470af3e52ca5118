"""Parameters of the model side of the detector, one class per section of params.toml: candidates -> clicks."""

from __future__ import annotations

from dataclasses import dataclass

from clicktimer.detection.param_table import Section


@dataclass(frozen=True, slots=True)
class Timing(Section):
    """The clock that all times rest on."""

    clock_ppm: float
