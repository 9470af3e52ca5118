"""The bands of a run with no water in use, and the edges between them in seconds.

Common practice, no source; the two marks are the user's to move, the other edges are fixed. A band keeps
its identifier where a mark moves: "under-a-minute" is then everything from the first mark to the second.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from typing import Final, get_args

from clicktimer.errors import SettingsError
from clicktimer.records import Band

MARKS_S: Final = (30.0, 60.0)  # wears pump and switch out below the first; the trade aims at the second
VERY_SHORT_S: Final = 5.0  # common practice: below it the tank has almost surely lost its air
SHORT_S: Final = 20.0  # common practice: below it look at air charge and bladder first
LONG_S: Final = 180.0  # common practice: from it on the tank is larger than the pump needs
BANDS: Final[tuple[Band, ...]] = get_args(Band)


def band_edges_s(marks_s: tuple[float, float] = MARKS_S) -> tuple[float, float, float, float, float]:
    """Upper edges, in seconds, of all bands but the last. A first mark under 20 s leaves "short-of-30" empty.

    Raises SettingsError unless 5 s < first mark < second mark <= 180 s.
    """
    first_s, second_s = marks_s
    if not (math.isfinite(first_s) and math.isfinite(second_s) and VERY_SHORT_S < first_s < second_s <= LONG_S):
        raise SettingsError(
            f"marks {first_s:g}/{second_s:g} s are not possible: give a smaller one, then a larger one, "
            f"over {VERY_SHORT_S:g} s and up to {LONG_S:g} s, for example 30/60"
        )
    return VERY_SHORT_S, min(SHORT_S, first_s), first_s, second_s, LONG_S


def band_of(run_s: float, marks_s: tuple[float, float] = MARKS_S) -> Band:
    """The band of a run in seconds; a run that is exactly on an edge belongs to the band above it."""
    return BANDS[bisect_right(band_edges_s(marks_s), run_s)]
