"""Is this place good enough? What one pass over the sound left behind -> how a click stands over the room, and what
is amiss.

Judged is the room and the recorder: how far the clicks (or, where none was told, other short sharp sounds such as
finger snaps) stand over the room, whether they clip, whether the gain rides, whether the device suppresses noise,
whether sound is lost. The limits of 35 dB and 20 dB are those of the benchmark's two settings (docs/accuracy.md,
docs/placing.md).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from clicktimer.detection import pump_state, switch_score
from clicktimer.detection.candidates import Candidates, LevelSegment, from_codes
from clicktimer.detection.onset_strength import F64
from clicktimer.detection.params import default_params
from clicktimer.quality.placement.findings import Finding, of_gaps, of_levels, of_notices, of_recorder
from clicktimer.quality.placement.levels import ABOVE, room_db
from clicktimer.records import Click, Measurement

NEAR_DB, FAR_DB = 35.0, 20.0
"""Peak of a click over the quiet room's rms, both above 1 kHz: near from the first on, hardly to be heard below the
second."""

NEAR_BEFORE_DB, FAR_BEFORE_DB = 20.0, 15.0
"""The same over what sounds just before it, which for a cut-out is the pump."""

_QUIET_QUANTILE = 0.25
"""The quiet room: a quarter of the time it is quieter."""

Grade = Literal["near", "far", "faint", "unheard"]
What = Literal["clicks", "sharp sounds", "nothing"]
_SAME_S = 0.02
"""A click may be told some milliseconds from its candidate, at the moment that the others of its kind are told at."""

_CREST_DB = 14.0
"""A click's peak is no more than this over its loudest slice of some ms; what is more is hum below it (fixtures:
10-12)."""
_FULL_SCALE_DB = -0.15
_LEAST_SNAP = 2.0
_LEAST_OVER_DB = 15.0
_MOST_SNAPS = 20
_AFTER_S = 0.4
"""A sharp sound within this time after a louder one is its echo or its second half."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How one sort of sound stands, dB, above 1 kHz: middle one over the quiet room, the weakest of ten, and over what
    sounds just before it; own_band_db: mean rise in its own bands, counted to 25 dB a band. count: how many there are.
    """

    kind: str
    count: int
    over_room_db: float
    weakest_db: float
    over_before_db: float
    own_band_db: float


@dataclass(frozen=True, slots=True)
class Place:
    """The judgement of a place.

    what: what it was judged by. grade: "near", "far" or "faint" by the weaker kind, "unheard" where nothing was heard
    to judge by. good: clicks can be relied on here. room_dbfs: the quiet room above 1 kHz. findings: what harms first.
    proof: see clicktimer.quality.proof, or None. source: as in a Measurement.
    """

    source: Any
    what: What
    grade: Grade
    good: bool
    standings: tuple[Standing, ...]
    room_dbfs: float | None
    findings: tuple[Finding, ...]
    proof: Any | None = None


def judge_place(
    candidates: Candidates, segments: list[LevelSegment], measured: Measurement, *, snaps: bool = False
) -> Place:
    """Judge a place by one recording: candidates and level track of its one pass, and what was measured in it.

    snaps: the user says that no pump ran, so whatever is sharp is a finger snap.
    """
    m = measured
    index = _of_clicks(candidates, () if snaps else m.clicks)
    what: What = "clicks" if len(index) else "nothing"
    if len(index):
        kinds: list[str] = [c.kind for c in m.clicks if _nearest(candidates, c.time_s) is not None]
    else:
        index = sharp_sounds(candidates)
        kinds = ["sharp sound"] * len(index)
        what = "sharp sounds" if len(index) else "nothing"
    levels = pump_state.gather(segments, default_params().pump_state)
    quiet_db = None if levels is None else float(np.quantile(room_db(levels), _QUIET_QUANTILE))
    peak_db, before_db = peaks_db(candidates), rms_before_db(candidates)
    standings = tuple(
        _standing(kind, index[np.array([k == kind for k in kinds])], peak_db, before_db, quiet_db, candidates)
        for kind in sorted(set(kinds))
    )
    grade = _grade(standings)
    clipped = int(np.count_nonzero(candidates.peak_db[index] >= _FULL_SCALE_DB)) if len(index) else 0
    found = [
        *of_notices(m.warnings),
        *of_gaps(m.gaps, m.source.duration_s),
        *of_levels(levels, candidates, peak_db - before_db),
        *of_recorder(m.source.sample_rate_hz, clipped, len(index)),
    ]
    harmed = any(finding.harms for finding in found)
    return Place(
        m.source,
        what,
        grade,
        grade in ("near", "far") and not harmed,
        standings,
        None if quiet_db is None else round(quiet_db, 1),
        tuple(sorted(found, key=lambda finding: not finding.harms)),
    )


def _grade(standings: Sequence[Standing]) -> Grade:
    if not standings:
        return "unheard"
    room, before = (min(getattr(s, name) for s in standings) for name in ("over_room_db", "over_before_db"))
    if room >= NEAR_DB and before >= NEAR_BEFORE_DB:
        return "near"
    return "far" if room >= FAR_DB and before >= FAR_BEFORE_DB else "faint"


def peaks_db(candidates: Candidates) -> F64:
    """Peak of each candidate, above 1 kHz as far as can be told, dB of full scale, (n,)."""
    if not len(candidates):
        return np.zeros(0)
    energy = 10.0 ** (from_codes(candidates.prints)[:, :4, ABOVE : int(candidates.bands.min())] / 10.0)
    loudest_db = 10.0 * np.log10(energy.sum(axis=2).max(axis=1) + 1e-20)
    peak: F64 = np.minimum(candidates.peak_db, loudest_db + _CREST_DB).astype(np.float64)
    return peak


def rms_before_db(candidates: Candidates) -> F64:
    """What sounds just before each candidate (or the room, if that is louder), rms above 1 kHz, dB of full scale,
    (n,).
    """
    if not len(candidates):
        return np.zeros(0)
    room = 10.0 ** (from_codes(candidates.room)[:, ABOVE : int(candidates.bands.min())] / 10.0)
    rms: F64 = 10.0 * np.log10(room.sum(axis=1) + 1e-20).astype(np.float64)
    return rms


def sharp_sounds(candidates: Candidates) -> np.ndarray:
    """Which candidates are short, sharp, clearly over the room and alone: finger snaps, for want of a click. At
    most 20.
    """
    if not len(candidates):
        return np.zeros(0, np.int64)
    over = peaks_db(candidates) - rms_before_db(candidates)
    order = np.argsort(-over, kind="stable")
    taken: list[int] = []
    sharp = (switch_score.switch_scores(candidates) >= _LEAST_SNAP) & (over >= _LEAST_OVER_DB)
    louder: list[float] = []
    for i in order[: 50 * _MOST_SNAPS]:
        time_s = float(candidates.time_s[i])
        alone = not any(0.0 <= time_s - t <= _AFTER_S for t in louder)
        louder.append(time_s)
        if sharp[i] and alone and len(taken) < _MOST_SNAPS:
            taken.append(int(i))
    return np.array(sorted(taken), np.int64)


def _nearest(candidates: Candidates, time_s: float) -> int | None:
    if not len(candidates):
        return None
    i = int(np.argmin(np.abs(candidates.time_s - time_s)))
    return i if abs(float(candidates.time_s[i]) - time_s) < _SAME_S else None


def _of_clicks(candidates: Candidates, clicks: Sequence[Click]) -> np.ndarray:
    found = [_nearest(candidates, c.time_s) for c in clicks]
    return np.array([i for i in found if i is not None], np.int64)


def _standing(
    kind: str, index: np.ndarray, peak_db: F64, before_db: F64, quiet_db: float | None, candidates: Candidates
) -> Standing:
    over = peak_db[index] - (before_db[index] if quiet_db is None else quiet_db)
    return Standing(
        kind,
        len(index),
        round(float(np.median(over)), 1),
        round(float(np.quantile(over, 0.1)), 1),
        round(float(np.median(peak_db[index] - before_db[index])), 1),
        round(float(np.median(candidates.rise_db[index])), 1),
    )
