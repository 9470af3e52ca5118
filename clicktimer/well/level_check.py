"""The water levels of a yield test against the pump and the bottom of the well: what cannot be, and when to stop."""

from __future__ import annotations

from dataclasses import replace

from clicktimer.errors import SettingsError
from clicktimer.records import Reason
from clicktimer.well.parse import format_depth
from clicktimer.well.yield_log import TestRows
from clicktimer.well.yield_test import YieldTest


def check_levels(rows: TestRows, well_depth_m: float | None, pump_depth_m: float | None) -> None:
    """Refuse a level at or below the pump's intake or the bottom of the well. Depths in m from the ground.

    Raises SettingsError: no pump draws water that stands below it.
    """
    if rows.level_m is None:
        return
    deepest_m = max(rows.level_m)
    for what, depth_m in (("the pump", pump_depth_m), ("the bottom of the well", well_depth_m)):
        if depth_m is not None and deepest_m >= depth_m:
            level, depth = (f"{format_depth(m, 'us')}, {format_depth(m, 'metric')}" for m in (deepest_m, depth_m))
            raise SettingsError(
                f"this yield test has a level ({level}) at or below {what} ({depth}): measure both from the ground"
            )


def stopped_near_pump(test: YieldTest, rows: TestRows, pump_depth_m: float | None, margin_m: float) -> YieldTest:
    """Return the test with the advice to stop in place of any other where the level came within the margin, in m."""
    if rows.level_m is None or pump_depth_m is None or pump_depth_m - max(rows.level_m) > margin_m:
        return test
    level_m = max(rows.level_m)
    near = Reason("well.level-near-pump", level_m=level_m, above_m=pump_depth_m - level_m, pump_m=pump_depth_m)
    return replace(test, reasons=(near, *test.reasons), settle=(Reason("well.settle-stop"),))
