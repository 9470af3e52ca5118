"""The chain, live: blocks in, and what must be said of an input that delivers nothing but zeros, or does again.

A microphone that is muted, or that the system does not let this program use, looks like a very quiet room: nobody would
know before the result that nothing was heard.
"""

from __future__ import annotations

from typing import Final

from clicktimer.records import Block, Reason
from clicktimer.streaming.state import Note

DEAF_S: Final = 5.0
"""No room is without any noise for so long; noise suppression gives up sooner (common practice, no source)."""


class Deaf:
    """Follows how long the value has not changed."""

    def __init__(self) -> None:
        self._still_s = 0.0

    def look(self, block: Block) -> Note | None:
        """Take a block; what there is to say."""
        if not block.samples.size:
            return None
        length_s = block.samples.size / block.rate_hz
        before_s = self._still_s
        if block.samples.min() == block.samples.max():
            self._still_s += length_s
            reported = before_s < DEAF_S <= self._still_s
            return Note("deaf", Reason("notice.deaf"), urgent=True) if reported else None
        self._still_s = 0.0
        return Note("hears", Reason("notice.hears", lost_s=before_s)) if before_s >= DEAF_S else None
