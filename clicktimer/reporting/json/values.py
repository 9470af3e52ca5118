"""Figures as the JSON documents of tank and well write them: rounded, and a volume in both units."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from clicktimer.records import Figure, Reason
from clicktimer.units.conversions import l_to_gal

DECIMALS = 6


def rounded(value: float | None) -> float | None:
    """Return a figure to six decimals: the same bytes on every machine, whatever its last bit of a power."""
    return None if value is None else round(value, DECIMALS)


def volume_json(name: str, volume_l: float | None) -> dict[str, float | None]:
    """Return a volume, in litres, in US gallons and in litres, under ``name`` with the unit behind it."""
    return {f"{name}_gal": None if volume_l is None else rounded(l_to_gal(volume_l)), f"{name}_l": rounded(volume_l)}


def reasons_json(reasons: Iterable[Reason]) -> list[dict[str, Any]]:
    """Return reasons as codes with their figures in SI; a figure without end is null."""
    return [_reason(reason) for reason in reasons]


def _reason(reason: Reason) -> dict[str, Any]:
    return {"code": reason.code, "figures": {name: _figure(value) for name, value in reason.figures}}


def _figure(value: Figure) -> Any:
    if isinstance(value, Reason):
        return _reason(value)
    if isinstance(value, tuple):
        return [_figure(one) for one in value]
    if isinstance(value, float):
        return rounded(value) if math.isfinite(value) else None
    return value
