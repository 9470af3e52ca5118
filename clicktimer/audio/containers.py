"""Stage 1, inside: what a file says about itself before any sound is decoded: is it readable, whole, and from when.

Nothing here decodes. Every refusal is one line: what is wrong, what to do.
"""

from __future__ import annotations

import os
import re
import struct
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Literal

from clicktimer.errors import InputError, SettingsError

_BOX_TYPES_AT_START = {b"ftyp", b"mdat", b"wide", b"free", b"skip", b"moov"}
_PICTURE_NAMES = {".mp4", ".mov", ".m4v", ".mkv", ".webm", ".3gp", ".avi"}
_YEARS = range(2000, 2100)
_TAIL_MAX = 65_536
"""So many bytes after the sound may be anything."""


def open_regular(path: Path) -> BinaryIO:
    """Open a file with something in it for reading; everything that is said of it is said of what is open here.

    Raises
    ------
    InputError
        If there is none, it may not be read, is empty, or is a folder, a pipe or a device.
    """
    try:
        if path.is_dir():
            raise InputError(f"{path}: is a folder; name the recordings in it")
        if path.exists() and not path.is_file():  # a pipe: opening it would wait for ever
            raise InputError(f"{path}: is not a file; save the recording to a file first")
        file = path.open("rb")
        if not file.read(1):
            file.close()
            raise InputError(f"{path}: the file is empty; copy it again from the phone or recorder")
        file.seek(0)
        return file
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; check the name and the folder") from None
    except PermissionError:
        raise InputError(
            f"{path}: may not be read; copy it to a folder of your own or change its permissions"
        ) from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be opened ({_reason(error)}); copy it again or check the name") from None


def not_sound(path: Path, error: Exception) -> InputError:
    """The error to raise for a file that the library refuses to open."""
    if isinstance(error, OSError) and not isinstance(error, ValueError):
        return InputError(f"{path}: cannot be read ({_reason(error)}); copy it again")
    if _lacks_index(path):
        return InputError(
            f"{path}: the phone did not close this recording: the index at its end is missing (battery, full storage,"
            " or copied while recording); copy it again or record again"
        )
    kind = f"its name says {path.suffix}, its content does not" if path.suffix else "its content is none that is known"
    return InputError(f"{path}: is not a sound recording that can be read ({kind}); save it as wav, flac, m4a or mp3")


def no_track(path: Path, pictures: bool) -> InputError:
    """The error to raise for a file that opens but has no sound track in it."""
    if pictures and path.suffix.lower() in _PICTURE_NAMES:
        return InputError(f"{path}: has no sound track, only pictures; record again with the microphone allowed")
    return InputError(f"{path}: holds no sound that can be read; save the recording as wav, flac, m4a or mp3")


def _reason(error: Exception) -> str:
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return str(text).splitlines()[0].lower()


def _lacks_index(path: Path) -> bool:
    """Whether this is a file of the mp4 kind (m4a, mov, 3gp) without the index box that is written last."""
    with path.open("rb") as file:
        if file.read(8)[4:] not in _BOX_TYPES_AT_START:
            return False
        size, at, kind = path.stat().st_size, 0, b""
        while at + 8 <= size:
            file.seek(at)
            length, kind = struct.unpack(">I4s", file.read(8))
            if kind in (b"moov", b"moof"):
                return at + int(length) > size
            if length == 1:
                wide = file.read(8)
                length = struct.unpack(">Q", wide)[0] if len(wide) == 8 else 0
            if length < 8:
                break
            at += length
    return kind in _BOX_TYPES_AT_START  # else the chain of boxes itself is damaged


@dataclass(frozen=True, slots=True)
class Promise:
    """What a file's own header says of its length. ``end``: the byte after the sound, None when it does not say.

    ``beyond``: sound goes on after that byte (the recorder did not bring its header up to date, or the length has
    outgrown its 32 bits).
    """

    end: int | None = None
    beyond: bool = False


def promise(file: BinaryIO) -> Promise:
    """Read what a wav or mp3 header promises.

    Only these two: for them the library takes what is there for the whole, and a cut copy would pass unseen.
    """
    try:
        size = os.fstat(file.fileno()).st_size
        head = file.read(12)
        if head[:4] == b"RIFF" and head[8:] == b"WAVE":
            return _wav_promise(file, size)
        return Promise(_mp3_bytes(file))
    finally:
        file.seek(0)


def _wav_promise(file: BinaryIO, size: int) -> Promise:
    at = 12
    for _ in range(100):
        file.seek(at)
        chunk = file.read(8)
        if len(chunk) < 8:
            break
        kind, length = struct.unpack("<4sI", chunk)
        if kind == b"data":
            if length == 0 or length >= 0xFFFF_FF00:  # the recorder did not know: read to the end of the file
                return Promise(None, beyond=size > at + 8)
            end = at + 8 + length + length % 2
            return Promise(at + 8 + length, beyond=size - end > _TAIL_MAX and not _chunk_at(file, end, size))
        at += 8 + length + length % 2
    return Promise()


def _chunk_at(file: BinaryIO, at: int, size: int) -> bool:
    """Whether the bytes there are another chunk (names, notes) rather than more sound."""
    file.seek(at)
    chunk = file.read(8)
    if len(chunk) < 8:
        return True
    kind, length = struct.unpack("<4sI", chunk)
    return kind.isascii() and kind.decode("ascii").isprintable() and at + 8 + int(length) <= size


def _mp3_bytes(file: BinaryIO) -> int | None:
    """An mp3 file's first frame may carry the number of bytes (the Xing or Info header, flag 2)."""
    file.seek(0)
    head = file.read(10)
    at = 0
    if head[:3] == b"ID3" and len(head) == 10:
        at = 10 + (head[6] << 21 | head[7] << 14 | head[8] << 7 | head[9])
    file.seek(at)
    frame = file.read(256)
    if len(frame) < 4 or frame[0] != 0xFF or frame[1] & 0xE0 != 0xE0:
        return None
    tag = max(frame.find(b"Xing"), frame.find(b"Info"))
    if tag < 0 or len(frame) < tag + 16:
        return None
    flags = struct.unpack(">I", frame[tag + 4 : tag + 8])[0]
    if not flags & 2:
        return None
    place = tag + 8 + (4 if flags & 1 else 0)
    return at + int(struct.unpack(">I", frame[place : place + 4])[0])


def started(given: str | None, metadata: dict[str, str]) -> tuple[str | None, Literal["given", "container", "unknown"]]:
    """When the recording began, ISO 8601, and how that is known.

    given: what the user said, "YYYY-MM-DD HH:MM". metadata: the container's own words, taken as they are: phones
    often write the time at which the recording ENDED, and in UTC.

    Raises SettingsError when ``given`` is not such a time.
    """
    if given is not None:
        return parse_started(given), "given"
    for key in ("com.apple.quicktime.creationdate", "creation_time", "date"):
        text = metadata.get(key, "").strip()
        if not re.match(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d", text):
            continue
        try:
            when = datetime.fromisoformat(text)
        except ValueError:
            continue
        if when.year in _YEARS:
            return when.replace(microsecond=0).isoformat(), "container"
    return None, "unknown"


def parse_started(text: str) -> str:
    """Turn "2026-11-25 07:30" into "2026-11-25T07:30:00". Raises SettingsError for anything else.

    An offset from UTC may follow ("2026-11-01 01:30-05:00"): it says which of two equal times is meant where the clocks
    are set back.
    """
    wrong = f'"{text}" is not a time of the form "YYYY-MM-DD HH:MM"; try "2026-11-25 07:30"'
    if not re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d([+-]\d\d:\d\d)?", text.strip()):
        raise SettingsError(wrong)
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError:
        raise SettingsError(wrong) from None
    if when.year not in _YEARS:
        raise SettingsError(f'"{text}": the year must lie in {_YEARS.start} to {_YEARS.stop - 1}')
    return when.isoformat()


def sha256_of(*files: BinaryIO) -> str | None:
    """Return the checksum of open files laid end to end; None when one cannot be read any more."""
    import hashlib

    digest = hashlib.sha256()
    try:
        for file in files:
            file.seek(0)
            while piece := file.read(1 << 20):
                digest.update(piece)
    except OSError:
        return None
    return digest.hexdigest()
