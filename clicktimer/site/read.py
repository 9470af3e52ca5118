"""A site file in, a checked Site out, or every problem in one plain line each with its line and field.

Validation is pydantic's, by the model in fields.py; it is imported inside functions, because it is slow to load.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from clicktimer.errors import ClicktimerError, InputError, SettingsError
from clicktimer.site.fields import FIELDS, SiteFile, field_named
from clicktimer.site.house import well_of
from clicktimer.site.kinds import attribute_of, key_of
from clicktimer.site.lines import line_of, one_line
from clicktimer.site.options import describe
from clicktimer.site.tanks import TANK_FIELDS, TankTable
from clicktimer.site.values import Site, Value

LARGEST_BYTES = 100_000
MOST_LINES = 1000


def read_site(path: str | Path) -> Site:
    """Read and check a site file. Raises InputError where it cannot be read, SettingsError with its first problem."""
    name, text = Path(path).name, _text_of(Path(path))
    site, problems = check_text(text, name, Path(path).parent)
    if site is None or problems:
        more = f" (and {len(problems) - 1} more: clicktimer site check {name})" if len(problems) > 1 else ""
        raise SettingsError(problems[0] + more)
    return site


def check_site(path: str | Path) -> tuple[Site | None, tuple[str, ...]]:
    """Read a site file and return it, or every problem. Raises InputError where it cannot be read at all."""
    return check_text(_text_of(Path(path)), Path(path).name, Path(path).parent)


def check_text(text: str, name: str = "site file", folder: Path | None = None) -> tuple[Site | None, tuple[str, ...]]:
    """Check the text of a site file: the Site, or None with every problem, one line each.

    folder: where the file lies; a yield test is looked for beside it.
    """
    from pydantic import ValidationError

    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, (_not_toml(error, text, name),)
    except RecursionError:
        return None, (f"{name}: lists inside lists without end; a site file has plain lines such as switch = ...",)
    try:
        whole = _reader(SiteFile).validate_python(_by_attribute(raw))
    except ValidationError as errors:
        told = [_told(error, text, name) for error in errors.errors(include_url=False)]
        return None, tuple(sentence for _, sentence in sorted(told))
    except SettingsError as error:
        return None, (f"{name}: {error}",)
    values = {field.key: getattr(whole, attribute_of(field.key)) for field in FIELDS}
    by_key: dict[str, Value] = {key: value for key, value in values.items() if value not in (None, ())}
    test = by_key.get("yield-test")
    if isinstance(test, str) and folder is not None:
        by_key["yield-test"] = str(folder / test)
    site = Site(name, by_key)
    problem = _contradiction(site)
    return (site, ()) if problem is None else (None, (f"{name}: {problem}",))


def _text_of(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"the site file {path.name} cannot be read: {error.strerror}") from None
    if len(data) > LARGEST_BYTES or data.count(b"\n") > MOST_LINES:
        raise InputError(
            f"{path.name} is too long for a site file ({MOST_LINES} lines at the most): is it the right one?"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is not text in UTF-8: save it as plain text, UTF-8") from None


def _not_toml(error: tomllib.TOMLDecodeError, text: str, name: str) -> str:
    where = re.search(r"at line (\d+)", str(error))
    last = max(len(text.splitlines()), 1)  # the library says "at end of document" for it
    line = f", line {where[1] if where else last}"
    why = one_line(re.sub(r"\s*\(at .*\)$", "", str(error)))
    return f'{name}{line}: this is not TOML ({why}); text stands in quotes, such as switch = "40/60"'


def _by_attribute(raw: Mapping[str, Any]) -> dict[str, Any]:
    """Let pump_rate stand for pump-rate; both at once is an error."""
    data: dict[str, Any] = {}
    for key, value in raw.items():
        name = attribute_of(key)
        if name in data:
            raise SettingsError(f'"{one_line(key)}" is there twice, with a dash and with an underscore: keep one')
        data[name] = value
    return data


@cache
def _reader(model: Any) -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(model)


def tank_text(table: Mapping[str, Any]) -> str:
    """Return a tank given as a table as one text. Raises ValueError with what is wrong."""
    from pydantic import ValidationError

    try:
        tank: TankTable = _reader(TankTable).validate_python(dict(table))
    except ValidationError as errors:
        raise ValueError(_why(errors.errors(include_url=False)[0], of_tank=True)) from None
    return tank.text()


def _told(error: Mapping[str, Any], text: str, name: str) -> tuple[int, str]:
    """The problem that an error of the library stands for: its line (0 unknown) and the sentence."""
    place = tuple(error["loc"])
    if len(place) < 2:
        return _sentence(place, key_of(str(place[0])), _why(error, of_tank=False), text, name)
    number, part = int(place[1]), place[3:]  # between them, whether the tank is a text or a table
    field = f"tank {number + 1}" + "".join(f", {key}" for key in part)
    return _sentence((place[0], number, *part), field, _why(error, of_tank=bool(part)), text, name)


def _sentence(path: tuple[str | int, ...], field: str, why: str, text: str, name: str) -> tuple[int, str]:
    # The file may write the key with dashes or underscores, one tank without brackets, and a missing key not at all.
    heads = (key_of(str(path[0])), key_of(str(path[0])).replace("-", "_"))
    tails = [path[1:], path[1:-1], path[2:], ()]
    line = next((n for tail in tails for head in heads if (n := line_of(text, (head, *tail))) is not None), None)
    where = "" if line is None else f", line {line}"
    return line or 0, f"{name}{where}, {one_line(field)}: {one_line(why)}"


def _why(error: Mapping[str, Any], *, of_tank: bool) -> str:
    known = [field.key for field in (TANK_FIELDS if of_tank else FIELDS)]
    if error["type"] == "unexpected_keyword_argument":
        key = key_of(str(error["loc"][-1]))
        if of_tank and field_named(key) is not None:
            return "does not belong to a tank: write it above the first [[tank]]"
        if not of_tank and key in {field.key for field in TANK_FIELDS}:
            return "belongs to a tank: write it under [[tank]]"
        near = difflib.get_close_matches(key.casefold(), known, 1, 0.6)
        return (
            f'is not known here; did you mean "{near[0]}"?' if near else f"is not known here; known: {', '.join(known)}"
        )
    if error["type"] == "missing":
        return 'is missing: a tank needs its volume, such as volume = "33 gal"'
    return str(error["msg"]).removeprefix("Value error, ")


def _contradiction(site: Site) -> str | None:
    """What is wrong between fields that are each right: the system, or the well, that cannot be."""
    try:
        describe(site=site)
        well_of({key: value for key, value in site.values.items() if key != "yield-test"})
    except ClicktimerError as error:
        return str(error)
    return None
