"""``clicktimer check``: what works on this computer, and what is missing for what, in one screen."""

from __future__ import annotations

import platform
import shutil
import sys
import time
from collections.abc import Callable
from importlib import metadata

import click

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.errors import DeviceError
from clicktimer.reporting.formatting import wrap

NEEDED = {
    "numpy": "everything",
    "scipy": "the detector's filters",
    "numba": "speed (without it the detector is slow)",
    "av": "reading recordings",
    "click": "the commands",
    "rich": "the progress bar",
    "matplotlib": "every report, and pictures",
    "jinja2": "reports as HTML",
    "typst": "reports as PDF",
    "pypdf": "report --check of a PDF",
    "pydantic": "site files, and report --check",
    "sounddevice": "live listening",
    "wakepy": "keeping the computer awake",
}
DECODERS = {
    "m4a, mp4": "aac",
    "mp3": "mp3",
    "flac": "flac",
    "opus": "opus",
    "ogg": "vorbis",
    "amr": "amrnb",
    "wav": "pcm_s16le",
}
TRY_S = 1.5

Answer = tuple[bool, str]


@click.command("check", short_help="Say what works on this computer, and what is missing.")
@click.option("--device", metavar="NAME", help="Sound input to try: its name, part of it or its number.")
def check_command(device: str | None) -> int:
    """Say what works on this computer: microphone, decoders, disk, browser, versions.

    The microphone is opened for a moment; nothing is kept. Exit code 1: something is
    missing.
    """
    from clicktimer import __version__

    click.echo(
        f"clicktimer {__version__}, Python {platform.python_version()}, {platform.system()} {platform.release()}"
    )
    parts: list[tuple[str, Callable[[], Answer]]] = [
        ("packages", packages),
        ("decoders", decoders),
        ("microphone", lambda: microphone(device)),
        ("disk", disk),
        ("staying awake", awake),
        ("browser", browser),
    ]
    good = True
    for name, ask in parts:
        fine, text = ask()
        good &= fine
        lines = wrap(text, f"{'ok     ' if fine else 'MISSING'} {name}: ", " " * 10)
        click.echo("\n".join(lines))
    click.echo("Everything works." if good else "What is marked MISSING does not work; the rest does.")
    return MEASURED if good else NOT_MEASURED


def packages() -> Answer:
    """The libraries, with what each is for where it is missing."""
    found, missing = [], []
    for name, use in NEEDED.items():
        try:
            found.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            missing.append(f"{name} (for {use}; install it: {sys.executable} -m pip install {name})")
    return (not missing, "; ".join(missing) if missing else ", ".join(found))


def decoders() -> Answer:
    """What kinds of recording can be read."""
    try:
        import av
    except ImportError as error:
        return False, f"the package av is missing: recordings cannot be read ({error})"
    missing = [kind for kind, codec in DECODERS.items() if codec not in av.codecs_available]
    if missing:
        return False, f"recordings of these kinds cannot be read: {', '.join(missing)}"
    return True, ", ".join(DECODERS)


def microphone(device: str | None) -> Answer:
    """Open the input for a moment: is it there, does sound come, is it more than zeros?"""
    from clicktimer.audio.inputs import portaudio_version

    try:
        version = portaudio_version()
        return _tried(device, version)
    except DeviceError as error:
        return False, str(error).removesuffix("; clicktimer check tells more")


def _tried(device: str | None, version: str) -> Answer:
    import numpy as np

    from clicktimer.audio.microphone import FIRST_S, Microphone
    from clicktimer.records import Block, Samples
    from clicktimer.reporting.messages.catalogue import Messages

    source = Microphone(device)
    try:
        end, count = time.monotonic() + FIRST_S, 0
        pieces: list[Samples] = []
        while time.monotonic() < end and count < TRY_S * source.rate_hz:
            got = source.read()
            if isinstance(got, Block):
                pieces.append(got.samples)
                count += len(got.samples)
    finally:
        source.close()
    about = f"{source.name}, {source.rate_hz / 1000:g} kHz ({version.splitlines()[0][:40]})"
    if not pieces:
        return False, f"{about}: no sound comes from it; unplug and plug it in, or choose another with --device"
    samples = np.concatenate(pieces)
    peak = float(np.abs(samples).max())
    if peak == 0.0:
        return False, f"{about}: {Messages().text('notice.deaf')}"
    return True, f"{about}, loudest moment {20 * np.log10(peak):.0f} dB of full scale"


def disk() -> Answer:
    """Room for a day of listening where it would be kept."""
    from clicktimer.storage.paths import documents_folder
    from clicktimer.storage.sound_store import needed_bytes

    folder = documents_folder()
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        return False, f"{folder}: {error.strerror}"
    day, all_day = needed_bytes(86_400.0, "default"), needed_bytes(86_400.0, "all")
    text = f"{free / 1e9:.0f} GB free in {folder}; a day of listening may take {day / 1e9:.1f} GB"
    return free > day + 2e8, f"{text}, with all sound {all_day / 1e9:.0f} GB"


def awake() -> Answer:
    """Whether the computer can be kept awake, and its power."""
    from clicktimer.cli.machine_state import AWAKE, kept_awake, power_text

    with kept_awake() as text:
        return text == AWAKE, f"{text} {power_text()}"


def browser() -> Answer:
    """Whether a browser is there for reports in HTML."""
    import webbrowser

    try:
        found = webbrowser.get()
    except webbrowser.Error:
        return False, (
            "none was found that can be opened from here (none installed, or no screen); one is needed only for "
            "reports in HTML and for clicktimer page"
        )
    return True, str(getattr(found, "name", "") or type(found).__name__)
