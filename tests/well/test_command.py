"""``clicktimer well`` as a user meets it: text, JSON, errors, the list of rules, and its page in the docs."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

from clicktimer.cli import run
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.well import well_cautions
from clicktimer.well.rules import all_rules

ROOT = Path(__file__).parents[2]
US = [
    "--yield",
    "0.7 gpm",
    "--bore",
    "6 in",
    "--well-depth",
    "250 ft",
    "--pump-depth",
    "200 ft",
    "--static-level",
    "40 ft",
    "--margin",
    "10 ft",
    "--pump-rate",
    "8 gpm",
    "--people",
    "4",
    "--bedrooms",
    "3",
    "--tank",
    "33 gal",
]
METRIC = [
    "--yield",
    "2.6497882488 L/min",
    "--bore",
    "152.4 mm",
    "--well-depth",
    "76.2 m",
    "--pump-depth",
    "60.96 m",
    "--static-level",
    "12.192 m",
    "--margin",
    "3.048 m",
    "--pump-rate",
    "30.283294272 L/min",
    "--people",
    "4",
    "--bedrooms",
    "3",
    "--tank",
    "124.918588872 L",
]


def flat(text: str) -> str:
    return " ".join(text.split())


def result(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert run(["well", *arguments, "--json", "-"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_the_whole_report_fits_80_columns_and_shows_its_cautions(capsys: pytest.CaptureFixture[str]):
    every = [a for rule in all_rules() for a in ("--rule", rule.name)]
    assert run(["well", *US, *every, "--need", "2 gpm for 6 h", "--over", "6 h", "--storage", "100 gal"]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    for caution in well_cautions()[:-1]:
        assert flat(caution) in flat(out.replace("\n    ", " ").replace("  ! ", ""))
    for rule in all_rules():
        assert rule.name in out
        assert flat(rule.source) in flat(out)
    assert "RECALLED, NOT SEEN" in out


@pytest.mark.parametrize("more", [[], ["--rule", "maryland"], ["--need", "1 gpm for 6 h"]])
def test_the_authority_is_always_named(capsys: pytest.CaptureFixture[str], more: list[str]):
    assert run(["well", *US, *more]) == 0
    assert Messages().text("well.authority") in flat(capsys.readouterr().out)


def test_nothing_known_is_no_error_but_a_list_of_what_to_get(capsys: pytest.CaptureFixture[str]):
    assert run(["well"]) == 0
    out = flat(capsys.readouterr().out)
    for option in ("--yield", "--bore", "--pump-depth", "--static-level", "--well-depth", "--pump-rate", "--people"):
        assert option in out
    assert "no supply can be told" in out


def test_both_unit_systems_say_the_same(capsys: pytest.CaptureFixture[str]):
    us, metric = result(capsys, *US), result(capsys, *METRIC, "--units", "metric")
    assert us["standing_l"] == pytest.approx(metric["standing_l"], rel=1e-9)
    assert us["standing_gal"] == pytest.approx(150 * 1.4688, rel=1e-4)
    for a, b in zip(us["supply"], metric["supply"], strict=True):
        assert a["low_l"] == pytest.approx(b["low_l"], rel=1e-7)
        assert a["high_gal"] == pytest.approx(b["high_l"] / 3.785411784, rel=1e-6)
    assert us["drawn_down"]["soonest_s"] == pytest.approx(metric["drawn_down"]["soonest_s"], rel=1e-7)
    assert [h["two_hours"] for h in us["household"]] == [h["two_hours"] for h in metric["household"]]
    assert us["storage"]["pressure_tanks"][-1]["count"] == metric["storage"]["pressure_tanks"][-1]["count"]


def test_a_default_margin_is_told_as_one(capsys: pytest.CaptureFixture[str]):
    assert run(["well", "--yield", "3 gpm", "--bore", "6 in", "--pump-depth", "200 ft", "--static-level", "40 ft"]) == 0
    assert "(not given; as in a published exercise)" in flat(capsys.readouterr().out)


def test_a_pump_within_the_yield_is_never_a_number(capsys: pytest.CaptureFixture[str]):
    found = result(capsys, *US, "--yield", "9 gpm")
    assert found["drawn_down"] == {"soonest_s": None, "latest_s": None, "never_drawn_down": True}
    assert not any(isinstance(v, float) and math.isnan(v) for v in found["supply"][0].values())


def test_a_yield_test_is_read_and_its_interval_reaches_the_supply(capsys: pytest.CaptureFixture[str], tmp_path: Path):
    rows = "\n".join(f"{5 * i},{20 * i + (i % 2)},151" for i in range(12))
    (tmp_path / "test.csv").write_text("time_min,volume_gal,level_ft\n" + rows, encoding="utf-8")
    found = result(capsys, "--yield-test", str(tmp_path / "test.csv"), "--bore", "6 in")
    assert found["yield"]["how"] == "yield test"
    assert found["yield"]["value_gpm"] == pytest.approx(4.0, rel=0.02)
    two = found["supply"][0]
    assert two["low_gal"] == pytest.approx(120 * found["yield"]["low_gpm"], rel=1e-5)
    assert two["high_gal"] == pytest.approx(120 * found["yield"]["high_gpm"], rel=1e-5)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--pump-depth", "200 ft", "--well-depth", "100 ft"], "cannot hang deeper than the well"),
        (["--pump-depth", "100 ft", "--static-level", "120 ft"], "the pump would stand in air"),
        (["--pump-depth", "-5 ft"], "a depth cannot be below zero"),
        (["--bore", "0 in"], "a bore must be more than zero"),
        (["--bore", "6"], "has no unit"),
        (["--yield", "3 gpm", "--fracture", "1 gpm"], "more than one way"),
        (["--yield-test", "no such file.csv"], "check the name"),
        (["--rule", "nowhere"], "--list-rules"),
        (["--rule", "ontario-d-5-5"], "--bedrooms"),
        (["--need", "much"], "is not a need"),
        (["--per-person", "50 gal"], "--people"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(capsys: pytest.CaptureFixture[str], arguments: list[str], says: str):
    assert run(["well", *arguments]) == 2
    seen = capsys.readouterr()
    assert says in seen.err
    assert seen.err.count("\n") == 1
    assert seen.out == ""


def test_the_list_of_rules_says_that_none_is_applied(capsys: pytest.CaptureFixture[str]):
    assert run(["well", "--list-rules"]) == 0
    out = flat(capsys.readouterr().out)
    assert "None of these is applied unless you choose it" in out
    for rule in all_rules():
        assert f"{rule.name} " in out
        assert flat(rule.place) in out


def test_a_name_with_an_escape_sequence_does_not_reach_the_terminal(capsys: pytest.CaptureFixture[str]):
    assert run(["well", "--rule", "\x1b[31mred", "--yield", "1 gpm"]) == 2
    assert "\x1b" not in capsys.readouterr().err
    assert run(["well", "--yield-test", "\x1b[31mred.csv"]) == 2
    assert "\x1b" not in capsys.readouterr().err


def test_the_page_shows_three_outputs_of_the_program():
    page = (ROOT / "docs/well.md").read_text("utf-8")
    assert page.count("<!-- shown -->") + page.count("<!-- begins -->") == 3


def test_the_worked_case_on_the_page_is_right():
    page = (ROOT / "docs/well.md").read_text("utf-8")
    bore_gal_per_ft = math.pi / 4 * 36 * 12 / 231  # cubic inches in a foot, 231 to the gallon
    assert f"{bore_gal_per_ft:.3f} gal/ft" in page
    assert f"{math.pi / 4 * 0.1524**2 * 1000:.2f} L/m" in page
    stands = 150 * bore_gal_per_ft
    assert f"= {stands / 7.3:.1f} min" in page
    assert f"= {stands / 0.7 * math.log(8 / 7.3):.1f} min" in page
    assert f"{stands + 84:.0f} gal" in page


def test_the_python_on_the_page_runs(capsys: pytest.CaptureFixture[str]):
    page = (ROOT / "docs/well.md").read_text("utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    exec(code, {})
    # The Groundwater Project, "Domestic Wells", exercise 1: 726 L.
    assert capsys.readouterr().out.startswith("725.8")


def test_values_of_a_site_file_are_told_as_such(tmp_path: Path):
    house, target = tmp_path / "house.toml", tmp_path / "well.json"
    house.write_text('yield = "3 gpm"\nbore = "6 in"\n', "utf-8")
    given = ["well", "--site", str(house), "--bore", "5 in", "--json", str(target)]
    assert run(given) == 0
    origin = json.loads(target.read_text("utf-8"))["inputs"]["origin"]
    assert (origin["yield"], origin["bore"], origin["margin"]) == ("site file", "option", "default")
