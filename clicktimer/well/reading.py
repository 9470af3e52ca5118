"""From the options given to a Well and its yield test, each value with where it came from."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from clicktimer.errors import SettingsError
from clicktimer.tank.system import Origin
from clicktimer.well.description import DEFAULT_MARGIN_M, Well, WellYield, stated_yield, summed_yield
from clicktimer.well.level_check import check_levels, stopped_near_pump
from clicktimer.well.yield_log import read_test_file
from clicktimer.well.yield_test import YieldTest, steady_yield


def make_well(  # noqa: PLR0913
    *,
    stated_l_per_min: float | None = None,
    fractures_l_per_min: tuple[float, ...] = (),
    test_file: str | Path | None = None,
    bore_m: float | None = None,
    well_depth_m: float | None = None,
    pump_depth_m: float | None = None,
    static_level_m: float | None = None,
    margin_m: float | None = None,
    draw_l_per_min: float | None = None,
    origin: Origin = "option",
    origins: Mapping[str, Origin] | None = None,
) -> tuple[Well, YieldTest | None]:
    """Build a Well from what was given (None = not given), and read the yield test if there is one.

    Flows in litres per minute, lengths in metres, depths from the ground. draw_l_per_min: what the pump drew during a
    test that notes only levels. origin: where what is given came from; origins: the same by name, where it differs.
    Raises SettingsError for what contradicts itself, InputError for a file that cannot be read.
    """
    ways = [stated_l_per_min is not None, bool(fractures_l_per_min), test_file is not None]
    if sum(ways) > 1:
        raise SettingsError("the yield is given in more than one way: keep one of --yield, --fracture and --yield-test")
    given = {
        "yield": stated_l_per_min,
        "fracture": fractures_l_per_min or None,
        "yield_test": test_file,
        "bore": bore_m,
        "well_depth": well_depth_m,
        "pump_depth": pump_depth_m,
        "static_level": static_level_m,
        "margin": margin_m,
    }
    test: YieldTest | None = None
    water_yield: WellYield | None = None
    if stated_l_per_min is not None:
        water_yield = stated_yield(stated_l_per_min)
    elif fractures_l_per_min:
        water_yield = summed_yield(fractures_l_per_min)
    elif test_file is not None:
        rows = read_test_file(test_file)
        check_levels(rows, well_depth_m, pump_depth_m)
        rising = rows.level_m is not None and rows.level_m[-1] < rows.level_m[0]
        recovering = rows.volume_l is None and rising
        test = steady_yield(
            rows,
            bore_m=bore_m,
            draw_l_per_min=None if recovering else draw_l_per_min,
            static_level_m=static_level_m,
        )
        water_yield = test.water_yield
        if not recovering:
            test = stopped_near_pump(test, rows, pump_depth_m, DEFAULT_MARGIN_M if margin_m is None else margin_m)
    well = Well(
        bore_m=bore_m,
        well_depth_m=well_depth_m,
        pump_depth_m=pump_depth_m,
        static_level_m=static_level_m,
        margin_m=DEFAULT_MARGIN_M if margin_m is None else margin_m,
        water_yield=water_yield,
        origin={
            name: "default" if value is None else (origins or {}).get(name, origin) for name, value in given.items()
        },
    )
    return well, test
