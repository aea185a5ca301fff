"""The page in a real Chromium: it plays, pauses, scrubs, steps, repeats, and says little while it does."""

from __future__ import annotations

from dataclasses import replace

import pytest
from playwright.sync_api import expect
from small_film import BURST, shot
from small_page import SECTIONS, page_film, page_of_tin

from choreo.model.choreography import FrameRate
from choreo.model.tracks import FilmSection
from choreo.motion.timecode import timecode
from choreo.picture.page.document import page_html


def watched(opened, seconds):
    """Frames that were shown, in turn, while some time went by."""
    seen = opened.page.evaluate(
        """(ms) => new Promise((done) => {
          const canvas = document.getElementById("picture");
          const seen = [Number(canvas.dataset.frame)];
          const watcher = new MutationObserver(() => {
            const frame = Number(canvas.dataset.frame);
            if (frame !== seen[seen.length - 1]) seen.push(frame);
          });
          watcher.observe(canvas, { attributes: true, attributeFilter: ["data-frame"] });
          setTimeout(() => { watcher.disconnect(); done(seen); }, ms);
        })""",
        round(seconds * 1000),
    )
    assert opened.errors == []
    return seen


def test_nothing_plays_until_it_is_asked_to(opened, tin_page):
    assert watched(opened(tin_page), 0.4) == [0]


def rate_of(opened, seconds):
    """Frames a second, by the browser's own clock, up to where the film begins again."""
    times = opened.page.evaluate(
        """(ms) => new Promise((done) => {
          const canvas = document.getElementById("picture");
          const seen = [];
          const note = () => {
            const frame = Number(canvas.dataset.frame);
            if (seen.length && frame < seen[seen.length - 1][1]) watcher.disconnect();
            else seen.push([performance.now(), frame]);
          };
          const watcher = new MutationObserver(note);
          watcher.observe(canvas, { attributes: true, attributeFilter: ["data-frame"] });
          document.getElementById("play").click();
          setTimeout(() => { watcher.disconnect(); done(seen); }, ms);
        })""",
        round(seconds * 1000),
    )
    (start, first), (end, last) = times[0], times[-1]
    assert [frame for _, frame in times] == sorted(frame for _, frame in times)
    return (last - first) / (end - start) * 1000


@pytest.mark.parametrize(("speed", "share"), [("1", 1), ("0.25", 0.25)])
def test_it_plays_at_its_rate(opened, tin_page, speed, share):
    one = opened(tin_page)
    one.page.select_option("#speed", speed)
    # 24000/1001 frames a second. A busy machine shows fewer pictures, and some late, but never runs fast or slow.
    assert rate_of(one, 1.4) == pytest.approx(23.976 * share, rel=0.25)


def test_it_pauses(opened, tin_page):
    one = opened(tin_page)
    one.page.click("#play")
    assert one.page.inner_text("#play") == "Pause"
    watched(one, 0.2)
    one.page.click("#play")
    assert one.page.inner_text("#play") == "Play"
    assert len(set(watched(one, 0.3))) == 1


def test_scrub_and_step(opened, tin_page):
    one = opened(tin_page)
    one.go(13)
    assert one.frame() == 13
    one.page.click("#on")
    one.page.click("#on")
    assert one.frame() == 15
    one.page.click("#back")
    assert one.frame() == 14
    assert one.page.inner_text(".read-out").split("\n") == ["Frame 14", "00:00:00:14", "rest"]
    one.go(0)
    one.page.click("#back")
    assert one.frame() == 0
    one.go(49)
    one.page.click("#on")
    assert one.frame() == 49


def test_a_section_repeats_and_rests_before_it_does(opened, tin_page):
    one = opened(tin_page)
    one.page.click("text=Play rest")
    seen = watched(one, 2.6)
    assert set(seen) <= set(range(SECTIONS[1].first, SECTIONS[1].last + 1))
    assert seen.count(SECTIONS[1].last) >= 1
    assert seen.index(SECTIONS[1].last) < len(seen) - 1, "it begins again"
    # 13 frames and half a second of rest take 1.04 s: never more than three times a second, however short a section.
    assert seen.count(SECTIONS[1].first) <= 3


def test_without_repeating_it_ends_on_the_last_frame(opened, tin_page):
    one = opened(tin_page)
    one.page.select_option("#repeat", "none")
    one.go(40)
    one.page.click("#play")
    expect(one.page.locator("#play")).to_have_text("Play")
    assert one.frame() == 49
    one.page.click("#play")
    assert one.frame() < 30, "it starts over"


def test_a_panel_leads_to_its_frame(opened, tin_page):
    one = opened(tin_page)
    button = one.page.locator("button[data-goes]").nth(2)
    button.click()
    assert one.frame() == int(button.get_attribute("data-goes")) > 0


def test_a_screen_reader_hears_a_frame_once_things_have_settled(opened, tin_page):
    one = opened(tin_page)
    one.go(13)
    one.go(20)
    assert one.page.inner_text("#heard") == ""
    expect(one.page.locator("#heard")).to_have_text("Frame 20, 00:00:00:20, rest")
    assert one.page.get_attribute("#frame", "aria-valuetext") == "Frame 20, 00:00:00:20, rest"
    one.page.click("#play")
    watched(one, 0.8)
    assert one.page.text_content("#heard") == "Frame 20, 00:00:00:20, rest", "nothing is said while it runs"


def test_the_charts_follow_the_frame(opened, tin_page):
    one = opened(tin_page)
    one.go(30)
    at = one.page.eval_on_selector_all("line.now", "all => all.map(one => [one.dataset.start, one.getAttribute('x1')])")
    assert {(start, x) for start, x in at} == {("0", "30.5"), ("26", "4.5")}


def test_the_picture_is_as_sharp_as_the_screen(opened, tin_page):
    one = opened(tin_page, viewport={"width": 390, "height": 800}, device_scale_factor=1.5)
    expect(one.page.locator("#picture")).to_have_attribute("width", "585")
    one.page.set_viewport_size({"width": 900, "height": 800})
    # No larger than the film is: 640 px.
    expect(one.page.locator("#picture")).to_have_attribute("width", "640")


@pytest.mark.parametrize("rate", [(30000, 1001), (25, 1), (120, 1)])
def test_timecode_is_that_of_the_standard(opened, tmp_path, rate):
    # Long enough for a minute at 30000/1001, at whose end two numbers are dropped (SMPTE ST 12-1).
    film = page_film()
    long = (shot("burst", "explode", BURST, 1830, 0, 0.0),)
    whole = (FilmSection("whole", 0, 1829),)
    tracks = replace(film.tracks, frame_rate=rate, shots=long, sections=whole)
    report = replace(film.report, shots=film.report.shots[:1])
    path = tmp_path / "page.html"
    path.write_text(page_html(replace(film, tracks=tracks, report=report, contents={"whole": ""})), encoding="utf-8")
    one = opened(path)
    for frame in (0, 24, 29, 119, 120, 1799, 1800, 1829):
        one.go(frame)
        assert one.page.inner_text("#code") == timecode(frame, FrameRate(*rate))


def test_the_same_film_gives_the_same_bytes():
    assert page_of_tin() == page_of_tin()
