"""The two guided tests of ``clicktimer listen``: what to ask of the person, when to go on, when it is enough."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Protocol

from clicktimer.errors import QuantityError
from clicktimer.live.session import Said, Session
from clicktimer.store.folder import Event

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
            f"{'' if not run.doubt else '; ' + run.doubt}"
        )
        if run.count >= STEADY_LEAST and state.verdict.sure:
            self.say("The verdict is sure. You may shut the tap.")
            self.done = True


REFILL_WORDS = (
    "Refill test: {count} refills; the first one does not count. For each: open one tap a little, wait for the pump to "
    "start, shut every tap at once, and wait until the pump stops. Enter moves on by hand where a click was not told; "
    "q and Enter ends the test with what there is."
)


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
    _wants: str = "cut-in"
    _done_runs: int = 0
    _cut_in_s: float = 0.0
    _after_s: float = -1.0

    def begin(self, say: Say | None = None) -> None:
        """Tell the person what to do first; ``say`` is the way to tell from now on."""
        self.say = say or self.say
        self.say(REFILL_WORDS.format(count=self.count))
        self._ask_open()

    def look(self, session: Session, said: Sequence[Said], typed: str | None) -> None:
        """Go on where a click was told, or the person says so."""
        if typed is not None and typed.casefold() == "q":
            self.done = True
            return
        if typed and self._caught(session, typed):
            typed = None
        now_s = session.engine.end_s
        hit = self._hit(session, said) if self._wants == "cut-in" else None
        if self._wants == "cut-in" and (hit is not None or typed is not None):
            self._cut_in_s = now_s if hit is None else hit
            self._after_s = self._cut_in_s
            if hit is None:
                session.mark("cut-in", "by the person's key")
            known = session.engine.order_known or hit is None
            self._wants = "shut"
            self.prompt = "SHUT EVERY TAP"
            start = "The pump has started" if known else "A click was heard. If the pump has started"
            self.say(
                f"{start}: shut EVERY tap now, then press Enter."
                if self.shut_after_s is None
                else f"{start}: every tap must be shut {self.shut_after_s:g} s after it."
            )
        elif self._wants == "shut" and self.shut_after_s is not None and now_s >= self._cut_in_s + self.shut_after_s:
            self._shut(session, self._cut_in_s + self.shut_after_s)
        elif self._wants == "shut" and typed is not None:
            self._shut(session, now_s)
        elif self._wants == "cut-out" and self._ended(session, said, typed):
            self._next(session)

    def _hit(self, session: Session, said: Sequence[Said]) -> float | None:
        """A click that is the one waited for, and later than the last one.

        Before the switch is known any click that stands out may be the start (the person sees whether it was); a stop
        is only taken when it is told, or by the key: a tap's handle clicks too.
        """
        unknown = self._wants == "cut-in" and not session.engine.order_known
        for one in said:
            if isinstance(one, Event) and one.time_s > self._after_s + 0.5:
                told = one.what in ("kind", "settled") and one.kind == self._wants
                if told or (unknown and one.what == "heard"):
                    self._after_s = one.time_s
                    return one.time_s
        return None

    def _ended(self, session: Session, said: Sequence[Said], typed: str | None) -> bool:
        hit = self._hit(session, said)
        if hit is None and typed is not None:
            session.mark("cut-out", "by the person's key")
            self._after_s = session.engine.end_s
        return hit is not None or typed is not None

    def _shut(self, session: Session, at_s: float) -> None:
        self.shut_s.append(at_s)
        session.mark("taps-shut", f"{at_s:.3f}")
        self._wants, self.prompt = "cut-out", "wait for the pump to stop"
        self.say("Every tap shut. Use no water until the pump stops.")

    def _next(self, session: Session) -> None:
        self._done_runs += 1
        if self._done_runs >= self.count:
            self.say("That was the last refill.")
            self.done = True
            return
        self.say(
            f"Refill {self._done_runs} of {self.count} is done. If you catch the next water, type how much: 5 gal."
        )
        self._wants = "cut-in"
        self._ask_open()

    def _ask_open(self) -> None:
        self.prompt = "open a tap a little"
        self.say("Open ONE tap a little and wait for the pump to start.")

    def _caught(self, session: Session, typed: str) -> bool:
        """Water that was caught before this refill, typed as a volume."""
        from clicktimer.quantities import parse_volume_l

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
    from clicktimer.site.described import describe

    given = {**system.given, "caught": tuple(texts)}
    session.options = replace(session.options, system=describe(given, origins={**system.origins, "caught": "option"}))
