"""Marks and notes: saved as a director's file that fits its schema, read again, and made with keys alone."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from playwright.sync_api import expect
from small_page import CONTENTS, SECTIONS, page_film

from choreo.picture.page.document import page_html

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = json.loads((ROOT / "schemas" / "director.schema.json").read_text(encoding="utf-8"))


def checked(path):
    content = json.loads(path.read_text(encoding="utf-8"))
    Draft202012Validator(SCHEMA).validate(content)
    return content


def test_the_schema_is_sound_and_strict():
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["additionalProperties"] is False
    assert SCHEMA["properties"]["sections"]["items"]["additionalProperties"] is False


def test_marks_and_notes_are_saved(opened, tin_page):
    one = opened(tin_page, accept_downloads=True)
    page = one.page
    assert page.inner_text("#count") == "0 approved, 0 not yet, 3 without a mark"
    article = page.locator("article")
    article.nth(0).get_by_label("Approved").check()
    article.nth(2).get_by_label("Not yet").check()
    article.nth(2).get_by_label("Note on together").fill('The lid is "late".\n<b>Truly</b> & <script>alert(1)</script>')
    page.get_by_label("Your name").fill("Ada")
    assert page.inner_text("#count") == "1 approved, 1 not yet, 1 without a mark"
    content = checked(one.saved("#save"))
    assert content["project"] == "Tin with a knob (invented)"
    assert content["name"] == "Ada"
    assert content["source"] == dict(
        zip(
            ("assembly", "choreography"),
            (f"sha256:{'0123456789abcdef' * 4}", f"sha256:{'fedcba9876543210' * 4}"),
            strict=True,
        )
    )
    assert [(s["name"], s["from"], s["to"], s["content"]) for s in content["sections"]] == [
        (s.name, s.first, s.last, CONTENTS[s.name]) for s in SECTIONS
    ]
    assert [s["verdict"] for s in content["sections"]] == ["approved", "none", "not-yet"]
    assert content["sections"][2]["note"] == 'The lid is "late".\n<b>Truly</b> & <script>alert(1)</script>'
    assert "tin-with-a-knob-invented-director.json" in page.inner_text("#status")
    assert one.errors == []


def test_a_name_is_asked_for(opened, tin_page):
    page = opened(tin_page).page
    page.click("#save")
    assert "your name" in page.inner_text("#status")
    expect(page.get_by_label("Your name")).to_be_focused()


def file_of(**changes):
    sections = [
        {"name": s.name, "from": s.first, "to": s.last, "content": CONTENTS[s.name], "verdict": "approved", "note": "n"}
        for s in SECTIONS
    ]
    return {"format": "choreo/director", "version": 1, "name": "Ada", "sections": sections, **changes}


def give(page, content):
    data = content if isinstance(content, bytes) else json.dumps(content).encode()
    page.set_input_files("#open", {"name": "marks.json", "mimeType": "application/json", "buffer": data})


def verdicts(page):
    return page.eval_on_selector_all("article input:checked", "all => all.map(one => one.value)")


def test_earlier_marks_go_on_where_nothing_has_changed(opened, tin_page):
    page = opened(tin_page).page
    earlier = file_of()
    earlier["sections"][1]["content"] = "sha256:" + "f" * 64
    give(page, earlier)
    expect(page.locator("#status")).to_contain_text("3 of 3 sections")
    assert "1 looked different" in page.inner_text("#status")
    assert verdicts(page) == ["approved", "none", "approved"], "what looks different has to be looked at again"
    assert page.locator("textarea").nth(1).input_value() == "n"
    assert page.input_value("#name") == "Ada"


@pytest.mark.parametrize(
    "content",
    [b"", b"not json", b"null", b"[]", b'{"format": "choreo/tracks"}', b'{"format": "choreo/director", "sections": 1}'],
)
def test_other_files_change_nothing(opened, tin_page, content):
    page = opened(tin_page).page
    page.locator("article").nth(0).get_by_label("Approved").check()
    give(page, content)
    expect(page.locator("#status")).to_contain_text("Nothing has been changed")
    assert verdicts(page) == ["approved", "none", "none"]


def test_hostile_marks_are_words_or_nothing(opened, tin_page):
    one = opened(tin_page)
    bad = "<img src=x onerror=alert(1)>"
    sections = [
        None,
        {"name": "apart", "content": bad, "verdict": bad, "note": {"a": 1}},
        {"name": "rest", "content": 3, "verdict": [], "note": bad},
    ]
    give(one.page, file_of(name=bad, sections=sections))
    expect(one.page.locator("#status")).to_contain_text("2 of 3")
    assert verdicts(one.page) == ["none", "none", "none"]
    assert one.page.locator("textarea").nth(1).input_value() == bad
    assert one.page.locator("img").count() == 0
    assert one.errors == []


def test_a_whole_review_with_keys_alone(opened, tin_page):
    """Play, pause, step, scrub, mark two sections, write, save; the pointer is never used."""
    one = opened(tin_page, accept_downloads=True)
    page, keys = one.page, one.page.keyboard

    def tab_to(what):
        for _ in range(60):
            keys.press("Tab")
            if page.evaluate("(what) => document.activeElement.matches(what)", what):
                # Whoever uses keys sees where he is.
                assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
                return
        raise AssertionError(f"{what} is not reached")

    tab_to("#frame")
    keys.press("ArrowRight")
    keys.press("ArrowRight")
    assert one.frame() == 2
    tab_to("#play")
    keys.press("Space")
    assert page.inner_text("#play") == "Pause"
    keys.press("Space")
    tab_to("#on")
    before = one.frame()
    keys.press("Enter")
    assert one.frame() == before + 1
    tab_to("#speed")
    keys.press("ArrowUp")
    assert page.input_value("#speed") == "0.5"
    tab_to("button[data-plays='0']")
    keys.press("Enter")
    assert page.input_value("#repeat") == "0"
    tab_to("article[data-section='0'] input")
    keys.press("ArrowDown")
    tab_to("article[data-section='0'] textarea")
    keys.type("Yes.")
    tab_to("article[data-section='1'] input")
    keys.press("ArrowDown")
    keys.press("ArrowDown")
    tab_to("summary")
    keys.press("Enter")
    assert page.locator("details").first.get_attribute("open") is not None
    tab_to("#name")
    keys.type("Ada")
    tab_to("#save")
    with page.expect_download() as download:
        keys.press("Enter")
    content = checked(Path(download.value.path()))
    assert [(s["verdict"], s["note"]) for s in content["sections"]] == [
        ("approved", "Yes."),
        ("not-yet", ""),
        ("none", ""),
    ]


def test_marks_that_are_not_saved_are_not_lost_unasked(opened, tin_page):
    one = opened(tin_page)
    asked = []
    one.page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    one.page.locator("article").nth(0).get_by_label("Approved").check()
    one.page.close(run_before_unload=True)
    one.page.wait_for_event("close") if not one.page.is_closed() else None
    assert asked == ["beforeunload"]


def test_a_product_without_a_latin_letter_has_a_file_name_too(opened, tmp_path):
    film = page_film()
    path = tmp_path / "page.html"
    path.write_text(page_html(replace(film, assembly=replace(film.assembly, name="缶"))), encoding="utf-8")
    page = opened(path, accept_downloads=True).page
    page.get_by_label("Your name").fill("Ada")
    with page.expect_download() as download:
        page.click("#save")
    assert download.value.suggested_filename == "film-director.json"
