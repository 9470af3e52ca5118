"""The chain, live: a source of sound -> engine -> folder, step by step; what is said is on disk before it is said.

One step reads a block at the most. The caller shows what a step returns and asks for ``state`` when it draws its line.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final, Literal, Protocol

import numpy as np

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio.clock import Clock
from clicktimer.audio.microphone import DeviceNote
from clicktimer.audio.quality import Watch
from clicktimer.records import (
    Block,
    Notice,
    Reason,
)
from clicktimer.storage.batch import Batch, Event
from clicktimer.storage.faults import Fault
from clicktimer.storage.reasons import reason_text
from clicktimer.storage.sound_store import RESERVE_BYTES, ClickSounds, Kept, WholeSound, free_bytes
from clicktimer.storage.writer import Folder, Keep
from clicktimer.streaming.engine import Engine, Fed
from clicktimer.streaming.finalize import measure_folder
from clicktimer.streaming.finder import LiveTones
from clicktimer.streaming.noted import RESULT, result_noted
from clicktimer.streaming.resume import earlier_of
from clicktimer.streaming.silence_watch import Deaf
from clicktimer.streaming.state import Alarms, Note, State, state_of

COMMIT_S: Final = 0.5
"""Sound between two commits: with what the detector holds back, less than a second is lost to a power cut."""
NOTICES_S: Final = 60.0
TONES_S: Final = 10.0
"""Tones are written so often: they tell only what machine runs, and of the last ones none is missed."""
DISK_S: Final = 10.0
WALL_S: Final = 5.0
CLOCK_JUMP_S: Final = 2.0

Why = Literal["asked", "time", "signal", "end of the recording", "verdict"]
Said = Event | DeviceNote | Note


class Source(Protocol):
    """Where blocks come from. ended: no more will come (a recording)."""

    rate_hz: int
    name: str
    ended: bool

    def read(self, timeout_s: float = 0.1) -> Block | DeviceNote | None:
        """The next block, what befell the device, or None."""

    def close(self) -> None:
        """Let go of it."""


class RecordingSource:
    """A recording as a source, as fast as it can be read: for ``measure --into``, and for tests."""

    def __init__(self, blocks: Iterator[Block], rate_hz: int, name: str, *, piece_s: float = 0.25) -> None:
        self.rate_hz, self.name, self.ended = rate_hz, name, False
        self._pieces = _pieces(blocks, piece_s)

    def read(self, timeout_s: float = 0.1) -> Block | None:
        """The next piece."""
        block = next(self._pieces, None)
        self.ended = block is None
        return block

    def close(self) -> None:
        """Nothing to let go of: the recording is its owner's."""


def _pieces(blocks: Iterator[Block], piece_s: float) -> Iterator[Block]:
    for block in blocks:
        step = max(int(piece_s * block.rate_hz), 1)
        for first in range(0, max(len(block.samples), 1), step):
            gap = block.gap_before if first == 0 else None
            yield Block(block.samples[first : first + step], block.rate_hz, block.start_s + first / block.rate_hz, gap)


class Session:
    """One session of listening into a folder."""

    def __init__(  # noqa: PLR0913
        self,
        source: Source,
        folder: Folder,
        options: MeasureOptions,
        *,
        program: str,
        keep: Keep = "default",
        clock: Clock | None = None,
        longest_run_s: float | None = None,
        start_s: float = 0.0,
        provisional: bool = True,
    ) -> None:
        """provisional: say what is heard as it comes; without, only the settled result is told (recordings)."""
        self.source, self.folder, self.options, self.keep = source, folder, options, keep
        self._clock = clock or Clock()
        earlier = None
        if folder.resumed is not None and folder.resumed.end_s > 0.0:
            live = options.detection.live
            earlier = earlier_of(folder.path, around_s=live.around_s, most=live.most_known)
        self.engine = Engine(
            pump_at_start=options.pump_at_start, earlier=earlier, forgets=True, params=options.detection
        )
        self.engine.end_s = start_s
        self._provisional = provisional
        self._alarms = Alarms(options, longest_run_s, from_s=start_s)
        self._clicks = ClickSounds(folder.path) if keep == "default" else None
        self._whole = WholeSound(folder.path) if keep == "all" else None
        self._watch, self._deaf = Watch(), Deaf()
        self._window: list[Block] = []
        self._batch = Batch(end_s=start_s)
        self._committed_s = self._noticed_s = self._toned_s = start_s
        self._tones = LiveTones(options.detection)
        self._disk_at_s = self._wall_at_s = -1e9
        self._free = free_bytes(folder.path)
        self._told_fault: Fault | None = None
        self._wall_off_s = self._wall_offset()
        self._zero = self._clock.wall() - timedelta(seconds=start_s)
        folder.begin(rate_hz=source.rate_hz, device=source.name, start_s=start_s, program=program)
        self._batch.log.append((start_s, "began", f"listening to {source.name} at {source.rate_hz} Hz, keep {keep}"))
        self.folder.commit(self._take_batch())

    def wall_of(self, time_s: float) -> datetime:
        """The time of day of a moment of the sound, as page and report tell it: from when this session began."""
        return self._zero + timedelta(seconds=time_s)

    # -- a step ----------------------------------------------------------------------------------------------------

    def step(self, timeout_s: float = 0.1) -> list[Said]:
        """Read once; return what is to be said, all of it committed."""
        got = self.source.read(timeout_s)
        said: list[Said] = [*self._look_at_clock(), *self._look_at_disk()]
        if isinstance(got, DeviceNote):
            self._batch.log.append((got.at_s, got.code, got.text))
            said.append(got)
        elif got is not None:
            said += self._take(got)
        if said or self.engine.end_s - self._committed_s >= COMMIT_S:
            self._commit(said)
        return said

    def _take(self, block: Block) -> list[Said]:
        said: list[Said] = []
        fed = self.engine.feed(block)
        self._tones.feed(block)
        self._note(fed)
        events = list(fed.events) if self._provisional else []
        if self._provisional and self.engine.due():
            events += self.engine.decide()
        self._batch.events += events
        said += events
        self._keep(block, events)
        self._look_at(block)
        notes: list[Note] = []
        if self._alarms.due(self.engine.end_s):
            notes = self._alarms.look(self.engine.clicks(), self.engine.gaps, self.engine.end_s)
        deaf = self._deaf.look(block) if self._provisional else None
        for note in notes if deaf is None else [deaf, *notes]:
            self._log(note.code, note.reason)
            said.append(note)
        return said

    def _note(self, fed: Fed) -> None:
        if len(fed.candidates):
            self._batch.candidates.append(fed.candidates)
        self._batch.levels += fed.levels
        if fed.gap is not None:
            self._batch.gaps.append(fed.gap)

    def _look_at(self, block: Block) -> None:
        """Clipping, silence and so on, in windows of a second as for a recording."""
        window = self._window
        if window and (block.gap_before is not None or sum(len(b.samples) for b in window) >= block.rate_hz):
            self._close_window()
        window.append(block)

    def _close_window(self) -> None:
        first = self._window[0]
        samples = np.concatenate([b.samples for b in self._window])
        for _ in self._watch.feed(Block(samples, first.rate_hz, first.start_s, first.gap_before)):
            pass
        self._window.clear()

    # -- the disk --------------------------------------------------------------------------------------------------

    def _keep(self, block: Block, events: list[Event]) -> None:
        try:
            if self._whole is not None:
                self._batch.sounds += self._whole.add(block)
            if self._clicks is not None:
                self._clicks.add(block)
                for event in events:
                    if event.what == "kind":
                        self._clicks.want(event.time_s, "click")
                    elif event.what == "withdrawn" and event.kind == "unknown":
                        self._clicks.want(event.time_s, "doubtful")
                self._batch.sounds += self._clicks.write(self.engine.end_s)
        except OSError as error:
            self._stop_keeping(Reason("notice.sound-not-kept", why=str(error.strerror or error)))

    def _stop_keeping(self, reason: Reason) -> None:
        whole, self._whole, self._clicks = self._whole, None, None
        if whole is not None:
            try:
                self._batch.sounds += whole.close()
            except OSError:
                self._log("sound", Reason("notice.last-part-not-whole"))
        self._log("disk", reason)
        self._disk_notice = Note("disk", reason)

    def _log(self, code: str, reason: Reason) -> None:
        self._batch.log.append((self.engine.end_s, code, reason_text(reason)))

    _disk_notice: Note | None = None

    def _look_at_disk(self) -> list[Said]:
        said: list[Said] = []
        if self.engine.end_s - self._disk_at_s >= DISK_S:
            self._disk_at_s = self.engine.end_s
            try:
                self._free = free_bytes(self.folder.path)
            except OSError:
                return said
            if self._free < RESERVE_BYTES and (self._whole is not None or self._clicks is not None):
                self._stop_keeping(Reason("notice.disk-nearly-full"))
        if self._disk_notice is not None:
            said.append(self._disk_notice)
            self._disk_notice = None
        fault, before = self.folder.fault, self._told_fault
        if fault != before:
            self._told_fault = fault
            if fault is not None:
                said.append(Note(fault, Reason(f"notice.fault.{fault}")))
            elif before is not None:
                over = Reason("notice.room-again") if before == "disk-full" else Reason("notice.writes-again")
                said.append(Note(before, over))
        return said

    def _commit(self, said: list[Said]) -> None:
        batch = self._take_batch()
        batch.pending = self.engine.finder.pending()
        if self.engine.end_s - self._toned_s >= TONES_S:
            self._toned_s, batch.tones = self.engine.end_s, self._tones.newer()
        if self.engine.end_s - self._noticed_s >= NOTICES_S:
            self._noticed_s = self.engine.end_s
            batch.notices = copy.deepcopy(self._watch).notices()
        self.folder.commit(batch)

    def _take_batch(self) -> Batch:
        batch, self._batch = self._batch, Batch()
        batch.end_s = self._committed_s = self.engine.end_s
        return batch

    # -- the clock -------------------------------------------------------------------------------------------------

    def _wall_offset(self) -> float:
        return self._clock.wall().timestamp() - self._clock.boot_s()

    def _look_at_clock(self) -> list[Said]:
        """A clock that is set while we listen is told; runs are counted in samples and do not change."""
        now_s = self._clock.boot_s()
        if now_s - self._wall_at_s < WALL_S:
            return []
        self._wall_at_s = now_s
        off_s = self._wall_offset()
        jump_s, self._wall_off_s = off_s - self._wall_off_s, off_s
        if abs(jump_s) < CLOCK_JUMP_S:
            return []
        reason = Reason("notice.clock-forward" if jump_s > 0 else "notice.clock-back", off_s=abs(jump_s))
        self._log("clock", reason)
        return [Note("clock", reason)]

    # -- asking and ending -----------------------------------------------------------------------------------------

    def mark(self, what: str, text: str = "") -> None:
        """Note something that the user did at this moment, on disk at once."""
        self._batch.marks.append((self.engine.end_s, what, text))
        self._commit([])

    def state(self) -> State:
        """What the live line shows."""
        engine = self.engine
        return state_of(engine.clicks(), engine.gaps, engine.end_s, engine.finder.level_db(), self._free, self.options)

    def finish(
        self,
        why: Why = "asked",
        *,
        notices: Sequence[Notice] | None = None,
        sounds: Callable[[Measurement], list[Kept]] | None = None,
    ) -> Measurement:
        """End the session: the whole is decided as a recording of the same sound would be, and that is written too.

        notices: what was odd about the sound, where its reader has looked already. sounds: keeps the sound around the
        settled clicks, where that was not done as they came.
        """
        self.source.close()
        self._note(self.engine.flush())
        if self._window:
            self._close_window()
        try:
            if self._clicks is not None:
                self._batch.sounds += self._clicks.write(self.engine.end_s, all_now=True)
            if self._whole is not None:
                self._batch.sounds += self._whole.close()
        except OSError as error:
            self._log("disk", Reason("notice.last-sound-not-kept", why=str(error.strerror or error)))
        batch = self._take_batch()
        batch.pending = self.engine.finder.pending()
        self._tones.flush()
        batch.tones = self._tones.newer()
        batch.notices = self._watch.notices() if notices is None else list(notices)
        self.folder.commit(batch, ended=why)
        measured = measure_folder(self.folder.path, self.options)
        fault = self.folder.fault
        if fault is not None:  # what waits in memory is not in a result that is read from the disk
            reason = Reason("notice.not-written", fault=fault)
            if fault == "disk-full":
                reason = Reason("notice.disk-full")
            missing = Notice(fault, reason, measured.source.duration_s)
            measured = replace(measured, warnings=(*measured.warnings, missing))
        last = Batch(end_s=self.engine.end_s, events=self.engine.settle(measured.clicks))
        last.log.append((self.engine.end_s, "ended", why))
        if sounds is not None:
            last.sounds += sounds(measured)
        self.folder.note(RESULT, result_noted(measured))
        self.folder.commit(last, ended=why)
        self.folder.close()
        return measured
