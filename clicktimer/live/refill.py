"""The chain, live: how much the tap that stayed open for a moment lengthened the runs of a refill test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from clicktimer.formats import format_time
from clicktimer.records import Measurement

SLOW_SHARE: Final = 0.5
"""A tap opened "a little" draws less than this share of the pump's rate (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Shutting:
    """When the last tap was shut after a cut-in; both in seconds of the sound."""

    cut_in_s: float
    shut_s: float


def too_long_s(delay_s: float, tap_share: float) -> float:
    """By how much a run is too long, in seconds, when a tap drew this share of the pump's rate for so long.

    The water drawn, q x delay, has to be pumped as well: at the pump's rate Q that takes delay x q/Q. Assumes constant
    q and Q.

    >>> too_long_s(5.0, 0.4)
    2.0
    """
    return delay_s * tap_share


def open_tap(measured: Measurement, shut: Sequence[Shutting]) -> str | None:
    """One sentence on what the open tap did, or None where nothing was marked or no run was told."""
    run = measured.run
    delays = sorted(
        s.shut_s - c.cut_in_s
        for s in shut
        for c in measured.cycles
        if c.complete and c.cut_in_s is not None and c.cut_out_s is not None and c.cut_in_s <= s.shut_s <= c.cut_out_s
        # A start that was taken from an earlier sound (a tap's handle) does not matter: the run itself tells it.
        and s.cut_in_s < c.cut_in_s + 5.0
    )  # fmt: skip
    if run is None or not shut:
        return None
    if not delays:
        return (
            "When the taps were shut fits none of the runs that were told, so how much the water drawn till then "
            "lengthened them is not known: take the run for an upper bound."
        )
    mean_s = sum(delays) / len(delays)
    share = _known_share(measured)
    marked = f"The last tap was shut {format_time(mean_s)} after the pump started ({len(delays)} refills marked)"
    if share is not None:
        off_s = too_long_s(mean_s, share)
        return (
            f"{marked}, and drew {100 * share:.0f} % of the pump's rate till then: the runs are too long by "
            f"{off_s:.1f} s. Without that the run is {run.seconds - off_s:.1f} s, {max(run.low_s - off_s, 0.0):.1f} to "
            f"{run.high_s - off_s:.1f} s."
        )
    off_s = too_long_s(delays[-1], SLOW_SHARE)
    return (
        f"{marked}: the water drawn till then had to be pumped too. The runs are too long by 0 to {off_s:.1f} s (for a "
        f"tap that draws less than half of the pump's rate), so the run lies in {max(run.low_s - off_s, 0.0):.1f} to "
        f"{run.high_s:.1f} s. With --tap-flow and --pump-rate it is corrected."
    )


def _known_share(measured: Measurement) -> float | None:
    """Flow of the tap over the pump's rate, where both were given."""
    system: Any = getattr(measured.tank, "system", None)
    if system is None or system.pump is None or system.observed.tap_l_per_min is None:
        return None
    return min(float(system.observed.tap_l_per_min) / float(system.pump.l_per_min), 1.0)
