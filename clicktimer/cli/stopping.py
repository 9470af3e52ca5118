"""The first Ctrl-C ends the hearing and what was heard is measured; the second one leaves at once."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from clicktimer.errors import StopHearingError
from clicktimer.settings import Progress


class Wish:
    """Whether the user has asked to stop. Interrupting at any point would leave the detector's memory half updated."""

    asked = False

    def watched(self, progress: Progress) -> Progress:
        """Return ``progress`` so that it ends the hearing, between two blocks, once the user has asked."""

        def call(done_s: float, total_s: float | None) -> None:
            progress(done_s, total_s)
            if self.asked:
                raise StopHearingError

        return call


@contextmanager
def user_may_stop(wish: Wish) -> Iterator[None]:
    """Inside, the first Ctrl-C is only noted; the second raises KeyboardInterrupt as usual."""

    def note(_signal: int, _frame: FrameType | None) -> None:
        wish.asked = True
        signal.signal(signal.SIGINT, before)

    try:
        before = signal.signal(signal.SIGINT, note) or signal.SIG_DFL  # None: set by something that is not Python
    except ValueError:  # not the main thread: there is no Ctrl-C to catch
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
