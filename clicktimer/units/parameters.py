"""Parameters from a file: every number of a stage with its unit, meaning, origin and valid range, checked when loaded.

A room with parameters has a ``params.toml``, and a frozen dataclass for each section of it. Sections are handed down;
nothing here is global state.
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass, fields
from functools import lru_cache
from importlib import resources
from typing import Any, ClassVar, TypeAlias, get_type_hints

from clicktimer.errors import SettingsError

Value: TypeAlias = "float | int | tuple[float, ...]"
Table: TypeAlias = "dict[str, dict[str, Entry]]"

KEYS = ("value", "unit", "meaning", "fitted_by", "valid_range")
"""What every entry of params.toml states."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One parameter as params.toml states it.

    fitted_by: the command that fitted the value, or "chosen: ..." with the reason. valid_range: lowest and highest
    value allowed, both included; for a tuple this holds for each element.
    """

    value: Value
    unit: str
    meaning: str
    fitted_by: str
    valid_range: tuple[float, float]


class Section:
    """Base of the sections: checks types and ranges when a section is made.

    A subclass is a frozen dataclass whose fields are the keys of its table in the params.toml of ``package``. The table
    has the name of the class in lower case with underscores: ``CandidateFinder`` is ``[candidate_finder]``.
    """

    __slots__ = ()
    package: ClassVar[str]

    def __post_init__(self) -> None:
        """Raise SettingsError if a value has the wrong type or lies outside its valid range."""
        section: Any = type(self)
        name = section_name(section)
        known = read_table(section.package).get(name, {})
        for key, wanted in _types(section).items():
            _check(f"{name}.{key}", getattr(self, key), wanted, known[key])


def section_name(section: type) -> str:
    """Return the name of a section's table: ``CandidateFinder`` -> ``candidate_finder``."""
    return re.sub(r"(?<!^)(?=[A-Z])", "_", section.__name__).lower()


@lru_cache(maxsize=8)
def read_table(package: str) -> Table:
    """Return every entry of a package's params.toml by section and name.

    Raises
    ------
    SettingsError
        If an entry lacks one of the keys, or has one that is not known.
    """
    text = resources.files(package).joinpath("params.toml").read_text(encoding="utf-8")
    return {
        section: {name: _entry(f"{section}.{name}", entry) for name, entry in entries.items()}
        for section, entries in tomllib.loads(text).items()
    }


def load_sections(params: type, package: str) -> dict[str, Any]:
    """Return the sections of a dataclass of sections, by name, with the values of the package's params.toml.

    Raises
    ------
    SettingsError
        If the file lacks a parameter, has one that is not known, or a value out of its range.
    """
    sections: dict[str, Any] = get_type_hints(params)
    table = read_table(package)
    if set(sections) != set(table):
        raise SettingsError(f"params.toml of {package}: the sections must be {', '.join(sections)}")
    return {
        name: section(**{key: entry.value for key, entry in table[name].items()}) for name, section in sections.items()
    }


def _entry(name: str, entry: Any) -> Entry:
    if not isinstance(entry, dict) or set(entry) != set(KEYS):
        raise SettingsError(f"params.toml: {name} must have exactly these keys: {', '.join(KEYS)}")
    low, high = entry["valid_range"]
    return Entry(_frozen(entry["value"]), entry["unit"], entry["meaning"], entry["fitted_by"], (low, high))


def _frozen(value: Any) -> Value:
    frozen: Value = tuple(value) if isinstance(value, list) else value
    return frozen


@lru_cache(maxsize=128)
def _types(section: Any) -> dict[str, Any]:
    """Return the annotated type of every field; the fields and the keys in params.toml must be the same."""
    hints = get_type_hints(section)
    name, here = section_name(section), {f.name for f in fields(section)}
    there = set(read_table(section.package).get(name, {}))
    if here != there:
        missing, unknown = sorted(here - there), sorted(there - here)
        raise SettingsError(f"params.toml: section {name} lacks {missing} and has unknown keys {unknown}")
    return {f.name: hints[f.name] for f in fields(section)}


def _check(name: str, value: Any, wanted: Any, entry: Entry) -> None:
    low, high = entry.valid_range
    parts = value if isinstance(value, tuple) else (value,)
    if wanted in (int, float) and isinstance(value, tuple):
        raise SettingsError(f"{name}={value!r} must be one number")
    if wanted not in (int, float) and (not isinstance(value, tuple) or len(value) != len(entry.value)):  # type: ignore[arg-type]
        raise SettingsError(f"{name}={value!r} must be {len(entry.value)} numbers")  # type: ignore[arg-type]
    for part in parts:
        if isinstance(part, bool) or not isinstance(part, int | float) or (wanted is int and part != int(part)):
            raise SettingsError(f"{name}={part!r} must be a {'whole ' if wanted is int else ''}number")
        if math.isnan(part) or not low <= part <= high:
            raise SettingsError(f"{name}={part} is out of range; allowed: {low:g} to {high:g} {entry.unit}".rstrip())
