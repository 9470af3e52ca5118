"""Is this place good enough? One pass over the sound -> how far a click stands over the room, and what is amiss.

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

from clicktimer.assessment.measurement import Measurement
from clicktimer.detection import pump_state, switch_score
from clicktimer.detection.candidates import Candidates, LevelSegment, from_codes
from clicktimer.detection.onset_strength import F64
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.quality.placement.findings import Finding, of_gaps, of_levels, of_notices, of_recorder
from clicktimer.quality.placement.levels import room_db
from clicktimer.quality.placement.params import Grading, PlacementParams, default_placement
from clicktimer.records import Click

Grade = Literal["near", "far", "faint", "unheard"]
What = Literal["clicks", "sharp sounds", "nothing"]


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
    candidates: Candidates,
    segments: list[LevelSegment],
    measured: Measurement,
    *,
    snaps: bool = False,
    params: PlacementParams | None = None,
    detection: DetectionParams | None = None,
) -> Place:
    """Judge a place by one recording.

    Parameters
    ----------
    candidates, segments
        The candidates and the level track of one pass over the sound.
    measured
        What was measured in it.
    snaps
        True if the user says that no pump ran, so that all sharp sounds are finger snaps.
    params, detection
        The parameters of this judgment and of the detector; those of the params.toml files if None.

    Returns
    -------
    Place
        The judgment.
    """
    m, params, detection = measured, params or default_placement(), detection or default_params()
    grading, first_band = params.grading, detection.bands.first_above(params.grading.from_hz)
    index = _of_clicks(candidates, () if snaps else m.clicks, grading.same_s)
    what: What = "clicks" if len(index) else "nothing"
    if len(index):
        kinds: list[str] = [c.kind for c in m.clicks if _nearest(candidates, c.time_s, grading.same_s) is not None]
    else:
        index = sharp_sounds(candidates, params, detection)
        kinds = ["sharp sound"] * len(index)
        what = "sharp sounds" if len(index) else "nothing"
    levels = pump_state.gather(segments, detection.pump_state)
    quiet_db = None if levels is None else float(np.quantile(room_db(levels, first_band), grading.quiet_quantile))
    peak_db = peaks_db(candidates, first_band, grading.crest_db)
    before_db = rms_before_db(candidates, first_band)
    standings = tuple(
        _standing(kind, index[np.array([k == kind for k in kinds])], peak_db, before_db, quiet_db, candidates)
        for kind in sorted(set(kinds))
    )
    grade = _grade(standings, grading)
    clipped = int(np.count_nonzero(candidates.peak_db[index] >= grading.full_scale_db)) if len(index) else 0
    found = [
        *of_notices(m.warnings),
        *of_gaps(m.gaps, m.source.duration_s),
        *of_levels(levels, candidates, peak_db - before_db, first_band, params.recorder),
        *of_recorder(m.source.sample_rate_hz, clipped, len(index), params.recorder),
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


def _grade(standings: Sequence[Standing], p: Grading) -> Grade:
    if not standings:
        return "unheard"
    room, before = (min(getattr(s, name) for s in standings) for name in ("over_room_db", "over_before_db"))
    if room >= p.near_db and before >= p.near_before_db:
        return "near"
    return "far" if room >= p.far_db and before >= p.far_before_db else "faint"


def peaks_db(candidates: Candidates, first_band: int, crest_db: float) -> F64:
    """Return the peak of each candidate without the hum below its bands, as far as is known.

    Parameters
    ----------
    candidates
        The n candidates.
    first_band
        Number of the first band that counts.
    crest_db
        The peak is at most this far over the loudest slice, dB.

    Returns
    -------
    F64
        dB of full scale, shape (n,).
    """
    if not len(candidates):
        return np.zeros(0)
    energy = 10.0 ** (from_codes(candidates.prints)[:, :4, first_band : int(candidates.bands.min())] / 10.0)
    loudest_db = 10.0 * np.log10(energy.sum(axis=2).max(axis=1) + 1e-20)
    peak: F64 = np.minimum(candidates.peak_db, loudest_db + crest_db).astype(np.float64)
    return peak


def rms_before_db(candidates: Candidates, first_band: int) -> F64:
    """Return the rms of what sounds just before each candidate, or of the room if that is louder.

    Parameters
    ----------
    candidates
        The n candidates.
    first_band
        Number of the first band that counts.

    Returns
    -------
    F64
        dB of full scale, shape (n,).
    """
    if not len(candidates):
        return np.zeros(0)
    room = 10.0 ** (from_codes(candidates.room)[:, first_band : int(candidates.bands.min())] / 10.0)
    rms: F64 = 10.0 * np.log10(room.sum(axis=1) + 1e-20).astype(np.float64)
    return rms


def sharp_sounds(
    candidates: Candidates, params: PlacementParams | None = None, detection: DetectionParams | None = None
) -> np.ndarray:
    """Return which candidates are short, sharp, clearly over the room and alone, such as finger snaps.

    Parameters
    ----------
    candidates
        The n candidates.
    params, detection
        The parameters of this judgment and of the detector; those of the params.toml files if None.

    Returns
    -------
    numpy.ndarray
        Their numbers in ascending order, at most ``sharp_sounds.most``.
    """
    params, detection = params or default_placement(), detection or default_params()
    p, first_band = params.sharp_sounds, detection.bands.first_above(params.grading.from_hz)
    if not len(candidates):
        return np.zeros(0, np.int64)
    over = peaks_db(candidates, first_band, params.grading.crest_db) - rms_before_db(candidates, first_band)
    order = np.argsort(-over, kind="stable")
    taken: list[int] = []
    scores = switch_score.switch_scores(candidates, detection.switch_score)
    sharp = (scores >= p.least_score) & (over >= p.least_over_db)
    louder: list[float] = []
    for i in order[: 50 * p.most]:
        time_s = float(candidates.time_s[i])
        alone = not any(0.0 <= time_s - t <= p.after_s for t in louder)
        louder.append(time_s)
        if sharp[i] and alone and len(taken) < p.most:
            taken.append(int(i))
    return np.array(sorted(taken), np.int64)


def _nearest(candidates: Candidates, time_s: float, same_s: float) -> int | None:
    if not len(candidates):
        return None
    i = int(np.argmin(np.abs(candidates.time_s - time_s)))
    return i if abs(float(candidates.time_s[i]) - time_s) < same_s else None


def _of_clicks(candidates: Candidates, clicks: Sequence[Click], same_s: float) -> np.ndarray:
    found = [_nearest(candidates, c.time_s, same_s) for c in clicks]
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
