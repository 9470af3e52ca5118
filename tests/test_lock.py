"""The figures of the command line are those that were stored: see tests/benchmarks/lock.py, also for meant changes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.lock import main, measured, read_reference, told, write_reference
from tests.benchmarks.lock_figures import Figures, compare, flatten, run_case
from tests.benchmarks.lock_tank import tank_and_well

REFERENCES = Path(__file__).parent / "data/lock"
RELATIVE = 1e-9  # other processors and versions of Python may differ in the last digits


@pytest.mark.parametrize("corpus", ["small", pytest.param("repository", marks=pytest.mark.slow)])
def test_every_figure_of_the_command_line_is_as_stored(corpus: str):
    before = read_reference(REFERENCES / f"{corpus}.json")
    found = compare(before, measured(corpus), RELATIVE)
    assert found.compared > 10_000
    assert not found.differing, told(found, len(before), 0.0)


def test_each_kind_of_difference_is_counted_as_what_it_is():
    before: dict[str, Figures] = {"a": {"x": 1.0, "y": "band", "z": "It runs 30 s.", "gone": None, "yes": True}}
    after: dict[str, Figures] = {"a": {"x": 1.0000000001, "y": "mark", "z": "The run is 31 s.", "yes": 1, "new": 2}}
    exact, near = compare(before, after), compare(before, after, RELATIVE)
    assert [d[1] for d in exact.differing] == ["x", "y", "gone", "yes"]
    assert [d[1] for d in near.differing] == ["y", "gone", "yes"]
    assert ([w[1] for w in exact.wording], exact.wording_figures) == (["z"], 1)
    assert exact.added == [("a", "new")]
    assert compare(before, {}).equal == 0


def test_one_more_in_a_list_is_a_difference():
    one, two = dict(flatten({"clicks": [1]}, "json")), dict(flatten({"clicks": [1, 2]}, "json"))
    assert [d[1] for d in compare({"a": one}, {"a": two}).differing] == ["json.clicks.#"]


@pytest.mark.parametrize("count", [3, 30_000], ids=["plain", "compressed"])
def test_a_reference_is_read_as_it_was_written_and_written_alike(tmp_path: Path, count: int):
    found: dict[str, Figures] = {"a": {f"path.{k}": k / 7 for k in range(count)}}
    where = write_reference(tmp_path / "r.json", found)
    first = where.read_bytes()
    assert read_reference(tmp_path / "r.json") == found
    assert write_reference(tmp_path / "r.json", found).read_bytes() == first
    assert (where.suffix == ".gz") == (count > 3)


def test_the_command_fails_where_a_figure_differs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    from tests.benchmarks import lock
    from tests.benchmarks.lock_cases import case

    few = list(tank_and_well(case))[:4]
    monkeypatch.setitem(lock.CORPORA, "small", lambda folder, sounds: iter(few))
    target = tmp_path / "few.json"
    assert main(["store", str(target)]) == 0
    assert main(["compare", str(target)]) == 0
    kept = read_reference(target)
    kept[few[1].name]["json.target_s"] = 59.0
    write_reference(target, kept)
    capsys.readouterr()
    assert main(["compare", str(target)]) == 1
    assert "json.target_s: 59.0 -> 60.0" in capsys.readouterr().out


def test_an_exit_code_is_a_figure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    from tests.benchmarks.lock_cases import case

    monkeypatch.chdir(tmp_path)
    figures = run_case(case("refused", "tank", "--pump-rate", "8 furlongs"), tmp_path)
    assert (figures["exit"], figures["json.written"]) == (2, False)
    assert "furlongs" in str(figures["stderr"])
