"""Exact unit constants, conversions and the air's pressure with height: the only place where units are turned.

Inside the package volumes are litres, flows litres per minute, pressures kilopascals, heights metres, times seconds.
``*_kpag`` is a gauge pressure (over the air outside), ``*_kpaa`` an absolute one; the two never share a name.
"""

from __future__ import annotations

import math

from clicktimer.errors import QuantityError

# International yard and pound agreement of 1959 (exact): 1 in = 25.4 mm, 1 lb = 0.45359237 kg. NIST SP 811, appendix B.
M_PER_INCH = 0.0254
M_PER_FT = 0.3048
KG_PER_LB = 0.45359237
# Standard acceleration of free fall, 3rd CGPM 1901 (exact).
STANDARD_GRAVITY_M_PER_S2 = 9.80665
# 1 psi = one pound-force on a square inch: follows from the three lines above, 6.894757 kPa.
KPA_PER_PSI = KG_PER_LB * STANDARD_GRAVITY_M_PER_S2 / M_PER_INCH**2 / 1000.0
KPA_PER_BAR = 100.0  # exact by definition of the bar
KPA_PER_KGF_PER_CM2 = STANDARD_GRAVITY_M_PER_S2 * 10.0  # one kilogram-force on a square centimetre: 98.0665 kPa
# US gallon = 231 cubic inches (NIST Handbook 44, appendix C, exact): 3.785411784 L.
L_PER_US_GAL = 231.0 * (M_PER_INCH * 10.0) ** 3
# Imperial gallon, UK Weights and Measures Act 1985, schedule 1 (exact).
L_PER_IMP_GAL = 4.54609
# Mechanical horsepower = 550 foot-pounds-force in a second: 745.6999 W.
W_PER_HP = 550.0 * M_PER_FT * KG_PER_LB * STANDARD_GRAVITY_M_PER_S2

# Standard atmosphere, 10th CGPM 1954 (exact).
ATMOSPHERE_KPAA = 101.325
# US Standard Atmosphere 1976: the lowest layer, sea level to 11 km.
_SEA_LEVEL_K = 288.15
_LAPSE_K_PER_M = 0.0065
_MOLAR_KG_PER_MOL = 0.0289644
_GAS_J_PER_MOL_K = 8.31432  # the 1976 value, kept although the constant has been measured better since
_EARTH_RADIUS_M = 6_356_766.0
LOWEST_HEIGHT_M = -500.0
HIGHEST_HEIGHT_M = 6000.0


def psi_to_kpa(pressure_psi: float) -> float:
    """Pounds per square inch to kilopascals (gauge stays gauge, absolute stays absolute)."""
    return pressure_psi * KPA_PER_PSI


def kpa_to_psi(pressure_kpa: float) -> float:
    """Kilopascals to pounds per square inch."""
    return pressure_kpa / KPA_PER_PSI


def gal_to_l(volume_gal: float) -> float:
    """US gallons to litres (also gallons per minute to litres per minute)."""
    return volume_gal * L_PER_US_GAL


def l_to_gal(volume_l: float) -> float:
    """Litres to US gallons (also litres per minute to gallons per minute)."""
    return volume_l / L_PER_US_GAL


def ft_to_m(length_ft: float) -> float:
    """Feet to metres."""
    return length_ft * M_PER_FT


def m_to_ft(length_m: float) -> float:
    """Metres to feet."""
    return length_m / M_PER_FT


def atmosphere_kpaa(height_m: float) -> float:
    """Give the pressure of the air at a height above the sea, on a standard day.

    p = p0 (T / T0) ^ (g M / (R L)),  T = T0 - L H,  H = r h / (r + h)

    Parameters
    ----------
    height_m : height above sea level, metres, -500 to 6000.

    Returns
    -------
    absolute pressure, kPa.

    Raises
    ------
    QuantityError : height outside that range.

    Assumes a standard day. Weather moves the air's pressure by about 3 % at most, a tank's drawdown by under 0.5 %.

    Source: US Standard Atmosphere 1976, lowest layer (grade A).

    >>> round(atmosphere_kpaa(0.0), 3)
    101.325
    >>> round(kpa_to_psi(atmosphere_kpaa(ft_to_m(6000.0))), 1)
    11.8
    """
    if not (math.isfinite(height_m) and LOWEST_HEIGHT_M <= height_m <= HIGHEST_HEIGHT_M):
        raise QuantityError(
            f"a height of {height_m:g} m is outside {LOWEST_HEIGHT_M:g} m to {HIGHEST_HEIGHT_M:g} m: "
            'give the height above the sea, such as "1200 ft" or "365 m"'
        )
    geopotential_m = _EARTH_RADIUS_M * height_m / (_EARTH_RADIUS_M + height_m)
    exponent = STANDARD_GRAVITY_M_PER_S2 * _MOLAR_KG_PER_MOL / (_GAS_J_PER_MOL_K * _LAPSE_K_PER_M)
    return ATMOSPHERE_KPAA * float((1.0 - _LAPSE_K_PER_M * geopotential_m / _SEA_LEVEL_K) ** exponent)
