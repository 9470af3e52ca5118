"""The chain, beside: every value that a measurement rests on, each with where it came from, for the JSON document.

Where nobody said anything the value is the one that was used in its place, or null where nothing was: without a pump
rate no tank is chosen, so there is none to tell.
"""

from __future__ import annotations

from typing import Any

from clicktimer.assessment.options import MeasureOptions
from clicktimer.detection.params import default_params
from clicktimer.units.format import format_flow, format_height, format_pressure, format_switch


def values_used(options: MeasureOptions) -> dict[str, Any]:
    """Return name -> {"value": as people write it, or null; "from": "default", "option", "site file", "measured"}.

    "detection" holds the parameters of the detector by section and name (clicktimer/detection/params.toml).
    """
    taps = {"shut": "shut", "steady": "one runs steadily", None: None}[options.taps]
    used: dict[str, Any] = {"taps": _said(taps), "pump_at_start": _said(options.pump_at_start)}
    if options.started is not None:
        used["started"] = _said(options.started)
    if options.joined:
        used["joined"] = _said(True)
    if options.system is None:
        used["marks"] = {"value": "{:g}/{:g}".format(*options.marks_s), "from": "default"}
    else:
        used |= _of_the_system(options.system)
    origin = "default" if options.detection == default_params() else "option"
    used["detection"] = {"from": origin, "values": options.detection.as_dict()}
    return used


def _said(value: Any) -> dict[str, Any]:
    return {"value": value, "from": "default" if value is None else "option"}


def _of_the_system(described: Any) -> dict[str, Any]:
    """The texts as they were written; where there is none, what was taken instead, written the same way."""
    system, units = described.system, described.units
    instead = {
        "switch": format_switch(system.cut_in_kpag, system.cut_out_kpag, units),
        "precharge": format_pressure(system.precharge_kpag, units),
        "height": format_height(system.height_m, units),
        "marks": "{:g}/{:g}".format(*system.marks_s),
        "units": units,
    }
    told: dict[str, Any] = described.settings()
    used = {
        name: entry if entry["value"] is not None else {**entry, "value": instead.get(name)}
        for name, entry in told.items()
    }
    if used["pump_rate"]["value"] is None and system.pump is not None:
        rate = format_flow(system.pump.l_per_min, units)
        used["pump_rate"] = {"value": rate, "from": system.came_from("pump_rate")}
    return used
