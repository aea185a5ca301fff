"""The page of a watched project in a real Chromium: a save reaches its pixels, a mistake its words."""

from __future__ import annotations

import threading
import time

import pytest
import small_project
from axe_playwright_python.sync_playwright import Axe
from small_project import TOML

from choreo.live.watching import Watch


class Desk:
    """A watched project and its page."""

    def __init__(self, browser, folder):
        self.folder = folder
        self.watch = Watch(folder, folder / "out")
        self.thread = threading.Thread(target=self.watch.run)
        self.thread.start()
        self.asked, self.errors = [], []
        self.page = browser.new_page(viewport={"width": 1000, "height": 800})
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", lambda said: self.errors.append(said.text) if said.type == "error" else None)
        self.page.goto(self.watch.address)

    def wait(self, state, rounds):
        end = time.monotonic() + 60
        while time.monotonic() < end:
            data = self.page.evaluate("({...document.documentElement.dataset})")
            if (data.get("state"), data.get("round")) == (state, str(rounds)):
                return
            time.sleep(0.02)
        pytest.fail(f"waited for {state} of round {rounds}, saw {data}; {self.errors}")

    def save(self, toml=TOML, made=None):
        small_project.write(self.folder, toml, made)

    def pixels(self):
        return self.page.evaluate("document.getElementById('picture').toDataURL()")

    def close(self):
        self.page.close()
        self.watch.stopped.set()
        self.thread.join(10)


@pytest.fixture
def desk(browser, tmp_path):
    made = Desk(browser, small_project.write(tmp_path / "tray"))
    yield made
    made.close()


def test_a_save_reaches_the_pixels_and_a_mistake_its_words(desk):
    page = desk.page
    desk.wait("whole", 1)
    assert page.inner_text("h1") == "tray"
    page.locator("#frame").fill("8")
    before = desk.pixels()
    desk.save(TOML.replace("stagger = 2", "stagger = 5"))
    desk.wait("whole", 2)
    assert page.get_attribute("#picture", "data-frame") == "8"  # the hand stays where it was
    after = desk.pixels()
    assert before != after

    desk.save(TOML.replace('kind = "explode"', 'kind = "explod"'))
    desk.wait("failed", 3)
    said = page.inner_text("#findings")
    assert "choreography.toml, line 9" in said
    assert "explod" in said
    assert desk.pixels() == after

    desk.save()
    desk.wait("whole", 4)
    assert page.inner_text("#findings") == ""
    assert desk.pixels() == before
    page.locator("#panels button").last.click()
    assert page.get_attribute("#picture", "data-frame") != "8"

    # A shorter film, shown on a frame that is gone.
    page.locator("#frame").fill("63")
    desk.save(small_project.HEAD + small_project.BURST)
    desk.wait("whole", 5)
    assert page.get_attribute("#frame", "max") == page.get_attribute("#picture", "data-frame") == "33"
    results = Axe().run(page)
    assert not results.response["violations"], results.generate_report()
    assert desk.errors == []
    assert all(url.startswith((desk.watch.address, "data:")) for url in desk.asked)


def test_markup_in_names_and_notes_stays_text(browser, tmp_path):
    evil = '<img src=x onerror="document.title=1">'
    made = small_project.parts()
    made[1]["label"], made[1]["stand_in"] = evil, evil
    desk = Desk(browser, small_project.write(tmp_path / "a&b<i>c", made=made))
    try:
        desk.wait("whole", 1)
        assert desk.page.inner_text("h1") == "a&b<i>c"
        assert evil in desk.page.inner_text("#timing-body")
        assert desk.page.locator("img").count() == 0
        desk.save(TOML.replace('kind = "explode"', f"kind = '{evil}'"), made)
        desk.wait("failed", 2)
        assert "<img" in desk.page.inner_text("#findings")
        assert desk.page.locator("img").count() == 0
        assert desk.page.title().endswith("on the desk")
    finally:
        desk.close()
