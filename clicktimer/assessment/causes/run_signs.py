"""What a measurement tells of its runs beside their length: one that did not end, one that ended too early."""

from __future__ import annotations

import statistics

from clicktimer.assessment.measurement import Measurement

ENDLESS_RUN_S = 600.0  # common practice has no household run of ten minutes with the taps shut
EARLY_SHARE = 0.7  # a run shorter than this part of the usual one ended early ...
LONG_SILENCE = 3.0  # ... if a rest this many times the usual one follows. Common practice, no source


def runs_on(measurement: Measurement) -> bool:
    """Return whether the pump was still running at the end and had run long: five times r0, or ten minutes."""
    m = measurement
    if not m.cycles:
        return False
    last = m.cycles[-1]
    if last.cut_in_s is None or last.cut_out_s is not None or last.rest_s is not None:
        return False
    if any(g.from_s >= last.cut_in_s for g in m.gaps):
        return False
    limit_s = ENDLESS_RUN_S if m.run is None else 5.0 * m.run.seconds
    return m.source.duration_s - last.cut_in_s > limit_s


def stopped_early(measurement: Measurement) -> bool | None:
    """Return whether a run ended far sooner than the others and a long silence followed; None with too few runs."""
    runs = [(c.run_s, c.rest_s) for c in measurement.cycles if c.complete and c.run_s is not None]
    rests_s = [rest_s for _, rest_s in runs if rest_s is not None]
    if len(runs) < 4 or len(rests_s) < 3:
        return None
    usual_run_s = statistics.median(run_s for run_s, _ in runs)
    usual_rest_s = statistics.median(rests_s)
    return any(
        run_s < EARLY_SHARE * usual_run_s and rest_s is not None and rest_s > LONG_SILENCE * usual_rest_s
        for run_s, rest_s in runs
    )
