"""Nothing leaves the page, nothing but its own script runs in it, and everybody can use it."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace

import pytest
from axe_playwright_python.sync_playwright import Axe
from small_page import CONTENTS, SECTIONS, page_film, page_of_tin

from choreo.errors import Finding
from choreo.picture.page.document import page_html

MARKUP = (
    '</script></style><img src="http://example.com/x" onerror="window.hit=1"><script>window.hit=1</script>\'"&\u202e'
)


def hostile():
    """The tin with markup wherever words of a project come from."""
    film = page_film()
    parts = tuple(
        replace(part, label=f"{part.label}{MARKUP}", stand_in=MARKUP if part.id == "knob" else None)
        for part in film.assembly.parts
    )
    shots = tuple(replace(shot, name=shot.name + MARKUP) for shot in film.tracks.shots)
    sections = tuple(replace(one, name=one.name + MARKUP) for one in SECTIONS)
    warning = Finding("x", MARKUP, file=MARKUP, why=MARKUP, remedy=MARKUP, severity="warning")
    reports = tuple(
        replace(
            one,
            name=one.name + MARKUP,
            parts=tuple(
                replace(part, moves=tuple(replace(move, wish=move.wish + 1, reason=MARKUP) for move in part.moves))
                for part in one.parts
            ),
        )
        for one in film.report.shots
    )
    return replace(
        film,
        assembly=replace(film.assembly, name=MARKUP, parts=parts),
        tracks=replace(film.tracks, shots=shots, sections=sections),
        report=replace(film.report, shots=reports, warnings=(warning,)),
        contents={one.name + MARKUP: CONTENTS[one.name] for one in SECTIONS},
    )


def test_markup_in_labels_notes_and_names_stays_words(opened, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(page_html(hostile()), encoding="utf-8")
    one = opened(path)
    for frame in (0, 13, 49):
        one.go(frame)
    assert one.page.evaluate("window.hit") is None
    assert one.page.locator("img").count() == 0
    assert one.page.locator("script").count() == 3
    assert one.page.locator("style").count() == 1
    shown = MARKUP.replace("\u202e", "")
    assert one.page.inner_text("h1") == shown
    assert one.page.locator(".part-name").first.inner_text().endswith(shown)
    assert one.page.inner_text("#where").endswith("\u202e")  # out of the data: text of an element of its own
    assert [url for url in one.asked if not url.startswith("file:")] == []
    assert one.errors == []


def test_nothing_is_asked_for(opened, tin_page):
    one = opened(tin_page, accept_downloads=True)
    one.go(20)
    one.page.click("#play")
    one.page.get_by_label("Your name").fill("Ada")
    one.saved("#save")
    one.saved("#keep")
    assert one.asked == [tin_page.as_uri()]


def test_the_policy_forbids_what_could_be_asked_for(opened, tin_page):
    one = opened(tin_page)
    tried = one.page.evaluate(
        """async () => {
          const out = [];
          try { await fetch("http://127.0.0.1:9/"); out.push("fetched"); } catch { out.push("no"); }
          const script = document.createElement("script");
          script.textContent = "window.hit = 1";
          document.body.append(script);
          const picture = document.createElement("img");
          await new Promise((done) => {
            picture.onerror = picture.onload = done;
            picture.src = "http://127.0.0.1:9/x.png";
            document.body.append(picture);
          });
          const style = document.createElement("p");
          style.setAttribute("style", "color: red");
          document.body.append(style);
          return [...out, window.hit || "none", getComputedStyle(style).color === "rgb(255, 0, 0)"];
        }"""
    )
    assert tried == ["no", "none", False]
    assert one.asked == [tin_page.as_uri()], "refused before it is asked for"


def test_the_policy_names_the_script_and_the_style_by_their_digests():
    page = page_of_tin()
    policy = re.search(r'http-equiv="Content-Security-Policy" content="(.*?)"', page)[1].replace("&#x27;", "'")
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    for kind, text in (
        ("script", re.search(r"</script><script>(.*?)</script></body>", page, re.DOTALL)[1]),
        ("style", re.search(r"<style>(.*?)</style>", page, re.DOTALL)[1]),
    ):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    assert not re.search(
        r"\son\w+=|\sstyle=|javascript:", page.split("<body>")[1].split('<script type="application')[0]
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1200, 390])
def test_axe_finds_nothing(opened, tin_page, scheme, width):
    one = opened(tin_page, color_scheme=scheme, viewport={"width": width, "height": 900}, bypass_csp=True)
    for summary in one.page.locator("summary").all():
        summary.click()
    found = Axe().run(one.page)
    assert found.response["violations"] == [], found.generate_report()
    assert len(found.response["passes"]) > 20


def test_reduced_motion_and_no_sideways_scrolling_on_a_phone(opened, tin_page):
    one = opened(tin_page, viewport={"width": 390, "height": 800}, reduced_motion="reduce")
    assert one.page.evaluate("document.documentElement.scrollWidth") <= 390
    assert one.page.evaluate("document.getAnimations().length") == 0
    assert one.frame() == 0


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1280, 720), (834, 1112), (390, 844)])
def test_what_is_asked_for_and_the_whole_film_with_its_play_button_are_seen_at_once(opened, tin_page, width, height):
    one = opened(tin_page, viewport={"width": width, "height": height})
    for what in (".steps", "#picture", "#frame", "#play"):
        box = one.page.locator(what).bounding_box()
        assert box["y"] >= 0, what
        assert box["y"] + box["height"] <= height, what
    picture = one.page.locator("#picture").bounding_box()
    assert picture["width"] / picture["height"] == pytest.approx(320 / 180, rel=0.01)


def test_on_a_phone_held_sideways_the_film_and_what_plays_it_fit_once_the_film_is_gone_to(opened, tin_page):
    one = opened(tin_page, viewport={"width": 844, "height": 390})
    one.page.get_by_role("link", name="Watch the film").click()
    for what in ("#picture", "#play"):
        box = one.page.locator(what).bounding_box()
        assert box["y"] >= 0, what
        assert box["y"] + box["height"] <= 390, what


def test_marks_are_sent_back_before_the_charts_begin(opened, tin_page):
    one = opened(tin_page)
    places = [one.page.locator(f"#{name}").bounding_box()["y"] for name in ("film", "sections", "send", "timing")]
    assert places == sorted(places)


def test_names_in_panels_are_not_shown_where_they_could_not_be_read(opened, tin_page):
    """WCAG 2.2 names no least size; 9 px is below what screens of phones are set in (common practice, no source)."""
    one = opened(tin_page, viewport={"width": 390, "height": 844})
    assert not one.page.locator("figure .label").first.is_visible()
    larger = one.page.get_by_role("button", name="Larger, with names").first
    larger.focus()
    one.page.keyboard.press("Enter")
    assert larger.get_attribute("aria-pressed") == "true"
    wide = one.page.locator("figure.large")
    tall = wide.locator(".label text").last.evaluate("e => e.getBoundingClientRect().height")
    assert tall >= 9
    panel = wide.locator(".drawn")
    assert panel.get_attribute("tabindex") == "0", "keys reach what is moved sideways"
    assert panel.get_attribute("role") == "group"
    panel.focus()
    one.page.keyboard.press("ArrowRight")
    for _ in range(100):  # a browser moves it smoothly
        if panel.evaluate("e => e.scrollLeft") > 0:
            break
        one.page.wait_for_timeout(20)
    assert panel.evaluate("e => e.scrollLeft") > 0
    assert one.page.evaluate("document.documentElement.scrollWidth") <= 390


def test_what_is_printed(opened, tin_page):
    one = opened(tin_page)
    one.page.locator("article").nth(0).get_by_label("Approved").check()
    one.page.locator("textarea").nth(0).fill("First line.\nSecond line.")
    one.page.emulate_media(media="print")
    for shown in (".panels", ".numbers", ".timing", "fieldset", ".count"):
        assert one.page.locator(shown).first.is_visible(), shown
    for left_out in ("#picture", "#save", "#play", "nav", "textarea"):
        assert not one.page.locator(left_out).first.is_visible(), left_out
    assert one.page.locator(".printed-note").first.inner_text() == "First line.\nSecond line."
