"""10 page: what is shown -> a small web server on this computer.

It only reads, serves no sound, loads nothing from outside.

Who may ask: a browser that names the address it was reached at. A name that somebody made point here is refused, or a
page from elsewhere could read along (DNS rebinding).
"""

from __future__ import annotations

import json
import socket
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from typing import Any, Final
from urllib.parse import parse_qs, urlsplit

from clicktimer.errors import SettingsError, StoreError
from clicktimer.reporting.messages import cautions
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.web.view_state import Shown

FILES: Final = {
    "/": ("clicktimer.web", "files/page.html", "text/html"),
    "/page.css": ("clicktimer.web", "files/page.css", "text/css"),
    "/page.js": ("clicktimer.web", "files/page.js", "text/javascript"),
    "/report.css": ("clicktimer.reporting", "templates/report.css", "text/css"),
}
HEADERS: Final = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
HERE: Final = "127.0.0.1"
WAIT_S: Final = 20.0
"""A connection on which nothing is asked for so long is closed."""


class PageServer(ThreadingHTTPServer):
    """Serves the page of one folder until ``shutdown``. port 0: a free one."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, shown: Shown, *, port: int = 0, everyone: bool = False, produced: str = "") -> None:
        """Raises SettingsError where the port cannot be had."""
        self.shown, self.produced = shown, produced
        try:
            super().__init__(("0.0.0.0" if everyone else HERE, port), _Handler)
        except (OSError, OverflowError) as error:
            reason = getattr(error, "strerror", None) or error
            text = f"port {port} cannot be had ({reason}); leave --port out and a free one is taken"
            raise SettingsError(text) from None

    @property
    def port(self) -> int:
        """The port it answers on."""
        return int(self.server_address[1])

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that went away in the middle is no error of ours."""


class _Handler(BaseHTTPRequestHandler):
    server_version, sys_version = "clicktimer", ""
    timeout = WAIT_S
    server: PageServer

    def do_GET(self) -> None:
        self._answer(body=True)

    def do_HEAD(self) -> None:
        self._answer(body=False)

    def _refuse(self) -> None:
        self.close_connection = True
        self._send(405, "text/plain", b"this page can only be looked at\n", body=True, more={"Allow": "GET, HEAD"})

    do_POST = do_PUT = do_DELETE = do_PATCH = do_OPTIONS = do_TRACE = do_CONNECT = _refuse

    def _answer(self, *, body: bool) -> None:
        if self.headers.get("Host", "") not in self._names():
            self._send(403, "text/plain", b"ask by the address that clicktimer page has printed\n", body=body)
            return
        asked = urlsplit(self.path)
        if asked.path in FILES:
            package, name, kind = FILES[asked.path]
            self._send(200, kind, resources.files(package).joinpath(name).read_bytes(), body=body)
        elif asked.path == "/about.json":
            said = [cautions.LISTEN, cautions.RUNNING_ON, cautions.SWITCH]
            told: dict[str, Any] = {"cautions": said, "certificate": cautions.NO_CERTIFICATE}
            self._send_json({**told, "produced": self.server.produced}, body=body)
        elif asked.path == "/now.json":
            have = parse_qs(asked.query).get("have", [""])[-1]
            try:
                told = self.server.shown.now(int(have) if have.isascii() and have.isdigit() and len(have) < 10 else -1)
            except StoreError as error:
                told = {"error": Messages("page").text("page.cannot-read", reason=str(error))}
            self._send_json(told, body=body)
        else:
            self._send(404, "text/plain", b"there is no such page\n", body=body)

    def _names(self) -> set[str]:
        """How a browser that was told our address names it."""
        address, port = self.connection.getsockname()[:2]
        names = {address, "localhost"} if address == HERE else {address}
        return {f"{name}:{port}" for name in names} | (names if port == 80 else set())

    def _send_json(self, told: dict[str, Any], *, body: bool) -> None:
        self._send(200, "application/json", json.dumps(told, ensure_ascii=False).encode(), body=body)

    def _send(self, code: int, kind: str, content: bytes, *, body: bool, more: dict[str, str] | None = None) -> None:
        self.send_response(code)
        for name, value in {**HEADERS, **(more or {})}.items():
            self.send_header(name, value)
        self.send_header("Content-Type", f"{kind}; charset=utf-8")
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        if body:
            self.wfile.write(content)

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing: the terminal belongs to the command."""


def house_address() -> str | None:
    """This computer's address in the house's network, None where it has none. Nothing is sent."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
            s.connect(("192.0.2.1", 9))  # an address for examples (RFC 5737): only the way to it is asked for
            address = str(s.getsockname()[0])
    except OSError:
        return None
    return None if address.startswith("127.") else address
