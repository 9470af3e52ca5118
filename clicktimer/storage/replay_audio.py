"""The listening folder's sound, read again: all of it, where all was kept, as the blocks of one recording; else the
seconds around clicks.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

from clicktimer.records import Block, Gap, Reason
from clicktimer.storage.reader import Stored, read_folder

MISSING_S: Final = 2.0
"""So much may be missing at the end of each session: what was not yet written when the power went."""
_NAME: Final = re.compile(r"from (\d+\.\d+)s\.flac")


def sound_again(folder: Path) -> Callable[[], Iterable[Block]] | Reason:
    """The blocks of a listening from its beginning, each time it is called; or why they are not to be had.

    Raises StoreError where the folder cannot be read.
    """
    stored = read_folder(folder)
    parts = _parts(folder)
    if not parts:
        return Reason("proof.not-kept")
    lengths = {round(from_s, 3): length_s for from_s, length_s, why, _ in stored.sounds if why == "all"}
    ends = [s.end_s for s in stored.sessions]
    covered_s = 0.0
    for from_s, _ in parts:  # a part that was cut off is not in the list: it reaches to the end of its session
        covered_s += lengths.get(from_s, min((e - from_s for e in ends if e > from_s), default=0.0))
    lost_s = sum(g.to_s - g.from_s for g in stored.gaps if g.to_s is not None)
    if covered_s < stored.end_s - lost_s - MISSING_S * len(ends):
        return Reason("proof.part-not-kept")
    return lambda: _blocks(parts, stored)


def seconds_kept(stored: Stored) -> list[tuple[float, Path]]:
    """The seconds of sound around clicks that were kept: where each begins, s of the listening, and its file."""
    files = [(from_s, stored.path / file) for from_s, _, why, file in stored.sounds if why != "all"]
    return [(from_s, path) for from_s, path in files if path.is_file()]


def _parts(folder: Path) -> list[tuple[float, Path]]:
    """Where each part begins, s, and its file, in order."""
    found = [(m, path) for path in (folder / "sound").glob("*.flac") if (m := _NAME.fullmatch(path.name))]
    return sorted((float(m[1]), path) for m, path in found)


def _blocks(parts: list[tuple[float, Path]], stored: Stored) -> Iterator[Block]:
    from clicktimer.audio import open_recording

    end_s = 0.0
    for from_s, path in parts:
        for number, block in enumerate(open_recording(path).blocks()):
            start_s = from_s + block.start_s
            gap = block.gap_before
            if number == 0 and start_s > end_s + 0.01:
                why = next((g.why for g in stored.gaps if g.to_s is not None and abs(g.to_s - start_s) < 0.01), None)
                gap = Gap(end_s, start_s, why or "not kept")
            yield replace(block, start_s=start_s, gap_before=gap)
            end_s = start_s + len(block.samples) / block.rate_hz
