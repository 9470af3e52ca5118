"""How much water a tank gives between cut-out and cut-in, one formula to a function. SI in and out, no settings.

All pressures with ``_kpag`` are gauge; each function adds the air's pressure itself (``air_kpaa``, default sea
level). Boyle's law (settled air) is what charts use. A refill of a minute or so warms the air and gives less: see
``fraction_fast`` for the lower bound. A measured drawdown between the two is what a healthy tank does.
"""

from __future__ import annotations

import math
from typing import Any

from clicktimer.errors import SettingsError
from clicktimer.units.conversions import ATMOSPHERE_KPAA

# Ratio of the heat capacities of air (diatomic gas, 7/5); 1.40 at room temperature in any table of gases.
GAMMA_AIR = 1.4


def _absolute(charge_kpag: float, cut_in_kpag: float, cut_out_kpag: float, air_kpaa: float) -> tuple[float, ...]:
    """Check the pressures and return charge, cut-in and cut-out as absolute pressures, kPa. Raises SettingsError."""
    if not (all(map(math.isfinite, (charge_kpag, cut_in_kpag, cut_out_kpag))) and air_kpaa > 0):
        raise SettingsError("pressures must be finite numbers, and the air's pressure above zero")
    if not 0 < cut_in_kpag < cut_out_kpag:
        raise SettingsError("cut-in must be above zero and below cut-out: give the switch such as 40/60")
    if charge_kpag + air_kpaa <= 0:
        raise SettingsError("an air charge at or below vacuum cannot be: zero on the gauge is the least")
    if charge_kpag >= cut_out_kpag:
        raise SettingsError("with the air charge at or above cut-out the tank takes no water: lower the charge")
    return charge_kpag + air_kpaa, cut_in_kpag + air_kpaa, cut_out_kpag + air_kpaa


def fraction(charge_kpag: float, cut_in_kpag: float, cut_out_kpag: float, air_kpaa: float = ATMOSPHERE_KPAA) -> float:
    """Give the part of a tank's volume that it delivers between cut-out and cut-in, air settled (Boyle).

    charge at or below cut-in:  f = P0 (1/P1 - 1/P2)
    charge above cut-in:        f = 1 - P0/P2  (the tank is empty before cut-in)

    Parameters
    ----------
    charge_kpag : air charge of the empty tank, kPa gauge. A plain tank filled from open air: 0.
    cut_in_kpag, cut_out_kpag : switch, kPa gauge.
    air_kpaa : the air's pressure outside, kPa absolute.

    Returns
    -------
    drawdown as a fraction of the tank's volume, 0 to 1.

    Raises
    ------
    SettingsError : charge at or above cut-out, cut-out not above cut-in, or a pressure that cannot be.

    Assumes air at one temperature and an ideal gas (error under 0.1 % at these pressures). A fast refill gives up to a
    quarter less, see fraction_fast.

    Source: Pelikan, "How to Calculate and Control Pressure Tank Drawdown", The Driller, Feb 2006 (grade C);
    North Carolina 15A NCAC 18C .0803 requires Boyle's law (grade A).

    >>> from clicktimer.units.conversions import psi_to_kpa
    >>> round(fraction(psi_to_kpa(38), psi_to_kpa(40), psi_to_kpa(60)), 3)
    0.258
    """
    p0, p1, p2 = _absolute(charge_kpag, cut_in_kpag, cut_out_kpag, air_kpaa)
    return p0 * (1.0 / p1 - 1.0 / p2) if p0 <= p1 else 1.0 - p0 / p2


def fraction_fast(
    charge_kpag: float, cut_in_kpag: float, cut_out_kpag: float, air_kpaa: float = ATMOSPHERE_KPAA
) -> float:
    """Give the least fraction that a healthy tank takes when it is refilled so fast that no heat leaves its air.

    f = (P0/Ps) (1 - (Ps/P2)^(1/1.4)),  Ps = the greater of P0 and P1

    Parameters and errors as in fraction. Returns a fraction of the tank's volume, 0 to 1.

    Assumes the air settled at the start of the refill. A real refill lies between this bound and fraction: a refill of
    10 s within a few percent of the bound, one of 5 min within some 5 to 15 % of Boyle (simulated).

    Source: adiabatic compression of an ideal gas (grade A; any text on thermodynamics).

    >>> from clicktimer.units.conversions import psi_to_kpa
    >>> p = [psi_to_kpa(x) for x in (38, 40, 60)]
    >>> round(fraction_fast(*p) / fraction(*p), 3)
    0.745
    """
    p0, p1, p2 = _absolute(charge_kpag, cut_in_kpag, cut_out_kpag, air_kpaa)
    start = max(p0, p1)
    return float((p0 / start) * (1.0 - (start / p2) ** (1.0 / GAMMA_AIR)))


def drawdown_l(
    volume_l: float,
    charge_kpag: float,
    cut_in_kpag: float,
    cut_out_kpag: float,
    air_kpaa: float = ATMOSPHERE_KPAA,
    acceptance_l: float | None = None,
) -> float:
    """Give the water a tank delivers between cut-out and cut-in, air settled, litres.

    D = V f;  with a bladder that takes at most A:  D = min(W2, A) - W1,  W = V (1 - P0/P)

    Parameters
    ----------
    volume_l : tank volume, litres. acceptance_l : the most water its bladder takes, litres, or None.
    others : as in fraction.

    Returns
    -------
    litres; zero where the bladder is full before cut-in.

    Assumes, source and errors: as in fraction. For several tanks add their drawdowns.

    >>> from clicktimer.units.conversions import gal_to_l, l_to_gal, psi_to_kpa
    >>> round(l_to_gal(drawdown_l(gal_to_l(33), psi_to_kpa(38), psi_to_kpa(40), psi_to_kpa(60))), 2)
    8.51
    """
    if not (math.isfinite(volume_l) and volume_l > 0):
        raise SettingsError('a tank volume must be above zero: give the volume on its label, such as "33 gal"')
    free_l = volume_l * fraction(charge_kpag, cut_in_kpag, cut_out_kpag, air_kpaa)
    if acceptance_l is None:
        return free_l
    held_l = water_held_l(volume_l, charge_kpag, cut_in_kpag, air_kpaa)
    return max(min(held_l + free_l, acceptance_l) - held_l, 0.0)


def water_held_l(volume_l: float, charge_kpag: float, pressure_kpag: float, air_kpaa: float = ATMOSPHERE_KPAA) -> float:
    """Give the water standing in a tank at a settled pressure, litres.

    W = V (1 - P0/P), zero below the charge

    volume_l in litres, pressures in kPa gauge, air_kpaa in kPa absolute. Source and assumption: as in fraction.

    >>> from clicktimer.units.conversions import psi_to_kpa
    >>> round(water_held_l(86, psi_to_kpa(28), psi_to_kpa(50)), 1)
    29.2
    """
    return volume_l * max(1.0 - (charge_kpag + air_kpaa) / (pressure_kpag + air_kpaa), 0.0)


def undercharged_kpag(
    drawdown_l: float,
    volume_l: float,
    cut_in_kpag: float,
    cut_out_kpag: float,
    air_kpaa: float = ATMOSPHERE_KPAA,
    *,
    fast: bool = False,
) -> float:
    """Give the charge below cut-in with which a tank has this drawdown: the first root of a short drawdown, kPa gauge.

    settled:  P0 = D / (V (1/P1 - 1/P2));   fast:  P0 = D P1 / (V (1 - (P1/P2)^(1/1.4)))

    drawdown_l and volume_l in litres, pressures in kPa gauge. Below zero means that water has taken the air's room.
    The result is a root only where it is at or below cut-in. Source: fraction and fraction_fast, solved for P0.

    >>> from clicktimer.units.conversions import kpa_to_psi, psi_to_kpa
    >>> round(kpa_to_psi(undercharged_kpag(6.0, 33.0, psi_to_kpa(40), psi_to_kpa(60))), 1)
    22.4
    """
    _, p1, p2 = _absolute(0.0, cut_in_kpag, cut_out_kpag, air_kpaa)
    per_charge = (1.0 - (p1 / p2) ** (1.0 / GAMMA_AIR)) / p1 if fast else 1.0 / p1 - 1.0 / p2
    return float(drawdown_l / (volume_l * per_charge)) - air_kpaa


def overcharged_kpag(
    drawdown_l: float,
    volume_l: float,
    cut_out_kpag: float,
    air_kpaa: float = ATMOSPHERE_KPAA,
    *,
    fast: bool = False,
) -> float:
    """Give the charge above cut-in with which a tank has this drawdown: the second root of a short drawdown, kPa gauge.

    settled:  P0 = P2 (1 - D/V);   fast:  P0 = P2 (1 - D/V)^1.4

    drawdown_l and volume_l in litres, pressures in kPa gauge. The result is a root only where it is above cut-in.
    Source: fraction and fraction_fast, solved for P0. Raises SettingsError for a drawdown of the tank's volume or more.

    >>> from clicktimer.units.conversions import kpa_to_psi, psi_to_kpa
    >>> round(kpa_to_psi(overcharged_kpag(6.0, 33.0, psi_to_kpa(60))), 1)
    46.4
    """
    if not 0 <= drawdown_l < volume_l:
        raise SettingsError("a tank cannot give as much water as its whole volume: check volume, run and pump rate")
    share = 1.0 - drawdown_l / volume_l
    return float((cut_out_kpag + air_kpaa) * (share**GAMMA_AIR if fast else share)) - air_kpaa


def relative_gauge_sd(
    charge_kpag: float,
    cut_in_kpag: float,
    cut_out_kpag: float,
    air_kpaa: float = ATMOSPHERE_KPAA,
    *,
    gauge_sd_kpa: float,
    charge_sd_kpa: float | None = None,
) -> float:
    """Give the standard deviation of the drawdown, as a part of it, when each pressure is read with an error.

    The three readings are taken as independent and normal; the exact formula is averaged over them (Gauss-Hermite, nine
    points each), because the straight-line rule is wrong near the kink where the charge meets cut-in.

    Parameters
    ----------
    gauge_sd_kpa : standard deviation of one reading, kPa. charge_sd_kpa : of the charge, when it differs. Others: as in
        fraction.

    Returns
    -------
    a fraction: 0.075 at 38 psi, 40/60 psi and 1 psi.

    >>> from clicktimer.units.conversions import psi_to_kpa
    >>> round(relative_gauge_sd(*(psi_to_kpa(p) for p in (38, 40, 60)), gauge_sd_kpa=psi_to_kpa(1)), 3)
    0.075
    """
    import numpy as np

    usual = fraction(charge_kpag, cut_in_kpag, cut_out_kpag, air_kpaa)
    node, weight = np.polynomial.hermite_e.hermegauss(9)
    weight = weight / weight.sum()
    charge_sd = gauge_sd_kpa if charge_sd_kpa is None else charge_sd_kpa
    p0: Any = np.maximum(charge_kpag + air_kpaa + charge_sd * node[:, None, None], 1.0)
    p1: Any = cut_in_kpag + air_kpaa + gauge_sd_kpa * node[None, :, None]
    p2: Any = cut_out_kpag + air_kpaa + gauge_sd_kpa * node[None, None, :]
    drawn = np.maximum(np.where(p0 <= p1, p0 * (1.0 / p1 - 1.0 / p2), 1.0 - p0 / p2), 0.0)
    each = weight[:, None, None] * weight[None, :, None] * weight[None, None, :]
    mean = float((each * drawn).sum())
    return math.sqrt(float((each * (drawn - mean) ** 2).sum())) / usual
