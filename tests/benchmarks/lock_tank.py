"""Command lines of the regression lock that need no sound: `tank`, `well`, and causes by what was found."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from tests.benchmarks.lock_figures import Case

SITE = """switch = "40/60"
tank = "33 gal"
pump-rate = "8 gpm"
motor = "3/4 hp"
precharge = "38 psi"
people = 4
"""
PRICES = "name,volume,largest_acceptance,price\nthe small,33 gal,,549.00\nthe large,86 gal,40 gal,1100.00\n"
YIELD_TEST = "time_min,volume_gal\n0,0\n10,52\n20,101\n30,148\n60,280\n"
BASE = ("--pump-rate", "8 gpm")
TANK = (*BASE, "--tank", "33 gal")
RUN = (*TANK, "--run", "38 s")
TANKS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("nothing", ()),
    ("rate", BASE),
    ("rate metric", ("--pump-rate", "30 L/min", "--units", "metric")),
    ("tank", TANK),
    ("plain tank", (*BASE, "--tank", "42 gal plain")),
    ("two tanks", (*TANK, "--tank", "20 gal")),
    ("run", RUN),
    ("short run", (*TANK, "--run", "4 s")),
    ("good run", (*TANK, "--run", "95 s")),
    ("run and rest", (*RUN, "--rest", "60 s")),
    ("tap flow", (*RUN, "--rest", "60 s", "--tap-flow", "2 gpm")),
    ("use", (*RUN, "--use", "3 gpm", "--use", "5 gpm")),
    ("people", (*RUN, "--people", "4")),
    ("bedrooms", (*RUN, "--people", "3", "--bedrooms", "3", "--per-person", "60 gal")),
    ("prices", (*RUN, "--prices", "prices.csv")),
    ("site", ("--site", "house.toml", "--run", "38 s")),
    ("switch", (*RUN, "--switch", "30/50")),
    ("switch bar", (*RUN, "--switch", "2.8/4.1 bar", "--units", "metric")),
    ("precharge", (*RUN, "--precharge", "20 psi")),
    ("precharge high", (*RUN, "--precharge", "45 psi")),
    ("caught", (*TANK, "--caught", "6 gal")),
    ("caught twice", (*TANK, "--caught", "6 gal in 45 s", "--caught", "6.3 gal in 47 s")),
    ("caught only", ("--tank", "33 gal", "--caught", "8 gal in 60 s")),
    ("motor", (*RUN, "--motor", "3/4 hp", "--phase", "single")),
    ("motor three", (*RUN, "--motor", "5.5 kW", "--phase", "three")),
    ("least run", (*RUN, "--least-run", "2 min")),
    ("gauge clicks", (*RUN, "--gauge-at-clicks", "41/59")),
    ("gauge settled", (*RUN, "--gauge-settled", "40/57", "--gauge-error", "0.5 psi")),
    ("gauge both", (*RUN, "--gauge-at-clicks", "38/63", "--gauge-settled", "37/55")),
    *((f"relief {x}", (*RUN, "--relief-valve", x)) for x in ("tested", "there", "none")),
    *((f"air valve {x}", (*RUN, "--air-valve", x)) for x in ("right", "low", "water", "nothing")),
    ("seen", (*RUN, "--seen", "tap-goes-dead", "--seen", "needle-swings")),
    ("seen starts", (*RUN, "--seen", "starts-by-itself", "--not-seen", "starts-with-valve-shut")),
    ("seen drive", (*RUN, "--seen", "drive-box")),
    ("seen runs on", (*RUN, "--seen", "past-cut-out")),
    ("not seen", (*RUN, "--not-seen", "tap-goes-dead")),
    ("height", (*RUN, "--height", "5200 ft")),
    ("marks", (*RUN, "--marks", "20/45")),
    ("bad pressure", (*RUN, "--switch", "60/40")),
    ("bad unit", ("--pump-rate", "8 furlongs")),
    ("bad name", (*RUN, "--seen", "no-such-name")),
)  # fmt: skip
WELL = ("--yield", "0.7 gpm", "--bore", "6 in", "--well-depth", "250 ft", "--pump-depth", "200 ft", "--static-level",
        "40 ft", "--pump-rate", "8 gpm", "--people", "4")  # fmt: skip
WELLS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("nothing", ()),
    ("usual", WELL),
    ("margin", (*WELL, "--margin", "10 ft")),
    ("fractures", ("--fracture", "0.5 gpm", "--fracture", "0.3 gpm", *WELL[2:])),
    ("yield test", ("--yield-test", "yield.csv", *WELL[2:])),
    ("over", (*WELL, "--over", "6 h", "--over", "30 min")),
    ("bedrooms", (*WELL, "--bedrooms", "3", "--per-person", "215 L")),
    ("homes", (*WELL, "--homes", "3")),
    ("storage", (*WELL, "--storage", "500 gal")),
    ("rule", (*WELL, "--rule", "maryland")),
    ("need", (*WELL, "--need", "1 gpm for 6 h", "--need", "5 gpm for 10 min")),
    ("tank", (*WELL, "--tank", "33 gal", "--switch", "30/50", "--precharge", "28 psi")),
    ("tank and motor", (*WELL, "--tank", "33 gal", "--motor", "1 hp", "--phase", "single", "--least-run", "90 s")),
    ("site", ("--site", "house.toml", "--yield", "3 gpm")),
    ("metric", ("--yield", "2.65 L/min", "--bore", "152 mm", "--well-depth", "76 m", "--pump-depth", "61 m",
                "--static-level", "12 m", "--margin", "3 m", "--people", "5", "--units", "metric")),
    ("strong", ("--yield", "12 gpm", *WELL[2:])),
    ("found", (*WELL, "--gauge-at-clicks", "41/59", "--gauge-settled", "40/57", "--gauge-error", "1 psi", "--caught",
               "6 gal in 45 s", "--tap-flow", "2 gpm", "--relief-valve", "there", "--air-valve", "low", "--seen",
               "tap-goes-dead", "--not-seen", "needle-swings", "--height", "1200 ft", "--marks", "20/45")),
    ("bad depths", ("--static-level", "300 ft", *WELL[:8])),
    ("bad rule", (*WELL, "--rule", "no-such-rule")),
)  # fmt: skip


def tank_and_well(case: Callable[..., Case]) -> Iterator[Case]:
    """All argument sets of `tank` and `well`."""
    for name, arguments in TANKS:
        yield case(f"tank {name}", "tank", *arguments)
    for name, arguments in WELLS:
        yield case(f"well {name}", "well", *arguments)
