"""A real Chromium for the review page; without one these tests are skipped, which CI does not allow."""

from __future__ import annotations

import shutil
import sys
from dataclasses import dataclass, field
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).resolve().parents[1] / "picture"))  # the small film lies there

ARGUMENTS = [
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--disable-gpu",
    "--hide-scrollbars",
    "--force-color-profile=srgb",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def chromium_path():
    return next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser():
    path = chromium_path()
    if path is None:
        pytest.skip("there is no Chromium here (Debian: apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


@dataclass
class Opened:
    """A page in the browser, what it asked for, and what went wrong in it."""

    page: object
    asked: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def frame(self):
        return int(self.page.get_attribute("#picture", "data-frame"))

    def go(self, frame):
        """Scrub to a frame, as a hand on the slider does."""
        self.page.locator("#frame").fill(str(frame))

    def saved(self, button):
        """Press a button that saves a file, and return the file's path."""
        with self.page.expect_download() as download:
            self.page.locator(button).click()
        return Path(download.value.path())


@pytest.fixture
def opened(browser):
    """Opens a page from the disk, as out of a mail, in a context of its own in which nothing may be fetched."""
    contexts = []

    def open_page(path, **how):
        context = browser.new_context(**{"viewport": {"width": 1100, "height": 800}, **how})
        contexts.append(context)
        page = context.new_page()
        found = Opened(page)

        def seen(route):
            found.asked.append(route.request.url)
            route.continue_() if route.request.url.startswith("file:") else route.abort()

        context.route("**/*", seen)
        page.on("pageerror", lambda error: found.errors.append(str(error)))
        page.on("console", lambda said: found.errors.append(said.text) if said.type == "error" else None)
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready]")
        return found

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def tin_page(tmp_path_factory):
    """The page of the small film, with three sections."""
    from small_page import page_of_tin

    path = tmp_path_factory.mktemp("page") / "page.html"
    path.write_text(page_of_tin(), encoding="utf-8")
    return path
