"""The site file: what is written comes back, what is wrong is told with line and field, options overrule it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clicktimer.cli import COMMANDS, cli
from clicktimer.errors import ClicktimerError, InputError, QuantityError, SettingsError
from clicktimer.site.fields import FIELDS, field_named
from clicktimer.site.kinds import SiteField
from clicktimer.site.lines import line_of
from clicktimer.site.needed import PURPOSES, lacks
from clicktimer.site.options import NAMES, describe, parse_system_options
from clicktimer.site.parse import parse_caught
from clicktimer.site.read import check_text, read_site
from clicktimer.site.tanks import TANK_FIELDS
from clicktimer.site.write import site_text
from clicktimer.tank.parse import parse_tank, write_tank
from clicktimer.units.conversions import kpa_to_psi, l_to_gal

ROOT = Path(__file__).parents[2]


def problems(text: str) -> tuple[str, ...]:
    site, found = check_text(text, "house.toml")
    assert (site is None) == bool(found)
    return found


def values(text: str) -> dict[str, Any]:
    site, found = check_text(text, "house.toml")
    assert found == ()
    assert site is not None
    return dict(site.values)


# --- round trip ------------------------------------------------------------------------------------------------------
EXAMPLES: dict[str, Any] = {
    f.key: int(f.example) if f.kind == "count" else (f.example,) if f.kind in ("list", "tanks") else f.example
    for f in FIELDS
}
ONE_YIELD = {"fracture", "yield-test"}  # a yield is given in one way


def test_every_example_is_right_and_comes_back() -> None:
    whole = {key: value for key, value in EXAMPLES.items() if key not in (*ONE_YIELD, "not-seen", "marks")}
    assert values(site_text(whole)) == whole
    for key in FIELDS:
        assert values(site_text({key.key: EXAMPLES[key.key]})) == {key.key: EXAMPLES[key.key]}


@pytest.mark.parametrize("field", [f for f in (*FIELDS, *TANK_FIELDS) if f.unit], ids=lambda f: f.key)
def test_a_field_is_read_in_the_unit_that_it_declares(field: SiteField) -> None:
    bare = field.example.split(" in ")[0].removesuffix(field.unit).strip()
    assert field.read(f"{bare} {field.unit}") == field.read(field.example.split(" in ")[0])
    assert field.check(field.example) in (field.example, (field.example,))


free = st.text(min_size=1, max_size=40).filter(lambda t: t.strip() != "" and "\r" not in t)
psi = st.integers(10, 30)


@st.composite
def sites(draw: st.DrawFn) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for field in FIELDS:
        if field.key in ONE_YIELD or not draw(st.booleans()):
            continue
        made[field.key] = draw(free) if field.kind == "free" else EXAMPLES[field.key]
    if "people" in made:
        made["people"] = draw(st.integers(1, 200))
    if "tank" in made:
        sizes = draw(st.lists(st.integers(1, 119), min_size=1, max_size=4))
        made["tank"] = tuple(f"{size} gal" for size in sizes)
    if "use" in made:
        made["use"] = tuple(f"{q} gpm" for q in draw(st.lists(st.integers(1, 20), min_size=1, max_size=3)))
    made.pop("not-seen", None)
    return made


@given(sites())
def test_whatever_is_written_comes_back(made: dict[str, Any]) -> None:
    assert values(site_text(made)) == made


@given(free)
def test_free_text_of_any_script_comes_back(text: str) -> None:
    assert values(site_text({"notes": text})) == {"notes": text}
    assert tomllib.loads(site_text({"notes": text})) == {"notes": text}


# --- what is wrong ---------------------------------------------------------------------------------------------------
WRONG = [
    ('swich = "40/60"', ["line 1, swich", 'did you mean "switch"?']),
    ("height = 1200", ["line 1, height", "1200 has no unit", '"1200 ft"']),
    ('\n\npump-rate = "-3 gpm"', ["line 3, pump-rate", "below zero"]),
    ('pump_rate = "3 gallos"', ["line 1, pump-rate", "'gallos' is not a unit"]),
    ('switch = "60/40"', ["line 1, switch", "cannot work"]),
    ("switch = 40/60", ["line 1", "not TOML", "quotes"]),
    ("people = 3.5", ["line 1, people", "whole number"]),
    ("people = true", ["line 1, people", "whole number"]),
    ('people = "4"', ["line 1, people", "whole number"]),
    ("people = 0", ["line 1, people", "from 1 to 200"]),
    ('units = "furlongs"', ["line 1, units", "us"]),
    ('air-valve = "wet"', ["line 1, air-valve", "right, low, water, nothing"]),
    ('seen = ["tap-goes-ded"]', ["line 1, seen", 'did you mean "tap-goes-dead"?']),
    ('rule = "atlantis"', ["line 1, rule", "no rule"]),
    ("who = 3.5", ["line 1, who", "text in quotes"]),
    ('who = ["a"]', ["line 1, who", "text in quotes"]),
    ('height = "  "', ["line 1, height", "is empty"]),
    ('height = {ft = "2 ft"}', ["line 1, height", "text in quotes"]),
    ('volume = "33 gal"', ["line 1, volume", "under [[tank]]"]),
    ('who = "a"\n[[tank]]\nvolume = "33 gal"\n[[tank]]\nkind = "plain"', ["line 4, tank 2, volume", "is missing"]),
    ('[[tank]]\nvolume = "3 gal"\nheight = "5 ft"', ["line 3, tank 1, height", "above the first [[tank]]"]),
    ('tank = ["33 gal", "-4 gal"]', ["line 1, tank 2", "below zero"]),
    ('tank = "33 gal, takes 40 gal"', ["line 1, tank 1", "cannot take"]),
    ('[[tank]]\nvolume = "33 gal"\nvolum = "33 gal"', ["line 3, tank 1, volum", 'did you mean "volume"?']),
    ('[[tank]]\nvolume = "33 gal"\nkind = "plain"\ncharge = "20 psi"', ["line 1, tank 1", "plain tank has no charge"]),
    ("tank = [[1]]", ["line 1, tank 1", "text in quotes"]),
    ("a = 1\na = 2", ["line 2", "not TOML"]),
    ('pump-rate = "3 gpm"\npump_rate = "4 gpm"', ["there twice"]),
    ('precharge = "70 psi"', ["at or above cut-out"]),
    ('pump-depth = "70 ft"\nwell-depth = "60 ft"', ["deeper than the well"]),
    ('yield = "3 gpm"\nfracture = ["1 gpm"]', ["more than one way"]),
    ('seen = ["late-rise"]\nnot-seen = ["late-rise"]', ["both seen and not seen"]),
    ('gauge-settled = "40/57"\nprecharge = "58 psi"', ["settled pressure"]),
    ('notes = "\\u001b[31m"\nx\x1b = 1', ["not TOML"]),
]


@pytest.mark.parametrize(("text", "said"), WRONG, ids=[str(i) for i in range(len(WRONG))])
def test_what_is_wrong_is_told_in_one_line_with_its_place(text: str, said: list[str]) -> None:
    found = problems(text)
    assert len(found) == 1, found
    assert found[0].startswith("house.toml")
    assert found[0].isprintable()
    for words in said:
        assert words in found[0], found[0]


def test_every_problem_is_told_in_the_order_of_the_file() -> None:
    text = 'height = 5\nswich = "40/60"\n[[tank]]\nvolume = "3 gallos"\n[[tank]]\nkind = "steel"\nvolume = "9 gal"\n'
    lines = [int(re.search(r"line (\d+)", p)[1]) for p in problems(text)]
    assert lines == [1, 2, 4, 6]


plain_value = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
any_value = plain_value | st.lists(st.text(max_size=4), max_size=2)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(st.sampled_from([f.key for f in FIELDS] + ["foo", "volume"]), any_value, max_size=4))
def test_any_value_gives_a_site_or_plain_lines(raw: dict[str, Any]) -> None:
    text = "".join(f"{key} = {json.dumps(value)}\n" for key, value in raw.items() if value is not None)
    site, found = check_text(text, "house.toml")
    assert (site is None) == bool(found)
    assert all(line.isprintable() for line in found)


@given(st.text(max_size=60))
def test_any_text_gives_a_site_or_plain_lines(text: str) -> None:
    site, found = check_text(text, "house.toml")
    assert (site is None) == bool(found)
    assert all(line.isprintable() for line in found)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for name, data, why in (
        ("binary.toml", b"\xff\xfe\x00", "UTF-8"),
        ("long.toml", b"# x\n" * 2000, "too long"),
        ("huge.toml", b"#" * 200_000, "too long"),
    ):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(InputError, match=why):
            read_site(tmp_path / name)
    for there in (tmp_path / "missing.toml", tmp_path):
        with pytest.raises(InputError, match="cannot be read"):
            read_site(there)
    (tmp_path / "bom.toml").write_bytes(b'\xef\xbb\xbfswitch = "40/60"\n')  # as one well-known editor writes it
    assert read_site(tmp_path / "bom.toml").values == {"switch": "40/60"}


@pytest.mark.parametrize(
    ("text", "path", "line"),
    [
        ("a = 1\n# b = 2\n\nb = 3", ("b",), 4),
        ('a = """\nb = 2\n"""\nb = 3', ("b",), 4),
        ("a = [\n 1,\n 2\n]\nb.c = 3", ("b", "c"), 5),
        ("a = [\n 1,\n 2\n]\n", ("a", 1), 1),
        ("[[t]]\nx = 1\n\n[[t]]\n# no\nx = 2", ("t", 1, "x"), 6),
        ("a = 1", ("b",), None),
    ],
)
def test_the_line_of_an_item(text: str, path: tuple[str | int, ...], line: int | None) -> None:
    assert line_of(text, path) == line


# --- a tank in words -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("text", "kind", "psi_gal"),
    [
        ("33 gal", "bladder", (None, None, None)),
        ("42 gal plain", "plain", (None, None, None)),
        ("33 US gal, Diaphragm, charge: 20 psi", "bladder", (20, None, None)),
        ("33 gal precharge 0 psi takes 11 gal plate 100 psi", "bladder", (0, 11, 100)),
    ],
)
def test_a_tank_in_words(text: str, kind: str, psi_gal: tuple[float | None, ...]) -> None:
    tank = parse_tank(text)
    assert tank.kind == kind
    charge = None if tank.precharge_kpag is None else round(kpa_to_psi(tank.precharge_kpag), 6)
    takes = None if tank.acceptance_l is None else round(l_to_gal(tank.acceptance_l), 6)
    plate = None if tank.plate_kpag is None else round(kpa_to_psi(tank.plate_kpag), 6)
    assert (charge, takes, plate) == psi_gal


@pytest.mark.parametrize(
    "text", ["33 gal plain plain", "plain", "33 gal bladder blue", "33 gal charge", "33 gal takes much", "33 gal steel"]
)
def test_tanks_that_are_not_understood(text: str) -> None:
    with pytest.raises((QuantityError, SettingsError)) as caught:
        parse_tank(text)
    assert str(caught.value).isprintable()


@given(st.integers(5, 120), st.sampled_from(["", "bladder", "diaphragm"]), psi | st.none(), psi | st.none())
def test_tanks_written_and_read(gal: int, kind: str, charge: int | None, plate: int | None) -> None:
    text = write_tank(
        f"{gal} gal", kind, "" if charge is None else f"{charge} psi", "", f"{plate} psi" if plate else ""
    )
    tank = parse_tank(text)
    assert l_to_gal(tank.volume_l) == pytest.approx(gal)
    assert (tank.precharge_kpag is None) == (charge is None)
    assert (tank.plate_kpag is None) == (plate is None)


def test_water_caught_in_words() -> None:
    assert parse_caught("57 L") == (57.0, None)
    assert parse_caught("57 L in 1 min 15 s") == (57.0, 75.0)
    for wrong in ("57", "57 L in", "57 L in 3 gal", "in 4 s"):
        with pytest.raises(QuantityError):
            parse_caught(wrong)


# --- precedence ------------------------------------------------------------------------------------------------------
def site_of(text: str) -> Any:
    site, found = check_text(text, "house.toml")
    assert found == ()
    return site


def test_defaults_then_site_file_then_options() -> None:
    site = site_of('switch = "30/50"\nheight = "1200 ft"\npump-rate = "8 gpm"\ntank = ["33 gal", "20 gal"]')
    told = describe({"switch": "50/70", "tank": ("44 gal",)}, site=site)
    came = told.system.came_from
    assert [came(n) for n in ("switch", "tank", "height", "pump_rate", "precharge", "marks")] == [
        "option",
        "option",
        "site file",
        "site file",
        "default",
        "default",
    ]
    assert kpa_to_psi(told.system.cut_in_kpag) == pytest.approx(50.0)
    assert [round(l_to_gal(t.volume_l)) for t in told.system.tanks] == [44]  # in place of the file's, not beside them
    assert told.settings()["height"] == {"value": "1200 ft", "from": "site file"}
    assert told.settings()["switch"] == {"value": "50/70", "from": "option"}
    assert told.settings()["marks"] == {"value": None, "from": "default"}
    assert told.settings()["site"] == {"value": "house.toml", "from": "option"}


def test_an_option_sets_aside_what_the_file_says_in_another_way() -> None:
    site = site_of('switch = "40/60"\ngauge-at-clicks = "42/57"\npump-rate = "8 gpm"\ncaught = ["15 gal in 75 s"]')
    both = describe(site=site).system
    assert kpa_to_psi(both.cut_in_kpag) == pytest.approx(42.0)
    assert (both.pump.how, both.came_from("pump_rate")) == ("draw-and-refill", "measured")
    assert l_to_gal(both.pump.l_per_min) == pytest.approx(12.0)  # 15 gal in 75 s: sources' worked case
    assert l_to_gal(both.stated_pump.l_per_min) == pytest.approx(8.0)
    what_if = describe({"switch": "30/50", "pump_rate": "9 gpm"}, site=site).system
    assert kpa_to_psi(what_if.cut_in_kpag) == pytest.approx(30.0)
    assert (what_if.pump.how, round(l_to_gal(what_if.pump.l_per_min), 6)) == ("stated", 9.0)


def test_what_is_seen_now_overrules_what_the_file_remembers() -> None:
    site = site_of('seen = ["late-rise", "thud-after-stop"]\nair-valve = "low"')
    found = describe({"not_seen": ("late-rise",)}, site=site).found
    assert (found.seen, found.not_seen, found.air_valve) == (("thud-after-stop",), ("late-rise",), "low")


def test_python_gives_what_the_command_line_gives() -> None:
    assert parse_system_options(switch="30/50").system.came_from("switch") == "option"
    with pytest.raises(TypeError):
        parse_system_options(swich="30/50")


def test_keys_are_the_names_of_the_options() -> None:
    context = click.Context(cli)
    options: set[str] = set()
    for name in COMMANDS:
        command = cli.get_command(context, name)
        assert command is not None
        options |= {o.removeprefix("--") for p in command.params if isinstance(p, click.Option) for o in p.opts}
    only_noted = {f.key for f in FIELDS if f.kind == "free"}
    assert {f.key for f in FIELDS} - only_noted <= options
    assert {name.replace("_", "-") for name in NAMES} <= {f.key for f in FIELDS}


def test_what_is_missing_is_named_with_how_to_get_it() -> None:
    every = lacks(())
    assert [lack.purpose for lack in every] == [purpose for purpose, _ in PURPOSES]
    for _, groups in PURPOSES:
        for group in groups:
            assert all(field_named(key) is not None for key in group)
            assert field_named(group[0]).asked
    assert lacks([f.key for f in FIELDS]) == ()
    assert "precharge" in [f.key for lack in lacks({"tank", "pump-rate"}) for f in lack.fields]


# --- the commands ----------------------------------------------------------------------------------------------------
def run(*args: str, typed: str = "") -> Any:
    return CliRunner().invoke(cli, list(args), input=typed, standalone_mode=False)


def test_the_tank_command_takes_the_file_and_says_so(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text(
        'switch = "30/50"\npump-rate = "8 gpm"\npeople = 4\nuse = ["3 gpm"]\nair-valve = "water"\n'
        '[[tank]]\nvolume = "33 gal"\n'
    )
    text = " ".join(run("tank", "--site", str(path), "--run", "20 s").output.split())
    assert "switch 30/50 psi (site file)" in text
    assert "pump rate 8 gpm (stated, site file)" in text
    assert "The bladder or diaphragm has failed" in text
    assert "Under steady use" in text
    assert "starts a day" in text
    document = json.loads(run("tank", "--site", str(path), "--run", "20 s", "--switch", "40/60", "--json", "-").output)
    assert document["inputs"]["switch"]["origin"] == "option"
    assert document["inputs"]["pump_rate"]["origin"] == "site file"
    assert document["causes"]["status"] == "leads"
    assert document["starts"]["figures"]


def test_the_well_command_takes_the_file(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text('yield = "3 gpm"\nbore = "6 in"\npump-depth = "200 ft"\nstatic-level = "40 ft"\npeople = 4\n')
    out = run("well", "--site", str(path))
    assert out.return_value == 0, out.exception
    assert "3 gpm" in out.output
    # A yield typed in takes the place of the file's fractures, which would contradict it.
    path.write_text('fracture = ["1 gpm", "2 gpm"]\n')
    assert run("well", "--site", str(path), "--yield", "5 gpm").return_value == 0


def test_the_measure_command_hands_the_file_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Any] = []

    def measured(jobs: Any, options: Any, **_: Any) -> int:
        asked.append(options)
        return 0

    monkeypatch.setattr("clicktimer.cli.measure.measure_all", measured)
    path = tmp_path / "Mühle am Bach.toml"
    path.write_text('switch = "30/50"\nmarks = "30/90"\nmotor = "1 hp"\nair-valve = "low"\n', "utf-8")
    out = run("measure", "tank.wav", "--taps-shut", "--site", str(path), "--seen", "late-rise")
    assert out.exception is None, out.exception
    system = asked[0].system
    assert asked[0].marks_s == (30.0, 90.0)
    assert system.motor_hp == pytest.approx(1.0)
    assert (system.found.air_valve, system.found.seen) == ("low", ("late-rise",))
    assert system.settings()["switch"] == {"value": "30/50", "from": "site file"}
    assert system.settings()["site"]["value"] == "Mühle am Bach.toml"  # the name, never the folder


def test_a_bad_file_is_bad_input(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text("height = 3\nfoo = 4\n")
    out = run("tank", "--site", str(path))
    assert isinstance(out.exception, ClicktimerError)
    assert "line 1, height" in str(out.exception)
    assert "1 more" in str(out.exception)
    checked = run("site", "check", str(path))
    assert checked.return_value == 2
    assert "line 2, foo" in checked.output


def answers(**said: str) -> str:
    """Everything that ``site new`` asks, skipped but for what is said."""
    lines: list[str] = []
    for field in FIELDS:
        if field.asked and field.kind == "tanks":
            lines += said.get("tank", "").split("|") if "tank" in said else [""]
        elif field.asked:
            lines += said.get(field.key.replace("-", "_"), "").split("|")
    return "\n".join(lines) + "\n"


def test_new_asks_and_writes_what_was_said(tmp_path: Path) -> None:
    path = tmp_path / "cottage.toml"
    typed = answers(
        who="A. Inspector",
        switch="40-sixty|40/60",
        tank="33 gallos|33 gal||38 psi|||20 gal|plain||",
        pump_rate="8 gpm",
        people="four|0|4",
        where='Mühle "am Bach"',
    )
    out = run("site", "new", str(path), typed=typed)
    assert out.return_value == 0, (out.output, out.exception)
    assert read_site(path).values == {
        "who": "A. Inspector",
        "where": 'Mühle "am Bach"',
        "switch": "40/60",
        "pump-rate": "8 gpm",
        "people": 4,
        "tank": ("33 gal, charge 38 psi", "20 gal plain"),
    }
    assert "never open the switch cover" in " ".join(out.output.split())


def test_new_may_be_skipped_through_and_never_overwrites(tmp_path: Path) -> None:
    path = tmp_path / "empty.toml"
    skipped = run("site", "new", str(path), typed=answers())
    assert skipped.return_value == 0
    assert "Nothing was answered" in skipped.output
    assert not path.exists()
    assert run("site", "new", str(path), typed=answers(client="The owner", notes="new tank")).return_value == 0
    assert read_site(path).values == {"client": "The owner", "notes": "new tank"}
    before = path.read_bytes()
    again = run("site", "new", str(path), typed=answers(who="B"))
    assert isinstance(again.exception, SettingsError)
    assert path.read_bytes() == before
    link = tmp_path / "link.toml"
    link.symlink_to(tmp_path / "nowhere.toml")
    assert isinstance(run("site", "new", str(link)).exception, SettingsError)
    assert not (tmp_path / "nowhere.toml").exists()


def test_new_writes_nothing_when_it_is_stopped(tmp_path: Path) -> None:
    path = tmp_path / "stopped.toml"
    out = run("site", "new", str(path), typed="A. Inspector\n")
    assert isinstance(out.exception, click.Abort)
    assert not path.exists()


def test_new_says_what_does_not_fit_together(tmp_path: Path) -> None:
    path = tmp_path / "odd.toml"
    out = run("site", "new", str(path), typed=answers(switch="40/60", precharge="70 psi"))
    assert out.return_value == 2
    assert "at or above cut-out" in " ".join(out.output.split())
    assert path.exists()  # what was typed is not lost


def test_the_slow_library_is_only_loaded_with_a_site_file() -> None:
    code = (
        "import sys\nfrom clicktimer.cli import run\nrun(['tank', '--pump-rate', '8 gpm'])\n"
        "sys.exit('pydantic' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, check=False).returncode == 0


# --- the page --------------------------------------------------------------------------------------------------------
def test_every_field_is_on_the_page_of_the_site_file_and_its_example_is_valid() -> None:
    written = (ROOT / "docs/site.md").read_text("utf-8")
    for key in [*(f.key for f in FIELDS), *(f.key for f in TANK_FIELDS)]:
        assert f"`{key}`" in written
    example = re.search(r"```toml\n(.*?)```", written, re.DOTALL)
    assert example is not None
    assert problems(example[1]) == ()
