"""The refill test, reckoned: what the tap that stayed open did to a run, and what is not known without its mark."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clicktimer.assessment.options import MeasureOptions
from clicktimer.pipeline import measure_recording
from clicktimer.streaming.refill_test import too_long_s, with_open_tap
from tests.support.live_parts import ROOT
from tests.support.words import said

SHORT = ROOT / "fixtures_audio/short-cycling-12s.flac"
SHUT = MeasureOptions(taps="shut")


def test_the_open_tap_lengthens_a_run_as_the_water_balance_says():
    # An outside reckoning: the tank takes in (Q - q) while the tap is open and Q after it, until D gallons are in.
    big_q, q, volume_gal, delay_s = 10.0 / 60.0, 4.0 / 60.0, 8.0, 5.0
    filled = (big_q - q) * delay_s
    run_s = delay_s + (volume_gal - filled) / big_q
    assert run_s - volume_gal / big_q == pytest.approx(too_long_s(delay_s, q / big_q))


def test_the_bound_of_the_open_tap_is_one_sided_and_corrected_where_both_flows_are_known():
    from clicktimer.site.options import parse_system_options

    system = parse_system_options(pump_rate="10 gpm", tap_flow="3 gpm")
    given = MeasureOptions(taps="shut", system=system, marks_s=(11.7, 60.0))
    plain = replace(given, system=parse_system_options(), marks_s=(11.7, 60.0))
    measured, known = (measure_recording(SHORT, options=o) for o in (plain, given))
    assert measured.run is not None
    assert known.run is not None
    assert measured.verdict.sure
    shut_s = [(c.cut_in_s or 0.0) + 2.0 for c in measured.cycles]
    # Nothing known of the flows: 2 s at less than half of the pump's rate, so the run is 0 to 1 s shorter, and a mark
    # that lies in between can no longer be told.
    bound = with_open_tap(measured, shut_s, plain)
    assert bound.run is not None
    assert (bound.run.seconds, bound.run.high_s) == (measured.run.seconds, measured.run.high_s)
    assert bound.run.low_s == pytest.approx(measured.run.low_s - 1.0)
    assert not bound.verdict.sure
    # Both flows known: 2 s x 3/10, taken off, to a quarter of itself.
    corrected = with_open_tap(known, shut_s, given)
    assert corrected.run is not None
    assert corrected.run.seconds == pytest.approx(known.run.seconds - 0.6)
    assert corrected.run.low_s == pytest.approx(known.run.low_s - 0.75)
    assert corrected.run.high_s == pytest.approx(known.run.high_s - 0.45)
    assert corrected.verdict.sure
    assert corrected.verdict.band != known.verdict.band
    # No refill test changes nothing; one without marks, or with marks that fit no run, leaves an upper bound.
    assert with_open_tap(measured, None, plain) == measured
    for marks, why in (([], "was not marked"), ([1000.0], "fits none of the runs")):
        lost = with_open_tap(measured, marks, plain)
        assert lost.run is not None
        assert lost.run.one_sided
        assert why in said(lost.run.notes)


def test_a_run_in_which_no_tap_was_marked_as_shut_does_not_count():
    measured = measure_recording(SHORT, options=SHUT)
    starts_s = [c.cut_in_s or 0.0 for c in measured.cycles]
    lengthened = list(measured.cycles)
    for which in (1, 2):  # the tap ran on for half of these: nobody marked when it was shut
        c = lengthened[which]
        assert c.run_s is not None
        lengthened[which] = replace(
            c,
            cut_out_s=(c.cut_out_s or 0.0) + 3.0,
            run_s=c.run_s + 3.0,
            run_low_s=(c.run_low_s or 0.0) + 3.0,
            run_high_s=(c.run_high_s or 0.0) + 3.0,
        )
    told = replace(measured, cycles=tuple(lengthened))
    new = with_open_tap(told, [starts_s[0] + 1.0, starts_s[3] + 1.0], SHUT)
    assert new.run is not None
    assert new.run.count == 2
    assert new.run.seconds == pytest.approx(11.99, abs=0.01)
    assert "2 runs are left out" in said(new.run.notes)
    assert new.cycles == told.cycles
