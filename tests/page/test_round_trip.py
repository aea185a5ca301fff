"""What the page saves is what `choreo sign-off` takes: marks made in a browser stand in the ledger."""

from __future__ import annotations

import json

import small_project

from choreo.cli import main


def said(capsys, *arguments):
    code = main([*arguments, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_marks_go_from_the_page_into_the_ledger_and_onto_the_next_page(opened, tmp_path, capsys):
    folder = small_project.write(tmp_path / "tray")
    code, made = said(capsys, "page", str(folder))
    assert code == 0
    one = opened(folder / "out" / "page.html", accept_downloads=True)
    assert one.page.locator(".so-far").count() == 0
    for name, article in zip(made["sections"], one.page.locator("article").all(), strict=True):
        article.get_by_label("Approved").check()
        article.get_by_label(f"Note on {name}").fill('"Lovely" \\ <b>\nand more')
    one.page.get_by_label("Your name").fill("Ada")
    marks = tmp_path / "marks.json"
    marks.write_bytes(one.saved("#save").read_bytes())
    assert said(capsys, "sign-off", str(folder), "--from", str(marks))[0] == 0
    _, status = said(capsys, "status", str(folder))
    assert [(one["section"], one["state"], one["by"]) for one in status["sections"]] == [
        ("burst", "approved", "Ada"),
        ("back", "approved", "Ada"),
    ]
    assert {one["note"] for one in status["sections"]} == {'"Lovely" \\ <b>\nand more'}
    # Longer moves on the way back: that section is stale, and the next page says since what; the other one holds.
    small_project.write(folder, small_project.TOML.replace("stagger = 3\nmove = 10", "stagger = 3\nmove = 12"))
    assert said(capsys, "page", str(folder))[0] == 0
    so_far = opened(folder / "out" / "page.html").page.locator(".so-far").all_inner_texts()
    assert so_far[0].startswith("So far: approved by Ada on ")
    assert so_far[1].startswith("So far: perhaps stale: approved by Ada on ")
    assert "changed since: the path of" in so_far[1]
