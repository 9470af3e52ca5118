"""Says what is waited for while the detector is compiled: once after installing, never while that is cached."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import click

PREPARING = "clicktimer: preparing the detector, once after installing or an update; it takes 5 to 30 seconds"


@contextmanager
def compiling_is_told() -> Iterator[None]:
    """Inside, the first compilation puts one line on stderr. What is read from numba's cache compiles nothing."""
    from numba.core.event import Listener, install_listener

    class Teller(Listener):
        """Told once, at the first of the loops."""

        told = False

        def on_start(self, event: Any) -> None:
            if not self.told:
                self.told = True
                click.echo(PREPARING, err=True)

        def on_end(self, event: Any) -> None:
            """Say nothing: the loops come one after another, and the result follows."""

    with install_listener("numba:compile", Teller()):
        yield
