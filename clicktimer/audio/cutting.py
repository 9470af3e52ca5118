"""Stage 1, beside: blocks in, a few short stretches out, cut by time, in one pass that holds no more than these."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from clicktimer.records import Block, Samples


@dataclass(frozen=True, slots=True)
class Cut:
    """A stretch of sound: samples, shape (n,), full scale 1, the first one at start_s of the recording."""

    samples: Samples
    rate_hz: int
    start_s: float


def cut_spans(blocks: Iterable[Block], spans_s: Sequence[tuple[float, float]]) -> list[Cut | None]:
    """The sound of each span (from, to; s of the recording), in their order.

    None where a span is not wholly there: it reaches over the beginning, the end, a gap or a change of rate.
    """
    order = sorted(range(len(spans_s)), key=lambda i: spans_s[i][0])
    out: list[Cut | None] = [None] * len(spans_s)
    open_: dict[int, tuple[Block, list[Samples]]] = {}
    next_ = 0
    last_rate = 0
    for block in blocks:
        if block.gap_before is not None or block.rate_hz != last_rate:
            open_.clear()
            last_rate = block.rate_hz
        end_s = block.start_s + len(block.samples) / block.rate_hz
        for i in list(open_):
            _take(block, spans_s[i], i, open_, out)
        while next_ < len(order) and spans_s[order[next_]][0] < end_s:
            i = order[next_]
            next_ += 1
            if spans_s[i][0] >= block.start_s:
                open_[i] = (block, [])
                _take(block, spans_s[i], i, open_, out)
    return out


def _take(
    block: Block,
    span_s: tuple[float, float],
    i: int,
    open_: dict[int, tuple[Block, list[Samples]]],
    out: list[Cut | None],
) -> None:
    """Add what this block has of a span; finish it when it is whole."""
    first_block, parts = open_[i]
    rate = block.rate_hz
    begin = 0 if parts else min(round((span_s[0] - block.start_s) * rate), len(block.samples))
    wanted = max(round((span_s[1] - span_s[0]) * rate), 1) - sum(map(len, parts))
    piece = block.samples[begin : begin + wanted]
    parts.append(piece.copy())
    if len(piece) == wanted:
        del open_[i]
        out[i] = Cut(np.concatenate(parts), rate, span_s[0])
    elif first_block is block:
        # Only where it began is of use later, not the block's samples.
        open_[i] = (Block(block.samples[:0], rate, block.start_s, block.gap_before), parts)
