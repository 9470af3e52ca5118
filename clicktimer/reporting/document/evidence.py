"""10 document: what stands behind the figures: whose clicks are shown, their sound, the recordings' fingerprints."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from clicktimer.assessment.measurement import Measurement
from clicktimer.audio.cutting import Cut, cut_spans
from clicktimer.records import (
    Block,
    Cycle,
)
from clicktimer.reporting.document.model import Sound
from clicktimer.settings import Progress

MOST_RUNS: Final = 12
BEFORE_S: Final = 0.25
AFTER_S: Final = 0.55
"""A second around each click would make a long document twice as large, and tells no more."""
DOUBTFUL: Final = 0.9
MOST_DOUBTFUL: Final = 5

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class FileFact:
    """A recording as it lies there. sha256: None for a listening folder."""

    name: str
    sha256: str | None
    size_bytes: int | None


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is shown of the recordings themselves: their fingerprints, and the sound around moments, s."""

    files: tuple[FileFact, ...]
    cuts: Mapping[float, Cut]


def gather_evidence(
    paths: Sequence[str], m: Measurement, *, every: bool = False, progress: Progress | None = None
) -> Evidence:
    """Go to the recordings once more for the clicks that are shown. Raises InputError where they cannot be read."""
    times_s = click_times_s(m, runs_to_show(m, every=every))
    return Evidence(file_facts(paths), cuts_at(paths, m, times_s, progress))


def file_facts(paths: Sequence[str]) -> tuple[FileFact, ...]:
    """The name and the fingerprint of each recording, anew from its bytes."""
    return tuple(_file_fact(Path(path)) for path in paths)


def _file_fact(path: Path) -> FileFact:
    if path.is_dir():
        return FileFact(path.resolve().name, None, None)
    with path.open("rb") as file:
        return FileFact(path.name, hashlib.file_digest(file, "sha256").hexdigest(), path.stat().st_size)


def runs_to_show(m: Measurement, *, every: bool = False, most: int = MOST_RUNS) -> tuple[int, ...]:
    """Numbers (from 1) of the runs whose clicks are shown, in order.

    Of more than ``most``: the first and last, the shortest and longest, those nearest to the run that was judged,
    doubtful and corrected ones, then some evenly between.
    """
    cycles = m.cycles
    seen = [i for i, c in enumerate(cycles) if c.cut_in_s is not None or c.cut_out_s is not None]
    if every or len(seen) <= most:
        return tuple(i + 1 for i in seen)
    whole = sorted((i for i in seen if cycles[i].run_s is not None), key=lambda i: cycles[i].run_s or 0.0)
    wanted = [seen[0], seen[-1], *whole[:1], *whole[-1:]]
    if m.run is not None:
        seconds = m.run.seconds
        wanted += sorted(whole, key=lambda i: abs((cycles[i].run_s or 0.0) - seconds))[:2]
    wanted += [i for i in seen if _doubtful(cycles[i])][:MOST_DOUBTFUL]
    wanted += [seen[int(k)] for k in np.linspace(0, len(seen) - 1, most)]
    return tuple(sorted(i + 1 for i in list(dict.fromkeys(wanted))[:most]))


def _doubtful(c: Cycle) -> bool:
    return not c.complete or c.confidence < DOUBTFUL or bool(c.notes)


def click_times_s(m: Measurement, numbers: Sequence[int]) -> list[float]:
    """The moments, s, of all clicks of these runs, and of those that were detected where a person moved them."""
    times = [t for n in numbers for t in (m.cycles[n - 1].cut_in_s, m.cycles[n - 1].cut_out_s) if t is not None]
    if m.correction is not None:
        moved = {c.click.time_s: c.was_s for c in m.correction.clicks if c.was_s is not None and c.change == "moved"}
        times += [moved[t] for t in times if t in moved]
    return sorted(set(times))


def cuts_at(
    paths: Sequence[str], m: Measurement, times_s: Sequence[float], progress: Progress | None = None
) -> dict[float, Cut]:
    """The sound around each moment, as far as it can be had: from the recording, or from what a listening kept."""
    spans = [(max(0.0, t - BEFORE_S), min(m.source.duration_s, t + AFTER_S)) for t in times_s]
    if Path(paths[0]).is_dir():
        return _kept_cuts(Path(paths[0]), times_s, spans)
    from clicktimer.quality.proof import recording_again

    again: Callable[[], Iterable[Block]] = recording_again(paths)
    cuts = cut_spans(_told(again(), spans[-1][1], progress), spans) if spans else []
    return {time_s: cut for time_s, cut in zip(times_s, cuts, strict=True) if cut is not None}


def _told(blocks: Iterable[Block], end_s: float, progress: Progress | None) -> Iterator[Block]:
    """The same blocks up to the last that is wanted; of a day that takes long enough to be shown."""
    for block in blocks:
        yield block
        if progress is not None:
            progress(min(block.start_s, end_s), end_s)
        if block.start_s > end_s:
            return


def _kept_cuts(folder: Path, times_s: Sequence[float], spans: Sequence[Span]) -> dict[float, Cut]:
    """From the pieces of sound that lie in a listening folder."""
    from clicktimer.audio import open_recording
    from clicktimer.storage.reader import read_folder

    found: dict[float, Cut] = {}
    kept = read_folder(folder).sounds
    for time_s, (low_s, high_s) in zip(times_s, spans, strict=True):
        for from_s, length_s, _, name in kept:
            path = folder / name
            if not (from_s <= time_s < from_s + length_s) or not path.is_file():
                continue
            span = (max(low_s, from_s) - from_s, min(high_s, from_s + length_s) - from_s)
            (cut,) = cut_spans(open_recording(path).blocks(), [span])
            if cut is not None:
                found[time_s] = Cut(cut.samples, cut.rate_hz, cut.start_s + from_s)
                break
    return found


def part_of(cut: Cut | None, span_s: Span | None) -> Cut | None:
    """The part of a cut that lies in a span of the recording, s; None where it does not cover it."""
    if cut is None or span_s is None:
        return None
    first = round((span_s[0] - cut.start_s) * cut.rate_hz)
    last = first + max(round((span_s[1] - span_s[0]) * cut.rate_hz), 1)
    if first < -1 or last > len(cut.samples) + 1:
        return None
    return Cut(cut.samples[max(first, 0) : last], cut.rate_hz, cut.start_s + max(first, 0) / cut.rate_hz)


def sound_of(cut: Cut, time_s: float, label: str) -> Sound:
    """A cut as sound that a page can play: flac, 16 bit, the recording's own rate. time_s: the moment that is timed."""
    from clicktimer.audio.wav_writer import write_sound

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "click.flac"
        write_sound(path, cut.samples, cut.rate_hz, codec="flac")
        data = path.read_bytes()
    return Sound(label, data, len(cut.samples) / cut.rate_hz, cut.rate_hz, time_s - cut.start_s)
