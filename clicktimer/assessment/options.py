"""What the user says of a recording and of the system, and asks of the measurement: values in SI with their origin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from clicktimer.assessment.causes.observations import NOTHING_FOUND, Found
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.settings import PumpState, Taps
from clicktimer.tank.system import Origin, System
from clicktimer.targets import MARKS_S, Marks
from clicktimer.units.format import UnitSystem

Text = str | tuple[str, ...]

ALWAYS_TOLD = ("switch", "precharge", "tank", "pump_rate", "height", "marks", "units")
WHEN_GIVEN = (
    "gauge_at_clicks",
    "gauge_settled",
    "gauge_error",
    "caught",
    "tap_flow",
    "motor",
    "phase",
    "least_run",
    "relief_valve",
    "air_valve",
    "seen",
    "not_seen",
)


@dataclass(frozen=True, slots=True)
class SystemOptions:
    """The system as described by options and site file.

    system: values in SI, each with its origin (``system.came_from("switch")``). units: how to write numbers.
    given: the texts as written, by option name with underscores; origins: where each came from.
    found: what was found at the tank. site: the site file's name, None without one.
    """

    system: System
    units: UnitSystem
    units_origin: Origin
    given: dict[str, Text]
    origins: Mapping[str, Origin] = field(default_factory=dict)
    found: Found = NOTHING_FOUND
    site: str | None = None

    @property
    def marks_s(self) -> tuple[float, float]:
        """The two marks that a run is judged by, seconds."""
        return self.system.marks_s

    @property
    def motor_hp(self) -> float | None:
        """Rated power of the motor, mechanical horsepower, None when not said."""
        from clicktimer.units.conversions import W_PER_HP

        return None if self.system.motor.power_w is None else self.system.motor.power_w / W_PER_HP

    def settings(self) -> dict[str, dict[str, object]]:
        """Every value used, as written, with where it came from: for the JSON document. Null where nobody said."""
        told = [*ALWAYS_TOLD, *(name for name in WHEN_GIVEN if name in self.given)]
        settings: dict[str, dict[str, object]] = {
            name: {"value": self.given.get(name), "from": self.origins.get(name, "default")} for name in told
        }
        if self.site is not None:
            settings["site"] = {"value": self.site, "from": "option"}
        return settings


@dataclass(frozen=True, slots=True)
class MeasureOptions:
    """What the user says of a recording and asks of it.

    taps: "shut" (no water in use), "steady" (one tap ran steadily) or None (not said).
    system: parsed values of tank, switch and pump with their origin, or None. detection: the parameters of the detector
    (clicktimer/detection/params.toml).
    """

    taps: Taps | None = None
    pump_at_start: PumpState | None = None
    marks_s: Marks = MARKS_S
    started: str | None = None
    joined: bool = False
    system: SystemOptions | None = None
    detection: DetectionParams = field(default_factory=default_params)
