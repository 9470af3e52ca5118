"""The chain, live: a recording taken into a listening folder, as if it had been heard live; the same result."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.errors import StopHearingError
from clicktimer.records import (
    Notice,
    Reason,
)
from clicktimer.settings import Progress
from clicktimer.storage.sound_store import AFTER_S, ClickSounds, Kept
from clicktimer.storage.writer import Folder, Keep
from clicktimer.streaming.finalize import about_options
from clicktimer.streaming.session import RecordingSource, Session


def measure_into(
    path: str | os.PathLike[str] | Sequence[str | os.PathLike[str]],
    folder: Path,
    options: MeasureOptions,
    *,
    program: str,
    keep: Keep = "default",
    progress: Progress | None = None,
) -> Measurement:
    """Measure a recording (or its parts, in order) and keep what was heard in a new folder, with the click sounds.

    Raises InputError where there is no sound to be had, StoreError where the folder is there already.
    """
    from clicktimer.audio import JoinedRecording, open_recording

    paths = [path] if isinstance(path, str | os.PathLike) else list(path)
    parts = [open_recording(p, started=options.started if i == 0 else None) for i, p in enumerate(paths)]
    recording = parts[0] if len(parts) == 1 else JoinedRecording(parts)
    info = recording.info
    place = Folder.create(folder, about_options(options, keep, program))
    source = RecordingSource(recording.blocks(), info.rate_hz, info.name)
    session = Session(
        source, place, options, program=program, keep="none" if keep == "default" else keep, provisional=False
    )
    stopped = False
    while not source.ended and not stopped:
        session.step()
        if progress is not None:
            try:
                progress(session.engine.end_s, info.duration_hint_s)
            except StopHearingError:
                stopped = True
    about = recording.finish()
    if stopped:
        about = replace(about, duration_s=session.engine.end_s)
    notices = list(recording.notices)
    if stopped:
        end_s = session.engine.end_s
        notices.append(Notice("stopped", Reason("notice.stopped", at_s=end_s), end_s))
    place.note("recording", asdict(about))
    keeping = None if keep != "default" else lambda measured: _click_sounds(paths, folder, measured)
    return session.finish("asked" if stopped else "end of the recording", notices=notices, sounds=keeping)


def _click_sounds(paths: Sequence[str | os.PathLike[str]], folder: Path, measured: Measurement) -> list[Kept]:
    """Go through the recording once more and keep one second around each click that is told."""
    from clicktimer.audio import JoinedRecording, open_recording

    if not measured.clicks:
        return []
    parts = [open_recording(p) for p in paths]
    recording = parts[0] if len(parts) == 1 else JoinedRecording(parts)
    sounds, kept = ClickSounds(folder), list[Kept]()
    waiting = [c.time_s for c in measured.clicks]
    for block in recording.blocks():
        sounds.add(block)
        end_s = block.start_s + len(block.samples) / block.rate_hz
        while waiting and waiting[0] + AFTER_S <= end_s:
            sounds.want(waiting.pop(0), "click")
        kept += sounds.write(end_s)
        if not waiting:
            break
    for time_s in waiting:
        sounds.want(time_s, "click")
    kept += sounds.write(0.0, all_now=True)
    for part in parts:
        part.close()
    return kept
