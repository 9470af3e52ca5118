"""What is unusual about a system that can nevertheless be computed, in plain sentences."""

from __future__ import annotations

import math

from clicktimer.tank.system import System
from clicktimer.units.conversions import gal_to_l, psi_to_kpa
from clicktimer.units.format import UnitSystem, format_pressure, format_switch, format_volume


def doubts(system: System, units: UnitSystem = "us") -> tuple[str, ...]:
    """Say in plain sentences what is unusual about a system that can nevertheless be computed."""
    found: list[str] = []
    cut_in, cut_out = system.cut_in_kpag, system.cut_out_kpag
    charges = {system.charge_of(t) for t in system.tanks if t.kind == "bladder"}
    if not system.tanks:
        charges = {system.precharge_kpag}
    for charge in sorted(charges):
        shown = format_pressure(charge, units)
        if charge > cut_in and not math.isclose(charge, cut_in):
            found.append(
                f"The air charge ({shown}) is above cut-in ({format_pressure(cut_in, units)}): the tank is empty "
                "before the "
                "pump starts, so the tap goes dead for a moment on every cycle."
            )
        elif charge == 0:
            found.append(
                "An air charge of zero means a bladder tank without air, or one that has failed; only a plain tank "
                "works so."
            )
        elif charge < 0.75 * cut_in:
            found.append(
                f"The air charge ({shown}) is far below cut-in ({format_pressure(cut_in, units)}): the tank gives "
                "less water "
                "than it could. The usual charge is 2 psi (0.14 bar) below cut-in."
            )
        elif math.isclose(charge, cut_in):
            found.append(
                "With the air charge equal to cut-in the tank gives most water, but the flow may dip as the pump "
                "starts; "
                "2 psi (0.14 bar) below is usual."
            )
    if cut_out - cut_in < psi_to_kpa(10.0):
        found.append(
            f"A switch of {format_switch(cut_in, cut_out, units)} has a narrow range (20 psi, 1.4 bar, is usual): "
            "every "
            "gauge error weighs more, and runs are short."
        )
    if cut_out > psi_to_kpa(80.0):
        found.append(
            f"A cut-out of {format_pressure(cut_out, units)} is high for a house (above 80 psi, 5.5 bar): check the "
            "plates "
            "of tank, pump and pipe, and that a working relief valve is there"
            + {None: " (nothing was said of one).", "none": ": none was found.", "there": " and works."}.get(
                system.relief_valve, ", as was said."
            )
        )
    if cut_in < psi_to_kpa(20.0):
        found.append(
            f"A cut-in of {format_pressure(cut_in, units)} is low for a house (20 psi, 1.4 bar, is the least usual)."
        )
    if system.relief_valve == "none":
        found.append(
            "No relief valve was found. One belongs on the system: if the switch fails to stop the pump, nothing else "
            "keeps the tank from bursting. Have one fitted by a licensed person."
        )
    for tank in system.tanks:
        if tank.plate_kpag is not None and cut_out > tank.plate_kpag:
            found.append(
                f"Cut-out ({format_pressure(cut_out, units)}) is above the pressure on the tank's plate "
                f"({format_pressure(tank.plate_kpag, units)}): the tank can burst. Stay away from it, switch the pump "
                "off at the disconnect and call a licensed person."
            )
        if tank.volume_l < gal_to_l(1.9):
            found.append(f"A tank of {format_volume(tank.volume_l, units)} is very small: is the volume right?")
        elif tank.volume_l > gal_to_l(120.0) * 1.001:
            found.append(
                f"A tank of {format_volume(tank.volume_l, units)} is larger than the 120 gal (454 L) up to which "
                "house tanks "
                "are made; larger ones must be built and stamped as pressure vessels in many places."
            )
        if tank.volume_l > gal_to_l(115.0) and cut_out >= psi_to_kpa(75.0):
            found.append(
                f"A tank of {format_volume(tank.volume_l, units)} at {format_pressure(cut_out, units)} stores much "
                "energy: "
                "never go over the pressure on its plate."
            )
    if system.pump is not None and system.pump.l_per_min > gal_to_l(50.0):
        found.append("The pump rate is far above that of a house pump (50 gpm, 190 L/min): is it right?")
    if system.pump is not None and system.pump.l_per_min < gal_to_l(1.0):
        found.append("The pump rate is below 1 gpm (3.8 L/min): is it right?")
    return tuple(found)
