"""What the person types while the program listens: read without waiting, shown in the live line, never lost."""

from __future__ import annotations

import codecs
import os
import queue
import sys
import threading
from contextlib import suppress
from typing import Any


class Keys:
    """Lines typed by the person. In a terminal that can do it the typing is not echoed, which would tear the live line
    apart: ``typing`` is what stands in the line that is not finished yet. ``close`` gives the terminal back as it was.
    """

    def __init__(self) -> None:
        self._lines: queue.Queue[str] = queue.Queue()
        self.typing = ""
        self._before: list[Any] | None = None
        self._unechoed()
        threading.Thread(target=self._read, daemon=True).start()

    def next(self) -> str | None:
        """The next line typed, or None."""
        try:
            return self._lines.get_nowait()
        except queue.Empty:
            return None

    def close(self) -> None:
        """Give the terminal back."""
        if self._before is not None:
            import termios

            with suppress(termios.error, OSError):
                termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, self._before)
            self._before = None

    def _unechoed(self) -> None:
        """Take keys one by one, without echo; Ctrl-C still ends the listening."""
        if not (sys.stdin.isatty() and sys.stderr.isatty()):
            return
        try:
            import termios
        except ImportError:  # Windows: lines, with echo
            return
        with suppress(termios.error, OSError, ValueError):
            number = sys.stdin.fileno()
            before = termios.tcgetattr(number)
            changed = termios.tcgetattr(number)
            changed[3] &= ~(termios.ICANON | termios.ECHO)
            termios.tcsetattr(number, termios.TCSADRAIN, changed)
            self._before = before

    def _read(self) -> None:
        with suppress(OSError, ValueError):
            if self._before is None:
                for line in sys.stdin:
                    self._lines.put(line.strip())
                return
            decoder = codecs.getincrementaldecoder("utf-8")("ignore")
            while data := os.read(sys.stdin.fileno(), 256):
                for letter in decoder.decode(data):
                    self._take(letter)

    def _take(self, letter: str) -> None:
        if letter in "\r\n":
            line, self.typing = self.typing.strip(), ""
            self._lines.put(line)
        elif letter in "\x7f\b":
            self.typing = self.typing[:-1]
        elif letter == "\x15":  # Ctrl-U
            self.typing = ""
        elif letter.isprintable() and len(self.typing) < 40:
            self.typing += letter
