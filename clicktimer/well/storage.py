"""How to hold the water that is short: as pressure tanks, by the gallons each holds, or as one storage tank."""

from __future__ import annotations

import math
from dataclasses import dataclass

from clicktimer.errors import SettingsError
from clicktimer.tank.options import STOCK_SIZES_GAL, stock_row
from clicktimer.tank.system import CHARGE_BELOW_CUT_IN_KPA, System
from clicktimer.units.conversions import gal_to_l


@dataclass(frozen=True, slots=True)
class HeldInTanks:
    """One size of pressure tank: volume, what it holds between cut-out and cut-in (air settled), how many it takes."""

    volume_l: float
    holds_l: float
    count: int


@dataclass(frozen=True, slots=True)
class Storage:
    """What it takes to hold a shortfall, litres. tanks: each stock size of pressure tank on this switch.

    refill_s: how long the well needs to fill that much again at its least yield with nothing else drawn, seconds; None
    without a yield.
    """

    short_l: float
    tanks: tuple[HeldInTanks, ...]
    refill_s: float | None


def tanks_for(holds_l: float, short_l: float) -> int:
    """Give how many tanks that hold so much each, litres, make up a shortfall, litres. Raises SettingsError.

    >>> tanks_for(116.0, 1000.0)
    9
    """
    if not (math.isfinite(holds_l) and holds_l > 0):
        raise SettingsError("a tank that gives no water can make up for nothing")
    if not (math.isfinite(short_l) and short_l >= 0):
        raise SettingsError("a shortfall cannot be below zero")
    return math.ceil(short_l / holds_l * (1.0 - 1e-12))


def storage_for(short_l: float, system: System, yield_l_per_min: float | None) -> Storage:
    """Give what it takes to hold a shortfall (litres) on a system: by stock sizes of pressure tank, or as one volume.

    yield_l_per_min: the least yield, to tell how long filling takes. New tanks get the usual charge, 2 psi below
    cut-in.
    """
    charge_kpag = max(system.cut_in_kpag - CHARGE_BELOW_CUT_IN_KPA, 0.0)
    tanks = []
    for size_gal in STOCK_SIZES_GAL:
        row = stock_row(gal_to_l(size_gal), system, charge_kpag)
        tanks.append(HeldInTanks(row.volume_l, row.drawdown_l, tanks_for(row.drawdown_l, short_l)))
    refill_s = 60.0 * short_l / yield_l_per_min if yield_l_per_min else None
    return Storage(short_l, tuple(tanks), refill_s)
