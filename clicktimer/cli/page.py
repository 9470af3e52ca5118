"""``clicktimer page``: a listening folder as a page in the browser, while it is listened into or afterwards."""

from __future__ import annotations

import threading
import time
import webbrowser
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from clicktimer.cli.failures import MEASURED
from clicktimer.cli.listen import stopping
from clicktimer.errors import StoreError
from clicktimer.reporting.formatting import wrap
from clicktimer.units.format import UNIT_SYSTEMS

if TYPE_CHECKING:
    from clicktimer.web.server import PageServer

EVERYONE = (
    "EVERYBODY in the same network can look at this page now, without a password: it tells when water is used, and so "
    "when somebody is at home. Do this only in a network that you trust, and end it with Ctrl-C when you are done."
)
LOOK = "Nothing can be changed from the page, and no sound is served. Ctrl-C ends the page; a listening goes on."


@click.command("page", short_help="Show a listening in the browser, as it goes on or ended.")
@click.argument("folder", metavar="FOLDER")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port of this computer. [a free one]")
@click.option("--no-open", is_flag=True, help="Do not open the browser; only print the address.")
@click.option("--everyone", is_flag=True, help="Let other devices in the same network look too: a phone.")
@click.option("--units", type=click.Choice(UNIT_SYSTEMS), help="Units to write: us or metric. [as it was listened]")
def page_command(folder: str, port: int, no_open: bool, everyone: bool, units: str | None) -> int:
    """Show a listening folder as a page in the browser.

    It shows what clicktimer listen keeps in FOLDER, while it listens in another
    terminal or after it has ended: the pump's state, the runs, the verdict, warnings.
    Only this computer can see it, unless --everyone is given. Ctrl-C ends it.
    """
    from clicktimer import __version__
    from clicktimer.web.server import HERE, PageServer, house_address
    from clicktimer.web.view_state import Shown

    path = Path(folder)
    if not path.is_dir():
        raise StoreError(f"{folder} is no folder; give the one that clicktimer listen has printed")
    shown = Shown(path, "metric" if units == "metric" else "us" if units == "us" else None)
    try:
        shown.now()  # what is wrong with the folder is said here
        server = PageServer(shown, port=port, everyone=everyone, produced=f"clicktimer {__version__}")
        try:
            address = f"http://{HERE}:{server.port}/"
            click.echo(address)
            if everyone:
                there = house_address()
                where = "" if there is None else f" From another device: http://{there}:{server.port}/"
                for line in wrap(EVERYONE + where, "! "):
                    click.echo(line, err=True)
            for line in wrap(LOOK):
                click.echo(line, err=True)
            _serve(server, None if no_open else address)
        finally:
            server.server_close()
    finally:
        shown.close()
    return MEASURED


def _serve(server: PageServer, to_open: str | None) -> None:
    """Serve until Ctrl-C or a signal to end."""
    with stopping() as stop:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True)
        thread.start()
        if to_open is not None:
            with suppress(webbrowser.Error):
                webbrowser.open(to_open)
        while not stop:
            time.sleep(0.1)
        server.shutdown()
        thread.join()
