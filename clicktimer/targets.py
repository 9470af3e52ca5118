"""The target and the minimum of a run, and the bands that they and the fixed edges make. Values: targets.toml.

A band keeps its identifier where a mark moves: "under-a-minute" is then everything from the minimum to the target.
"""

from __future__ import annotations

import math
import tomllib
from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Final, Literal, get_args

from clicktimer.errors import SettingsError

Band = Literal[
    "very-short",
    "short",
    "short-of-30",
    "under-a-minute",
    "a-minute-or-more",
    "over-three-minutes",
]
Marks = tuple[float, float]
"""The minimum and the target of a run, in seconds."""

BANDS: Final[tuple[Band, ...]] = get_args(Band)
SHORT_BANDS: Final[tuple[Band, ...]] = ("very-short", "short", "short-of-30")
"""The bands below the minimum: short cycling."""
GOOD_BANDS: Final[tuple[Band, ...]] = ("a-minute-or-more", "over-three-minutes")
"""The bands from the target on."""


@dataclass(frozen=True, slots=True)
class Targets:
    """Edges between the bands of a run, in seconds, as targets.toml has them."""

    very_short_s: float
    short_s: float
    minimum_s: float
    target_s: float
    long_s: float

    @property
    def marks_s(self) -> Marks:
        """The minimum and the target, in seconds."""
        return self.minimum_s, self.target_s


@lru_cache
def usual_targets() -> Targets:
    """Return the targets of common practice, which hold where nobody says otherwise."""
    text = resources.files("clicktimer").joinpath("targets.toml").read_text("utf-8")
    return Targets(**{name: entry["value"] for name, entry in tomllib.loads(text).items()})


MARKS_S: Final[Marks] = usual_targets().marks_s


def band_edges_s(marks_s: Marks = MARKS_S) -> tuple[float, float, float, float, float]:
    """Return the upper edges, in seconds, of all bands but the last.

    A minimum under 20 s leaves "short-of-30" empty.

    Raises
    ------
    SettingsError
        Unless 5 s < minimum < target <= 180 s.
    """
    usual, (minimum_s, target_s) = usual_targets(), marks_s
    possible = math.isfinite(minimum_s) and math.isfinite(target_s)
    if not (possible and usual.very_short_s < minimum_s < target_s <= usual.long_s):
        raise SettingsError(
            f"marks {minimum_s:g}/{target_s:g} s are not possible: give a smaller one, then a larger one, "
            f"over {usual.very_short_s:g} s and up to {usual.long_s:g} s, for example 30/60"
        )
    return usual.very_short_s, min(usual.short_s, minimum_s), minimum_s, target_s, usual.long_s


def band_of(run_s: float, marks_s: Marks = MARKS_S) -> Band:
    """Return the band of a run in seconds; a run that is exactly on an edge belongs to the band above it."""
    return BANDS[bisect_right(band_edges_s(marks_s), run_s)]
