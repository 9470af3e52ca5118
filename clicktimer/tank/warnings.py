"""What is unusual about a system that can nevertheless be computed, as codes with figures."""

from __future__ import annotations

import math

from clicktimer.records import Reason
from clicktimer.tank.system import System, Tank
from clicktimer.units.conversions import gal_to_l, psi_to_kpa


def unusual_values(system: System) -> tuple[Reason, ...]:
    """Return what is unusual about a system that can nevertheless be computed.

    Parameters
    ----------
    system : System
        Checked values; pressures kPa gauge.

    Returns
    -------
    tuple of Reason
        Charges, switch, relief valve, tanks, pump rate, in this order. The limits are common practice, no source.
    """
    found = [*_charges(system), *_switch(system)]
    for tank in system.tanks:
        found += _tank(tank, system.cut_out_kpag)
    if system.pump is not None and system.pump.l_per_min > gal_to_l(50.0):
        found.append(Reason("tank.pump-rate-high", pump_l_per_min=system.pump.l_per_min))
    if system.pump is not None and system.pump.l_per_min < gal_to_l(1.0):
        found.append(Reason("tank.pump-rate-low", pump_l_per_min=system.pump.l_per_min))
    return tuple(found)


def _charges(system: System) -> list[Reason]:
    found = []
    cut_in = system.cut_in_kpag
    charges = {system.charge_of(t) for t in system.tanks if t.kind == "bladder"}
    if not system.tanks:
        charges = {system.precharge_kpag}
    for charge in sorted(charges):
        pressures = {"charge_kpag": charge, "cut_in_kpag": cut_in}
        if charge > cut_in and not math.isclose(charge, cut_in):
            found.append(Reason("tank.charge-above-cut-in", **pressures))
        elif charge == 0:
            found.append(Reason("tank.charge-zero"))
        elif charge < 0.75 * cut_in:
            found.append(Reason("tank.charge-far-below-cut-in", **pressures))
        elif math.isclose(charge, cut_in):
            found.append(Reason("tank.charge-at-cut-in"))
    return found


def _switch(system: System) -> list[Reason]:
    found = []
    cut_in, cut_out = system.cut_in_kpag, system.cut_out_kpag
    if cut_out - cut_in < psi_to_kpa(10.0):
        found.append(Reason("tank.range-narrow", switch_kpag=(cut_in, cut_out)))
    if cut_out > psi_to_kpa(80.0):
        found.append(Reason("tank.cut-out-high", cut_out_kpag=cut_out, relief_valve=system.relief_valve or "not-said"))
    if cut_in < psi_to_kpa(20.0):
        found.append(Reason("tank.cut-in-low", cut_in_kpag=cut_in))
    if system.relief_valve == "none":
        found.append(Reason("tank.no-relief-valve"))
    return found


def _tank(tank: Tank, cut_out_kpag: float) -> list[Reason]:
    found = []
    if tank.plate_kpag is not None and cut_out_kpag > tank.plate_kpag:
        found.append(Reason("tank.cut-out-over-plate", cut_out_kpag=cut_out_kpag, plate_kpag=tank.plate_kpag))
    if tank.volume_l < gal_to_l(1.9):
        found.append(Reason("tank.very-small", volume_l=tank.volume_l))
    elif tank.volume_l > gal_to_l(120.0) * 1.001:
        found.append(Reason("tank.very-large", volume_l=tank.volume_l))
    if tank.volume_l > gal_to_l(115.0) and cut_out_kpag >= psi_to_kpa(75.0):
        found.append(Reason("tank.much-energy", volume_l=tank.volume_l, cut_out_kpag=cut_out_kpag))
    return found
