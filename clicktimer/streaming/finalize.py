"""The chain, live: a listening folder -> the settled result, by the same chain as for a recording of the same sound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from clicktimer.assessment.conclusion import Listened, by_hand, conclude, corrected
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import parse_started
from clicktimer.cycles.corrections import Label
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.records import (
    Notice,
    Reason,
    SourceInfo,
)
from clicktimer.settings import Progress
from clicktimer.storage.reader import SessionNote, Stored, read_folder
from clicktimer.storage.writer import is_listening
from clicktimer.streaming.noted import noted_system, record_of
from clicktimer.streaming.refill_test import shut_times_s, with_open_tap

CLOCK_TOLD_S = 5.0
"""A difference between the sound's time and the wall clock that is told: more than any crystal drifts in a day."""


class _FromFolder(Listened):
    """What one pass over the sound left behind, read from disk."""

    def __init__(self, stored: Stored) -> None:
        self.candidates = stored.candidates
        self.levels = stored.levels
        self.tones = stored.tones
        self.gaps = stored.gaps
        self.end_s = stored.end_s
        self.stopped = False


def heard_folder(stored: Stored) -> Listened:
    """What one pass over the sound of a listening left behind, as the chain takes it from a recording."""
    return _FromFolder(stored)


def about_options(options: MeasureOptions, keep: str, program: str) -> dict[str, Any]:
    """What is noted in a folder of the options it was listened with, so that it is measured the same again."""
    system = options.system
    return {
        "program": program,
        "keep": keep,
        "taps": options.taps,
        "pump_at_start": options.pump_at_start,
        "detection": options.detection.differences(),
        "system": {}
        if system is None
        else {"given": system.given, "origins": dict(system.origins), "site": system.site},
    }


def with_noted(options: MeasureOptions, about: Mapping[str, Any], path: Path) -> MeasureOptions:
    """The options, where they say nothing, filled with what the folder was listened with. Raises StoreError."""
    noted = noted_system(about, str(path))
    system = options.system
    if noted is not None:
        from clicktimer.site.options import STANDS_FOR, describe

        typed = {} if system is None else system.given
        aside = {other for name in typed for other in STANDS_FOR.get(name, ())}
        kept = {name: value for name, value in noted.given.items() if name not in aside}
        origins = {**noted.origins, **({} if system is None else system.origins)}
        site = noted.site if system is None or system.site is None else system.site
        system = replace(describe({**kept, **typed}, origins=origins), site=site)
    return replace(
        options,
        taps=options.taps or about.get("taps"),
        pump_at_start=options.pump_at_start or about.get("pump_at_start"),
        system=system,
        marks_s=options.marks_s if system is None else system.marks_s,
        detection=_noted_params(options.detection, about.get("detection") or {}),
    )


def _noted_params(params: DetectionParams, noted: Mapping[str, Any]) -> DetectionParams:
    """Return the parameters, with those noted in the folder instead where it was listened with others.

    How candidates were found is a fact of the folder: those parameters cannot be changed afterward.
    """
    said = {k: v for k, v in params.differences().items() if not k.startswith("candidate_finder.")}
    return default_params().changed({**said, **noted})


@dataclass(frozen=True, slots=True)
class ListeningFolder:
    """A listening folder as a source of candidates for ``pipeline.measure_all``. Its methods raise StoreError."""

    path: Path

    def options(self, options: MeasureOptions) -> MeasureOptions:
        """Return the options, filled with what the folder was listened with."""
        return with_noted(options, read_folder(self.path).about, self.path)

    def measure(self, options: MeasureOptions, progress: Progress | None = None) -> Measurement:
        """Return the measurement of what lies in the folder; nothing is heard, so no progress is told."""
        return measure_folder(self.path, options)

    def correct(self, m: Measurement, labels: Sequence[Label], options: MeasureOptions, name: str) -> Measurement:
        """Return the measurement by a person's labels, with what the open tap of a refill test did to it."""
        return corrected_folder(self.path, m, labels, options, name=name)


def measure_folder(path: Path, options: MeasureOptions | None = None) -> Measurement:
    """Measure what lies in a listening folder. Raises StoreError, and InputError for a bad ``started``."""
    stored = read_folder(path)
    return conclude_stored(stored, with_noted(options or MeasureOptions(), stored.about, path))


def corrected_folder(
    path: Path, measured: Measurement, labels: Sequence[Label], options: MeasureOptions, *, name: str
) -> Measurement:
    """What ``measure_folder`` gave, measured by a person's labels: with what the folder was listened with, and with
    what the open tap of a refill test did to the corrected runs. Raises StoreError, and InputError for a label after
    its end.
    """
    stored = read_folder(path)
    options = with_noted(options, stored.about, path)
    new = corrected(measured, labels, options, name=name)
    if new.correction is None or not new.correction.figures:
        return new  # as it was detected: the open tap is in it already
    reported = with_open_tap(new, shut_times_s(stored.marks), options)
    if reported is new or "verdict" not in new.correction.figures:
        return reported
    return replace(reported, verdict=by_hand(reported.verdict))


def conclude_stored(stored: Stored, options: MeasureOptions) -> Measurement:
    """From what lies in a folder to what is told."""
    notices = [*stored.notices, *_cut_off(stored), *clock_notices(stored)]
    measured = conclude(_FromFolder(stored), source_of(stored, options.started), options, notices)
    return with_open_tap(measured, shut_times_s(stored.marks), options)


def source_of(stored: Stored, started: str | None = None) -> SourceInfo:
    """Where the sound came from: the recording that was taken in, or the microphone with the computer's clock."""
    first = stored.sessions[0]
    recording = stored.about.get("recording")
    if recording is not None:
        source = replace(record_of(SourceInfo, recording, str(stored.path), "recording"), duration_s=stored.end_s)
    else:
        began = (first.began - timedelta(seconds=first.start_s)).isoformat(timespec="milliseconds")
        source = SourceInfo(stored.path.name, stored.end_s, first.rate_hz, 1, None, began, "clock")
    if started is not None:
        source = replace(source, started_at=parse_started(started), started_how="given")
    return source


def zone_of_listening(recordings: Sequence[str]) -> str | None:
    """The time zone of the computer that listened, where one listening folder is given and its clock tells the start.

    Raises StoreError where the folder cannot be read.
    """
    if len(recordings) != 1 or not is_listening(Path(recordings[0])):
        return None
    stored = read_folder(Path(recordings[0]))
    return None if "recording" in stored.about else stored.sessions[0].zone


def _cut_off(stored: Stored) -> list[Notice]:
    """Sessions that had no proper end: power, kill, or still being listened to."""
    return [Notice("cut-off", Reason("notice.cut-off"), s.end_s) for s in stored.sessions if s.ended is None]


def clock_notices(stored: Stored) -> list[Notice]:
    """What the computer's clock did meanwhile. It never changes a run: runs are counted in samples."""
    reported = [(clock_reason(session), session.start_s) for session in stored.sessions]
    return [Notice("clock-changed", reason, start_s) for reason, start_s in reported if reason is not None]


def clock_reason(session: SessionNote) -> Reason | None:
    """Say where the wall clock was set, or ran away from the other clock, during a session; None where it did not."""
    wall_s = (session.end - session.began).total_seconds()
    off_s = wall_s - (session.end_boot_s - session.began_boot_s)
    if abs(off_s) < CLOCK_TOLD_S:
        return None
    if off_s > 0:
        return Reason("notice.clock-set-forward", off_s=off_s)
    return Reason("notice.clock-set-back", off_s=-off_s)
