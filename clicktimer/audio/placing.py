"""Stage 1, inside: decoded frames (None where decoding failed) in, windows placed in time out, holes told as gaps.

Time stamps are only held against the count of samples. Where they leave it by more than JUMP_S at once, sound
is missing, and what follows moves by that length. A slow drift between the two is not a gap (a recorder that
stamps by another clock than the one it samples by): it is followed, and told at the end if it is large.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

import av

from clicktimer.audio.frames import Assembler, Shape, Window
from clicktimer.audio.timeline import Timeline, merged
from clicktimer.records import Gap, Notice, Reason, Samples

JUMP_S = 0.050
"""Shorter jumps are rounding and jitter: stamps in whole milliseconds, edit lists, one lost 20 ms packet."""

JUMP_MAX_S = 86_400.0
"""A jump of more than a day is a damaged time stamp, not a pause. The same holds for all jumps of a file in sum, ..."""

PAUSED_TO_HEARD = 10.0
"""... unless the recording holds at least a tenth as much sound: recorders that sleep in silence make such files."""

GAPS_MAX = 1000
"""So many holes are no recording any more. What came before them is measured."""

DRIFT_TIME_CONSTANT_S = 10.0
"""How fast a slow drift is followed: a clock error of 100 ppm then stands at 1 ms, far under JUMP_S."""

WITHOUT_TIMES = frozenset({"mp3", "aac", "amr", "amrnb", "amrwb"})
"""Containers whose "time stamps" are only counted up by the reader; after damage they mean nothing."""

WITHOUT_MEMORY = ("pcm", "flac", "alac", "adpcm")
"""Codecs whose frames stand alone. With any other the first frame after a loss is half made of what was lost."""

UNPLACED_MAX = 64
"""So many frames in a row without a time stamp are held back until the next stamp says where they belong."""

DAMAGE_TOLD = 10
"""So many damaged places are told one by one; of the others only the number."""

DAMAGE_APART_S = 1.0
"""Damage nearer to the last that was told is part of it. (Every gap is handed on all the same.)"""


class Placer:
    """Gives every sample its time. ``windows`` is its whole use; read ``notices()`` after it."""

    def __init__(self, first: av.AudioFrame, container: str, codec: str, check: Callable[[Shape], Shape]) -> None:
        self._check = check
        self._shape = check(Shape.of(first))
        self._assembler = Assembler(self._shape)
        self.timeline = Timeline(self._shape.rate_hz)
        self._trusted = first.pts is not None and not WITHOUT_TIMES.intersection(container.split(","))
        self._memory = not codec.startswith(WITHOUT_MEMORY)
        self._time_base = first.time_base or Fraction(1, self._shape.rate_hz)
        self._ticks = 1.0 / float(self._time_base * self._shape.rate_hz)
        self._expected: float = first.pts or 0
        self._off = 0.0
        self._drift_s = 0.0
        self._unplaced: list[av.AudioFrame] = []
        self._damaged = self._spared = False
        self._gap: Gap | None = None
        self._missing_s = 0.0
        self._gaps = 0
        self.damages = 0
        self.length_unknown = False
        self._notices: list[Notice] = []

    def windows(self, frames: Iterator[av.AudioFrame | None]) -> Iterator[Window]:  # noqa: C901
        """Place the frames, the first one included."""
        jump = JUMP_S / float(self._time_base)
        for frame in frames:
            # The usual frame passes here without a further call: this is done 170,000 times in an hour of AAC.
            if frame is None or frame.is_corrupt:
                self._damaged = True
                continue
            if self._gaps > GAPS_MAX:
                now_s = self.timeline.now_s
                self._notices.append(Notice("truncated", Reason("notice.too-many-gaps", count=GAPS_MAX), now_s))
                self._damaged = False
                break
            if self._trusted:
                stamp = frame.pts
                if stamp is None:
                    self._unplaced.append(frame)
                    if len(self._unplaced) > UNPLACED_MAX:
                        yield from self._give_up_stamps()
                    continue
                self._off = off = stamp - self._expected
                if off > jump or off < -jump or self._damaged or self._unplaced:
                    yield from self._irregular(frame, off * float(self._time_base))
                    continue
            elif self._damaged:
                yield from self._irregular(frame, None)
                continue
            self._expected += frame.samples * self._ticks
            if not self._assembler.put(frame):
                yield from self._reshape(frame)
            if self._assembler.held >= self._assembler.window_samples:
                yield from self._give(self._assembler.full())
        if self._damaged:
            end_s = self.timeline.now_s + self._assembler.held / self._shape.rate_hz
            self._notices.append(Notice("truncated", Reason("notice.ends-undecodable"), end_s))
        yield from self._give_up_stamps()
        yield from self._give(self._assembler.rest())

    def _lay(self, frame: av.AudioFrame) -> Iterator[Window]:
        """Lay a frame behind the last one: what ``windows`` does for the usual frame."""
        self._expected += frame.samples * self._ticks
        if not self._assembler.put(frame):
            yield from self._reshape(frame)
        if self._assembler.held >= self._assembler.window_samples:
            yield from self._give(self._assembler.full())

    def _irregular(self, frame: av.AudioFrame, off_s: float | None) -> Iterator[Window]:
        """A frame that follows damage, or frames without a stamp, or whose stamp has jumped. off_s None: not known."""
        unplaced, self._unplaced = self._unplaced, []
        if unplaced and off_s is not None:
            missing_s = off_s - sum(each.samples for each in unplaced) / self._shape.rate_hz
            if not self._damaged and abs(missing_s) <= JUMP_S / 2:
                for each in (*unplaced, frame):
                    yield from self._lay(each)
                return
            self._damaged = True  # they lie somewhere in the hole: sound that cannot be placed is lost
        if self._damaged and self._memory and not self._spared:
            self._spared = True
            return
        self._off = 0.0  # or the jump itself would be taken for drift
        yield from self._give(self._assembler.rest())
        why = "the time stamps jump: sound is missing"
        if self._damaged:
            why = "damaged: sound could not be decoded"
            self.damages += 1
            self._tell_damage(off_s)
        if off_s is not None and not self._credible(off_s):
            off_s, why = None, "the time stamps are not in order"
        self._gaps += 1
        self.length_unknown |= off_s is None
        self._gap = merged(self._gap, self.timeline.gap(None if off_s is None else max(0.0, off_s), why))
        self._damaged = self._spared = False
        self._expected = frame.pts or 0
        yield from self._lay(frame)

    def _credible(self, off_s: float) -> bool:
        """Return whether so much sound may be missing here, in seconds; if so it is counted."""
        missing_s = self._missing_s + max(0.0, off_s)
        heard_s = self.timeline.now_s - self._missing_s
        if not -JUMP_S <= off_s <= JUMP_MAX_S or missing_s > max(JUMP_MAX_S, PAUSED_TO_HEARD * heard_s):
            return False
        self._missing_s = missing_s
        return True

    def _tell_damage(self, lost_s: float | None) -> None:
        now_s = self.timeline.now_s
        near = self._notices and now_s - (self._notices[-1].time_s or 0.0) < DAMAGE_APART_S
        if near or len(self._notices) >= DAMAGE_TOLD:
            return
        if lost_s is None:
            reason = Reason("notice.damaged-unknown")
        else:
            reason = Reason("notice.damaged", lost_s=max(0.01, lost_s))
        self._notices.append(Notice("damaged", reason, now_s))

    def _reshape(self, frame: av.AudioFrame) -> Iterator[Window]:
        """Go on with a frame of another rate, format or number of channels."""
        yield from self._give(self._assembler.rest())
        self._shape = shape = self._check(Shape.of(frame))
        self._assembler = Assembler(shape)
        self._assembler.put(frame)
        self.timeline.new_rate(shape.rate_hz)
        self._expected -= frame.samples * self._ticks
        self._ticks = 1.0 / float(self._time_base * shape.rate_hz)
        self._expected += frame.samples * self._ticks
        self._gap = merged(self._gap, self.timeline.gap(0.0, "the kind of sound changes (rate or channels)"))

    def _give_up_stamps(self) -> Iterator[Window]:
        """Frames without stamps are not going to be placed by a later one: they follow what came before."""
        unplaced, self._unplaced = self._unplaced, []
        if unplaced:
            self._trusted = False
        for each in unplaced:
            yield from self._lay(each)

    def _give(self, stretches: Iterator[Samples]) -> Iterator[Window]:
        for samples in stretches:
            yield Window(samples, self._shape.rate_hz, self.timeline.now_s, self._gap)
            self._gap = None
            count = samples.shape[1]
            self.timeline.advance(count)
            followed = self._off * min(1.0, count / self._shape.rate_hz / DRIFT_TIME_CONSTANT_S)
            self._expected += followed
            self._off -= followed
            self._drift_s += followed * float(self._time_base)

    def notices(self) -> list[Notice]:
        """What was odd about the file's order in time; call it after the last window."""
        found = list(self._notices)
        told = sum(notice.code == "damaged" for notice in found)
        if self.damages > told:
            found.append(Notice("damaged", Reason("notice.damaged-in-all", count=self.damages, listed=told)))
        if self._trusted and abs(self._drift_s) > JUMP_S + 2e-4 * self.timeline.now_s:
            found.append(Notice("clock-drift", Reason("notice.clock-drift", off_s=self._drift_s)))
        return found
