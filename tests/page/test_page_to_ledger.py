"""A director's file from the page of a project is taken by sign-off, as the page saved it."""

from __future__ import annotations

import json

from photographed_project import write_project

from choreo.cli import main


def test_a_file_that_the_page_has_saved_is_signed_off(opened, tmp_path, capsys):
    project = write_project(tmp_path / "meter")
    assert main(["page", str(project)]) == 0
    one = opened(project / "out" / "page.html", accept_downloads=True)
    one.page.locator("article").nth(0).get_by_label("Approved").check()
    one.page.locator("article").nth(0).get_by_label("Note on return").fill("Yes.\nNo change.")
    one.page.get_by_label("Your name").fill("Ada")
    saved = one.saved("#save")
    capsys.readouterr()
    assert main(["sign-off", str(project), "--from", str(saved), "--on", "2026-03-01"]) == 0
    assert main(["status", str(project), "--require", "--json"]) == 0
    [section] = json.loads(capsys.readouterr().out.splitlines()[-1])["sections"]
    assert (section["state"], section["by"], section["note"]) == ("approved", "Ada", "Yes.\nNo change.")
    # Another photograph of one part is another picture: the same file is refused from then on.
    plate = project / "plates" / "cap.png"
    plate.write_bytes((project / "plates" / "dial.png").read_bytes())
    assert main(["status", str(project), "--json"]) == 0
    [section] = json.loads(capsys.readouterr().out)["sections"]
    assert (section["state"], section["changed"]) == ("stale", [{"what": "plate", "parts": ["cap"]}])
    assert main(["sign-off", str(project), "--from", str(saved)]) == 1
    assert "another version" in capsys.readouterr().out
