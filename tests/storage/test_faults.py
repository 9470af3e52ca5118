"""What goes wrong with a listening folder is said as what it is, and nothing that was heard is lost without a word."""

from __future__ import annotations

import errno
import re
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from clicktimer.errors import StoreError
from clicktimer.storage import schema, writer
from clicktimer.storage.batch import JOINED, Batch, Event
from clicktimer.storage.faults import fault_of
from clicktimer.storage.reader import read_folder
from clicktimer.storage.tail import Following
from clicktimer.storage.writer import Folder
from tests.support.live_parts import ROOT

FIRST_FORMAT = ROOT / "tests/data/listening-v1"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Folder]:
    folder = Folder.create(tmp_path / "L", {})
    folder.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    yield folder
    folder.close()


def batch(second: float) -> Batch:
    return Batch(end_s=second, events=[Event(second, "heard", second, note="x" * 3000)])


def commit_until(folder: Folder, last: int, *, first: int = 1) -> None:
    for second in range(first, last):
        folder.commit(batch(float(second)))


def written(folder: Folder) -> list[float]:
    return [e.time_s for e in read_folder(folder.path).events]


def make_full(folder: Folder) -> Callable[[], object]:
    """SQLite's own limit on the size of a database: it answers as on a full disk."""
    pages = folder._db.execute("PRAGMA page_count").fetchone()[0]
    folder._db.execute(f"PRAGMA max_page_count = {pages + 3}")
    return lambda: folder._db.execute("PRAGMA max_page_count = 1000000")


def make_locked(folder: Folder) -> Callable[[], object]:
    other = sqlite3.connect(folder.path / schema.DATABASE, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    return other.close


def make_read_only(folder: Folder) -> Callable[[], object]:
    folder._db.execute("PRAGMA query_only = ON")
    return lambda: folder._db.execute("PRAGMA query_only = OFF")


@pytest.mark.parametrize(
    ("spoil", "fault"), [(make_full, "disk-full"), (make_locked, "locked"), (make_read_only, "read-only")]
)
def test_what_cannot_be_written_waits_and_is_written_in_its_order(
    spoil: Callable[[Folder], Callable[[], object]], fault: str, place: Folder, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(writer, "BUSY_AGAIN_S", 0.001)
    place._db.execute("PRAGMA busy_timeout = 100")
    assert place.commit(batch(0.0))
    mend = spoil(place)
    results = [place.commit(batch(float(n))) for n in range(1, 3 * JOINED)]
    assert not results[-1]
    assert place.fault == fault
    assert written(place) == [float(n) for n in range(1 + sum(results))]
    mend()
    assert place.commit(batch(3.0 * JOINED))
    assert place.fault is None
    assert written(place) == [float(n) for n in range(3 * JOINED + 1)]


def test_a_damaged_database_ends_the_listening_at_once_and_says_so(place: Folder):
    assert place.commit(batch(0.0))
    # Another connection changes something, so that the writer has to read the page anew, and moves it to the file.
    other = sqlite3.connect(place.path / schema.DATABASE, isolation_level=None)
    other.execute("UPDATE events SET note = 'x'")
    root = other.execute("SELECT rootpage FROM sqlite_master WHERE name = 'events'").fetchone()[0]
    size = other.execute("PRAGMA page_size").fetchone()[0]
    other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    other.close()
    with (place.path / schema.DATABASE).open("r+b") as out:
        out.seek((root - 1) * size)
        out.write(b"\xff" * size)
    with pytest.raises(StoreError, match=r"its database is damaged.* is not kept"):
        commit_until(place, 50)


def test_what_waits_in_memory_has_an_end_and_reaching_it_is_no_secret(place: Folder, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(writer, "MOST_WAITING_S", 300.0)
    assert place.commit(batch(20.0))
    mend = make_read_only(place)
    with pytest.raises(StoreError, match=r"may not be written to.*heard after 20 s is not kept"):
        commit_until(place, 1000, first=21)
    mend()
    place.close()
    assert written(place)[-1] == 321.0, "there is room at the end after all"


def test_a_long_wait_keeps_few_pieces_in_memory(place: Folder):
    mend = make_read_only(place)
    for second in range(20 * JOINED):
        place.commit(Batch(end_s=float(second)))
    assert len(place._waiting) < 20 + 2 * JOINED
    mend()


@pytest.mark.parametrize(
    ("error", "fault"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), "disk-full"),
        (OSError(errno.EROFS, "Read-only file system"), "read-only"),
        (OSError(errno.EIO, "Input/output error"), "not-written"),
        (sqlite3.OperationalError("of no code"), "not-written"),
    ],
)
def test_an_error_of_the_system_has_its_fault(error: Exception, fault: str, tmp_path: Path):
    assert fault_of(error, tmp_path) == fault


def test_a_folder_whose_drive_is_gone_is_said_to_be_gone(tmp_path: Path):
    assert fault_of(sqlite3.OperationalError("disk I/O error"), tmp_path / "gone") == "gone"


def one_line(told: pytest.ExceptionInfo[StoreError]) -> str:
    text = str(told.value)
    assert "\n" not in text
    return text


def copy_of_first(tmp_path: Path) -> Path:
    return Path(shutil.copytree(FIRST_FORMAT, tmp_path / "L"))


def test_reading_a_damaged_database_says_so(tmp_path: Path):
    folder = copy_of_first(tmp_path)
    file = folder / schema.DATABASE
    file.write_bytes(file.read_bytes()[:8192] + b"\x00" * (file.stat().st_size - 8192))
    for ask in (read_folder, Folder.resume, lambda path: Following(path).look()):
        with pytest.raises(StoreError) as told:
            ask(folder)
        assert "damaged" in one_line(told)


def test_reading_a_database_that_another_program_holds_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(schema, "BUSY_S", 0.1)
    folder = copy_of_first(tmp_path)
    other = sqlite3.connect(folder / schema.DATABASE, isolation_level=None)
    other.execute("PRAGMA journal_mode = DELETE")
    other.execute("BEGIN EXCLUSIVE")
    for ask in (read_folder, Folder.resume):
        with pytest.raises(StoreError) as told:
            ask(folder)
        assert "another program holds it" in one_line(told)
    other.close()
    assert read_folder(folder).sessions


@pytest.mark.parametrize(
    "spoil",
    [
        "UPDATE sessions SET began_utc = 'yesterday'",
        "UPDATE levels SET codes = x'00010203' WHERE id = 1",
        "INSERT OR REPLACE INTO about VALUES ('taps', 'not JSON')",
    ],
)
def test_what_no_program_wrote_is_one_line(spoil: str, tmp_path: Path):
    folder = copy_of_first(tmp_path)
    database = sqlite3.connect(folder / schema.DATABASE)
    database.execute(spoil)
    database.commit()
    database.close()
    with pytest.raises(StoreError) as told:
        read_folder(folder)
    assert re.search(r"cannot be read: its database is damaged", one_line(told))
