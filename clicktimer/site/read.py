"""A site file in, a checked Site out, or every problem in one plain line each with its line and field.

Validation is pydantic's, from the table in fields.py; it is imported only here, because it is slow to import.
"""

from __future__ import annotations

import datetime
import difflib
import re
import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from clicktimer.errors import ClicktimerError, InputError, SettingsError
from clicktimer.site.described import describe
from clicktimer.site.fields import FIELDS, MOST_COUNT, TANK_KEYS, SiteField, field_named
from clicktimer.site.house import well_of
from clicktimer.site.lines import line_of, one_line
from clicktimer.site.values import Site, Value
from clicktimer.tank.parse import write_tank

if TYPE_CHECKING:
    from pydantic import BaseModel

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
        data = _same_dashes(raw)
        values = {k: v for k, v in _model().model_validate(data).model_dump().items() if v not in (None, ())}
    except ValidationError as errors:
        told = [each for error in errors.errors(include_url=False) for each in _told(error, text, name)]
        return None, tuple(sentence for _, sentence in sorted(told))
    except SettingsError as error:
        return None, (f"{name}: {error}",)
    by_key: dict[str, Value] = {key.replace("_", "-"): value for key, value in values.items()}
    test = by_key.get("yield-test")
    if isinstance(test, str) and folder is not None:
        by_key["yield-test"] = str(folder / test)
    site = Site(name, {f.key: by_key[f.key] for f in FIELDS if f.key in by_key})
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


def _same_dashes(raw: Mapping[str, Any]) -> dict[str, Any]:
    """Let pump_rate stand for pump-rate; both at once is an error."""
    data: dict[str, Any] = {}
    for key, value in raw.items():
        same = key.replace("-", "_")
        if same in data:
            raise SettingsError(f'"{one_line(key)}" is there twice, with a dash and with an underscore: keep one')
        data[same] = value
    return data


@cache
def _model() -> type[BaseModel]:
    from pydantic import BeforeValidator, ConfigDict, create_model

    made: dict[str, Any] = {}
    for field in FIELDS:
        made[field.key.replace("-", "_")] = (Annotated[Any, BeforeValidator(_reader(field))], None)
    model: type[BaseModel] = create_model("SiteFile", __config__=ConfigDict(extra="forbid", frozen=True), **made)
    return model


@cache
def _tank_model() -> type[BaseModel]:
    from pydantic import BeforeValidator, ConfigDict, create_model

    made: dict[str, Any] = {
        key: (Annotated[Any, BeforeValidator(_text_reader(read, example))], ... if key == "volume" else "")
        for key, (_, read, example) in TANK_KEYS.items()
    }
    model: type[BaseModel] = create_model("TankTable", __config__=ConfigDict(extra="forbid", frozen=True), **made)
    return model


def _reader(field: SiteField) -> Callable[[Any], Value]:
    def read_list(value: Any) -> Value:
        items = value if isinstance(value, list) else [value]
        return tuple(text(item) for item in items)

    def read_tanks(value: Any) -> Value:
        tanks: list[str] = []
        wrong = ValueError("tanks")
        for number, item in enumerate(value if isinstance(value, list) else [value]):
            try:
                tanks.append(_tank_text(item, number))
            except ValueError as error:
                for note in getattr(error, "__notes__", []):
                    wrong.add_note(note)
        if getattr(wrong, "__notes__", []):
            raise wrong
        return tuple(tanks)

    def read_count(value: Any) -> Value:
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MOST_COUNT:
            raise ValueError(f"must be a whole number from 1 to {MOST_COUNT}, such as {field.key} = {field.example}")
        return value

    text = _text_reader(field.read, field.example)
    readers = {"list": read_list, "tanks": read_tanks, "count": read_count}
    return readers.get(field.kind, text)


def _text_reader(read: Callable[[str], Any], example: str) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        free = read is str
        if free and isinstance(value, datetime.date | datetime.datetime | datetime.time):
            value = value.isoformat()
        if isinstance(value, int | float) and not isinstance(value, bool) and not free:
            raise ValueError(f'{value} has no unit: write it in quotes with its unit, such as "{example}"')
        if free and isinstance(value, int) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            raise ValueError(f'must be text in quotes, such as "{example}"')
        if not value.strip():
            raise ValueError(f'is empty: leave the line out, or write it such as "{example}"')
        try:
            read(value)
        except ClicktimerError as error:
            raise ValueError(str(error)) from None
        return value if free else " ".join(value.split())

    return check


def check_value(field: SiteField, value: Any) -> Value:
    """Check one value of a field as the file would be checked. Raises ValueError with what is wrong."""
    return _reader(field)(value)


def tank_text(table: Mapping[str, Any]) -> str:
    """Return a tank given as a table (keys of TANK_KEYS) as one text. Raises ValueError with what is wrong."""
    return _tank_text(table, 0)


def _tank_text(item: Any, number: int) -> str:
    tank = field_named("tank")
    if not isinstance(item, Mapping):
        if tank is None:
            raise LookupError("tank")
        try:
            return _text_reader(tank.read, tank.example)(item)
        except ValueError as error:
            raise _at(number, "", str(error)) from None
    from pydantic import ValidationError

    try:
        table = _tank_model().model_validate(dict(item)).model_dump()
    except ValidationError as errors:
        wrong = ValueError()
        for each in errors.errors(include_url=False):
            why = _why(each, list(TANK_KEYS), top=False)
            wrong = _at(number, str(each["loc"][0]), why, wrong if wrong.args else None)
        raise wrong from None
    table.pop("date")
    written = write_tank(**table)
    try:
        (tank or FIELDS[0]).read(written)
    except ClicktimerError as error:
        raise _at(number, "", str(error)) from None
    return written


def _at(number: int, key: str, why: str, other: ValueError | None = None) -> ValueError:
    """An error that remembers in which tank and key it lies, for the line; ``other`` has some already."""
    error = other or ValueError(why)
    error.add_note(f"{number}\0{key}\0{why}")
    return error


def _told(error: Mapping[str, Any], text: str, name: str) -> list[tuple[int, str]]:
    """Each problem that an error of the library stands for: its line (0 unknown) and the sentence."""
    key = str(error["loc"][0])
    notes = getattr(error.get("ctx", {}).get("error"), "__notes__", [])
    if not notes:
        path: tuple[str | int, ...] = tuple(error["loc"])
        return [_sentence(path, key.replace("_", "-"), _why(error, [f.key for f in FIELDS], top=True), text, name)]
    told = []
    for note in notes:
        number, part, why = note.split("\0", 2)
        path = (key, int(number), part) if part else (key, int(number))
        field = f"tank {int(number) + 1}" + (f", {part}" if part else "")
        told.append(_sentence(path, field, why, text, name))
    return told


def _sentence(path: tuple[str | int, ...], field: str, why: str, text: str, name: str) -> tuple[int, str]:
    # The file may write the key with dashes or underscores, one tank without brackets, and a missing key not at all.
    heads = (str(path[0]).replace("_", "-"), str(path[0]))
    tails = [path[1:], path[1:-1], path[2:], ()]
    line = next((n for tail in tails for head in heads if (n := line_of(text, (head, *tail))) is not None), None)
    where = "" if line is None else f", line {line}"
    return line or 0, f"{name}{where}, {one_line(field)}: {one_line(why)}"


def _why(error: Mapping[str, Any], known: list[str], *, top: bool) -> str:
    kind = error["type"]
    if kind == "extra_forbidden":
        key = str(error["loc"][-1]).replace("_", "-")
        if not top and field_named(key) is not None:
            return "does not belong to a tank: write it above the first [[tank]]"
        if top and key in TANK_KEYS:
            return "belongs to a tank: write it under [[tank]]"
        near = difflib.get_close_matches(key.casefold(), known, 1, 0.6)
        return (
            f'is not known here; did you mean "{near[0]}"?' if near else f"is not known here; known: {', '.join(known)}"
        )
    if kind == "missing":
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
