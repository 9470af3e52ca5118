"""How to get the proof of a recording: its sound heard again, and what is made of it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.assessment.proof_result import Proof
from clicktimer.quality.proof.result import (
    Again,
    nothing_proved,
)
from clicktimer.quality.proof.runs import prove_clicks
from clicktimer.records import (
    Block,
    Reason,
)
from clicktimer.settings import Progress

__all__ = ["Again", "Progress", "Proof", "nothing_proved", "prove_recording", "recording_again"]


def recording_again(paths: Sequence[str | os.PathLike[str]]) -> Again:
    """The blocks of a recording (of its parts, in order), as often as asked for."""

    def again() -> Iterable[Block]:
        from clicktimer.audio import JoinedRecording, open_recording

        parts = [open_recording(path) for path in paths]
        return (parts[0] if len(parts) == 1 else JoinedRecording(parts)).blocks()

    return again


def prove_recording(
    paths: Sequence[str | os.PathLike[str]],
    measured: Measurement,
    options: MeasureOptions,
    *,
    progress: Progress | None = None,
) -> Proof:
    """Prove the clicks that were told of a recording. paths: its file, its parts in order, or a listening folder.

    Takes several passes over the sound, memory as for one. Raises InputError where it cannot be read again, StoreError
    for a folder that cannot be read.
    """
    from clicktimer.storage.replay_audio import sound_again
    from clicktimer.storage.writer import is_listening

    folder = Path(paths[0]) if len(paths) == 1 else None
    again = sound_again(folder) if folder is not None and is_listening(folder) else recording_again(paths)
    if isinstance(again, Reason):
        return nothing_proved("clicks", again)
    return prove_clicks(
        again, measured, pump_at_start=options.pump_at_start, params=options.detection, progress=progress
    )
