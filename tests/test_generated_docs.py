"""What is generated in README.md and docs/ is what its maker makes today."""

from __future__ import annotations

from pathlib import Path

import pytest

from docs import make

NAMES = [pytest.param(m.name, marks=() if m.quick else pytest.mark.slow) for m in make.MAKERS]


@pytest.mark.parametrize("name", NAMES)
def test_what_is_generated_is_up_to_date(name: str):
    assert not make.stale(name), f"run: python docs/make.py {name}"


def test_every_maker_is_registered():
    modules = {path.stem for path in (make.ROOT / "docs/makers").glob("*.py")}
    assert modules == {maker.name for maker in make.MAKERS}


def test_a_page_that_is_out_of_date_is_listed_and_made_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.setattr(make, "ROOT", tmp_path)
    (tmp_path / "docs").mkdir()
    (tmp_path / "docs/causes.md").write_text("old", "utf-8")
    assert make.main(["--check", "causes"]) == 1
    assert capsys.readouterr().out == "out of date: docs/causes.md\n"
    assert (tmp_path / "docs/causes.md").read_text("utf-8") == "old"
    assert make.main(["causes"]) == 0
    capsys.readouterr()
    assert make.main(["--check", "causes"]) == 0
    assert capsys.readouterr().out == ""


def test_a_changed_word_of_a_pdf_is_seen_and_its_bytes_are_not_compared(tmp_path: Path):
    import typst

    def pdf(words: str) -> bytes:
        return typst.compile(words.encode(), format="pdf")

    path = tmp_path / "x.pdf"
    path.write_bytes(pdf(f"The pump runs 38 s. {'a' * 64}"))
    assert make.same(path, pdf(f"#set page(width: 20cm)\nThe pump runs 38 s. {'b' * 64}"))
    assert not make.same(path, pdf(f"The pump runs 39 s. {'a' * 64}"))
    assert not make.same(tmp_path / "missing.pdf", b"")
