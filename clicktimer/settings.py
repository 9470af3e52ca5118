"""Names that the options of a measurement share (the options themselves: assessment/options.py)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

Progress = Callable[[float, float | None], None]
"""Called with the seconds of sound heard so far, and of the whole where that is known."""
Taps = Literal["shut", "steady"]
PumpState = Literal["on", "off"]
