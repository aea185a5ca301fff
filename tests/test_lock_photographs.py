"""Locks (G10) against photographs that come, change or go after the approval: no digit of what is kept changes."""

from __future__ import annotations

import json
import shutil

import pytest
from photographed import WRONG
from photographed_project import write_project, write_texts

from choreo.cli import main

SETTLE = "settle_into_register = true"


def compiled(folder, capsys):
    """Return each part's track as the file spells it, and the text of the tracks."""
    assert main(["compile", str(folder), "--json"]) == 0
    capsys.readouterr()
    (shot,) = json.loads((folder / "out" / "tracks.json").read_text())["shots"]
    return {part["id"]: json.dumps(part) for part in shot["parts"]}


def approve(folder, parts=()):
    """Lock what the last compile made, or some parts of it."""
    shutil.copy(folder / "out" / "tracks.json", folder / "approved.tracks.json")
    lock = '\n[lock]\ntracks = "approved.tracks.json"\n' + (f"parts = {json.dumps(list(parts))}\n" if parts else "")
    file = folder / "choreography.toml"
    file.write_text(file.read_text() + lock)


@pytest.fixture
def plain(tmp_path, capsys):
    """A project whose cap and dial are off the still, compiled without settling."""
    folder = write_project(tmp_path / "p", WRONG)
    return folder, compiled(folder, capsys)


def test_settling_asked_for_after_the_approval_moves_no_kept_part(plain, capsys):
    folder, before = plain
    write_texts(folder, WRONG, SETTLE)
    approve(folder, ["shell", "cap"])
    after = compiled(folder, capsys)
    assert after["cap"] == before["cap"]
    assert after["shell"] == before["shell"]
    # What is not kept does settle, so the lock is what kept the others.
    assert "register" in json.loads(after["dial"])["samples"]
    assert "register" not in json.loads(before["dial"])["samples"]


def test_plate_numbers_changed_after_the_approval_change_no_settled_track(tmp_path, capsys):
    folder = write_project(tmp_path / "p", WRONG, SETTLE)
    before = compiled(folder, capsys)
    write_texts(folder, {"dial": WRONG["dial"]}, SETTLE)
    assert compiled(folder, capsys)["cap"] != before["cap"]
    write_texts(folder, WRONG, SETTLE)
    compiled(folder, capsys)
    write_texts(folder, {"dial": WRONG["dial"]}, SETTLE)
    approve(folder)
    assert compiled(folder, capsys) == before


def test_a_film_in_place_of_an_approved_still_shows_no_other_frames(plain, capsys):
    folder, before = plain
    data = json.loads((folder / "assembly.json").read_text())
    for plate in data["plates"]:
        if plate["part"] != "shell":
            for number in range(1, 31):
                shutil.copy(folder / plate["file"], folder / "plates" / f"{plate['part']}.{number:04d}.png")
            plate.update(file=f"plates/{plate['part']}.####.png", frames=[1, 30], frame_rate="48")
    (folder / "assembly.json").write_text(json.dumps(data))
    approve(folder, ["shell", "cap"])
    after = compiled(folder, capsys)
    assert after["cap"] == before["cap"]
    shown = json.loads(after["dial"])["samples"]["plate_frame"]
    assert shown[3] != json.loads(before["dial"])["samples"]["plate_frame"][3]
