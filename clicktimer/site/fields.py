"""Every field of the site file, in the order in which it is asked and written: the one table that all the rest is
made from (validation, questions, documentation).

A key is the name of the option that it stands for, without the dashes in front. To add one, add a line here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from clicktimer.assessment.causes.observations import AIR_VALVE, check_observation
from clicktimer.errors import QuantityError
from clicktimer.tank.parse import KINDS, parse_tank
from clicktimer.units.parse import (
    parse_flow_l_per_min,
    parse_height_m,
    parse_marks_s,
    parse_power_w,
    parse_pressure_kpa,
    parse_switch_kpa,
    parse_time_s,
    parse_units,
    parse_volume_l,
)
from clicktimer.well.parse import parse_bore_m, parse_depth_m
from clicktimer.well.rules import find_rule, parse_need

Kind = Literal["free", "text", "list", "count", "tanks"]
MOST_COUNT = 200


@dataclass(frozen=True, slots=True)
class SiteField:
    """One field. kind: "free" text, "text" that ``read`` understands, a "list" of such, a "count", or "tanks".

    question: what ``site new`` asks. example: as it is written. how: how to get it, for where it is missing.
    asked: whether ``site new`` asks for it; the rest is for who edits the file.
    """

    key: str
    group: str
    kind: Kind
    read: Callable[[str], Any]
    question: str
    example: str
    how: str = ""
    asked: bool = True


def parse_caught(text: str) -> tuple[float, float | None]:
    """Read water caught, "15 gal" or "15 gal in 75 s", to litres and the refill in seconds. Raises QuantityError.

    >>> parse_caught("57 L in 75 s")
    (57.0, 75.0)
    """
    volume, mark, refill = " ".join(str(text).casefold().split()).partition(" in ")
    return parse_volume_l(volume), parse_time_s(refill) if mark else None


def read_choice(*allowed: str) -> Callable[[str], str]:
    """Return a reader that takes one of some words and raises QuantityError for any other."""

    def read(text: str) -> str:
        tidy = str(text).strip().casefold()
        if tidy not in allowed:
            shown = "".join(c if c.isprintable() else " " for c in str(text))[:40]
            raise QuantityError(f'"{shown}" is not one of {", ".join(allowed)}')
        return tidy

    return read


def _zero_ok(parse: Callable[..., float]) -> Callable[[str], float]:
    return lambda text: parse(text, zero_ok=True)


_F = SiteField
_WHO, _SWITCH, _TANK, _PUMP, _WELL, _HOME = "Who and where", "Switch", "Tank", "Pump", "Well", "Household"

FIELDS: tuple[SiteField, ...] = (
    _F("who", _WHO, "free", str, "Who measured?", "A. Inspector"),
    _F("where", _WHO, "free", str, "Which house or well?", "the cottage by the mill"),
    _F("client", _WHO, "free", str, "For whom?", "the owner of the cottage", asked=False),
    _F("date", _WHO, "free", str, "When was this written down?", "2031-05-04"),
    _F("notes", _WHO, "free", str, "Anything else worth noting?", "new tank last autumn", asked=False),
    _F("units", _WHO, "text", parse_units, "Units to write: us or metric?", "us"),
    _F(
        "height",
        _WHO,
        "text",
        parse_height_m,
        "Height above the sea?",
        "1200 ft",
        "look the place up on a map with heights",
    ),
    _F("marks", _WHO, "text", parse_marks_s, "The two marks for a run, in seconds?", "30/60", asked=False),
    _F(
        "switch",
        _SWITCH,
        "text",
        parse_switch_kpa,
        "Pressure switch, cut-in/cut-out?",
        "40/60",
        "it stands on the switch's label, or on a sticker inside the house; do not open the cover",
    ),
    _F("gauge", _SWITCH, "free", str, "Which gauge was read?", "the one at the tank tee", asked=False),
    _F(
        "gauge-at-clicks",
        _SWITCH,
        "text",
        parse_switch_kpa,
        "Gauge at the two clicks, cut-in/cut-out?",
        "41/59",
        "watch the gauge and note it at the click that starts the pump and at the one that stops it",
    ),
    _F(
        "gauge-settled",
        _SWITCH,
        "text",
        parse_switch_kpa,
        "Gauge settled: just before cut-in, 10 min after cut-out?",
        "40/57",
        "draw slowly down to cut-in; after cut-out use no water for ten minutes, then read",
    ),
    _F("gauge-error", _SWITCH, "text", parse_pressure_kpa, "Error of one reading of that gauge?", "1 psi", asked=False),
    _F("tank", _TANK, "tanks", parse_tank, "Volume on the tank's label?", "33 gal", "read it on the tank's label"),
    _F(
        "precharge",
        _TANK,
        "text",
        _zero_ok(parse_pressure_kpa),
        "Air charge as found, tank drained?",
        "38 psi",
        "with the power off and the tank drained, an air gauge on the tank's air valve",
    ),
    _F("precharge-read", _TANK, "free", str, "When was that read?", "2031-05-04", asked=False),
    _F(
        "air-valve",
        _TANK,
        "text",
        read_choice(*AIR_VALVE),
        "Found at the air valve: right, low, water or nothing?",
        "low",
        "with the power off and the tank drained, tap the core of the air valve for a moment",
    ),
    _F(
        "relief-valve",
        _TANK,
        "text",
        read_choice("tested", "there", "none"),
        "Relief valve: tested, there or none?",
        "there",
        "look for a valve with a lever and an open pipe near the tank or the pump",
    ),
    _F("relief-valve-tested", _TANK, "free", str, "When was it tested?", "2030-09-12", asked=False),
    _F("seen", _TANK, "list", check_observation, "What was seen, by name?", "tap-goes-dead", asked=False),
    _F("not-seen", _TANK, "list", check_observation, "Looked for and not seen?", "needle-swings", asked=False),
    _F(
        "pump-rate",
        _PUMP,
        "text",
        parse_flow_l_per_min,
        "What does the pump give, by its papers?",
        "8 gpm",
        "the driller's log or the pump's papers; better, catch the water between stop and start (caught)",
    ),
    _F("pump-rate-from", _PUMP, "free", str, "How is that known?", "driller's log", asked=False),
    _F(
        "caught",
        _PUMP,
        "list",
        parse_caught,
        "Water caught between stop and start, and the refill after it?",
        "15 gal in 75 s",
        "catch one tap's water from the pump's stop to its start, then time the refill",
    ),
    _F(
        "tap-flow",
        _PUMP,
        "text",
        parse_flow_l_per_min,
        "Flow of the tap left running (steady tap)?",
        "2 gpm",
        "by bucket and watch",
        asked=False,
    ),
    _F(
        "motor",
        _PUMP,
        "text",
        parse_power_w,
        "Power of the motor?",
        "3/4 hp",
        "it stands on the motor's plate or on the control box",
    ),
    _F(
        "phase",
        _PUMP,
        "text",
        read_choice("single", "three"),
        "Single or three phase?",
        "single",
        "house supplies are single phase almost always; the control box's plate says it",
    ),
    _F(
        "least-run",
        _PUMP,
        "text",
        parse_time_s,
        "The motor maker's least run?",
        "1 min",
        "the motor's manual; the maker's figure wins over any rule",
    ),
    _F(
        "yield",
        _WELL,
        "text",
        parse_flow_l_per_min,
        "What does the well yield?",
        "3 gpm",
        "the driller's log, or a yield test",
    ),
    _F("fracture", _WELL, "list", parse_flow_l_per_min, "Yield of each fracture?", "1.5 gpm", asked=False),
    _F("yield-test", _WELL, "free", str, "File of a yield test?", "yield-test.csv", asked=False),
    _F("bore", _WELL, "text", parse_bore_m, "Inside diameter of the bore?", "6 in", "the driller's log"),
    _F("well-depth", _WELL, "text", parse_depth_m, "Depth of the well?", "250 ft", "the driller's log"),
    _F("pump-depth", _WELL, "text", parse_depth_m, "Depth of the pump?", "200 ft", "the pump installer's note"),
    _F(
        "static-level",
        _WELL,
        "text",
        _zero_ok(parse_depth_m),
        "Depth of the water at rest?",
        "40 ft",
        "the driller's log, or a licensed person with a sounder",
    ),
    _F("margin", _WELL, "text", _zero_ok(parse_depth_m), "Water to be kept over the pump?", "15 ft", asked=False),
    _F(
        "storage", _WELL, "text", parse_volume_l, "Usable room of a storage tank that is there?", "500 gal", asked=False
    ),
    _F("rule", _WELL, "list", find_rule, "Supply rules to hold it against?", "maryland", asked=False),
    _F("need", _WELL, "list", parse_need, "Needs of your own to hold it against?", "1 gpm for 6 h", asked=False),
    _F("homes", _WELL, "count", int, "Homes on this well?", "1", asked=False),
    _F("people", _HOME, "count", int, "How many people live there?", "4"),
    _F("bedrooms", _HOME, "count", int, "How many bedrooms?", "3"),
    _F("per-person", _HOME, "text", parse_volume_l, "Use of one person in a day, if known?", "60 gal", asked=False),
    _F("use", _HOME, "list", parse_flow_l_per_min, "Steady flows that matter (irrigation, softener)?", "3 gpm"),
)

TANK_KEYS: dict[str, tuple[str, Callable[[str], Any], str]] = {
    "volume": ("Volume on the tank's label?", parse_volume_l, "33 gal"),
    "kind": ("Kind: bladder, diaphragm or plain?", read_choice(*KINDS), "bladder"),
    "charge": ("Its own air charge, if it differs?", _zero_ok(parse_pressure_kpa), "38 psi"),
    "takes": ("The most water its bladder takes, by its plate?", parse_volume_l, "11 gal"),
    "plate": ("The most pressure by its plate?", parse_pressure_kpa, "100 psi"),
    "date": ("When was it made or put in?", str, "2024"),
}
"""What a [[tank]] table may hold: question, reader, example. ``date`` is free text."""


@cache
def field_named(key: str) -> SiteField | None:
    """Return the field of a key (with dashes or underscores), or None."""
    return next((f for f in FIELDS if f.key == key.replace("_", "-")), None)
