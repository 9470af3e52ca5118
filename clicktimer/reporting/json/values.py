"""Figures as the JSON documents of tank and well write them: rounded, and a volume in both units."""

from __future__ import annotations

from clicktimer.units.conversions import l_to_gal

DECIMALS = 6


def rounded(value: float | None) -> float | None:
    """Return a figure to six decimals: the same bytes on every machine, whatever its last bit of a power."""
    return None if value is None else round(value, DECIMALS)


def volume_json(name: str, volume_l: float | None) -> dict[str, float | None]:
    """Return a volume, in litres, in US gallons and in litres, under ``name`` with the unit behind it."""
    return {f"{name}_gal": None if volume_l is None else rounded(l_to_gal(volume_l)), f"{name}_l": rounded(volume_l)}
