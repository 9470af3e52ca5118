"""Is this place good enough to hear the switch? Judged from one pass over a recording (docs/placing.md)."""

from clicktimer.quality.placement.findings import Finding
from clicktimer.quality.placement.judge import Place, Standing, judge_place, sharp_sounds

__all__ = ["Finding", "Place", "Standing", "judge_place", "sharp_sounds"]
