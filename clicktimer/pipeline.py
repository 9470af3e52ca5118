"""The chain, and nothing else: sound -> candidates -> clicks -> cycles -> run with no water -> verdict -> tank."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from clicktimer.conclusion import Listened, conclude, corrected
from clicktimer.cycles.corrections import Label
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Gathered
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.spectral_lines import ToneFinder
from clicktimer.errors import StopHearingError
from clicktimer.records import Block, Gap, Measurement, Notice, Reason, Samples, SourceInfo
from clicktimer.settings import MeasureOptions, PumpState, Taps

__all__ = [
    "Listened",
    "Progress",
    "StopHearingError",
    "conclude",
    "corrected",
    "corrected_recording",
    "hear_blocks",
    "measure_recording",
    "measure_samples",
]

Progress = Callable[[float, float | None], None]
"""Called with the seconds of sound heard so far, and of the whole where that is known."""


def measure_recording(
    path: str | os.PathLike[str] | Sequence[str | os.PathLike[str]],
    *,
    options: MeasureOptions | None = None,
    progress: Progress | None = None,
) -> Measurement:
    """Measure one recording, or a listening folder; a sequence of paths is the parts of one recording, in order.

    Raises InputError where there is no sound to be had, SettingsError where the options contradict each other.
    """
    from clicktimer.audio import JoinedRecording, open_recording

    options = options or MeasureOptions()
    if isinstance(path, str | os.PathLike) and os.path.isdir(path):
        from clicktimer.storage.writer import is_listening
        from clicktimer.streaming.finalize import measure_folder

        if is_listening(Path(path)):
            return measure_folder(Path(path), options)
    paths: list[str | os.PathLike[str]] = [path] if isinstance(path, str | os.PathLike) else list(path)
    parts = [open_recording(p, started=options.started if i == 0 else None) for i, p in enumerate(paths)]
    recording = parts[0] if len(parts) == 1 else JoinedRecording(parts)
    whole_s = recording.info.duration_hint_s
    hint = None if progress is None else lambda s: progress(s, whole_s)
    heard = hear_blocks(recording.blocks(), hint, params=options.detection)
    source = recording.finish()
    notices = list(recording.notices)
    if heard.stopped:
        source = replace(source, duration_s=heard.end_s)
        notices.append(Notice("stopped", Reason("notice.stopped", at_s=heard.end_s), heard.end_s))
    return conclude(heard, source, options, notices)


def corrected_recording(
    path: str | os.PathLike[str] | Sequence[str | os.PathLike[str]],
    measured: Measurement,
    labels: Sequence[Label],
    options: MeasureOptions,
    *,
    name: str,
) -> Measurement:
    """What ``measure_recording`` gave of the same path and options, measured by a person's labels (see ``corrected``).

    A listening folder keeps what it was listened with. Raises InputError for a label after its end.
    """
    if not isinstance(path, str | os.PathLike) and len(path) == 1:
        path = path[0]
    if isinstance(path, str | os.PathLike) and os.path.isdir(path):
        from clicktimer.storage.writer import is_listening
        from clicktimer.streaming.finalize import corrected_folder

        if is_listening(Path(path)):
            return corrected_folder(Path(path), measured, labels, options, name=name)
    return corrected(measured, labels, options, name=name)


def measure_samples(
    samples: Samples,
    rate_hz: int,
    *,
    pump_at_start: PumpState | None = None,
    taps: Taps | None = None,
    name: str = "samples",
    options: MeasureOptions | None = None,
) -> Measurement:
    """Measure sound that is already in memory: samples, shape (n,), full scale 1, at rate_hz."""
    options = options or MeasureOptions(taps=taps, pump_at_start=pump_at_start)
    block = Block(np.asarray(samples, dtype=np.float32), rate_hz, 0.0)
    heard = hear_blocks([block], params=options.detection)
    return conclude(heard, SourceInfo(name, len(samples) / rate_hz, rate_hz, 1, None), options, [])


def hear_blocks(
    blocks: Iterable[Block],
    progress: Callable[[float], None] | None = None,
    *,
    params: DetectionParams | None = None,
) -> Listened:
    """One pass over the sound; a StopHearingError of ``progress`` ends it early. params: of params.toml if None."""
    finder, tones = OnsetFinder(params), ToneFinder()
    found = Gathered()
    gaps: list[Gap] = []
    end_s = 0.0
    stopped = False
    for block in blocks:
        if block.gap_before is not None:
            gaps.append(block.gap_before)
        found.add(finder.feed(block))
        tones.feed(block)
        end_s = block.start_s + len(block.samples) / block.rate_hz
        if progress is not None:
            try:
                progress(end_s)
            except StopHearingError:
                stopped = True
                break
    found.add(finder.flush())
    return Listened(found.whole(), finder, tuple(gaps), end_s, stopped, tones.lines())
