"""Time a well pump by the clicks of its pressure switch. The public names, and nothing else.

``measure`` hears a recording, ``measure_samples`` an array of samples; both return a ``Measurement``
(clicktimer.records). Names are imported when they are first used, so that ``import clicktimer`` is quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from clicktimer.api import measure
    from clicktimer.assessment.measurement import Measurement
    from clicktimer.errors import ClicktimerError, InputError, QuantityError, SettingsError
    from clicktimer.pipeline import measure_samples
    from clicktimer.records import (
        Click,
        Cycle,
        Gap,
        Intervals,
        Notice,
        Reason,
        RunTime,
        SourceInfo,
        Verdict,
    )
    from clicktimer.reporting.json.measurement import measurement_json
    from clicktimer.reporting.text.measurement import render_text

__version__ = "0.1.0"

__all__ = [
    "Click",
    "ClicktimerError",
    "Cycle",
    "Gap",
    "InputError",
    "Intervals",
    "Measurement",
    "Notice",
    "QuantityError",
    "Reason",
    "RunTime",
    "SettingsError",
    "SourceInfo",
    "Verdict",
    "__version__",
    "measure",
    "measure_samples",
    "measurement_json",
    "render_text",
]

_HOME = {
    "measure": "clicktimer.api",
    "Measurement": "clicktimer.assessment.measurement",
    "measure_samples": "clicktimer.pipeline",
    "measurement_json": "clicktimer.reporting.json.measurement",
    "render_text": "clicktimer.reporting.text.measurement",
    **dict.fromkeys(("ClicktimerError", "InputError", "QuantityError", "SettingsError"), "clicktimer.errors"),
    **dict.fromkeys(
        ("Click", "Cycle", "Gap", "Intervals", "Notice", "Reason", "RunTime", "SourceInfo", "Verdict"),
        "clicktimer.records",
    ),
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for (PEP 562)."""
    if name not in _HOME:
        raise AttributeError(f"module 'clicktimer' has no attribute {name!r}")
    value = getattr(import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """List the public names, imported yet or not."""
    return sorted({*globals(), *__all__})
