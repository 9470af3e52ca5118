"""What all tests share: no time limit for hypothesis, and listenings that are made once."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from hypothesis import settings

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.settings import Taps
from tests.support.recordings import path_of

settings.register_profile("clicktimer", deadline=None)  # a busy machine fails no test
settings.load_profile("clicktimer")

TakenIn = Callable[..., tuple[Path, Measurement]]


@pytest.fixture(scope="session")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> TakenIn:
    """Take a stored recording into a listening folder: the folder and what was measured, made once for each choice.

    The folder is shared. A test that writes to it copies it first.
    """

    @cache
    def taken(name: str, taps: Taps | None = None) -> tuple[Path, Measurement]:
        from clicktimer.streaming.import_recording import measure_into

        place = tmp_path_factory.mktemp("taken-in") / "listening"
        return place, measure_into(path_of(name), place, MeasureOptions(taps=taps), program="test")

    return taken
