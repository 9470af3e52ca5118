"""A tank as people write it, "33 gal" or "42 gal plain" or "33 gal, charge 20 psi, takes 11 gal", to a Tank and back.

The volume comes first. After it may stand the kind (bladder, diaphragm or plain), its own air charge, the most water
that its bladder takes, and the pressure on its plate, in any order, with or without commas.
"""

from __future__ import annotations

import re

from clicktimer.errors import QuantityError
from clicktimer.tank.system import Tank, TankKind
from clicktimer.units.parse import parse_pressure_kpa, parse_volume_l

EXAMPLE = '"33 gal", "42 gal plain" or "33 gal, charge 20 psi, takes 11 gal, plate 100 psi"'
KINDS: dict[str, TankKind] = {"bladder": "bladder", "diaphragm": "bladder", "plain": "plain"}
_WORD = re.compile(r"(?<![^\s,;])(bladder|diaphragm|plain|charge|precharge|takes|acceptance|plate)(?![^\s,;:])[:]?")


def parse_tank(text: str) -> Tank:
    """Read one tank. Raises QuantityError or SettingsError, one line that says what was written and what may be.

    >>> tank = parse_tank("42 gal plain")
    >>> tank.kind, round(tank.volume_l)
    ('plain', 159)
    """
    parts = _WORD.split(" ".join(str(text).casefold().split()))
    volume_l = parse_volume_l(parts[0].strip(" ,;") or str(text))
    said: dict[str, str] = {}
    for word, value in zip(parts[1::2], parts[2::2], strict=True):
        name = "kind" if word in KINDS else {"precharge": "charge", "acceptance": "takes"}.get(word, word)
        rest = value.strip(" ,;")
        if name in said:
            raise _bad(text, f"says its {name} twice")
        if name == "kind" and rest:
            raise _bad(text, f'"{_shown(rest)}" is not understood')
        said[name] = word if name == "kind" else rest
    kind = KINDS[said.get("kind", "bladder")]
    if kind == "plain" and {"charge", "takes"} & said.keys():
        raise _bad(text, "a plain tank has no charge and no bladder of its own; leave both out")
    return Tank(
        volume_l=volume_l,
        kind=kind,
        precharge_kpag=parse_pressure_kpa(said["charge"], zero_ok=True) if "charge" in said else None,
        acceptance_l=parse_volume_l(said["takes"]) if "takes" in said else None,
        plate_kpag=parse_pressure_kpa(said["plate"]) if "plate" in said else None,
    )


def write_tank(volume: str, kind: str = "", charge: str = "", takes: str = "", plate: str = "") -> str:
    """Write a tank's parts, each as text, as one text that parse_tank reads."""
    parts = [f"{volume} {kind}".strip()]
    parts += [f"{word} {value}" for word, value in (("charge", charge), ("takes", takes), ("plate", plate)) if value]
    return ", ".join(parts)


def _shown(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)[:40]


def _bad(text: str, why: str) -> QuantityError:
    return QuantityError(f'the tank "{_shown(str(text))}": {why}; write it such as {EXAMPLE}')
