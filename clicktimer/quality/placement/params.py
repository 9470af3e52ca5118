"""The parameters of the judgment of a place: params.toml -> frozen ``PlacementParams``, handed down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Final

from clicktimer.units import parameters

PACKAGE: Final = "clicktimer.quality.placement"


class Section(parameters.Section):
    """A section of the params.toml of this package; what each parameter means stands there."""

    __slots__ = ()
    package: ClassVar[str] = PACKAGE


@dataclass(frozen=True, slots=True)
class Grading(Section):
    """How far clicks stand over the room in a good place."""

    from_hz: float
    near_db: float
    far_db: float
    near_before_db: float
    far_before_db: float
    quiet_quantile: float
    same_s: float
    crest_db: float
    full_scale_db: float


@dataclass(frozen=True, slots=True)
class SharpSounds(Section):
    """Sharp sounds by which a place is judged if no click was detected."""

    least_score: float
    least_over_db: float
    most: int
    after_s: float


@dataclass(frozen=True, slots=True)
class Recorder(Section):
    """What the recording device does to the sound."""

    loud_db: float
    loudest: int
    least_dips: int
    dip_db: float
    dip_often_db: float
    unsteady_db: float
    low_rate_hz: float


@dataclass(frozen=True, slots=True)
class PlacementParams:
    """All parameters of the judgment of a place, by section."""

    grading: Grading
    sharp_sounds: SharpSounds
    recorder: Recorder


def default_placement() -> PlacementParams:
    """Return the parameters as params.toml states them.

    Raises
    ------
    SettingsError
        If params.toml lacks a parameter, has one that is not known, or a value out of its range.
    """
    made: Any = parameters.load_sections(PlacementParams, PACKAGE)
    return PlacementParams(**made)
