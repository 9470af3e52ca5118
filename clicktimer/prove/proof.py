"""The result of a proof, and how to get it for a recording."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from clicktimer.prove.counting import Count
from clicktimer.records import Block, Measurement
from clicktimer.settings import MeasureOptions

FAINTER_DB = 6.0

Progress = Callable[[float, float | None], None]
Again = Callable[[], Iterable[Block]]
"""The blocks of the recording, from its beginning, each time it is called."""


@dataclass(frozen=True, slots=True)
class Proof:
    """How many copies were caught.

    what: "clicks" (laid in as whole runs, the whole detector asked) or "sharp sounds" (finger snaps: only whether they
    are noticed). usual: as loud as heard; fainter: by fainter_db. cut_in, cut_out: the usual ones by kind.
    told_before, told_again: clicks told of the recording as it is, and how many of these were told again in each pass,
    on average as a share. others: clicks told in all passes that were neither copies nor told before; hours: sound
    heard for it. passes: times it was heard anew; silent: of these, how often nothing at all was told (these count in
    none of the rates). without_click: starts and stops that the pump's
    sound told in the recording as it is and no click did; of_all: share of all clicks that were told, estimated from
    these and the rate, whichever says less. missed_runs: expected number of runs (low, high) that were missed beside
    those told, or None. why: why nothing could be proved, or empty.
    """

    what: Literal["clicks", "sharp sounds"]
    usual: Count
    fainter: Count
    cut_in: Count
    cut_out: Count
    fainter_db: float = FAINTER_DB
    told_before: int = 0
    told_again: float | None = None
    others: int = 0
    hours: float = 0.0
    passes: int = 0
    silent: int = 0
    without_click: int = 0
    of_all: float | None = None
    missed_runs: tuple[float, float] | None = None
    why: str = ""


def nothing_proved(what: Literal["clicks", "sharp sounds"], why: str) -> Proof:
    """A proof that could not be had."""
    none = Count(0, 0, None, None, None)
    return Proof(what, none, none, none, none, why=why)


def dice(sha256: str | None, *more: int) -> np.random.Generator:
    """A generator that depends on the recording alone."""
    seed = int((sha256 or "0").split()[0][:16], 16)
    return np.random.default_rng([seed & 0xFFFFFFFF, seed >> 32, *more])


def recording_again(paths: Sequence[str | os.PathLike[str]]) -> Again:
    """The blocks of a recording (of its parts, in order), as often as asked for."""

    def again() -> Iterable[Block]:
        from clicktimer.sound import JoinedRecording, open_recording

        parts = [open_recording(path) for path in paths]
        return (parts[0] if len(parts) == 1 else JoinedRecording(parts)).blocks()

    return again


def prove_recording(
    paths: Sequence[str | os.PathLike[str]], measured: Measurement, options: MeasureOptions, *,
    progress: Progress | None = None,
) -> Proof:  # fmt: skip
    """Prove the clicks that were told of a recording. paths: its file, its parts in order, or a listening folder.

    Takes several passes over the sound, memory as for one. Raises InputError where it cannot be read again, StoreError
    for a folder that cannot be read.
    """
    from clicktimer.prove.runs import prove_clicks
    from clicktimer.store.folder import is_listening
    from clicktimer.store.kept import sound_again

    folder = Path(paths[0]) if len(paths) == 1 else None
    again = sound_again(folder) if folder is not None and is_listening(folder) else recording_again(paths)
    if isinstance(again, str):
        return nothing_proved("clicks", again)
    return prove_clicks(
        again, measured, pump_at_start=options.pump_at_start, progress=progress
    )
