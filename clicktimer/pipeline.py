"""The chain: sound -> candidates -> clicks -> cycles -> run with no water -> verdict -> tank; proof and correction.

One way in for the command line, for Python and for a document that is measured again: ``measure_all``.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal, Protocol, TypeAlias

import numpy as np

from clicktimer.assessment.conclusion import Listened, conclude, corrected
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.cycles.corrections import Label
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Gathered
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.spectral_lines import ToneFinder
from clicktimer.errors import StopHearingError
from clicktimer.records import (
    Block,
    Gap,
    Notice,
    Reason,
    Samples,
    SourceInfo,
)
from clicktimer.settings import (
    Progress,
    PumpState,
    Taps,
)

__all__ = [
    "Listened",
    "MeasureRequest",
    "Outcome",
    "Source",
    "StopHearingError",
    "conclude",
    "corrected",
    "hear_blocks",
    "measure_all",
    "measure_recording",
    "measure_samples",
]

PathLike: TypeAlias = "str | os.PathLike[str]"
Stage = Literal["recording", "proof"]
Watch = Callable[[Stage], AbstractContextManager[Progress | None]]
"""Called before a pass over the sound: inside what it gives, the progress of that pass is told."""


@dataclass(frozen=True, slots=True)
class MeasureRequest:
    """What is to be measured, and what is asked beside the run time.

    paths: one recording, its parts in order, or one listening folder. labels: name and labels of a label file by which
    to measure. prove: count how many copies of its own clicks are caught. into: a new folder that keeps what is heard,
    and program, the version that is noted there.
    """

    paths: tuple[PathLike, ...]
    options: MeasureOptions = field(default_factory=MeasureOptions)
    labels: tuple[str, Sequence[Label]] | None = None
    prove: bool = False
    into: Path | None = None
    program: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a request. options: those it was measured with, filled with what a listening folder notes."""

    measured: Measurement
    options: MeasureOptions


class Source(Protocol):
    """Where candidates come from: a recording that is heard now, or a folder that holds what was heard."""

    def options(self, options: MeasureOptions) -> MeasureOptions:
        """Return the options, filled with what the source notes of itself."""

    def measure(self, options: MeasureOptions, progress: Progress | None) -> Measurement:
        """Return the measurement by what was detected."""

    def correct(self, m: Measurement, labels: Sequence[Label], options: MeasureOptions, name: str) -> Measurement:
        """Return the same measurement by a person's labels."""


def measure_all(
    request: MeasureRequest, watch: Watch | None = None, *, asked_to_stop: Callable[[], bool] = lambda: False
) -> Outcome:
    """Measure, prove and correct, as far as asked for.

    Parameters
    ----------
    request : MeasureRequest
        What is to be measured.
    watch : callable or None
        Told of each pass over the sound.
    asked_to_stop : callable
        Whether the user has asked to stop: proof and correction, which would not fit what was heard, are left out then.

    Raises
    ------
    InputError
        If there is no sound to be had, or a label lies after its end.
    StoreError
        If a listening folder cannot be read or made.
    SettingsError
        If the options contradict each other.
    """
    source, watch = source_of(request), watch or _unwatched
    options = source.options(request.options)
    with watch("recording") as progress:
        measured = source.measure(options, progress)
    if asked_to_stop():
        return Outcome(measured, options)
    if request.prove:
        from clicktimer.quality.proof import prove_recording

        with watch("proof") as progress:
            proof = prove_recording(request.paths, measured, options, progress=progress)
        measured = replace(measured, proof=proof)
    if request.labels is not None:
        name, labels = request.labels
        measured = source.correct(measured, labels, options, name)
    return Outcome(measured, options)


def source_of(request: MeasureRequest) -> Source:
    """Return where the candidates of a request come from."""
    from clicktimer.storage.writer import is_listening

    if request.into is None and len(request.paths) == 1 and is_listening(Path(request.paths[0])):
        from clicktimer.streaming.finalize import ListeningFolder

        return ListeningFolder(Path(request.paths[0]))
    return _Recording(request.paths, request.into, request.program)


@contextmanager
def _unwatched(_stage: Stage) -> Iterator[None]:
    yield None


@dataclass(frozen=True, slots=True)
class _Recording:
    """A recording, or its parts in order; with ``into``, what is heard is kept in a new folder."""

    paths: tuple[PathLike, ...]
    into: Path | None = None
    program: str = ""

    def options(self, options: MeasureOptions) -> MeasureOptions:
        return options

    def measure(self, options: MeasureOptions, progress: Progress | None) -> Measurement:
        from clicktimer.audio import JoinedRecording, open_recording

        if self.into is not None:
            from clicktimer.streaming.import_recording import measure_into

            return measure_into(self.paths, self.into, options, program=self.program, progress=progress)
        parts = [open_recording(p, started=options.started if i == 0 else None) for i, p in enumerate(self.paths)]
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

    def correct(self, m: Measurement, labels: Sequence[Label], options: MeasureOptions, name: str) -> Measurement:
        return corrected(m, labels, options, name=name)


def measure_recording(
    path: PathLike | Sequence[PathLike],
    *,
    options: MeasureOptions | None = None,
    progress: Progress | None = None,
) -> Measurement:
    """Measure one recording, or a listening folder; a sequence of paths is the parts of one recording, in order.

    Raises InputError where there is no sound to be had, SettingsError where the options contradict each other.
    """
    paths = (path,) if isinstance(path, str | os.PathLike) else tuple(path)
    request = MeasureRequest(paths, options or MeasureOptions())
    return measure_all(request, lambda _stage: nullcontext(progress)).measured


def measure_samples(
    samples: Samples,
    rate_hz: int,
    *,
    pump_at_start: PumpState | None = None,
    taps: Taps | None = None,
    name: str = "samples",
    options: MeasureOptions | None = None,
) -> Measurement:
    """Measure the pump's runs in sound that is already in memory.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono sound, full scale 1.
    rate_hz : int
        Samples per second.
    pump_at_start : {"on", "off"} or None
        Whether the pump ran at the first sample; None: not known.
    taps : {"shut", "steady"} or None
        "shut": no water was running; "steady": one tap ran steadily; None: not known.
    name : str
        What the source is called in the result.
    options : MeasureOptions or None
        All options at once (``clicktimer.assessment.options``), in place of ``taps`` and ``pump_at_start``.

    Returns
    -------
    Measurement
        The same as of a recording with these samples, without a fingerprint.

    Examples
    --------
    >>> import numpy as np
    >>> import clicktimer
    >>> quiet = 1e-3 * np.random.default_rng(1).standard_normal(20 * 16_000)
    >>> clicktimer.measure_samples(quiet.astype(np.float32), 16_000).clicks
    ()
    """
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
    finder, tones = OnsetFinder(params), ToneFinder(params)
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
