"""Stage 1, beside: the computer's clocks, in one object so that tests can put in their own.

``boot_s`` goes on while the machine sleeps and is never set; ``wall`` is what people read, and may be set at any time.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime


class Clock:
    """The real clocks."""

    def boot_s(self) -> float:
        """Seconds from some fixed moment, time asleep included where the system can tell it."""
        for name in ("CLOCK_BOOTTIME", "CLOCK_MONOTONIC"):
            number = getattr(time, name, None)
            if number is not None:
                return time.clock_gettime(number)
        return time.monotonic()

    def wall(self) -> datetime:
        """The time of day with the offset of the place."""
        return datetime.now(UTC).astimezone()

    def zone(self) -> str:
        """Name of the time zone where it can be told, else its abbreviation."""
        return zone_name() or str(self.wall().tzname())

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(max(seconds, 0.0))


def zone_name() -> str | None:
    """The IANA name of the system's time zone, or None where nothing tells it."""
    import os
    from pathlib import Path

    given = os.environ.get("TZ", "")
    if "/" in given and not given.startswith((":", "/")):
        return given
    try:
        target = Path("/etc/localtime").resolve(strict=True).parts
    except OSError:
        return None
    if "zoneinfo" not in target:
        return None
    return "/".join(target[target.index("zoneinfo") + 1 :])
