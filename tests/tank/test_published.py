"""The tank's arithmetic against published figures: one row a figure, the tolerance from its printed digits."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from clicktimer.tank.drawdown import drawdown_l, fraction, water_held_l
from clicktimer.tank.pump_rate import rate_from_refill_l_per_min
from clicktimer.tank.runs import (
    drawdown_needed_l,
    most_starts_per_h,
    rest_s,
    run_s,
    volume_needed_l,
)
from clicktimer.units.conversions import atmosphere_kpaa, ft_to_m, gal_to_l, kpa_to_psi, l_to_gal, psi_to_kpa

Inputs = dict[str, float]
ROWS = list(csv.DictReader((Path(__file__).parents[1] / "data/published_sizing.csv").read_text("utf-8").splitlines()))


def air(i: Inputs) -> float:
    return psi_to_kpa(i["air_psia"]) if "air_psia" in i else atmosphere_kpaa(ft_to_m(i["height_ft"]))


def switch(i: Inputs) -> tuple[float, float, float, float]:
    charge, cut_in, cut_out = (psi_to_kpa(i[k]) for k in ("charge_psig", "cut_in_psig", "cut_out_psig"))
    return charge, cut_in, cut_out, air(i)


def held(i: Inputs) -> float:
    litres = water_held_l(
        gal_to_l(i["volume_gal"]), psi_to_kpa(i["charge_psig"]), psi_to_kpa(i["pressure_psig"]), air(i)
    )
    return l_to_gal(litres)


def volume_for_starts(i: Inputs) -> float:
    # 6 starts an hour at the worst use is the run that gives them.
    run = 900.0 / i["starts_per_h"]
    assert most_starts_per_h(run) == pytest.approx(i["starts_per_h"])
    return l_to_gal(volume_needed_l(gal_to_l(i["pump_gpm"]), run, fraction(*switch(i))))


def worst_cycle(i: Inputs) -> float:
    half = i["pump_gpm"] / 2
    return (run_s(i["drawdown_gal"], i["pump_gpm"], half) + rest_s(i["drawdown_gal"], half)) / 60.0


def residual(i: Inputs) -> float:
    # The air fills the part above the residual water at cut-in, as in a bladder tank charged to cut-in.
    return (1.0 - i["residual"]) * fraction(*switch(i | {"charge_psig": i["cut_in_psig"]}))


def needed(i: Inputs) -> float:
    return l_to_gal(drawdown_needed_l(gal_to_l(i["pump_gpm"]), i["target_s"]))


QUANTITIES: dict[str, Callable[[Inputs], float]] = {
    "drawdown_gal": lambda i: l_to_gal(drawdown_l(gal_to_l(i["volume_gal"]), *switch(i))),
    "fraction": lambda i: fraction(*switch(i)),
    "fraction_residual": residual,
    "held_gal": held,
    "volume_gal": lambda i: l_to_gal(volume_needed_l(gal_to_l(i["pump_gpm"]), i["target_s"], i["fraction"])),
    "volume_for_run_gal": lambda i: l_to_gal(
        volume_needed_l(gal_to_l(i["pump_gpm"]), i["target_s"], fraction(*switch(i)))
    ),
    "volume_for_starts_gal": volume_for_starts,
    "rate_gpm": lambda i: l_to_gal(rate_from_refill_l_per_min(gal_to_l(i["caught_gal"]), i["refill_s"])),
    "drawdown_needed_gal": needed,
    "run_min": lambda i: run_s(i["drawdown_gal"], i["pump_gpm"], i["use_gpm"]) / 60.0,
    "rest_min": lambda i: rest_s(i["drawdown_gal"], i["use_gpm"]) / 60.0,
    "worst_cycle_min": worst_cycle,
}


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['case']}-{r['quantity']}-{r['published']}")
def test_a_published_figure_is_met_within_its_printed_digits(row: dict[str, str]) -> None:
    inputs = {k: float(v) for k, v in (pair.split("=") for pair in row["inputs"].split(";"))}
    ours = QUANTITIES[row["quantity"]](inputs)
    off = abs(ours - float(row["published"]))
    if row["agrees"] == "yes":
        assert off <= float(row["tolerance"]) + 1e-9, row["source"]
    else:  # a known slip in the source: we must not follow it
        assert off > float(row["tolerance"]), row["note"]


def test_every_case_the_table_promises_is_there() -> None:
    assert {r["case"] for r in ROWS} == {f"T{i}" for i in (1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13)}
    assert sum(r["agrees"] == "no" for r in ROWS) == 1


# Fractions of tank volume, worked out apart from the program with 14.7 psi; those in comments were seen printed:
# 0.309 (36.8/119), 0.295 and 0.3 (Pelikan), 0.27 (T10), 24 % (UFC). Last column: WA DOH eq. 11-3, R = 15 / fraction.
FRACTIONS = {
    (20, 40): (0.3656, 0.3446, 0.3129, 0.329, 0.155, 47.9),
    (30, 50): (0.3091, 0.2953, 0.2745, 0.278, 0.102, 54.6),
    (40, 60): (0.2677, 0.2579, 0.2433, 0.2410, 0.072, 61.7),
    (50, 70): (0.2361, 0.2288, 0.2179, 0.2125, 0.054, 68.8),
    (60, 80): (0.2112, 0.2055, 0.1971, 0.1901, 0.042, 76.1),
}


@pytest.mark.parametrize("pair", FRACTIONS)
def test_fractions_of_volume_by_switch_and_charge(pair: tuple[int, int]) -> None:
    cut_in, cut_out = (psi_to_kpa(p) for p in pair)
    sea = psi_to_kpa(14.7)
    equal, two, five, ufc, plain, wa = FRACTIONS[pair]
    assert fraction(cut_in, cut_in, cut_out, sea) == pytest.approx(equal, abs=5.1e-5)
    assert fraction(cut_in - psi_to_kpa(2), cut_in, cut_out, sea) == pytest.approx(two, abs=5.1e-5)
    assert fraction(cut_in - psi_to_kpa(5), cut_in, cut_out, sea) == pytest.approx(five, abs=5.1e-5)
    assert 0.9 * fraction(cut_in, cut_in, cut_out, sea) == pytest.approx(ufc, abs=5.1e-4)
    assert fraction(0.0, cut_in, cut_out, sea) == pytest.approx(plain, abs=5.1e-4)
    assert 15 / fraction(cut_in - psi_to_kpa(5), cut_in, cut_out, sea) == pytest.approx(wa, abs=0.051)


def test_run_limits_and_start_limits_agree() -> None:
    # Foreword of the water-well pressurized-storage-tank standard: 15 starts/h to 3/4 hp and 7.5/h above, which are the
    # one-minute and two-minute runs (grade A text, C host).
    assert most_starts_per_h(60.0) == 15.0
    assert most_starts_per_h(120.0) == 7.5


# Height, ft, and the printed atmosphere, psia (engineeringtoolbox.com, air-altitude-pressure; grade B).
HEIGHTS = {0: 14.7, 1000: 14.2, 2000: 13.7, 3000: 13.2, 4000: 12.7, 5000: 12.2, 6000: 11.8, 7000: 11.3, 8000: 10.9}


@pytest.mark.parametrize("height_ft", [*HEIGHTS, 10000])
def test_atmosphere_with_height_rounds_to_the_printed_table(height_ft: int) -> None:
    printed = HEIGHTS.get(height_ft, 10.1)
    assert round(kpa_to_psi(atmosphere_kpaa(ft_to_m(height_ft))), 1) == printed
