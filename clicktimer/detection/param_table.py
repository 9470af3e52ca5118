"""The detector's params.toml, and the base of its sections (see clicktimer.units.parameters)."""

from __future__ import annotations

from typing import ClassVar, Final

from clicktimer.units import parameters
from clicktimer.units.parameters import KEYS, Entry, Table, Value, read_table, section_name

__all__ = ["KEYS", "Entry", "Section", "Value", "section_name", "table"]
PACKAGE: Final = "clicktimer.detection"


class Section(parameters.Section):
    """A section of the detector's params.toml."""

    __slots__ = ()
    package: ClassVar[str] = PACKAGE


def table() -> Table:
    """Return every entry of the detector's params.toml by section and name.

    Raises
    ------
    SettingsError
        If an entry lacks one of the keys, or has one that is not known.
    """
    return read_table(PACKAGE)
