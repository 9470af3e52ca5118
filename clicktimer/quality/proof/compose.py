"""Proof, third part: a recording's blocks in, the same with extra runs and rests laid in, each between copies of its
clicks.

At a place where the pump rests: a copy of the click that starts it, a stretch of this recording's own sound with the
pump running, a copy of the click that stops it; then the recording goes on. Where the pump runs, the other way about.
So whatever the detector asks of a click besides its sound, a change of the pump's sound and a place in the order, is
there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from clicktimer.quality.proof.copies import LEAD_S
from clicktimer.records import Block, Gap, Kind, Samples

FADE_S = 0.3
"""From one background to the other, about as long as a pump takes to start."""

ROOM_S = FADE_S + 0.25
"""So much of a block must follow a place at which something is laid in: the fade, and the rest of the click."""


@dataclass(frozen=True, slots=True)
class Insert:
    """What is laid in at time_s of the recording: two copies with a stretch of the other background between.

    first, second: the copies, from LEAD_S before their onset, or None where no click of that kind is known.
    between: sound of length_s + FADE_S.
    """

    time_s: float
    kinds: tuple[Kind, Kind]
    first: Samples | None
    second: Samples | None
    between: Samples
    fainter: tuple[bool, bool] = (False, False)


@dataclass(frozen=True, slots=True)
class Placed:
    """One copy, at time_s of the composed sound."""

    time_s: float
    kind: Kind
    fainter: bool


class Composer:
    """Lays inserts into blocks. After ``blocks`` has been gone through: ``placed``, and ``moved`` for the old times."""

    def __init__(self, inserts: Sequence[Insert], rate_hz: int) -> None:
        self._inserts = sorted(inserts, key=lambda i: i.time_s)
        self._rate_hz = rate_hz
        self._shifts: list[tuple[float, float]] = []
        self.placed: list[Placed] = []

    def moved(self, time_s: float) -> float:
        """Where a moment of the recording lies in the composed sound, s."""
        return time_s + sum(by_s for at_s, by_s in self._shifts if at_s <= time_s)

    def blocks(self, blocks: Iterable[Block]) -> Iterator[Block]:
        """The composed sound; goes through the given blocks once and holds one at a time."""
        shift_s, next_ = 0.0, 0
        for block in blocks:
            end_s = block.start_s + len(block.samples) / block.rate_hz
            mine: list[tuple[int, Insert]] = []
            while next_ < len(self._inserts) and self._inserts[next_].time_s < end_s:
                insert = self._inserts[next_]
                next_ += 1
                last = len(block.samples) - round(ROOM_S * block.rate_hz)
                at = min(round((insert.time_s - block.start_s) * block.rate_hz), last)
                clear = not mine or at - mine[-1][0] > len(block.samples) - last
                if block.rate_hz == self._rate_hz and at > 0 and clear:
                    mine.append((at, insert))
            gap = block.gap_before
            if gap is not None:
                gap = Gap(gap.from_s + shift_s, None if gap.to_s is None else gap.to_s + shift_s, gap.why)
            samples = self._lay(block, mine, shift_s)
            yield Block(samples, block.rate_hz, block.start_s + shift_s, gap)
            shift_s += (len(samples) - len(block.samples)) / block.rate_hz

    def _lay(self, block: Block, mine: list[tuple[int, Insert]], shift_s: float) -> Samples:
        if not mine:
            return block.samples
        rate, x = block.rate_hz, block.samples
        fade = round(FADE_S * rate)
        # Sound that is not related: the squares of the two gains add up to one.
        up = np.sin(0.5 * np.pi * (np.arange(fade) + 0.5) / fade).astype(np.float32)
        down = up[::-1]
        parts: list[Samples] = []
        clicks: list[tuple[int, Samples]] = []
        done = length = 0
        for at, insert in mine:
            between = insert.between.copy()
            here = x[at : at + fade]
            size = len(between) - fade
            tail = between[size:] * down + here * up  # the recording goes on under the end of what was laid in
            between = between[:size]
            between[:fade] = between[:fade] * up + here * down
            parts += [x[done:at], between, tail]
            first = length + at - done
            second = first + size
            for place, copy, kind, fainter in zip(
                (first, second), (insert.first, insert.second), insert.kinds, insert.fainter, strict=True
            ):
                if copy is not None:
                    clicks.append((place, copy))
                    time_s = block.start_s + shift_s + place / rate
                    self.placed.append(Placed(time_s, kind, fainter))
            length = second + fade
            done = at + fade
            self._shifts.append((block.start_s + at / rate, size / rate))
        out = np.concatenate([*parts, x[done:]])
        lead = round(LEAD_S * rate)
        for place, copy in clicks:
            begin = place - lead
            a, b = max(begin, 0), min(begin + len(copy), len(out))
            out[a:b] += copy[a - begin : b - begin]
        return out
