"""A recording and its clicks in, what a user may hand over out: one second of sound around each click, levels, labels.

No sound but that second, no name of the recording, no place, no date. Nothing is sent anywhere: files are written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from clicktimer.assessment.measurement import Measurement
from clicktimer.audio import open_recording
from clicktimer.audio.cutting import cut_spans
from clicktimer.detection.candidates import Candidates
from clicktimer.quality.placement import judge_place
from clicktimer.quality.proof.proof import Again
from clicktimer.records import (
    Click,
    Samples,
)

BEFORE_S, AFTER_S = 0.3, 0.7
"""One second around each click: what sounds before it, the click, and what its room makes of it."""

SAME_SECOND_S = 0.1
"""A click that was set by hand, or settled, may lie so far from where it was when its second was kept."""

MOST_CLICKS = 200
"""Of one recording; of more, so many evenly spread."""


@dataclass(frozen=True, slots=True)
class Given:
    """One click to hand over. click: as told or corrected; by: "detected" or "hand"; sound: from onset_s before it."""

    click: Click
    by: str
    sound: Samples
    rate_hz: int
    level_db: float | None
    onset_s: float = BEFORE_S


def gather(again: Again, measured: Measurement) -> list[Given]:
    """The sound around the clicks that count (a person's where there is a correction), in order of time.

    again: the blocks of the recording. A click nearer to an end or a gap than its second reaches is left out.
    """
    clicks = _counted(measured)
    cuts = cut_spans(again(), [(click.time_s - BEFORE_S, click.time_s + AFTER_S) for click, _ in clicks])
    return [
        Given(click, by, cut.samples, cut.rate_hz, _level_db(cut.samples, cut.rate_hz, BEFORE_S))
        for (click, by), cut in zip(clicks, cuts, strict=True)
        if cut is not None
    ]


def gather_kept(seconds: Sequence[tuple[float, Path]], measured: Measurement) -> list[Given]:
    """The same from the seconds around clicks that a listening has kept: where each begins, s, and its file.

    A click without such a second is left out. Raises InputError where a file cannot be read.
    """
    given = []
    for click, by in _counted(measured):
        begins_s, path = min(seconds, key=lambda one: abs(one[0] + BEFORE_S - click.time_s), default=(-1e9, Path()))
        onset_s = click.time_s - begins_s
        if abs(onset_s - BEFORE_S) > SAME_SECOND_S:
            continue
        blocks = list(open_recording(path).blocks())
        if blocks:
            sound, rate_hz = np.concatenate([b.samples for b in blocks]), blocks[0].rate_hz
            given.append(Given(click, by, sound, rate_hz, _level_db(sound, rate_hz, onset_s), round(onset_s, 4)))
    return given


def _counted(measured: Measurement) -> list[tuple[Click, str]]:
    """The clicks that count and by whom, in order of time, no more than MOST_CLICKS."""
    if measured.correction is not None:
        clicks = [(c.click, "detected" if c.change == "kept" else "hand") for c in measured.correction.clicks]
    else:
        clicks = [(click, "detected") for click in measured.clicks]
    clicks = [(click, by) for click, by in clicks if click.how == "clicks"]
    if len(clicks) > MOST_CLICKS:
        clicks = [clicks[i] for i in np.linspace(0, len(clicks) - 1, MOST_CLICKS).astype(int)]
    return clicks


def _level_db(sound: Samples, rate_hz: int, onset_s: float) -> float | None:
    """Peak of the click over the rms of the 0.25 s before it, dB, all frequencies."""
    at = round(onset_s * rate_hz)
    before = sound[: round((onset_s - 0.05) * rate_hz)]
    peak = float(np.abs(sound[at - round(0.005 * rate_hz) : at + round(0.02 * rate_hz)]).max(initial=0.0))
    rms = float(np.sqrt(np.mean(before.astype(np.float64) ** 2)))
    return round(20.0 * float(np.log10(peak / rms)), 1) if peak > 0.0 and rms > 0.0 else None


def about(  # noqa: PLR0913
    number: int,
    measured: Measurement,
    given: Sequence[Given],
    names: Sequence[str],
    *,
    candidates: Candidates,
    segments: list[Any],
    version: str,
    note: str,
) -> dict[str, Any]:
    """What is told of one recording beside its sounds: levels and labels, nothing that says whose it is.

    names: of the sound files, in the order of ``given``. note: the user's own words.
    """
    place = judge_place(candidates, segments, measured)
    return {
        "format": "clicktimer-given",
        "version": 1,
        "program": version,
        "recording": number,
        "note": note,
        "duration_s": round(measured.source.duration_s),
        "sample_rate_hz": measured.source.sample_rate_hz,
        "channels": measured.source.channels,
        "room_dbfs": place.room_dbfs,
        "standings": place.standings,
        "findings": [finding.code for finding in place.findings],
        "labelled_by": "a person" if measured.correction is not None else "the program alone",
        "clicks": [
            {
                "file": name,
                "kind": one.click.kind,
                "by": one.by,
                "onset_s": one.onset_s,
                "confidence": one.click.confidence,
                "timing_sd_s": one.click.timing_sd_s,
                "chatter": one.click.chatter,
                "level_db": one.click.level_db,
                "peak_over_before_db": one.level_db,
            }
            for name, one in zip(names, given, strict=True)
        ],
        "struck_out": 0 if measured.correction is None else len(measured.correction.deleted),
    }
