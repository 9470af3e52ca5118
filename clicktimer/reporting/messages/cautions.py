"""The cautions as the terminal reads them, by their names in capitals: ``cautions.BEFORE_WORK``. Common practice.

The sentences stand in the catalogue (caution.toml); which of them a result calls for is decided in
clicktimer/assessment/cautions.py.
"""

from __future__ import annotations

from clicktimer.assessment.cautions import caution
from clicktimer.reporting.messages.catalogue import Messages


def __getattr__(name: str) -> str:
    if not name.isupper():
        raise AttributeError(name)
    return Messages().text(caution(name.lower().replace("_", "-")))
