"""Stage 1, inside: mono blocks in, the same out (less what is not a number), and what is odd about them.

Only tells; the sound itself is not changed. Statistics are taken per block of one window, so they do not
depend on how the caller wants its blocks cut.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from clicktimer.audio.timeline import merged
from clicktimer.records import Block, Gap, Notice, Reason, Samples

CLIPPED_AT = 0.985
"""Of full scale. A little under 1, because a lossy codec rounds clipped tops off."""

CLIPPED_SHARE_BRIEF = 1e-3
"""Of all samples. A switch heard from a hand's width may clip for some 5 ms each time: 2e-4 at two clicks a minute."""

CLIPPED_SECONDS_THROUGHOUT = 0.5
"""Share of the seconds in which so much clips."""

QUIET_PEAK = 10.0 ** (-50.0 / 20.0)
"""Of full scale, at the loudest moment of the recording: there 16-bit sound has 100 steps left."""

OFFSET_SHARE = 0.05
_MEAN_STEP = 16
"""Every so many samples are enough for the mean."""

BEYOND_FULL_SCALE = 4.0

ABSURD = 1e12
"""Of full scale. No recorder writes this, damage does; it counts as not a number."""

MUTED_S = 0.1
"""A value that does not change at all for so long was put there by a device, not by a room."""

MUTED_EDGE_S = 1.0
"""Up to so much at the very start or end is how many encoders begin and end, and is not told."""

LOST_CELL_S = 0.1
"""Sound is lost in pieces of this length around samples that are not numbers."""


class Watch:
    """Looks at mono blocks on their way and remembers what is odd. ``feed`` and ``notices`` are its whole use."""

    def __init__(self) -> None:
        self._windows = self._clipped_windows = self._clipped = self._samples = 0
        self._peak_swing = self._peak = 0.0
        self._mean_sum = 0.0
        self._muted_count = 0
        self._muted_total_s = self._muted_first_s = 0.0
        self._still_from_s: float | None = None
        self._still_value = np.float32(0.0)
        self._end_s = 0.0
        self._not_numbers = 0
        self._first_not_number_s = 0.0
        self._pending: Gap | None = None

    def feed(self, block: Block) -> Iterator[Block]:
        """Take the next block; give it back, in pieces where samples are not numbers."""
        high, low = float(block.samples.max()), float(block.samples.min())
        if not (high < ABSURD and low > -ABSURD):
            yield from self._without_lost(block)
            return
        if self._pending is not None:
            gap = self._pending if block.gap_before is None else merged(self._pending, block.gap_before)
            block, self._pending = Block(block.samples, block.rate_hz, block.start_s, gap), None
        self._note(block, high, low)
        yield block

    def _without_lost(self, block: Block) -> Iterator[Block]:
        bad = ~(np.abs(block.samples) < ABSURD)
        count, rate_hz = len(bad), block.rate_hz
        if not self._not_numbers:
            self._first_not_number_s = block.start_s + int(np.argmax(bad)) / rate_hz
        self._not_numbers += int(np.count_nonzero(bad))
        cell = max(1, round(LOST_CELL_S * rate_hz))
        edges = list(range(0, count, cell))
        lost = np.logical_or.reduceat(bad, edges)
        at = 0
        while at < len(edges):
            last = at
            while last < len(edges) and lost[last] == lost[at]:
                last += 1
            start, stop = edges[at], edges[last] if last < len(edges) else count
            start_s, stop_s = block.start_s + start / rate_hz, block.start_s + stop / rate_hz
            if start == 0 and block.gap_before is not None:
                self._pending = merged(self._pending, block.gap_before)
            if lost[at]:
                self._pending = merged(self._pending, Gap(start_s, stop_s, "samples that are not numbers"))
            else:
                piece = Block(block.samples[start:stop], rate_hz, start_s, self._pending)
                self._pending = None
                self._note(piece, float(piece.samples.max()), float(piece.samples.min()))
                yield piece
            at = last

    def _note(self, block: Block, high: float, low: float) -> None:
        samples, count = block.samples, len(block.samples)
        self._windows += 1
        self._samples += count
        self._peak_swing = max(self._peak_swing, (high - low) / 2.0)
        self._peak = max(self._peak, high, -low)
        self._mean_sum += float(np.add.reduce(samples[::_MEAN_STEP])) * _MEAN_STEP
        if max(high, -low) >= CLIPPED_AT:
            clipped = int(np.count_nonzero(samples >= CLIPPED_AT) + np.count_nonzero(samples <= -CLIPPED_AT))
            self._clipped += clipped
            self._clipped_windows += clipped >= CLIPPED_SHARE_BRIEF * count
        if block.gap_before is not None:
            self._end_still(self._end_s)
        self._note_still(block)
        self._end_s = block.start_s + count / block.rate_hz

    def _note_still(self, block: Block) -> None:
        """Follow stretches in which the value does not change, across blocks."""
        samples, rate_hz, start_s = block.samples, block.rate_hz, block.start_s
        count = len(samples)
        lead = _leading(samples)
        if self._still_from_s is not None and samples[0] != self._still_value:
            self._end_still(start_s)
        if self._still_from_s is None:
            self._still_from_s, self._still_value = start_s, samples[0]
        if lead == count:
            return
        self._end_still(start_s + lead / rate_hz)
        every = max(1, int(MUTED_S * rate_hz / 2.5))
        few = samples[::every]
        if np.any(few[1:] == few[:-1]):  # only then can an unchanging stretch of MUTED_S lie inside
            changes = np.flatnonzero(samples[1:] != samples[:-1]) + 1
            for index in np.flatnonzero(np.diff(changes) >= MUTED_S * rate_hz):
                first, last = int(changes[index]), int(changes[index + 1])
                self._add_muted(start_s + first / rate_hz, start_s + last / rate_hz)
        trail = _leading(samples[::-1])
        self._still_from_s, self._still_value = start_s + (count - trail) / rate_hz, samples[-1]

    def _end_still(self, end_s: float) -> None:
        if self._still_from_s is not None and end_s - self._still_from_s >= MUTED_S:
            self._add_muted(self._still_from_s, end_s)
        self._still_from_s = None

    def _add_muted(self, from_s: float, to_s: float, *, at_end: bool = False) -> None:
        """Only sums are kept: a day of noise suppression has hundreds of thousands of such stretches."""
        if (from_s == 0.0 or at_end) and to_s - from_s <= MUTED_EDGE_S:
            return
        if not self._muted_count:
            self._muted_first_s = from_s
        self._muted_count += 1
        self._muted_total_s += to_s - from_s

    def notices(self) -> list[Notice]:
        """What was odd about the whole; call it after the last block."""
        if self._still_from_s is not None and self._end_s - self._still_from_s >= MUTED_S:
            self._add_muted(self._still_from_s, self._end_s, at_end=True)
        self._still_from_s = None
        found: list[Notice] = []
        if self._not_numbers:
            reason = Reason("notice.not-a-number", count=self._not_numbers)
            found.append(Notice("not-a-number", reason, self._first_not_number_s))
        if not self._samples:
            return found
        if self._peak_swing == 0.0:
            return [*found, Notice("digital-silence", Reason("notice.digital-silence"))]
        if self._peak_swing < QUIET_PEAK:
            level_db = 20.0 * float(np.log10(self._peak_swing))
            found.append(Notice("very-quiet", Reason("notice.very-quiet", level_db=level_db)))
        return found + self._clipping() + self._offset() + self._mutes()

    def _clipping(self) -> list[Notice]:
        if self._peak > BEYOND_FULL_SCALE:
            return [Notice("beyond-full-scale", Reason("notice.beyond-full-scale", times=float(self._peak)))]
        share, seconds = self._clipped / self._samples, self._clipped_windows / self._windows
        if share < CLIPPED_SHARE_BRIEF:
            return []
        if seconds >= CLIPPED_SECONDS_THROUGHOUT:
            return [Notice("clipping", Reason("notice.clips-throughout", percent=100 * share))]
        return [Notice("clipping", Reason("notice.clips-in-places", percent=100 * share, seconds=seconds))]

    def _offset(self) -> list[Notice]:
        mean = self._mean_sum / self._samples
        if abs(mean) < OFFSET_SHARE or self._peak > BEYOND_FULL_SCALE:
            return []
        return [Notice("dc-offset", Reason("notice.dc-offset", share=float(mean)))]

    def _mutes(self) -> list[Notice]:
        count = self._muted_count
        if not count:
            return []
        reason = Reason("notice.muted-stretches", count=count, total_s=self._muted_total_s)
        return [Notice("muted-stretches", reason, self._muted_first_s)]


def _leading(samples: Samples) -> int:
    """How many samples at the beginning have the same value; at least 1."""
    if len(samples) > 1 and samples[0] != samples[1]:
        return 1
    few = samples[:64] != samples[0]
    if few.any():
        return int(np.argmax(few))
    differ = samples != samples[0]
    return int(np.argmax(differ)) if differ.any() else len(samples)
