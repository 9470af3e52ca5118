"""What a person found at the tank: the air valve, and whatever else was seen or looked for and not seen."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Literal, get_args

from clicktimer.errors import SettingsError

AirValve = Literal["right", "low", "water", "nothing"]
AIR_VALVE: tuple[AirValve, ...] = get_args(AirValve)


@dataclass(frozen=True, slots=True)
class Found:
    """What was found. air_valve: at the air valve of the drained tank, None when nobody looked.

    seen, not_seen: names of observations in the table of causes; what is in neither was not looked for.
    """

    air_valve: AirValve | None = None
    seen: tuple[str, ...] = ()
    not_seen: tuple[str, ...] = ()


NOTHING_FOUND = Found()


def make_found(air_valve: str | None = None, seen: tuple[str, ...] = (), not_seen: tuple[str, ...] = ()) -> Found:
    """Check what was found against the table. Raises SettingsError with the nearest name for one that is not there."""
    for known in AIR_VALVE:
        if known == air_valve:
            break
    else:
        if air_valve is not None:
            raise SettingsError(f'the air valve "{_shown(air_valve)}" is not known: write {", ".join(AIR_VALVE)}')
    both = set(map(_tidy, seen)) & set(map(_tidy, not_seen))
    if both:
        raise SettingsError(f'"{sorted(both)[0]}" cannot be both seen and not seen: keep one of the two')
    return Found(
        next((known for known in AIR_VALVE if known == air_valve), None),
        tuple(dict.fromkeys(check_observation(name) for name in seen)),
        tuple(dict.fromkeys(check_observation(name) for name in not_seen)),
    )


def check_observation(name: str) -> str:
    """Return the name of an observation as the table has it. Raises SettingsError, with the nearest one there is."""
    from clicktimer.assessment.causes.table import observations

    names = [fact.name for fact in observations()]
    tidy = _tidy(name)
    if tidy in names:
        return tidy
    near = difflib.get_close_matches(tidy, names, 1, 0.5)
    hint = f'did you mean "{near[0]}"?' if near else f"the names are: {', '.join(names)}"
    raise SettingsError(f'"{_shown(name)}" is not among what can be seen; {hint}')


def _tidy(name: str) -> str:
    return "-".join(str(name).casefold().replace("_", "-").split())


def _shown(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in str(text))[:40]
