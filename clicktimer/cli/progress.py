"""A progress bar on stderr for recordings that take a while; nothing where stderr is not a terminal."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING

from clicktimer.reporting.formatting import plain

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

PATIENCE_S = 1.0  # shorter waits need no bar


class ProgressBar:
    """Shows how far a recording has been heard, once that takes longer than a second."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._began = time.monotonic()
        self._bar: Progress | None = None
        self._task: TaskID | None = None

    def __enter__(self) -> ProgressBar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, done_s: float, total_s: float | None) -> None:
        """Take note that ``done_s`` of ``total_s`` seconds (None: not known) have been heard."""
        if self._bar is None:
            if not sys.stderr.isatty() or time.monotonic() - self._began < PATIENCE_S:
                return
            self._start()
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, completed=done_s, total=total_s)

    def _start(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        self._bar = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            TaskProgressColumn(),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            transient=True,
        )
        self._task = self._bar.add_task(f"hearing {plain(self._name)}", total=None)
        self._bar.start()
