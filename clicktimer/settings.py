"""Options of a measurement.

Nothing here is global state: a frozen object is made once and handed down.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

Progress = Callable[[float, float | None], None]
"""Called with the seconds of sound heard so far, and of the whole where that is known."""
Taps = Literal["shut", "steady"]
PumpState = Literal["on", "off"]
