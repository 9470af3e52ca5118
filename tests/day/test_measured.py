"""A long recording of ordinary use is sent to the command that reads a day; a test with the taps is not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from clicktimer.assessment.measurement import Measurement
from clicktimer.cli.listen import last_words
from clicktimer.reporting.document import sections
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.measurement import render_text
from tests.support import documents

HOUR_S = 3600.0


def lasting(hours: float, taps: str | None) -> Measurement:
    """Three clean runs in a recording of so many hours."""
    result, _ = documents.of_runs([40.0, 40.2, 40.1], taps=taps)
    return replace(result.measured, source=replace(result.measured.source, duration_s=hours * HOUR_S))


@pytest.mark.parametrize(
    ("hours", "taps", "measure", "listen"),
    [(24.0, None, True, True), (3.0, None, True, False), (1.0, None, False, False), (24.0, "shut", False, False)],
)
def test_a_long_recording_is_sent_to_the_day(hours: float, taps: str | None, measure: bool, listen: bool) -> None:
    m = lasting(hours, taps)
    assert (
        " ".join(Messages().text("verdict.settle.long-recording").split()) in " ".join(render_text(m).split())
    ) is measure
    assert ('clicktimer day "the house (2)"' in last_words(Path("the house (2)"), m)) is listen
    assert 'clicktimer measure "the house (2)"' in last_words(Path("the house (2)"), m)


@pytest.mark.parametrize(
    ("cut", "kept", "said"),
    [
        (1, 2, "1 of 3 runs was not heard whole; it is"),
        (2, 1, "2 of 3 runs were"),
        (1, 0, "The one run was not heard whole; it is in the table with the reason."),
    ],
)
def test_runs_that_are_not_whole_are_counted_in_good_grammar(cut: int, kept: int, said: str) -> None:
    m = documents.of_runs([40.0, 40.2, 40.1])[0].measured
    part = replace(m.cycles[0], cut_out_s=None, run_s=None, complete=False)
    told = sections._open(replace(m, cycles=(part,) * cut + m.cycles[:kept]), Messages("document"))
    assert any(said in getattr(block, "text", "") for block in told)
