"""The verdict in a few words, the same for terminal, document and page: a code, and how it is set off."""

from __future__ import annotations

from typing import Final, Literal

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.verdict import below_motor_limit, same_side
from clicktimer.records import Reason
from clicktimer.reporting.text.advice import tank_denies
from clicktimer.targets import SHORT_BANDS, Band

Tone = Literal["short", "below", "good", "open"]
"""How a verdict is set off: short cycling, below the target, a good run, or open."""

ONLY_ONE: Final = (Reason("run.only-one"),)


def headline(m: Measurement) -> tuple[Tone, Reason]:  # noqa: PLR0911
    """Return how the verdict of a measurement is set off, and the code of its headline."""
    if m.run is None:
        if is_another_kind(m):
            return "open", Reason("headline.not-judged")
        return "open", Reason("headline.not-measured") if m.ambiguous is None else Reason("headline.two-readings")
    band = m.verdict.band
    if band is None:
        return "open", Reason("headline.open")
    if tank_denies(m):
        return "open", Reason("headline.in-doubt")
    if m.run.doubted:  # the doubt is what keeps it open, whatever the marks do
        return "open", Reason("headline.one-run-only") if m.run.doubts == ONLY_ONE else Reason("headline.in-doubt")
    if below_motor_limit(m.verdict):
        return "below", Reason("headline.below-motor")
    if not m.verdict.sure:
        side = same_side(m.run, m.marks_s)
        if side is None:
            return "open", Reason("headline.open") if m.run.one_sided else Reason("headline.too-close")
        # Which of two bands is open, what both mean is not.
        return side, _of_band("short" if side == "short" else "a-minute-or-more")
    tone: Tone = "short" if band in SHORT_BANDS else "below" if band == "under-a-minute" else "good"
    return tone, _of_band(band)


def is_another_kind(m: Measurement) -> bool:
    """Return whether no run is reported because of what the pump may be, and not for want of sound."""
    return m.run is None and any(w.code == "variable-speed" for w in m.warnings)


def _of_band(band: Band) -> Reason:
    return Reason(f"headline.band.{band}")
