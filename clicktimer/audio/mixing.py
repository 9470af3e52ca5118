"""Stage 1, inside: windows of any number of channels in, mono blocks of one window each out.

The average of the channels is used only where that is safe. A dead channel would halve the click; channels
in opposite phase (a balanced cable in a stereo socket) would cancel it. The choice is made once, on the
first stretch in which anything is heard, and kept: a mix that changed on the way would look like a pump
that starts. It depends on the recording alone, never on the cut into blocks.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from clicktimer.audio.frames import Window
from clicktimer.records import Block, Figure, Gap, Notice, Reason, Samples

LOOK_AHEAD_S = 10.0
LOOK_AHEAD_SAMPLES_MAX = 4_000_000
"""The choice is made on this much sound, all channels together: bounds memory for many channels."""

DEAD_PEAK = 1.5 / 32768.0
"""A channel that never leaves its mean by more than one step and a half of 16 bit carries no sound."""

CANCEL_POWER = 0.1
"""If averaging leaves less than this share of the loudest channel's power (-10 dB), the loudest is used alone.

Two equal, unrelated channels keep 0.5; one of two live keeps 0.25. Opposite phase keeps next to nothing.
"""

DEAD_FOR_S = 3.0
"""A channel in use must be dead so long before it is said to have stopped."""


class Mixer:
    """Makes one channel of several. One Mixer for as long as rate and number of channels stay."""

    def __init__(self) -> None:
        self.notices: list[Notice] = []
        self._waiting: list[Window] = []
        self._chosen: list[int] | None = None
        self._dead_since_s: dict[int, float] = {}
        self._told: set[int] = set()

    def feed(self, window: Window) -> Iterator[Block]:
        """Take a window; give what can be given."""
        channels, count = window.samples.shape
        if channels == 1:
            yield _block(window, window.samples[0])
            return
        if self._chosen is not None:
            yield self._mixed(window)
            return
        self._waiting.append(window)
        have = len(self._waiting) * count
        if have >= LOOK_AHEAD_S * window.rate_hz or have * channels >= LOOK_AHEAD_SAMPLES_MAX:
            yield from self.flush()

    def flush(self) -> Iterator[Block]:
        """Give what is still held."""
        waiting, self._waiting = self._waiting, []
        if waiting and self._chosen is None:
            self._chosen = self._choose(waiting)
        for window in waiting:
            yield self._mixed(window) if self._chosen else _block(window, window.samples[0])

    def _choose(self, windows: list[Window]) -> list[int] | None:
        peaks = np.max([_peaks(w.samples) for w in windows], axis=0)
        live = [int(c) for c in np.flatnonzero(peaks > DEAD_PEAK)]
        channels = len(peaks)
        if not live:
            return None
        if len(live) < channels:
            dead = [c for c in range(channels) if c not in live]
            self._told.update(dead)
            self.notices.append(Notice("dead-channel", Reason("notice.dead-channel", **_channels(dead, channels))))
        power = np.sum([_powers(w.samples[live]) for w in windows], axis=0)
        mean_power = float(sum(_powers(_mean(w.samples, live)[None])[0] for w in windows))
        loudest = int(np.argmax(power))
        if len(live) > 1 and mean_power < CANCEL_POWER * power[loudest]:
            self.notices.append(Notice("channels-cancel", Reason("notice.channels-cancel", used=live[loudest] + 1)))
            return [live[loudest]]
        return live

    def _mixed(self, window: Window) -> Block:
        assert self._chosen is not None
        samples, now_s = window.samples, window.start_s
        suspect = [c for c in range(len(samples)) if not _stirs(samples[c])]
        for channel in list(self._dead_since_s):
            if channel not in suspect:
                del self._dead_since_s[channel]
        for channel in suspect:
            self._dead_since_s.setdefault(channel, now_s)
        if len(suspect) == len(samples):
            return _block(window, _mean(samples, self._chosen))  # all silent: nothing to compare
        stopped = [c for c in self._chosen if c in self._dead_since_s and now_s - self._dead_since_s[c] >= DEAD_FOR_S]
        gap = window.gap_before
        if stopped:
            since_s = min(self._dead_since_s[c] for c in stopped)
            new = [c for c in stopped if c not in self._told]
            if new:
                self._told.update(new)
                reason = Reason("notice.channel-fell-silent", **_channels(new, len(samples)))
                self.notices.append(Notice("dead-channel", reason, since_s))
            if len(stopped) == len(self._chosen):
                self._chosen = [c for c in range(len(samples)) if c not in suspect]
                gap = Gap(since_s, now_s, "the channel in use fell silent; another is used from here on")
        return _block(window, _mean(samples, self._chosen), gap)


def _block(window: Window, samples: Samples, gap: Gap | None = None) -> Block:
    return Block(np.ascontiguousarray(samples), window.rate_hz, window.start_s, gap or window.gap_before)


def _mean(samples: Samples, channels: list[int]) -> Samples:
    with np.errstate(invalid="ignore", over="ignore"):
        if len(channels) == 1:
            alone: Samples = samples[channels[0]]
            return alone
        mixed: Samples = np.add(samples[channels[0]], samples[channels[1]])
        for channel in channels[2:]:
            mixed += samples[channel]
        mixed *= np.float32(1.0 / len(channels))
        return mixed


def _peaks(samples: Samples) -> npt.NDArray[np.float64]:
    """The greatest departure from the middle, per channel; lost samples count as silence."""
    finite = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
    highest, lowest = finite.max(axis=1).astype(np.float64), finite.min(axis=1).astype(np.float64)
    half: npt.NDArray[np.float64] = (highest - lowest) / 2.0
    return half


def _powers(samples: Samples) -> npt.NDArray[np.float64]:
    finite = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
    return np.asarray(np.var(finite, axis=1, dtype=np.float64) * samples.shape[1])


def _stirs(channel: Samples) -> bool:
    """Whether there is sound in it: a few samples decide for a live channel, all of them only for a dead one."""
    few = channel[::97]
    if float(few.max()) - float(few.min()) > 2.0 * DEAD_PEAK:
        return True
    return not float(channel.max()) - float(channel.min()) <= 2.0 * DEAD_PEAK


def _channels(channels: list[int], of: int) -> dict[str, Figure]:
    """Return how many channels, their numbers from 1, and of how many, as figures of a reason."""
    return {"count": len(channels), "numbers": tuple(c + 1 for c in channels), "of": of}
