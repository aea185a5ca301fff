"""`choreo new` keeps pictures from their first reading while there is room: the same project, whatever was kept."""

from __future__ import annotations

import json
import shutil

import pytest
from photographed_project import write_project

from choreo.cli import main
from choreo.read.images import read_image


@pytest.mark.parametrize(("room", "again"), [(128 * 2**20, 0), (100_000, 1), (0, 3)])
def test_pictures_that_are_not_kept_are_read_again_and_give_the_same(tmp_path, monkeypatch, capsys, room, again):
    opened = []
    monkeypatch.setattr("choreo.read.plate_folder.KEPT_BYTES", room)
    monkeypatch.setattr(
        "choreo.read.photographs.read_image",
        lambda path, name, **others: opened.append(name) or read_image(path, name, **others),
    )
    plates = write_project(tmp_path / "p") / "plates"
    assert main(["new", str(plates), "--scale", "shell=60mm", "--hero", "hero.png"]) == 0
    made = json.loads((plates / "assembly.json").read_text())
    assert len({name for name in opened if name != "hero.png"}) == again
    whole = tmp_path / "whole" / "plates"
    whole.mkdir(parents=True)
    for picture in plates.glob("*.png"):
        shutil.copy(picture, whole)
    monkeypatch.setattr("choreo.read.cut_picture.CutPicture.of", None)
    monkeypatch.setattr("choreo.read.plate_folder.KEPT_BYTES", 0)
    assert main(["new", str(whole), "--scale", "shell=60mm", "--hero", "hero.png"]) == 0
    assert json.loads((whole / "assembly.json").read_text()) == made
