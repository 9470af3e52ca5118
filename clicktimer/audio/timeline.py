"""Stage 1, inside: counted samples and gaps in, times out.

Time is the count of decoded samples; a gap of known length moves what follows.
"""

from __future__ import annotations

from clicktimer.records import Gap


class Timeline:
    """Where we are in the recording, in seconds from its first decoded sample."""

    def __init__(self, rate_hz: int) -> None:
        self._start_s = 0.0
        self._samples = 0
        self._rate_hz = rate_hz

    @property
    def now_s(self) -> float:
        """The time of the next sample to be given out."""
        return self._start_s + self._samples / self._rate_hz

    def new_rate(self, rate_hz: int) -> None:
        """Count on at another rate."""
        self._start_s, self._samples, self._rate_hz = self.now_s, 0, rate_hz

    def advance(self, samples: int) -> None:
        """So many samples (per channel) were given out."""
        self._samples += samples

    def gap(self, length_s: float | None, why: str) -> Gap:
        """Sound is missing here, for so long (None: not known)."""
        from_s = self.now_s
        if length_s is None:
            return Gap(from_s, None, why)
        self._start_s, self._samples = from_s + length_s, 0
        return Gap(from_s, self.now_s, why)


def merged(first: Gap | None, second: Gap) -> Gap:
    """Two gaps with no sound between them as one."""
    if first is None:
        return second
    to_s = None if first.to_s is None or second.to_s is None else second.to_s
    why = first.why if second.why in first.why else f"{first.why}; {second.why}"
    return Gap(first.from_s, to_s, why)
