"""Files that cannot be read: one line that says what is wrong and what to do, never a traceback of a library."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import numpy as np
import pytest

from clicktimer.audio import open_recording
from clicktimer.errors import InputError
from tests.support.sound_files import KINDS, click_train, cut, encode, write_kind

SAMPLES, _ = click_train(48000, seconds=4.0)


def refused(path: Path, sentence: str) -> None:
    with pytest.raises(InputError, match=sentence) as caught:
        list(open_recording(path).blocks())
    text = str(caught.value)
    assert "\n" not in text
    assert text.startswith(str(path))
    assert ";" in text  # what is wrong; what to do


def test_missing(tmp_path: Path) -> None:
    refused(tmp_path / "none.wav", "there is no such file")
    refused(tmp_path / "none" / "none.wav", "there is no such file")


def test_folder(tmp_path: Path) -> None:
    refused(tmp_path, "is a folder")


def test_empty(tmp_path: Path) -> None:
    path = tmp_path / "x.m4a"
    path.touch()
    refused(path, "the file is empty")


@pytest.mark.parametrize("name", ["x.wav", "x.m4a", "x.mp3", "x.flac", "x.ogg", "x"])
@pytest.mark.parametrize(
    "content",
    [
        b"Dear all, here are my notes on the pump. It ran for a while and then it stopped.\n" * 40,
        b"<html><body>Not found</body></html>",
        bytes(5000),
        np.random.default_rng(2).integers(0, 256, 50_000, dtype=np.uint8).tobytes(),
        b"\xff\xd8\xff\xe0" + b"JFIF" * 200,
    ],
    ids=["text", "html", "zeros", "random", "picture"],
)
def test_not_sound(tmp_path: Path, name: str, content: bytes) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    refused(path, "is not a sound recording|holds no sound|no sound could be decoded|sampled at")


def test_playlists_are_not_followed(tmp_path: Path) -> None:
    path = tmp_path / "x.m3u8"
    path.write_text("#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nhttp://127.0.0.1:9/part.aac\n#EXT-X-ENDLIST\n")
    refused(path, "is not a sound recording|holds no sound|no sound could be decoded|cannot be read")


LISTS = {
    "concatenation": "ffconcat version 1.0\nfile '{target}'\n",
    "concatenation by address": "ffconcat version 1.0\nfile 'file://{target}'\n",
    "playlist": "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{target}\n#EXT-X-ENDLIST\n",
    "playlist without an end": "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{target}\n",
    "playlist of itself": "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{self}\n",
    "session description": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=audio 5004 RTP/AVP 0\n",
}


@pytest.mark.parametrize("name", ["tank.wav", "tank.m3u8", "tank.mp3", "tank.ffconcat", "tank.sdp"])
@pytest.mark.parametrize("kind", LISTS)
def test_a_list_of_other_files_opens_none_of_them(tmp_path: Path, kind: str, name: str) -> None:
    target = write_kind(tmp_path, "mp3", SAMPLES)
    path = tmp_path / name
    for place in (target, target.name, f"../{tmp_path.name}/{target.name}"):
        path.write_text(LISTS[kind].replace("{target}", str(place)).replace("{self}", name))
        refused(path, "is not a sound recording|holds no sound|no sound could be decoded")


def test_the_checksum_is_of_the_bytes_that_were_decoded(tmp_path: Path) -> None:
    path = write_kind(tmp_path, "wav16", SAMPLES)
    measured = path.read_bytes()
    recording = open_recording(path)
    blocks = recording.blocks()
    next(blocks)
    path.unlink()  # another file takes the name while this one is read
    path.write_bytes(measured[: len(measured) // 2])
    list(blocks)
    assert recording.finish().sha256 == hashlib.sha256(measured).hexdigest()


@pytest.mark.parametrize("kind", ["m4a", "mp4", "mov", "3gp"])
def test_not_closed_by_the_phone(tmp_path: Path, kind: str) -> None:
    samples = SAMPLES if kind != "3gp" else click_train(8000, seconds=4.0)[0]
    refused(cut(write_kind(tmp_path, kind, samples), 0.7), "the phone did not close this recording")


def test_video_without_sound(tmp_path: Path) -> None:
    import av

    path = tmp_path / "x.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("mpeg4", rate=5)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        out.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((48, 64, 3), np.uint8), format="rgb24")))
        out.mux(stream.encode(None))
    refused(path, "has no sound track, only pictures")


def test_header_only(tmp_path: Path) -> None:
    path = write_kind(tmp_path, "wav16", SAMPLES)
    path.write_bytes(path.read_bytes()[:44])
    refused(path, "no sound could be decoded|is not a sound recording")


@pytest.mark.parametrize("rate_hz", [4000, 7999, 192001, 384000])
def test_rate_out_of_range(tmp_path: Path, rate_hz: int) -> None:
    path = encode(tmp_path / "x.wav", np.zeros(rate_hz), rate_hz, "pcm_s16le", "s16")
    refused(path, f"sampled at {rate_hz} Hz; 8000 to 192000 Hz are read")


def test_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_kind(tmp_path, "wav16", SAMPLES)
    if os.geteuid() == 0:  # the superuser may read everything: let the opening fail as it would for anybody else

        def forbidden(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", forbidden)
    else:
        path.chmod(0)
    refused(path, "may not be read")


def test_names_that_look_like_addresses_are_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_kind(tmp_path, "wav16", SAMPLES).rename(tmp_path / "http:pump.wav")
    recording = open_recording("http:pump.wav")
    assert sum(len(block.samples) for block in recording.blocks()) == len(SAMPLES)
    recording.finish()


def test_name_with_signs_and_spaces(tmp_path: Path) -> None:
    path = write_kind(tmp_path, "m4a", SAMPLES).rename(tmp_path / "Brunnen äöü #3 100% (1).m4a")
    recording = open_recording(path)
    assert recording.info.name == path.name
    list(recording.blocks())
    recording.finish()


def test_a_title_in_an_old_alphabet_is_no_obstacle(tmp_path: Path) -> None:
    path = write_kind(tmp_path, "wav16", SAMPLES)
    data = path.read_bytes()
    words = b"INFOINAM" + (6).to_bytes(4, "little") + b"K\xfcche\x00"
    at = data.index(b"fmt ")
    path.write_bytes(data[:at] + b"LIST" + len(words).to_bytes(4, "little") + words + data[at:])
    recording = open_recording(path)
    assert sum(len(block.samples) for block in recording.blocks()) == len(SAMPLES)
    recording.finish()


def test_pipe_is_refused_without_waiting(tmp_path: Path) -> None:
    path = tmp_path / "x.wav"
    os.mkfifo(path)
    refused(path, "is not a file")


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_broken_files_are_read_or_refused_and_never_crash(tmp_path: Path, kind: str) -> None:
    rng = np.random.default_rng(sorted(KINDS).index(kind))
    samples, _ = click_train(KINDS[kind][3], seconds=2.0)
    whole = write_kind(tmp_path, kind, samples)
    path = whole.with_name("broken" + whole.suffix)
    for _ in range(8):
        data = bytearray(whole.read_bytes())
        for _ in range(int(rng.integers(1, 5))):
            at, count = int(rng.integers(len(data))), int(rng.integers(1, 200))
            if rng.random() < 0.4:
                at %= 400  # the header
            if rng.random() < 0.6:
                data[at : at + count] = rng.integers(0, 256, len(data[at : at + count]), dtype=np.uint8).tobytes()
            else:
                del data[at : at + count]
        path.write_bytes(data)
        try:
            recording = open_recording(path)
        except InputError:
            continue
        end_s = 0.0
        for block in recording.blocks():
            assert np.isfinite(block.samples).all()
            gap = block.gap_before
            begins_s = end_s if gap is None else gap.from_s if gap.to_s is None else gap.to_s
            assert block.start_s == pytest.approx(begins_s, abs=1e-6)
            end_s = block.start_s + len(block.samples) / block.rate_hz
        assert recording.finish().duration_s >= end_s - 1e-6


def test_a_file_that_changes_while_it_is_read_has_no_checksum(tmp_path: Path) -> None:
    path = write_kind(tmp_path, "wav16", SAMPLES)
    recording = open_recording(path)
    blocks = recording.blocks()
    next(blocks)
    with path.open("ab") as file:
        file.write(b"more")
    list(blocks)
    assert recording.finish().sha256 is None
    assert [notice.code for notice in recording.notices] == ["changed"]
