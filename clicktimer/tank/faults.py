"""Faults in what was read at the tank: an air charge or a switch range that is wrong, and the system once put right.

A reading that is wrong explains what the tank gives. It is never what the tank is judged by.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final, Literal

from clicktimer.tank.system import CHARGE_BELOW_CUT_IN_KPA, System, Tank
from clicktimer.units.conversions import psi_to_kpa

ChargeState = Literal["right", "low", "gone", "above-cut-in"]
RangeState = Literal["as-set", "narrow", "moved"]

# Common practice, no source: what counts as right, narrow or moved when it is read on a house gauge.
CHARGE_BELOW_KPA: Final = psi_to_kpa(5.0)
CHARGE_GONE_KPA: Final = psi_to_kpa(2.0)
NARROW_SHARE: Final = 0.75
MOVED_KPA: Final = psi_to_kpa(4.0)


def range_state(system: System) -> RangeState | None:
    """Return how the range read at the clicks compares with the setting; None where one of the two is not known."""
    if system.set_kpag is None:
        return None
    set_in_kpag, set_out_kpag = system.set_kpag
    if system.cut_out_kpag - system.cut_in_kpag < NARROW_SHARE * (set_out_kpag - set_in_kpag) + 1e-9:
        return "narrow"
    off = max(abs(system.cut_in_kpag - set_in_kpag), abs(system.cut_out_kpag - set_out_kpag))
    return "moved" if off > MOVED_KPA + 1e-9 else "as-set"


def range_fault(system: System) -> bool:
    """Return whether the range read at the clicks is narrowed or has moved from the setting."""
    return range_state(system) in ("narrow", "moved")


def intended_switch_kpag(system: System) -> tuple[float, float]:
    """Return the switch's cut-in and cut-out once its range is put right, kPa gauge: as read where nothing is wrong."""
    if range_fault(system) and system.set_kpag is not None:
        return system.set_kpag
    return system.cut_in_kpag, system.cut_out_kpag


def right_charge_kpag(system: System) -> float:
    """Return the right air charge of a bladder tank, kPa gauge: 2 psi below cut-in."""
    return max(intended_switch_kpag(system)[0] - CHARGE_BELOW_CUT_IN_KPA, 0.0)


def charge_state(charge_kpag: float, system: System) -> ChargeState:
    """Return how an air charge (kPa gauge) compares with the right one."""
    cut_in_kpag = intended_switch_kpag(system)[0]
    if charge_kpag > cut_in_kpag and not math.isclose(charge_kpag, cut_in_kpag):
        return "above-cut-in"
    if charge_kpag <= CHARGE_GONE_KPA:
        return "gone"
    return "right" if charge_kpag >= cut_in_kpag - CHARGE_BELOW_KPA - 1e-9 else "low"


def wrong_charge_kpag(system: System) -> float | None:
    """Return the wrong charge of a bladder tank that was read, kPa gauge; None where none was read or all are right.

    Of several tanks it is the one that is furthest off.
    """
    wrong = [charge for tank in system.tanks if (charge := _wrong(tank, system)) is not None]
    return max(wrong, key=lambda charge: abs(charge - right_charge_kpag(system)), default=None)


def _wrong(tank: Tank, system: System) -> float | None:
    """Return the charge of a tank that was read and is wrong, kPa gauge."""
    if tank.kind == "plain" or (tank.precharge_kpag is None and system.came_from("precharge") == "default"):
        return None
    charge_kpag = system.charge_of(tank)
    return None if charge_state(charge_kpag, system) == "right" else charge_kpag


def with_right_charge(system: System) -> System:
    """Return the system with every wrong charge put right."""
    if wrong_charge_kpag(system) is None:
        return system
    right = right_charge_kpag(system)
    tanks = [t if _wrong(t, system) is None else replace(t, precharge_kpag=right) for t in system.tanks]
    return replace(system, tanks=tuple(tanks))


def put_right(system: System) -> System:
    """Return the system with wrong charges and a faulty switch range put right; the same one where nothing is wrong.

    Readings of settled pressures belong to the range as it was read and go with it.
    """
    fixed = with_right_charge(system)
    if not range_fault(system):
        return fixed
    low, high = intended_switch_kpag(system)
    right = right_charge_kpag(system)
    default = system.came_from("precharge") == "default"
    # A charge that nobody read is taken as the usual one of the switch as it was set.
    charge = right if default or charge_state(system.precharge_kpag, system) != "right" else system.precharge_kpag
    return replace(fixed, cut_in_kpag=low, cut_out_kpag=high, precharge_kpag=charge, set_kpag=None, settled_kpag=None)
