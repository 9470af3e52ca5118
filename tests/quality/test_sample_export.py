"""Handing over clicks: only a second around each, nothing that says whose they are, never without a yes."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.cli import cli, run
from clicktimer.streaming.import_recording import measure_into

FIXTURES = Path(__file__).parents[2] / "fixtures_audio"
RECORDING = FIXTURES / "very-short-3s.flac"


def samples_of(path: Path) -> np.ndarray:
    return np.concatenate([block.samples for block in open_recording(path).blocks()])


def test_each_click_is_one_second_of_the_very_recording(tmp_path: Path):
    private = tmp_path / "Jane Doe's basement.flac"
    private.write_bytes(RECORDING.read_bytes())
    assert run(["give", str(tmp_path / "given"), str(private), "--yes", "--note", "a phone on the shelf"]) == 0
    document = json.loads((tmp_path / "given/about-1.json").read_text("utf-8"))
    truth = json.loads((FIXTURES / "very-short-3s.truth.json").read_text("utf-8"))
    assert [c["kind"] for c in document["clicks"]] == [c["kind"] for c in truth["clicks"]]
    whole = samples_of(RECORDING)
    rate_hz = document["sample_rate_hz"]
    for told, true in zip(document["clicks"], truth["clicks"], strict=True):
        cut = samples_of(tmp_path / "given" / told["file"])
        assert len(cut) == rate_hz
        begin = round((true["time_s"] - told["onset_s"]) * rate_hz)
        place = begin + int(np.argmax([abs(cut @ whole[b : b + len(cut)]) for b in range(begin - 50, begin + 51)])) - 50
        np.testing.assert_array_equal(cut, whole[place : place + len(cut)])  # nothing but the recording's own samples
        assert abs(place - begin) <= 0.001 * rate_hz
    everything = b"".join(p.read_bytes() for p in (tmp_path / "given").iterdir())
    assert b"Jane" not in everything
    assert document["note"] == "a phone on the shelf"
    total_s = sum(len(samples_of(p)) for p in (tmp_path / "given").glob("*.flac")) / rate_hz
    assert total_s == len(truth["clicks"])


def test_a_listening_gives_the_seconds_that_it_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    whole = samples_of(RECORDING)
    truth = json.loads((FIXTURES / "very-short-3s.truth.json").read_text("utf-8"))
    for keep in ("default", "all"):
        folder, target = tmp_path / keep, tmp_path / f"given {keep}"
        measure_into(RECORDING, folder, MeasureOptions(), program="test", keep=keep)
        assert run(["give", str(target), str(folder), "--yes"]) == 0
        document = json.loads((target / "about-1.json").read_text("utf-8"))
        assert [c["kind"] for c in document["clicks"]] == [c["kind"] for c in truth["clicks"]]
        for told, true in zip(document["clicks"], truth["clicks"], strict=True):
            cut = samples_of(target / told["file"])
            begin = round((true["time_s"] - told["onset_s"]) * 48_000)
            near = whole[begin - 100 : begin + 100 + len(cut)]
            place = int(np.argmax([abs(cut @ near[b : b + len(cut)]) for b in range(200)]))
            np.testing.assert_array_equal(cut, near[place : place + len(cut)])
            assert told["peak_over_before_db"] > 6.0
    measure_into(RECORDING, tmp_path / "none", MeasureOptions(), program="test", keep="none")
    capsys.readouterr()
    assert run(["give", str(tmp_path / "given none"), str(tmp_path / "none"), "--yes"]) == 1
    assert "no sound of them was kept" in capsys.readouterr().err
    assert not (tmp_path / "given none").exists()


def test_nothing_is_written_without_a_yes(tmp_path: Path):
    arguments = ["give", str(tmp_path / "given"), str(RECORDING)]
    for answer in ("n\n", "\n"):
        result = CliRunner().invoke(cli, arguments, input=answer, standalone_mode=False)
        assert "one second of sound around each click" in " ".join(result.output.split())
        assert "Nothing was written." in result.output
        assert not list(tmp_path.iterdir())
    result = CliRunner().invoke(cli, arguments, input="y\n", standalone_mode=False)
    assert "Nothing was sent anywhere" in result.output
    assert (tmp_path / "given").is_dir()


def test_a_person_s_labels_go_in_and_the_zip_holds_the_same(tmp_path: Path):
    labels = tmp_path / "mine.txt"
    labels.write_text("9.0\t9.0\tcut-in\n12.2\t12.2\tcut-out\n", "utf-8")
    target = tmp_path / "given.zip"
    assert run(["give", str(target), str(RECORDING), "--labels", str(labels), "--yes"]) == 0
    with zipfile.ZipFile(target) as made:
        names = sorted(Path(name).name for name in made.namelist() if not name.endswith("/"))
        document = json.loads(made.read("given/about-1.json"))
    assert names == [
        "README.txt",
        "about-1.json",
        "recording-1-click-001-cut-in.flac",
        "recording-1-click-002-cut-out.flac",
    ]
    assert document["labelled_by"] == "a person"
    assert document["clicks"][1]["by"] == "hand"
    assert document["struck_out"] > 0


def test_what_is_there_is_never_overwritten_and_mistakes_leave_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    there = tmp_path / "there"
    there.mkdir()
    assert run(["give", str(there), str(RECORDING), "--yes"]) == 2
    assert run(["give", str(tmp_path / "new"), str(tmp_path / "no.wav"), "--yes"]) == 2
    assert run(["give", str(tmp_path / "no" / "new"), str(RECORDING), "--yes"]) == 2
    assert run(["give", str(tmp_path / "new"), str(FIXTURES / "no-click.flac"), "--yes"]) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["there"]
    assert "no clicks were told" in capsys.readouterr().err
