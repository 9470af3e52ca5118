"""Stage 1: several recordings that are parts of one (``--joined``) in, one row of blocks out.

How much time passed between two parts is not known, so the first block of each later part carries a gap of
unknown length: nothing is timed across it. Times count on through the parts.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

from clicktimer.audio import containers
from clicktimer.audio.files import Recording, RecordingInfo
from clicktimer.errors import InputError
from clicktimer.records import Block, Gap, Notice, Reason, SourceInfo

WHY = "next part of the recording"


class JoinedRecording:
    """The parts as one, used like a Recording: ``info``, ``blocks()`` once, ``finish()``, ``notices``."""

    def __init__(self, recordings: Sequence[Recording]) -> None:
        if not recordings:
            raise InputError("no recordings to join; name at least one file")
        self._parts = list(recordings)
        self._offsets_s: list[float] = []
        hints = [part.info.duration_hint_s for part in self._parts]
        known = [hint for hint in hints if hint is not None]
        self.info = RecordingInfo(
            name=" + ".join(part.info.name for part in self._parts),
            rate_hz=self._parts[0].info.rate_hz,
            channels=self._parts[0].info.channels,
            container=self._parts[0].info.container,
            codec=self._parts[0].info.codec,
            started_at=self._parts[0].info.started_at,
            duration_hint_s=sum(known) if len(known) == len(hints) else None,
        )

    @property
    def now_s(self) -> float:
        """How far the reading has come, in seconds through all parts."""
        return sum(part.now_s for part in self._parts)

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What was odd about each part, with its name, at the times used here; complete after ``finish()``."""
        found = []
        for offset_s, part in zip(self._offsets_s, self._parts, strict=False):
            for notice in part.notices:
                time_s = None if notice.time_s is None else notice.time_s + offset_s
                found.append(
                    Notice(notice.code, Reason("notice.of-part", part=part.info.name, what=notice.reason), time_s)
                )
        return tuple(found)

    def blocks(self) -> Iterator[Block]:
        """The blocks of all parts in turn, times counting on."""
        end_s = 0.0
        for index, part in enumerate(self._parts):
            start_s, fresh = end_s, index > 0
            self._offsets_s.append(start_s)
            for block in part.blocks():
                gap = _moved(block.gap_before, start_s)
                if fresh:
                    gap, fresh = Gap(start_s, None, WHY), False
                yield dataclasses.replace(block, start_s=block.start_s + start_s, gap_before=gap)
            end_s = start_s + part.now_s

    def finish(self) -> SourceInfo:
        """Close all parts. sha256 is that of the files laid end to end; rate and channels are the first part's."""
        sha256 = containers.sha256_of(*(part.file for part in self._parts))
        infos = [part.finish() for part in self._parts]
        return SourceInfo(
            name=self.info.name,
            duration_s=sum(info.duration_s for info in infos),
            sample_rate_hz=infos[0].sample_rate_hz,
            channels=infos[0].channels,
            sha256=sha256,
            started_at=infos[0].started_at,
            started_how=infos[0].started_how,
        )

    def close(self) -> None:
        """Let go of the files without reading on."""
        for part in self._parts:
            part.close()


def joined(recordings: Sequence[Recording]) -> Iterator[Block]:
    """The blocks of several recordings as one recording; raises InputError when there is none."""
    return JoinedRecording(recordings).blocks()


def _moved(gap: Gap | None, by_s: float) -> Gap | None:
    if gap is None:
        return None
    return Gap(gap.from_s + by_s, None if gap.to_s is None else gap.to_s + by_s, gap.why)
