"""Parameters of what is named while listening, one class per section of params.toml.

Meanings, units, origins and valid ranges are in params.toml.
"""

from __future__ import annotations

from dataclasses import dataclass

from clicktimer.detection.param_table import Section


@dataclass(frozen=True, slots=True)
class LevelStep(Section):
    """While listening: the kind of a click by the sound that began or ended with it."""

    history_s: float
    least_history_s: float
    late_s: float
    score: tuple[float, ...]
    size: tuple[float, ...]
    step_db: tuple[float, ...]
    agreeing: tuple[float, ...]
    bands: tuple[float, ...]
    most_wander_db: tuple[float, ...]
    change_cap: float
    decisive: float
    change_bands: int
    near_s: float
    same_s: float
    back: float
    look_s: float


@dataclass(frozen=True, slots=True)
class TemplateMatch(Section):
    """While listening: the kind of a click by its likeness to known clicks."""

    least_alike: float
    least_score: float
    apart: float
    kept: int
    again_s: float
    unlike: float
    least_sure: int
    stranger: float
    most_strangers: int
    most_in_a_row: int
    rattle_s: float
    member_s: float


@dataclass(frozen=True, slots=True)
class Live(Section):
    """While listening: what is looked at again, what is shown, and how sure a provisional kind is."""

    recent_s: float
    around_s: float
    most_known: int
    settled_s: float
    loud_db: float
    below_known_db: float
    least_loud_db: float
    most_shown: int
    shown_within_s: float
    forgotten_s: float
    by_sound_confidence: float
    by_look_confidence: float
    look_every_s: float
    least_score: float
