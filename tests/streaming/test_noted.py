"""What a folder notes of its result is read also where another program wrote it: with a field more, or one less."""

from __future__ import annotations

import dataclasses
import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from clicktimer.assessment.options import MeasureOptions
from clicktimer.errors import StoreError
from clicktimer.records import Verdict
from clicktimer.storage import schema
from clicktimer.storage.reader import read_folder
from clicktimer.streaming.finalize import measure_folder
from clicktimer.streaming.import_recording import measure_into
from clicktimer.streaming.noted import SettledResult, noted_result, record_of
from clicktimer.web.view_state import Shown
from tests.support.live_parts import ROOT
from tests.support.words import said


@pytest.fixture(scope="module")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("settled") / "L"
    measure_into(
        ROOT / "fixtures_audio/short-cycling-12s.flac", folder, MeasureOptions(taps="shut"), program="t", keep="none"
    )
    return folder


@pytest.fixture
def changed(settled: Path, tmp_path: Path) -> Callable[[str, Callable[[Any], Any]], Path]:
    """Change one thing that is noted."""

    def change(name: str, by: Callable[[Any], Any]) -> Path:
        folder = Path(shutil.copytree(settled, tmp_path / "copy"))
        db = sqlite3.connect(folder / schema.DATABASE)
        (text,) = db.execute("SELECT value FROM about WHERE name = ?", (name,)).fetchone()
        db.execute("UPDATE about SET value = ? WHERE name = ?", (json.dumps(by(json.loads(text))), name))
        db.commit()
        db.close()
        return folder

    return change


def result_of(folder: Path) -> SettledResult | None:
    return noted_result(read_folder(folder).about, str(folder))


def test_the_result_reads_back_as_it_was(settled: Path):
    measured, result = measure_folder(settled), result_of(settled)
    assert result is not None
    assert result.measurement(measured.source, measured.clicks, measured.gaps) == dataclasses.replace(
        measured, tank=None, settings={}, causes=None, edges=()
    )
    assert result.run is not None


def test_a_field_that_is_not_known_here_is_ignored(settled: Path, changed: Callable[..., Path]):
    def more(noted: Any) -> Any:
        for one in (noted, noted["run"], noted["verdict"], *noted["cycles"]):
            one["of_a_later_day"] = [1, {"a": None}]
        return noted

    folder = changed("result", more)
    assert result_of(folder) == result_of(settled)
    assert Shown(folder).now()["verdict"] == {**Shown(settled).now()["verdict"]}


def test_a_field_that_the_folder_lacks_has_its_default(settled: Path, changed: Callable[..., Path]):
    def less(noted: Any) -> Any:
        del noted["verdict"]["settle"], noted["cycles"][0]["notes"], noted["warnings"]
        return noted

    result, whole = result_of(changed("result", less)), result_of(settled)
    assert result is not None
    assert whole is not None
    assert result.verdict == dataclasses.replace(whole.verdict, settle=())
    assert result.warnings == ()


def test_the_words_of_an_earlier_program_are_read_where_reasons_stand_now(settled: Path, changed: Callable[..., Path]):
    def in_words(noted: Any) -> Any:
        del noted["run"]["notes"], noted["run"]["doubts"], noted["verdict"]["reasons"]
        noted["run"] |= {"text": "Three runs.", "doubt": ""}
        noted["verdict"] |= {"text": "Short cycling.", "settle": "Record again."}
        noted["warnings"] = [{"code": "clipping", "text": "clips in places", "time_s": None}]
        return noted

    result = result_of(changed("result", in_words))
    assert result is not None
    assert result.run is not None
    assert (said(result.run.notes), result.run.doubts) == ("Three runs.", ())
    assert (said(result.verdict.reasons), said(result.verdict.settle)) == ("Short cycling.", "Record again.")
    assert [said(w.reason) for w in result.warnings] == ["clips in places"]


def test_a_record_that_gains_a_field_reads_what_was_noted_before_it(settled: Path):
    @dataclasses.dataclass(frozen=True, slots=True)
    class LaterVerdict(Verdict):
        added: tuple[float, ...] = ()

    noted, whole = read_folder(settled).about["result"]["verdict"], result_of(settled)
    assert record_of(LaterVerdict, noted, "L", "verdict") == LaterVerdict(
        noted["band"], noted["sure"], whole.verdict.reasons, whole.verdict.settle, added=()
    )


@pytest.mark.parametrize(
    ("name", "by", "says"),
    [
        ("result", lambda noted: {**noted, "run": {**noted["run"], "seconds": "twelve"}}, "run.seconds"),
        ("result", lambda noted: {**noted, "cycles": 7}, "cycles"),
        ("result", lambda _: ["no", "result"], "result"),
        ("system", lambda _: {"given": {"tank": 33}}, "system"),
        ("system", lambda _: {"given": {"tank": ["33 gal"]}, "origins": "here"}, "system"),
        ("recording", lambda noted: {**noted, "channels": "two"}, "recording, channels"),
    ],
)
def test_a_wrong_type_is_one_line(name: str, by: Callable[[Any], Any], says: str, changed: Callable[..., Path]):
    folder = changed(name, by)
    read: Callable[[], Any] = Shown(folder).now if name == "result" else lambda: measure_folder(folder)
    with pytest.raises(StoreError, match=rf"^[^\n]*cannot be read \([^\n]*{says}[^\n]*$"):
        read()
