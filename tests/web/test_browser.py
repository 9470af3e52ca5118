"""The page of a listening in a real browser: it goes on by itself, and an outside judge finds it readable."""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path

import pytest

from clicktimer.storage.batch import Batch, Event
from clicktimer.storage.writer import Folder
from tests.support.page_parts import hour, served

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="the browser chromium is absent")


@needs_browser
@pytest.mark.slow
def test_a_real_browser_shows_it_as_it_goes_on_and_everybody_can_read_it(tmp_path: Path):  # noqa: PLR0915
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    place = Folder.create(tmp_path / "L", {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    with served(tmp_path / "L") as server, sync_playwright() as player:
        address = f"http://127.0.0.1:{server.port}/"
        browser = player.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page()
        said: list[str] = []
        asked_for: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked_for.append(request.url))
        page.goto(address)
        page.wait_for_selector("#pump")
        hour(place, 3)
        running = Event(182.0, "kind", 180.0, "cut-in", 0.99, 12.0, "", 0.0005)
        place.commit(Batch(end_s=184.0, events=[running]))
        page.get_by_role("heading", name="The pump is running", exact=True).wait_for(timeout=5000)
        first = page.inner_text("#watch")
        time.sleep(1.5)
        assert page.inner_text("#watch") != first
        assert re.fullmatch(r"0:\d\d", first)
        assert page.locator("#runs tr").count() == 4
        assert page.inner_text("#last-run") == "20.00 s"
        assert page.inner_text("#spoken") == "Run 3 is settled: 20.00 s."
        assert page.locator("#strip svg path.settled").count() == 1
        place.commit(Batch(end_s=185.0, log=[(185.0, "short-cycling", "short cycling: 2 runs under 30 s")]))
        page.wait_for_selector("[role=alert].warning", timeout=5000)
        page.evaluate("document.querySelector('.warning').dataset.same = 'yes'")
        place.commit(Batch(end_s=200.0))  # the strip has moved on; what is read aloud must stay as it is
        page.get_by_text(re.compile(r"^3 min 2\d s$")).wait_for(timeout=5000)
        assert page.locator(".warning[data-same=yes]").count() == 1
        assert [u for u in asked_for if not u.startswith((address, "data:"))] == []
        assert said == []
        for scheme in ("light", "dark"):
            for width in (1200, 390):
                context = browser.new_context(
                    color_scheme="dark" if scheme == "dark" else "light",
                    viewport={"width": width, "height": 800},
                    bypass_csp=True,
                )
                judged = context.new_page()
                judged.goto(address)
                judged.wait_for_selector("#runs tr")
                found = Axe().run(judged)
                assert found.violations_count == 0, found.generate_report()
                assert len(found.response["passes"]) > 15, "it has looked at little"
                wider = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
                assert judged.evaluate(wider) == 0, "it has to be moved sideways"
                context.close()
        server.shutdown()
        server.server_close()
        page.wait_for_selector("#lost", timeout=15000)
        assert "Connection lost" in page.inner_text("#lost")
        assert "What is shown is as of" in page.inner_text("#lost")
        browser.close()
    place.close()
