"""What is not the real thing is said wherever a film goes: report, terminal and strip."""

from __future__ import annotations

import json
import re

from photographed_project import write_project

from choreo.cli import main

WHY = "printed sample <not> the moulded one"


def compiled(folder, capsys, *more):
    assert main(["compile", str(folder), *more]) == 0
    report = json.loads((folder / "out" / "report.json").read_text())
    strip = (folder / "out" / "strip.svg").read_text()
    return report, capsys.readouterr().out, re.findall(r"<text[^>]*>([^<]*)</text>", strip)


def changed(folder, change):
    data = json.loads((folder / "assembly.json").read_text())
    change(data)
    (folder / "assembly.json").write_text(json.dumps(data))


def test_stand_ins_and_parts_without_a_plate(tmp_path, capsys):
    folder = write_project(tmp_path / "p")

    def change(data):
        data["parts"][1]["stand_in"] = WHY
        data["plates"] = [plate for plate in data["plates"] if plate["part"] != "dial"]

    changed(folder, change)
    report, said, strip = compiled(folder, capsys)
    assert report["stand_ins"] == [{"part": "cap", "note": WHY}]
    assert report["without_plate"] == ["dial"]
    assert "Stand-in: cap: printed sample" in said
    assert '"dial" has no plate' in said
    assert any(line.startswith("* Cap is a stand-in: printed sample &lt;not&gt;") for line in strip)
    assert "Cap*" in strip
    assert "No plate yet: Dial" in strip


def test_where_everything_is_there_nothing_is_said(tmp_path, capsys):
    folder = write_project(tmp_path / "p")
    report, said, strip = compiled(folder, capsys)
    assert (report["stand_ins"], report["without_plate"]) == ([], [])
    assert "tand-in" not in said
    assert not any("No plate" in line or "stand-in" in line for line in strip)


def test_a_project_without_any_plates_is_not_asked_for_them(tmp_path, capsys):
    folder = write_project(tmp_path / "p")
    changed(folder, lambda data: data.pop("plates"))
    report, _, strip = compiled(folder, capsys)
    assert report["without_plate"] == []
    assert not any("No plate" in line for line in strip)
