"""Parameters of the signal side of the detector, one class per section of params.toml: sound -> candidates."""

from __future__ import annotations

from dataclasses import dataclass

from clicktimer.detection.param_table import Section


@dataclass(frozen=True, slots=True)
class CandidateFinder(Section):
    """How candidates are found; meanings, units and ranges are in params.toml."""

    frame_s: float
    after_s: float
    before_s: float
    guard_s: float
    floor_quantile: float
    floor_db_per_s: float
    rise_cap_db: float
    least_rise_db: float
    apart_s: float
    most_per_s: int
    level_s: float
