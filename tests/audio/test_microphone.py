"""The microphone with made-up devices and clocks: every loss is a gap with its length, every trouble is said."""

from __future__ import annotations

import numpy as np
import pytest

from clicktimer.audio import inputs
from clicktimer.audio.inputs import Input, choose
from clicktimer.audio.microphone import BACK_OFF_S, HUNG_S, QUIET_S, DeviceNote, Microphone
from clicktimer.errors import DeviceError
from clicktimer.records import Block
from tests.support.live_parts import FakeBackend, FakeClock

RATE = 48_000


class Bench:
    """A microphone whose device and clock are in our hands."""

    def __init__(self, **more: object) -> None:
        self.clock, self.backend = FakeClock(), FakeBackend()
        self.microphone = Microphone(backend=self.backend, clock=self.clock, **more)  # type: ignore[arg-type]
        self.sent = 0
        self.got: list[Block] = []
        self.notes: list[DeviceNote] = []

    def play(self, seconds: float, *, late_s: float = 0.0, overflow: bool = False) -> None:
        """Send sound in pieces of 50 ms as time goes by; late: all of it arrives in one burst after that."""
        self.clock.now_s += late_s
        for number in range(round(seconds / 0.05)):
            if not late_s:
                self.clock.now_s += 0.05
            samples = (np.arange(self.sent, self.sent + RATE // 20) % 30_000).astype(np.int16)
            self.sent += len(samples)
            self.backend.streams[-1].deliver(samples, overflow and number == 0)
            self.read()

    def read(self, times: int = 1) -> None:
        for _ in range(times):
            got = self.microphone.read(0.0)
            if isinstance(got, Block):
                self.got.append(got)
            elif got is not None:
                self.notes.append(got)

    def finish(self) -> None:
        self.read(50)

    @property
    def codes(self) -> list[str]:
        return [note.code for note in self.notes]

    @property
    def gaps(self) -> list[tuple[float, float | None]]:
        return [(b.gap_before.from_s, b.gap_before.to_s) for b in self.got if b.gap_before is not None]


def test_sound_without_trouble_is_handed_on_sample_for_sample():
    bench = Bench()
    bench.play(3.0)
    bench.finish()
    sound = np.concatenate([b.samples for b in bench.got]) * 32768.0
    assert (sound == np.arange(3 * RATE) % 30_000).all()
    starts = [b.start_s for b in bench.got]
    assert starts == pytest.approx(np.arange(len(starts)) * 0.05)
    assert (bench.notes, bench.gaps) == ([], [])


def test_a_device_that_goes_and_comes_back_leaves_a_gap_of_the_time_it_was_gone():
    bench = Bench()
    bench.play(2.0)
    bench.backend.away = True
    bench.backend.streams[-1].ended()
    bench.finish()
    assert bench.codes == ["gone"]
    assert bench.backend.streams[0].closed
    bench.clock.now_s += 20.0
    bench.read(5)
    bench.backend.away = False
    bench.clock.now_s += BACK_OFF_S[-1]
    began_s = bench.clock.now_s
    bench.read()
    bench.play(1.0)
    bench.finish()
    assert bench.codes == ["gone", "back"]
    (gap,) = bench.gaps
    assert gap[0] == pytest.approx(2.0)
    # The clock stood at 1002 s when the last block came, and at began_s when the first new one began.
    assert gap[1] == pytest.approx(2.0 + began_s - 1002.0, abs=0.001)
    assert bench.got[-1].start_s + 0.05 == pytest.approx(gap[1] + 1.0)


def test_it_is_tried_again_with_growing_pauses():
    bench = Bench()
    bench.play(0.2)
    bench.backend.away = True
    bench.backend.streams[-1].ended()
    tried = []
    for _ in range(2000):
        before = bench.backend.tries
        bench.microphone.read(0.05)
        if bench.backend.tries > before:
            tried.append(bench.clock.now_s)
    pauses = np.diff(tried)
    assert pauses[:4] == pytest.approx(BACK_OFF_S[:4], abs=0.11)
    assert pauses.max() == pytest.approx(BACK_OFF_S[-1], abs=0.11)


def test_a_hung_driver_is_said_and_what_comes_late_in_a_burst_is_no_loss():
    bench = Bench()
    bench.play(2.0)
    bench.clock.now_s += QUIET_S + 0.1
    bench.read()
    assert bench.codes == ["silent"]
    bench.play(QUIET_S + 0.1 + 0.05, late_s=0.05)
    bench.play(2.0)
    bench.finish()
    assert bench.gaps == []
    assert sum(len(b.samples) for b in bench.got) == bench.sent
    assert [b.start_s for b in bench.got] == sorted(b.start_s for b in bench.got)


def test_sound_that_never_comes_after_a_stall_is_a_gap_of_its_length():
    bench = Bench()
    bench.play(2.0)
    bench.clock.now_s += 5.0  # the machine slept: no callback, and nothing is made good
    bench.play(3.0)
    bench.finish()
    assert bench.gaps == [(pytest.approx(2.0), pytest.approx(7.0, abs=0.06))]
    assert bench.codes == ["slept"]
    assert bench.got[-1].start_s + len(bench.got[-1].samples) / RATE == pytest.approx(10.0, abs=0.06)


def test_a_stream_that_sends_nothing_for_long_is_opened_anew():
    bench = Bench()
    bench.play(1.0)
    bench.clock.now_s += HUNG_S + 0.1
    bench.read(3)
    assert "again" in bench.codes
    bench.clock.now_s += 1.0
    bench.read(2)
    assert len(bench.backend.streams) == 2
    bench.play(1.0)
    bench.finish()
    assert bench.gaps == [(pytest.approx(1.0), pytest.approx(1.0 + HUNG_S + 1.1, abs=0.01))]


def test_sound_that_the_driver_threw_away_is_a_gap_of_unknown_length():
    bench = Bench()
    bench.play(1.0)
    bench.play(1.0, overflow=True)
    bench.finish()
    assert bench.gaps == [(pytest.approx(1.0), None)]
    assert bench.codes == ["overflow"]


def test_a_queue_that_nobody_empties_drops_sound_and_counts_it():
    bench = Bench()
    bench.play(1.0)
    bench.finish()
    second = np.zeros(RATE, np.int16)
    for _ in range(150):  # two and a half minutes while we were not looking; two fit
        bench.clock.now_s += 1.0
        bench.backend.streams[-1].deliver(second, False)
    bench.finish()
    bench.read(300)
    bench.play(1.0)
    bench.finish()
    assert "dropped" in bench.codes
    lost = [to_s - from_s for from_s, to_s in bench.gaps if to_s is not None]
    heard_s = sum(len(b.samples) for b in bench.got) / RATE
    assert heard_s + sum(lost) == pytest.approx(152.0, abs=0.5)
    assert sum(lost) == pytest.approx(29.0, abs=2.0)


def test_a_resumed_listening_begins_where_it_left_off():
    from clicktimer.records import Gap

    bench = Bench(start_s=100.0, gap_before=Gap(90.0, 100.0, "nobody listened"))
    bench.play(1.0)
    bench.finish()
    assert bench.got[0].start_s == 100.0
    assert bench.gaps == [(90.0, 100.0)]


def test_without_a_device_it_is_one_clear_sentence():
    backend = FakeBackend()
    backend.away = True
    with pytest.raises(DeviceError, match="no sound input was found"):
        Microphone(backend=backend, clock=FakeClock())


INPUTS = [
    Input(0, "Built-in Microphone", "Made Up", 1, 44_100, False),
    Input(3, "Long Lead: USB Audio", "Made Up", 2, 48_000, True),
    Input(5, "Long Lead: Line", "Made Up", 2, 48_000, False),
]


@pytest.mark.parametrize(("wanted", "number"), [(None, 3), ("built", 0), ("5", 5), ("LONG LEAD: LINE", 5), ("usb", 3)])
def test_an_input_is_found_by_number_name_or_part(wanted: str | None, number: int):
    assert choose(INPUTS, wanted).number == number


def test_an_input_that_is_not_there_or_not_clear_is_said_with_what_there_is():
    with pytest.raises(DeviceError, match=r"several inputs fit .*3: .*5: "):
        choose(INPUTS, "long lead")
    with pytest.raises(DeviceError, match=r"no input fits .*Built-in"):
        choose(INPUTS, "banana")
    with pytest.raises(DeviceError, match="no sound input was found"):
        choose([], None)


def test_without_portaudio_the_package_is_named(monkeypatch: pytest.MonkeyPatch):
    import sys

    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(DeviceError, match="libportaudio2"):
        inputs.inputs()
