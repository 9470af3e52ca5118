"""What is amiss with a place or a recorder, in plain words, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.detection import pump_state
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.onset_strength import F64
from clicktimer.quality.placement.levels import gain_dips, unsteadiness_db
from clicktimer.quality.placement.params import Recorder
from clicktimer.records import Gap, Notice, Reason

SUPPRESSION_OFF: Final = (
    "Switch noise suppression and voice features off, or use another recorder app: look for raw, lossless, music or "
    "unprocessed."
)
QUIET_FIRST: Final = "If other sound (talk, music) goes on, make it quiet and try again."
_ADVICE: Final = {
    "muted-stretches": (True, SUPPRESSION_OFF),
    "digital-silence": (True, "Allow the app to use the microphone, unmute it, and record again."),
    "very-quiet": (False, "Turn the recording level up, or go nearer to the switch."),
    "clipping": (False, "Turn the recording level down, or go a little farther away."),
    "beyond-full-scale": (False, "Save the recording again at the usual scale."),
    "channels-cancel": (False, "Record in mono."),
    "dead-channel": (False, "Look whether one microphone is covered or unplugged."),
    "not-a-number": (True, "Copy the recording again, or make a new one."),
    "damaged": (True, "Copy the recording again, or make a new one."),
    "truncated": (False, "Let the recorder finish before the file is copied."),
}
"""By code of the notice: whether clicks cannot be relied on where it holds, and what to do."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something amiss. code: listed in docs/placing.md. reason: what was found. advice: what to do.

    harms: clicks cannot be relied on.
    """

    code: str
    reason: Reason
    advice: str
    harms: bool


def of_notices(notices: Sequence[Notice]) -> Iterator[Finding]:
    """What was odd about the file, as far as it matters for a place."""
    for notice in notices:
        if notice.code in _ADVICE:
            harms, advice = _ADVICE[notice.code]
            yield Finding(notice.code, notice.reason, advice, harms)


def of_gaps(gaps: Sequence[Gap], duration_s: float) -> Iterator[Finding]:
    """Sound that was lost."""
    lost = [gap for gap in gaps if gap.why != "next part of the recording"]
    if not lost:
        return
    known_s = sum(gap.to_s - gap.from_s for gap in lost if gap.to_s is not None)
    reason = Reason("place.sound-lost", count=len(lost))
    if known_s:
        reason = Reason("place.sound-lost-of", count=len(lost), lost_s=known_s, of_s=duration_s)
    advice = (
        "Close other programs, let the recorder keep the screen on, and record to the device itself, not a network."
    )
    yield Finding("lost-sound", reason, advice, True)


def of_levels(
    levels: pump_state.Levels | None, candidates: Candidates, over_db: F64, first_band: int, params: Recorder
) -> Iterator[Finding]:
    """Gain that rides, and noise suppression that leaves no exact silence."""
    if levels is None:
        return
    if unsteadiness_db(levels, first_band) >= params.unsteady_db:
        reason = Reason("place.noise-suppression")
        yield Finding("noise-suppression", reason, f"{QUIET_FIRST} {SUPPRESSION_OFF}", True)
        return  # what flickers cannot show whether the gain rides as well
    dips = gain_dips(levels, candidates, over_db, params)
    if len(dips) < params.least_dips:
        return
    middle, often = float(np.median(dips)), float(np.quantile(dips, 0.75))
    if middle >= params.dip_db and often >= params.dip_often_db:
        advice = "Switch automatic gain (level) control off and set the level by hand."
        yield Finding("gain-riding", Reason("place.gain-riding", by_db=often), advice, False)


def of_recorder(rate_hz: int, clipped: int, count: int, params: Recorder) -> Iterator[Finding]:
    """Clicks at full scale, and a sample rate that is too low. clipped: of the count of sounds judged by."""
    if clipped:
        advice = "Turn the recording level down, or go a little farther away: a clipped click looks like any bang."
        yield Finding("clicks-clip", Reason("place.clicks-clip", count=clipped, total=count), advice, False)
    if rate_hz < params.low_rate_hz:
        yield Finding(
            "low-rate", Reason("place.low-rate", rate_hz=rate_hz), "Set the recorder to 44100 or 48000 Hz.", False
        )
