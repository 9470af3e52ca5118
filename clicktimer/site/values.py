"""What a site file says, checked: the record that reading it gives, and that all the rest is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Value = str | int | tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Site:
    """A checked site file. name: of the file, without folders. values: by key; a tank is written as its option is."""

    name: str
    values: Mapping[str, Value]
