"""Stage 1: sound in. Recordings (and later the microphone) become blocks of mono sound with times and gaps."""

from clicktimer.audio.containers import parse_started
from clicktimer.audio.files import Recording, RecordingInfo, open_recording
from clicktimer.audio.joining import JoinedRecording, joined
from clicktimer.audio.wav_writer import write_sound

__all__ = [
    "JoinedRecording",
    "Recording",
    "RecordingInfo",
    "joined",
    "open_recording",
    "parse_started",
    "write_sound",
]
