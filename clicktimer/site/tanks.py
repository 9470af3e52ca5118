"""A tank in a site file: one text, or a ``[[tank]]`` table of several, which becomes one text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cache
from typing import Annotated, Any, ClassVar

from clicktimer.errors import ClicktimerError
from clicktimer.site.kinds import Kind, SiteField, Written, declared, zero_ok
from clicktimer.site.parse import read_choice
from clicktimer.site.values import Value
from clicktimer.tank.parse import KINDS, parse_tank, write_tank
from clicktimer.units.parse import parse_pressure_kpa, parse_volume_l

TANK = "Tank"


@dataclass(frozen=True)
class TankTable:
    """What a ``[[tank]]`` table may hold."""

    __pydantic_config__: ClassVar[Mapping[str, Any]] = {"extra": "forbid"}

    volume: Annotated[str, Written(TANK, "Volume on the tank's label?", "33 gal", read=parse_volume_l, unit="gal")]
    kind: Annotated[str, Written(TANK, "Kind: bladder, diaphragm or plain?", "bladder", read=read_choice(*KINDS))] = ""
    charge: Annotated[
        str, Written(TANK, "Its own air charge, if it differs?", "38 psi", read=zero_ok(parse_pressure_kpa), unit="psi")
    ] = ""
    takes: Annotated[
        str, Written(TANK, "The most water its bladder takes, by its plate?", "11 gal", read=parse_volume_l, unit="gal")
    ] = ""
    plate: Annotated[
        str, Written(TANK, "The most pressure by its plate?", "100 psi", read=parse_pressure_kpa, unit="psi")
    ] = ""
    date: Annotated[str, Written(TANK, "When was it made or put in?", "2024")] = ""

    def text(self) -> str:
        """Return the tank as one text. Raises ValueError where its parts do not go together."""
        parts = asdict(self)
        parts.pop("date")
        written = write_tank(**parts)
        try:
            parse_tank(written)
        except ClicktimerError as error:
            raise ValueError(str(error)) from None
        return written


class Tanks(SiteField):
    """One tank or several, each a text or a table."""

    __slots__ = ()

    @property
    def kind(self) -> Kind:
        """Return "tanks"."""
        return "tanks"

    def check(self, value: Any) -> Value:
        """Return the tanks as texts. Raises pydantic's ValidationError, which is a ValueError."""
        from pydantic import TypeAdapter

        items = value if isinstance(value, list) else [value]
        checked: tuple[str, ...] = TypeAdapter(_either(self)).validate_python(items)
        return checked

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """Let pydantic read each tank by itself, so that an error names the tank and the key."""
        from pydantic import BeforeValidator

        def listed(value: Any) -> Any:
            return value if isinstance(value, list) else [value]

        return BeforeValidator(listed).__get_pydantic_core_schema__(_either(self), handler)


@cache
def _either(field: Tanks) -> Any:
    """Return the type of tanks; a place in it is the tank's number, "text" or "table", and the key in a table."""
    from pydantic import AfterValidator, BeforeValidator, Discriminator, Tag

    text = Annotated[str, BeforeValidator(field.check_text), Tag("text")]
    table = Annotated[TankTable, AfterValidator(TankTable.text), Tag("table")]
    kind = Discriminator(lambda item: "table" if isinstance(item, Mapping) else "text")
    return tuple[Annotated[text | table, kind], ...]


TANK_FIELDS = declared(TankTable)
