"""A compile that comes out a hair beside another one: no section of it is told to differ, and nothing is drawn."""

from __future__ import annotations

import json
import shutil

import pytest
from small_project import write

from choreo.cli import main


@pytest.fixture(scope="module")
def compiled(tmp_path_factory):
    folder = write(tmp_path_factory.mktemp("tray"))
    assert main(["compile", str(folder)]) == 0
    return folder


def beside(compiled, folder, mm, px):
    """The same project, its lid so much farther out in each shot, as another file of tracks."""
    shutil.copytree(compiled, folder)
    path = folder / "out" / "tracks.json"
    tracks = json.loads(path.read_text())
    for shot in tracks["shots"]:
        lid = next(part for part in shot["parts"] if part["id"] == "lid")
        lid["route"][1:] = [[x, y, z + mm] for x, y, z in lid["route"][1:]]
        lid["samples"]["position"] = [[x, y, z + mm * (z > 0)] for x, y, z in lid["samples"]["position"]]
        lid["samples"]["screen"] = [[x + px, y] for x, y in lid["samples"]["screen"]]
    path.write_text(json.dumps(tracks))
    return folder / "out"


def test_a_hair_is_no_change(compiled, tmp_path, capsys):
    other = beside(compiled, tmp_path / "hair", 4e-10, 1.4e-9)
    capsys.readouterr()
    assert main(["compare", str(compiled / "out"), str(other), "--out", str(tmp_path / "drawn")]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said == ["Nothing differs.", "No picture was written: there is no frame to be drawn that differs."]


def test_what_can_be_measured_is(compiled, tmp_path, capsys):
    other = beside(compiled, tmp_path / "seen", 1e-4, 1e-3)
    capsys.readouterr()
    assert main(["compare", str(compiled / "out"), str(other)]) == 0
    said = capsys.readouterr().out
    assert "up to 0.001 px away" in said
