"""The two guided tests of ``clicktimer listen``: what to ask of the person, when to go on, when it is enough."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal, Protocol

from clicktimer.errors import QuantityError
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.storage.batch import Event
from clicktimer.streaming.refill_test import REFILL_TEST, TAPS_SHUT
from clicktimer.streaming.session import Said, Session
from clicktimer.streaming.state import SAME_S

Say = Callable[[str], None]
STEADY_LEAST: Final = 3


class Guide(Protocol):
    """A guided test: told of everything that is said and typed; ``done`` when it is enough."""

    done: bool
    prompt: str

    def begin(self, say: Say | None = None) -> None:
        """Tell the person what to do first; ``say`` is the way to tell from now on."""

    def look(self, session: Session, said: Sequence[Said], typed: str | None) -> None:
        """Go on, if it is time."""


STEADY_WORDS = (
    "Steady-tap test. Open ONE tap to a steady flow, well under half of what the pump gives: a bath tap half open, no "
    "garden hose. Leave it alone, use no other water, and go away. Every cycle gives one more estimate of the run "
    "with no water in use, whichever click is which. It ends by itself when the verdict is sure; Ctrl-C ends it too."
)


@dataclass
class SteadyTap:
    """Tells r0 with its interval after every cycle; done when the verdict is sure."""

    say: Say
    done: bool = False
    prompt: str = "steady tap"
    _told: tuple[int, float] = (0, 0.0)

    def begin(self, say: Say | None = None) -> None:
        """Tell the person what to do first; ``say`` is the way to tell from now on."""
        self.say = say or self.say
        self.say(STEADY_WORDS)

    def look(self, session: Session, said: Sequence[Said], typed: str | None) -> None:
        """After a click was told: what the cycles give by now."""
        if typed in ("q", "Q"):
            self.done = True
        if not any(isinstance(one, Event) and one.what in ("kind", "withdrawn") for one in said):
            return
        state = session.state()
        run = state.run
        if run is None or run.how != "steady tap" or (run.count, round(run.seconds, 2)) == self._told:
            return
        self._told = (run.count, round(run.seconds, 2))
        self.say(
            f"after {run.count} cycles: run with no water in use {run.seconds:.1f} s, "
            f"{run.low_s:.1f} to {run.high_s:.1f} s"
            f"{'; ' + Messages().texts(run.doubts) if run.doubted else ''}"
        )
        if run.count >= STEADY_LEAST and state.verdict.sure:
            self.say("The verdict is sure. You may shut the tap.")
            self.done = True


REFILL_WORDS = (
    "Refill test: {count} refills; {first}. For each: open one tap a little, wait for the pump to "
    "start, shut every tap at once, and wait until the pump stops. Enter moves on by hand where a click was not told; "
    "q and Enter ends the test with what there is."
)
LEAST_WITHOUT_FIRST: Final = 3
"""Of so many refills or more the first is left out of the run (see run_time.py)."""
NOT_UNDERSTOOD = (
    '"{typed}" is not understood, and nothing was marked. Enter alone moves on; 5 gal or 20 l and Enter notes water '
    "that was caught; q and Enter ends the test."
)
UNMARKED = (
    "The pump has stopped, and it was not marked when the taps were shut: this refill is left out, and another one "
    "takes its place. Press Enter at the moment when the last tap is shut."
)
SURE_S: Final = 3.0
"""So long after a click its kind is told, where it can be told at all."""
AGAIN_S: Final = 0.5
"""A click so soon after another one is chatter."""


@dataclass
class Refill:
    """Leads through open, cut-in, shut, cut-out; marks the moment of shutting. shut_after_s: instead of a key."""

    say: Say
    count: int
    shut_after_s: float | None = None
    done: bool = False
    prompt: str = ""
    shut_s: list[float] = field(default_factory=list)
    caught: list[tuple[float, str]] = field(default_factory=list)
    """When a volume was typed, in seconds of the sound, and the volume."""
    _wants: Literal["cut-in", "shut", "cut-out"] = "cut-in"
    _done_runs: int = 0
    _start_s: float = 0.0
    _start_told: bool = False
    """Whether the start is known as one; else it is a click that stood out, and may be anything."""
    _stop_s: float = -1.0
    _noted: bool = False

    def begin(self, say: Say | None = None) -> None:
        """Tell the person what to do first; ``say`` is the way to tell from now on."""
        self.say = say or self.say
        few = self.count < LEAST_WITHOUT_FIRST
        first = "with so few all of them count" if few else "the first one does not count"
        self.say(REFILL_WORDS.format(count=self.count, first=first))
        self._ask_open()

    def look(self, session: Session, said: Sequence[Said], typed: str | None) -> None:
        """Go on where a click was told, or the person says so."""
        if not self._noted:
            self._noted = True
            session.mark(REFILL_TEST, f"{self.count} refills")
        if typed is not None and typed.casefold() == "q":
            self.done = True
            return
        for one in said:
            if isinstance(one, Event) and not self.done:
                self._hear(session, one)
        if typed and not self.done:
            if not self._caught(session, typed):
                self.say(NOT_UNDERSTOOD.format(typed=typed))
        elif typed is not None and not self.done:
            self._by_hand(session)
        if self._wants == "shut" and self.shut_after_s is not None:
            wait_s = self.shut_after_s if self._start_told else max(self.shut_after_s, SURE_S)
            if session.engine.end_s >= self._start_s + wait_s:
                self._shut(session, self._start_s + self.shut_after_s)

    def _hear(self, session: Session, event: Event) -> None:
        """What an event means for the step that is waited for.

        Before the switch is known any click that stands out may be the start (the person sees whether it was), until
        another is told as the start or this one is taken back. A stop is only taken when it is told, or by the key: a
        tap's handle clicks too.
        """
        told = event.kind if event.what in ("kind", "settled") else None
        later = event.time_s > self._stop_s + AGAIN_S
        this_start = self._wants != "cut-in" and abs(event.time_s - self._start_s) <= SAME_S
        if self._wants == "cut-in":
            if later and (told == "cut-in" or (event.what == "heard" and not session.engine.order_known)):
                self._started(session, event.time_s, told=told == "cut-in")
        elif this_start:
            self._start_told |= told == "cut-in"
            if event.what == "withdrawn" and not self._start_told:
                self._wants, self._stop_s = "cut-in", event.time_s
                self.say("That click was not the pump.")
                self._ask_open()
        elif told == "cut-in" and later and not self._start_told:
            marked = self._wants == "cut-out" and self.shut_s[-1] >= event.time_s
            self._start_s, self._start_told = event.time_s, True
            if not marked:
                self._started(session, event.time_s, told=True)
        elif told == "cut-out" and event.time_s > self._start_s + AGAIN_S:
            self._stop_s = event.time_s
            self._next(counts=self._wants == "cut-out")

    def _by_hand(self, session: Session) -> None:
        """Enter alone: what is waited for is so now."""
        now_s = session.engine.end_s
        if self._wants == "cut-in":
            session.mark("cut-in", "by the person's key")
            self._started(session, now_s, told=True)
        elif self._wants == "shut":
            self._shut(session, now_s)
        else:
            session.mark("cut-out", "by the person's key")
            self._stop_s = now_s
            self._next(counts=True)

    def _started(self, session: Session, at_s: float, *, told: bool) -> None:
        self._start_s, self._start_told = at_s, told
        self._wants, self.prompt = "shut", "SHUT EVERY TAP"
        start = "The pump has started" if told else "A click was heard. If the pump has started"
        self.say(
            f"{start}: shut EVERY tap now, then press Enter."
            if self.shut_after_s is None
            else f"{start}: every tap must be shut {self.shut_after_s:g} s after it."
        )

    def _shut(self, session: Session, at_s: float) -> None:
        self.shut_s.append(at_s)
        session.mark(TAPS_SHUT, f"{at_s:.3f}")
        self._wants, self.prompt = "cut-out", "wait for the pump to stop"
        self.say("Every tap shut. Use no water until the pump stops.")

    def _next(self, *, counts: bool) -> None:
        self._wants = "cut-in"
        if not counts:
            self.say(UNMARKED)
            self._ask_open()
            return
        self._done_runs += 1
        if self._done_runs >= self.count:
            self.say("That was the last refill.")
            self.done = True
            return
        self.say(
            f"Refill {self._done_runs} of {self.count} is done. If you catch the next water, type how much: 5 gal."
        )
        self._ask_open()

    def _ask_open(self) -> None:
        self.prompt = "open a tap a little"
        self.say("Open ONE tap a little and wait for the pump to start.")

    def _caught(self, session: Session, typed: str) -> bool:
        """Water that was caught before this refill, typed as a volume."""
        from clicktimer.units.parse import parse_volume_l

        try:
            parse_volume_l(typed)
        except QuantityError:
            return False
        if not self._done_runs:
            self.say(
                f"{typed} is not used: before the first refill the tank was not full. Catch the water between a stop "
                "of the pump and its next start."
            )
            return True
        self.caught.append((session.engine.end_s, typed))
        session.mark("caught", typed)
        self.say(f"Noted: {typed} caught before refill {self._done_runs + 1}.")
        return True


def with_caught(guide: Refill, session: Session) -> None:
    """Give the volumes that were typed, each with the refill after it, to the measurement as if by ``--caught``."""
    system = session.options.system
    cycles = session.state().cycles
    texts = []
    for typed_s, volume in guide.caught:
        # Typed before the run or during it: the run that ends next, and only where nothing of it is missing.
        after = [c for c in cycles if (c.cut_out_s or c.cut_in_s or 0.0) > typed_s]
        if after and after[0].complete and after[0].run_s is not None:
            texts.append(f"{volume} in {after[0].run_s:.2f} s")
    if not texts or system is None or "caught" in system.given or "pump_rate" in system.given:
        return
    from clicktimer.site.options import describe

    given = {**system.given, "caught": tuple(texts)}
    session.options = replace(session.options, system=describe(given, origins={**system.origins, "caught": "option"}))
