"""The cautions, in one place: shown wherever the program sends somebody to touch something. Common practice."""

from __future__ import annotations

from typing import Final

LISTEN: Final = (
    "Live terminals are under the switch cover: never open it. Listen from outside, a hand's width away, and lay "
    "nothing on the cover, the conduit or the terminals."
)
SWITCH: Final = (
    "The switch is not for owners to adjust: its screws sit beside live terminals, and a cut-out set too high can "
    "burst a tank. That is work for a licensed person."
)
BEFORE_WORK: Final = (
    "Before any work on tank or switch: power off at the disconnect, locked or tagged where it is out of sight, and "
    "tested dead; water heater off (power or gas); pressure let down to zero. Air valve: wear eye protection, water "
    "may spray; add clean air slowly, only with the tank drained and the power off. Afterwards refill slowly and let "
    "the air out at a tap."
)
TANK: Final = (
    "A tank under pressure can burst: never over its plate, and a relief valve belongs on the system. A tank full of "
    "water is heavy (33 gal or 125 L: up to about 275 lb or 125 kg): drain it before it is moved."
)
LICENSED: Final = (
    "Electrical and pump work is for licensed people under the local code. Where the drinking water was opened to "
    "the air, disinfect as the local health authority advises."
)
SURROUNDINGS: Final = (
    "Never enter a well pit: bad air kills. Wet floor, or a tingle from pipe or casing: leave and call for help. No "
    "mains-powered computer on a wet floor."
)
ENDLESS: Final = (
    "The pump was still running when the recording ended. If it goes on and every tap is shut, switch it off at the "
    "disconnect now: it can overheat, scald and burst a pipe. If the gauge is past the cut-out pressure, stay away "
    "from the tank."
)
RUNNING_ON: Final = (
    "A pump that runs on with every tap shut: switch it off at the disconnect now. It can overheat, scald and burst a "
    "pipe. If the gauge is past the cut-out pressure, stay away from the tank."
)
WEAK_WELL: Final = (
    "A weak well: stop the test if the flow falls, or air or silt comes. A switch with a low-pressure cut-off may "
    "need resetting by hand afterwards."
)
NO_CERTIFICATE: Final = "This is a measurement of sound, not a certificate."

BY_NAME: Final = {
    "listen": LISTEN,
    "switch": SWITCH,
    "before-work": BEFORE_WORK,
    "tank": TANK,
    "licensed": LICENSED,
    "surroundings": SURROUNDINGS,
    "running-on": RUNNING_ON,
    "weak-well": WEAK_WELL,
}
"""The cautions that the table of causes names."""
