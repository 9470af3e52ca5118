"""Unit constants and the atmosphere against general libraries (pint, fluids), which know nothing of pumps."""

from __future__ import annotations

import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clicktimer.errors import QuantityError
from clicktimer.units import conversions


@pytest.fixture(scope="module")
def registry():
    import pint

    return pint.UnitRegistry()


@pytest.mark.parametrize(
    ("ours", "one", "in_unit"),
    [
        (conversions.KPA_PER_PSI, "psi", "kPa"),
        (conversions.KPA_PER_BAR, "bar", "kPa"),
        (conversions.KPA_PER_KGF_PER_CM2, "kgf/cm**2", "kPa"),
        (conversions.L_PER_US_GAL, "gallon", "liter"),
        (conversions.L_PER_IMP_GAL, "imperial_gallon", "liter"),
        (conversions.M_PER_FT, "foot", "meter"),
        (conversions.W_PER_HP, "horsepower", "watt"),
        (conversions.ATMOSPHERE_KPAA, "standard_atmosphere", "kPa"),
    ],
)
def test_a_constant_is_that_of_a_general_units_library(registry, ours: float, one: str, in_unit: str) -> None:
    assert ours == pytest.approx(registry(one).to(in_unit).magnitude, rel=1e-12)


@pytest.mark.parametrize("height_m", [-500.0, 0.0, 365.76, 1828.8, 3048.0, 6000.0])
def test_atmosphere_is_the_1976_standard(height_m: float) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the reference's own, from its imports
        from fluids import ATMOSPHERE_1976
    assert conversions.atmosphere_kpaa(height_m) == pytest.approx(ATMOSPHERE_1976(height_m).P / 1000.0, rel=2e-6)


@pytest.mark.parametrize("height_m", [-501.0, 6001.0, float("nan"), float("inf")])
def test_a_height_outside_the_range_is_refused_not_clamped(height_m: float) -> None:
    with pytest.raises(QuantityError, match="is outside -500 m to 6000 m"):
        conversions.atmosphere_kpaa(height_m)


@given(st.floats(-1e6, 1e6))
def test_units_go_there_and_back(value: float) -> None:
    assert conversions.kpa_to_psi(conversions.psi_to_kpa(value)) == pytest.approx(value, rel=1e-12, abs=1e-12)
    assert conversions.l_to_gal(conversions.gal_to_l(value)) == pytest.approx(value, rel=1e-12, abs=1e-12)
    assert conversions.m_to_ft(conversions.ft_to_m(value)) == pytest.approx(value, rel=1e-12, abs=1e-12)


@given(st.floats(-500, 5990), st.floats(1, 10))
def test_the_air_is_thinner_higher_up(height_m: float, more_m: float) -> None:
    assert conversions.atmosphere_kpaa(height_m + more_m) < conversions.atmosphere_kpaa(height_m)
