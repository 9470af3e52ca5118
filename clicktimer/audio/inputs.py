"""Stage 1, live: the computer's sound inputs by name, and streams from them. The only import of sounddevice."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from clicktimer.errors import DeviceError

NO_PORTAUDIO = (
    "live listening needs the PortAudio library, which is missing: on Debian or Ubuntu install libportaudio2, on "
    "Fedora portaudio; recordings can be measured without it"
)
NO_INPUT = (
    "no sound input was found: plug in a microphone, and allow the terminal to use it in the system's privacy "
    "settings; clicktimer check tells more"
)
WANTED_HZ = 48_000
BLOCK_S = 0.04
"""Sound comes in pieces of this length: each costs the same, and a click is still shown well within 300 ms."""


@dataclass(frozen=True, slots=True)
class Input:
    """A sound input. number: as PortAudio counts. system: the name of the sound system that offers it."""

    number: int
    name: str
    system: str
    channels: int
    rate_hz: int
    default: bool


def inputs() -> list[Input]:
    """The inputs there are, the default first told by its flag. Raises DeviceError without PortAudio."""
    sd = _sounddevice()
    with quiet_stderr():
        systems = [s["name"] for s in sd.query_hostapis()]
        default = sd.default.device[0]
        if default is None or default < 0:
            with contextlib.suppress(sd.PortAudioError, ValueError):
                default = sd.query_devices(None, "input")["index"]
        return [
            Input(
                i,
                str(d["name"]),
                systems[d["hostapi"]],
                int(d["max_input_channels"]),
                round(d["default_samplerate"]),
                i == default,
            )
            for i, d in enumerate(sd.query_devices())
            if d["max_input_channels"] > 0
        ]


def choose(found: list[Input], wanted: str | None) -> Input:
    """The input of that number, name or part of a name; None: the default. Raises DeviceError."""
    if not found:
        raise DeviceError(NO_INPUT)
    names = "; ".join(f"{i.number}: {i.name}" for i in found)
    if wanted is None:
        return next((i for i in found if i.default), found[0])
    by_number = [i for i in found if str(i.number) == wanted.strip()]
    exact = [i for i in found if i.name.casefold() == wanted.strip().casefold()]
    part = [i for i in found if wanted.strip().casefold() in i.name.casefold()]
    for hits in (by_number, exact, part):
        if hits and (len(hits) == 1 or len({i.name for i in hits}) == 1 or hits is exact):
            return hits[0]
        if hits:
            several = "; ".join(f"{i.number}: {i.name}" for i in hits)
            raise DeviceError(f'several inputs fit "{wanted}": {several}; give one by its number')
    raise DeviceError(f'no input fits "{wanted}"; there are: {names}')


class PortAudio:
    """Opens streams by sounddevice."""

    def open(
        self,
        device: str | None,
        rate_hz: int | None,
        deliver: Callable[[npt.NDArray[np.int16], bool], None],
        ended: Callable[[], None],
    ) -> PortAudioStream:
        """Open an input; the list of devices is read anew, so that one that was plugged in later is found."""
        sd = _sounddevice()
        with quiet_stderr():
            try:
                sd._terminate()
                sd._initialize()
            except sd.PortAudioError as error:
                raise DeviceError(f"the sound system cannot be started: {_plain(error)}") from None
        chosen = choose(inputs(), device)
        rates = [rate_hz] if rate_hz else [WANTED_HZ, chosen.rate_hz]
        problem = ""
        for rate in dict.fromkeys(rates):
            for channels in dict.fromkeys((1, min(chosen.channels, 2))):
                try:
                    with quiet_stderr():
                        return PortAudioStream(sd, chosen, rate, channels, deliver, ended)
                except (sd.PortAudioError, ValueError) as error:
                    problem = _plain(error)
        raise DeviceError(
            f'the input "{chosen.name}" cannot be opened ({problem}); close other programs that use it, '
            "or choose another with --device"
        )


class PortAudioStream:
    """One open stream of 16-bit sound, as it is kept: without dither, so that what is kept is what was heard."""

    def __init__(
        self,
        sd: Any,
        chosen: Input,
        rate_hz: int,
        channels: int,
        deliver: Callable[[npt.NDArray[np.int16], bool], None],
        ended: Callable[[], None],
    ) -> None:
        self.rate_hz, self.name = rate_hz, chosen.name
        self._closing = False

        def callback(data: Any, frames: int, time: Any, status: Any) -> None:
            deliver(data[:, 0].copy(), bool(status.input_overflow))

        def finished() -> None:
            if not self._closing:
                ended()

        self._stream = sd.InputStream(
            device=chosen.number,
            samplerate=rate_hz,
            channels=channels,
            dtype="int16",
            latency="low",
            blocksize=round(BLOCK_S * rate_hz),
            dither_off=True,
            clip_off=True,
            callback=callback,
            finished_callback=finished,
        )
        try:
            self._stream.start()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Stop it, whatever state it is in."""
        self._closing = True
        with quiet_stderr(), contextlib.suppress(Exception):
            self._stream.abort(ignore_errors=True)
        with quiet_stderr(), contextlib.suppress(Exception):
            self._stream.close(ignore_errors=True)


def portaudio_version() -> str:
    """The version of the PortAudio library. Raises DeviceError where it is missing."""
    return str(_sounddevice().get_portaudio_version()[1])


def _sounddevice() -> Any:
    try:
        with quiet_stderr():
            import sounddevice
    except (ImportError, OSError):
        raise DeviceError(NO_PORTAUDIO) from None
    return sounddevice


def _plain(error: Exception) -> str:
    return " ".join(str(error.args[0] if error.args else error).split()).removeprefix("Error opening InputStream: ")


@contextlib.contextmanager
def quiet_stderr() -> Iterator[None]:
    """Inside, what C libraries write to stderr is thrown away: PortAudio and ALSA complain of every try."""
    try:
        sys.__stderr__.flush() if sys.__stderr__ else None
        saved = os.dup(2)
        nothing = os.open(os.devnull, os.O_WRONLY)
    except OSError:
        yield
        return
    try:
        os.dup2(nothing, 2)
        yield
    finally:
        os.dup2(saved, 2)
        os.close(saved)
        os.close(nothing)
