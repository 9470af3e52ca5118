"""``clicktimer give``: writes what a user may hand over, so that the detector can be held against real switches."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.cli.progress import ProgressBar
from clicktimer.cli.waiting import compiling_is_told
from clicktimer.errors import InputError, SettingsError
from clicktimer.records import Reason
from clicktimer.reporting.formatting import plain, wrap

if TYPE_CHECKING:
    from clicktimer.assessment.conclusion import Listened
    from clicktimer.assessment.measurement import Measurement
    from clicktimer.cycles.corrections import Label
    from clicktimer.quality.sample_export import Given

CONSENT = (
    "What will be written: one second of sound around each click (0.3 s before it, 0.7 s after), how loud click and "
    "room are, and the labels. Not written: the rest of the recording, its name, where and when it was made. "
    "Somebody who spoke in just that second can be heard: listen to the files before you hand them on, and delete "
    "those with a voice in them. If others were in the room, ask them; the law may require it."
)
AFTERWARDS = (
    "Nothing was sent anywhere. Whoever gets this may use it to test and improve clicktimer and may pass it on with "
    "it; hand it over only if you agree to that."
)
READ_ME = """Clicks of a real pressure switch, cut from a recording by clicktimer.

Each .flac is one second of sound, the click {before:g} s after its beginning. about-N.json says of each
where the click is (onset_s), its kind, who said so (the program, or a person), and how loud it and the
room are. There is no other sound of the recording here, nor its name, place or date.

Before you hand this on: listen to every file, and delete those in which somebody speaks.
"""


@click.command("give", short_help="Cut out the clicks to hand over, so that clicktimer gets better.")
@click.argument("folder", metavar="FOLDER")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDING...")
@click.option(
    "--labels",
    "labels",
    multiple=True,
    metavar="FILE",
    help="Your corrected label file; one for each recording, in order.",
)
@click.option("--note", default="", metavar="TEXT", help='Your words: "jet pump, 40/60 switch, phone on the shelf".')
@click.option("--yes", is_flag=True, help="You have read what is written and agree; do not ask.")
def give_command(folder: str, recordings: tuple[str, ...], labels: tuple[str, ...], note: str, yes: bool) -> int:
    """Cut out the clicks of recordings, to hand over so that clicktimer gets better.

    FOLDER is made new; a name that ends in .zip makes one file of it. Only one second
    around each click goes in. A folder of clicktimer listen is taken as well as a
    recording. Nothing is sent anywhere: you hand it over, or not.
    """
    target = Path(folder)
    if target.exists():
        raise SettingsError(f"{folder} is there already; give the name of a new folder, or of a new .zip")
    if not target.absolute().parent.is_dir():
        raise SettingsError(f"{folder}: the folder {target.parent} does not exist; make it first")
    if labels and len(labels) != len(recordings):
        raise SettingsError(f"{len(labels)} label files for {len(recordings)} recordings; give one for each, in order")
    from clicktimer.cycles.corrections import read_labels

    read = [read_labels(path) for path in labels]
    for line in wrap(CONSENT):
        click.echo(line)
    if not yes and not click.confirm("Write this?", default=False):
        click.echo("Nothing was written.")
        return MEASURED
    with tempfile.TemporaryDirectory(dir=target.absolute().parent, prefix=f".{target.stem}.") as made:
        inside = Path(made) / (target.stem if target.suffix.lower() == ".zip" else target.name)
        inside.mkdir()
        count = 0
        for number, recording in enumerate(recordings, start=1):
            count += _one(inside, number, recording, read[number - 1] if read else None, note)
        if not count:
            click.echo(
                "clicktimer: no clicks were told, or no sound of them was kept, so nothing was written; correct "
                "the labels first (measure --labels), then give --labels",
                err=True,
            )
            return NOT_MEASURED
        from clicktimer.quality.sample_export import BEFORE_S

        (inside / "README.txt").write_text(READ_ME.format(before=BEFORE_S), encoding="utf-8")
        _move(inside, target)
    click.echo(f"\n{count} click{'' if count == 1 else 's'} written to {plain(folder)}.")
    for line in wrap(AFTERWARDS):
        click.echo(line)
    return MEASURED


def _one(inside: Path, number: int, recording: str, labels: tuple[str, tuple[Label, ...]] | None, note: str) -> int:
    """Write the clicks of one recording and what is told of it; return how many there are."""
    from clicktimer import __version__
    from clicktimer.quality.sample_export import about
    from clicktimer.reporting.json.measurement import document_text, jsonable
    from clicktimer.storage.writer import is_listening

    heard, measured, given = (_listening if is_listening(Path(recording)) else _recording)(recording, labels)
    names = [f"recording-{number}-click-{i:03d}-{one.click.kind}.flac" for i, one in enumerate(given, start=1)]
    for name, one in zip(names, given, strict=True):
        _write(inside / name, one)
    if given:
        document: dict[str, Any] = about(
            number,
            measured,
            given,
            names,
            candidates=heard.candidates,
            segments=heard.levels,
            version=__version__,
            note=plain(note),
        )
        (inside / f"about-{number}.json").write_text(document_text(jsonable(document)), encoding="utf-8")
    return len(given)


HeardParts = tuple["Listened", "Measurement", "list[Given]"]


def _recording(recording: str, labels: tuple[str, tuple[Label, ...]] | None) -> HeardParts:
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.audio import open_recording
    from clicktimer.pipeline import conclude, corrected, hear_blocks
    from clicktimer.quality.proof import recording_again
    from clicktimer.quality.sample_export import gather

    options = MeasureOptions()
    with compiling_is_told(), ProgressBar(Path(recording).name) as progress:
        opened = open_recording(recording)
        hint_s = opened.info.duration_hint_s
        heard = hear_blocks(opened.blocks(), lambda s: progress(s, hint_s))
        measured = conclude(heard, opened.finish(), options, opened.notices)
    if labels is not None:
        measured = corrected(measured, labels[1], options, name=labels[0])
    return heard, measured, gather(recording_again([recording]), measured)


def _listening(folder: str, labels: tuple[str, tuple[Label, ...]] | None) -> HeardParts:
    """A listening folder: all of its sound where that was kept, else the seconds around its clicks."""
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.quality.sample_export import gather, gather_kept
    from clicktimer.storage.reader import read_folder
    from clicktimer.storage.replay_audio import seconds_kept, sound_again
    from clicktimer.streaming.finalize import corrected_folder, heard_folder, measure_folder

    path, options = Path(folder), MeasureOptions()
    with compiling_is_told():
        measured = measure_folder(path, options)
        if labels is not None:
            measured = corrected_folder(path, measured, labels[1], options, name=labels[0])
    again = sound_again(path)
    stored = read_folder(path)
    given = gather_kept(seconds_kept(stored), measured) if isinstance(again, Reason) else gather(again, measured)
    return heard_folder(stored), measured, given


def _write(path: Path, one: Given) -> None:
    from clicktimer.audio import write_sound

    try:
        write_sound(path, one.sound, one.rate_hz, codec="flac")
    except OSError as error:
        raise InputError(f"cannot write {path.name}: {error.strerror}; choose another place") from None


def _move(inside: Path, target: Path) -> None:
    try:
        if target.suffix.lower() == ".zip":
            made = shutil.make_archive(str(inside), "zip", root_dir=inside.parent, base_dir=inside.name)
            Path(made).rename(target)
        else:
            inside.rename(target)
    except OSError as error:
        raise SettingsError(f"cannot write {target}: {error.strerror}; choose another place") from None
