"""What is written only when asked for: runs under use, the user's price list, the picture."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from clicktimer.cli import cli
from clicktimer.errors import InputError, QuantityError, SettingsError
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.prices import compare_prices, parse_prices, read_prices
from clicktimer.tank.sizing import size_tank, under_use
from clicktimer.tank.stopwatch import run_timed_by_hand
from clicktimer.tank.system import PumpRate, Tank, make_system
from clicktimer.units.conversions import gal_to_l, l_to_gal

HEAD = "name,volume,largest_acceptance,price\n"
LIST = (
    HEAD
    + "Small,20 gal,,289\nMedium,32 gal,,399.00\nLarge,44 gal,34 gal,829\nTall,86 gal,,1150\nShallow,44 gal,8 gal,300\n"
)
SYSTEM = make_system(pump=PumpRate(gal_to_l(8)))


def sizing_of(**more):
    return size_tank(make_system(pump=PumpRate(gal_to_l(8)), **more))


def test_the_cheapest_that_reaches_the_mark_and_what_more_money_buys() -> None:
    found = compare_prices(parse_prices(LIST), SYSTEM, SYSTEM.precharge_kpag, 60.0)
    # By hand: 32 gal x 0.25796 = 8.25 gal, at 8 gpm 61.9 s, but 0.745 of it after a fast refill: 46.1 s. Two of 20 gal
    # 77.4 s, fast 57.7 s. Two that take 8 gal each, less the 1.61 gal standing at cut-in: 12.78 gal, 95.9 s either way.
    assert (found.choice.name, found.choice.count, found.choice.price) == ("Shallow", 2, 600.0)
    assert found.choice.row.run_fast_s == pytest.approx(95.9, abs=0.1)
    assert (found.next_up.name, found.next_up.count, found.next_up.price) == ("Medium", 2, 798.0)
    assert (found.may_reach.name, found.may_reach.count) == ("Medium", 1)
    assert found.may_reach.row.run_s == pytest.approx(61.9, abs=0.05)
    assert found.may_reach.row.run_fast_s < 60.0
    assert [o.price for o in found.offers] == sorted(o.price for o in found.offers)


def test_two_smaller_in_place_of_one_large() -> None:
    found = compare_prices(parse_prices(LIST), SYSTEM, SYSTEM.precharge_kpag, 60.0)
    pairs = {(pair.name, single.name) for pair, single in found.pairs_instead}
    assert ("Medium", "Large") in pairs  # 64 gal for 798 against 44 gal for 829
    assert ("Small", "Large") not in pairs  # 40 gal are less than 44


def test_the_largest_acceptance_limits_what_a_tank_gives() -> None:
    found = compare_prices(parse_prices(LIST), SYSTEM, SYSTEM.precharge_kpag, 60.0)
    shallow = next(o for o in found.offers if o.name == "Shallow" and o.count == 1)
    # 8 gal at the most, less the 1.61 gal that stand in it at cut-in: 44 x (1 - 52.696/54.696).
    assert l_to_gal(shallow.row.drawdown_l) == pytest.approx(8.0 - 1.609, abs=0.002)


@pytest.mark.parametrize(
    ("text", "error", "why"),
    [
        ("", InputError, "the first line"),
        ("tank,litres\nA,5", InputError, "name,volume,largest_acceptance,price"),
        (HEAD, InputError, "no tanks in it"),
        (HEAD + "A,20 gal,5\n", InputError, "line 2: 3 fields"),
        (HEAD + "A,20,,5\n", QuantityError, "line 2: .* no unit"),
        (HEAD + "A,20 gal,30 gal,5\n", QuantityError, "line 2: the largest acceptance"),
        (HEAD + "A,20 gal,,free\n", QuantityError, 'line 2: the price "free"'),
        (HEAD + "A,20 gal,,-5\n", QuantityError, "line 2: the price"),
        (HEAD + "A,20 gal,,nan\n", QuantityError, "line 2: the price"),
        (HEAD + "A,20 gal,,5\n,20 gal,,5\n", InputError, "line 3: the name is empty"),
    ],
)
def test_a_faulty_list_is_refused_with_its_line(text: str, error: type[Exception], why: str) -> None:
    with pytest.raises(error, match=why) as caught:
        parse_prices(text)
    assert "\n" not in str(caught.value)


def test_semicolons_and_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    path = tmp_path / "prices.csv"
    path.write_text(LIST.replace(",", ";"), "utf-8-sig")
    assert read_prices(path) == parse_prices(LIST)
    with pytest.raises(InputError, match="cannot be read"):
        read_prices(tmp_path / "none.csv")
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not text in UTF-8"):
        read_prices(path)


def test_prices_and_uses_need_the_pump_rate() -> None:
    nothing = make_system()
    with pytest.raises(SettingsError, match="pump rate"):
        compare_prices(parse_prices(LIST), nothing, nothing.precharge_kpag, 60.0)
    with pytest.raises(SettingsError, match="pump rate"):
        under_use(size_tank(nothing), (10.0,))


def test_runs_under_use_rest_on_the_best_drawdown_known() -> None:
    chosen = under_use(sizing_of(), (gal_to_l(4),))
    assert Messages().text(chosen.what) == "a tank of 44 gal"
    tanks = (Tank(gal_to_l(33)),)
    assert "by its label" in Messages().text(under_use(sizing_of(tanks=tanks), (5.0,)).what)
    measured = size_tank(make_system(tanks=tanks, pump=PumpRate(gal_to_l(8))), run_timed_by_hand(38.0))
    under = under_use(measured, (gal_to_l(4), gal_to_l(8), gal_to_l(9)))
    # The worst use is half of the pump's rate: run = rest = twice 38 s, 900/38 starts an hour.
    assert under.rows[0].run_s == pytest.approx(76.0)
    assert under.rows[0].rest_s == pytest.approx(76.0)
    assert under.rows[0].starts_per_h == pytest.approx(900 / 38)
    assert [row.stops for row in under.rows] == [True, False, False]
    assert under.rows[2].starts_per_h == 0
    assert math.isinf(under.rows[2].run_s)


def run_cli(*args: str):
    return CliRunner().invoke(cli, ["tank", *args], standalone_mode=False)


def test_the_command_writes_them_all(tmp_path: Path) -> None:
    prices = tmp_path / "prices.csv"
    prices.write_text(LIST, "utf-8")
    common = ("--pump-rate", "8 gpm", "--use", "3 gpm", "--use", "9 gpm", "--prices", str(prices))
    out = run_cli(*common)
    assert "Cheapest that reaches 60 s: 2 × Shallow (600.00" in out.output
    words = " ".join(out.output.split())
    assert "May reach 60 s, but only when the air has settled: Medium (399.00, run 46 to 62 s)" in words
    assert "never stops" in out.output
    assert all(len(line) <= 80 for line in out.output.splitlines())
    document = json.loads(run_cli(*common, "--json", "-").output)
    assert document["use"][1]["run_s"] is None
    assert document["prices"]["choice"]["name"] == "Shallow"
    assert document["prices"]["may_reach"]["name"] == "Medium"


@pytest.mark.parametrize(("suffix", "magic"), [(".png", b"\x89PNG"), (".svg", b"<?xml")])
def test_a_picture_is_written_the_same_each_time(tmp_path: Path, suffix: str, magic: bytes) -> None:
    first, second = tmp_path / f"a{suffix}", tmp_path / f"b{suffix}"
    for path in (first, second):
        assert (
            run_cli("--tank", "33 gal", "--pump-rate", "8 gpm", "--run", "38 s", "--picture", str(path)).return_value
            == 0
        )
    assert first.read_bytes().startswith(magic)
    assert first.read_bytes() == second.read_bytes()
    assert sorted(p.name for p in tmp_path.iterdir()) == [first.name, second.name]


def test_a_picture_of_an_unknown_sort_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"must end in \.png, \.svg, \.pdf"):
        raise run_cli("--pump-rate", "8 gpm", "--picture", str(tmp_path / "a.doc")).exception
