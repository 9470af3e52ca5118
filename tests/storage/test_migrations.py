"""A listening folder of an earlier format is read and written like one of today, and a newer one is refused."""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
from pathlib import Path

import pytest

from clicktimer.errors import StoreError
from clicktimer.storage import migrations, schema
from clicktimer.storage.reader import read_folder
from clicktimer.storage.tail import Following
from clicktimer.storage.writer import Folder
from tests.support.live_parts import ROOT

FIRST_FORMAT = ROOT / "tests/data/listening-v1"


@pytest.fixture
def first(tmp_path: Path) -> Path:
    return Path(shutil.copytree(FIRST_FORMAT, tmp_path / "first"))


def columns(path: Path) -> dict[str, set[tuple[str, str]]]:
    """Each table's columns with their types: an added column stands last, so their order is left out."""
    db = sqlite3.connect(path / schema.DATABASE)
    tables = [row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    found = {t: {(row[1], row[2]) for row in db.execute(f"PRAGMA table_info({t})")} for t in tables}
    db.close()
    return found


def version(path: Path) -> int:
    db = sqlite3.connect(path / schema.DATABASE)
    number = int(db.execute("PRAGMA user_version").fetchone()[0])
    db.close()
    return number


def test_a_migrated_folder_has_the_tables_of_a_new_one(first: Path, tmp_path: Path):
    Folder.create(tmp_path / "new", {}).close()
    assert columns(first) != columns(tmp_path / "new")
    assert version(first) == 0
    Folder.resume(first).close()
    assert columns(first) == columns(tmp_path / "new")
    assert version(first) == version(tmp_path / "new") == migrations.CURRENT == 2


def test_reading_an_older_folder_changes_nothing_in_it(first: Path):
    def lies_there() -> str:
        return hashlib.sha256((first / schema.DATABASE).read_bytes()).hexdigest()

    before = lies_there()
    stored, following = read_folder(first), Following(first)
    assert following.look() == list(stored.events)
    following.close()
    assert len(stored.candidates) > 0
    assert lies_there() == before
    assert version(first) == 0


def test_a_page_follows_a_folder_that_an_earlier_program_goes_on_writing(first: Path):
    lock = sqlite3.connect(first / "in-use.sqlite", isolation_level=None)
    lock.execute("BEGIN EXCLUSIVE")
    following = Following(first)
    seen = len(following.look())
    db = sqlite3.connect(first / schema.DATABASE, isolation_level=None)
    db.execute("INSERT INTO events (at_s, utc, what, time_s, kind, note) VALUES (99, '', 'heard', 98.5, 'unknown', '')")
    db.close()
    assert seen > 0
    assert [e.time_s for e in following.look()] == [98.5]
    following.close()
    lock.close()


def test_a_migration_that_fails_leaves_the_folder_as_it_was(first: Path, monkeypatch: pytest.MonkeyPatch):
    def half(db: sqlite3.Connection) -> None:
        migrations._waveforms_and_tones(db)
        db.execute("INSERT INTO nowhere VALUES (1)")

    monkeypatch.setattr(migrations, "STEPS", (half,))
    before = columns(first)
    with pytest.raises(StoreError, match="cannot be opened"):
        Folder.resume(first)
    assert columns(first) == before
    assert version(first) == 0


def test_a_step_more_is_made_after_the_others(first: Path, monkeypatch: pytest.MonkeyPatch):
    def later(db: sqlite3.Connection) -> None:
        db.execute("ALTER TABLE sessions ADD COLUMN room TEXT")

    monkeypatch.setattr(migrations, "STEPS", (*migrations.STEPS, later))
    monkeypatch.setattr(migrations, "CURRENT", 3)
    Folder.resume(first).close()
    assert ("room", "TEXT") in columns(first)["sessions"]
    assert "tones" in columns(first)
    assert version(first) == 3


def test_a_folder_of_a_newer_format_is_refused_in_one_line(tmp_path: Path):
    Folder.create(tmp_path / "newer", {}).close()
    db = sqlite3.connect(tmp_path / "newer" / schema.DATABASE)
    db.execute(f"PRAGMA user_version = {migrations.CURRENT + 1}")
    db.close()
    for ask in (read_folder, Folder.resume, lambda path: Following(path).look()):
        with pytest.raises(StoreError, match=r"^[^\n]*written by a newer clicktimer.*; install that one$"):
            ask(tmp_path / "newer")
