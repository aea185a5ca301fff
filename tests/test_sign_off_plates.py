"""Approvals of films with photographs: stale exactly where frames that show them look otherwise."""

from __future__ import annotations

import json
from argparse import Namespace

import cv2
import numpy as np
import pytest
from photographed_project import write_project

from choreo.cli import main
from choreo.commands.looking import Looker
from choreo.commands.section_contents import reviewed
from choreo.frames.film import film_of
from choreo.frames.scene import scene_of
from choreo.read.project import read_project
from choreo.review.standing import Change

CUT = 10
"""Of twenty frames; the still comes in on the last ones."""
SECTIONS = f'\n[[section]]\nname = "home"\nshot = "return"\nto = {CUT - 1}\n'


def drawn_anew(folder):
    """The frames of the film, by what lies in the folder now, in its two sections."""
    scene = scene_of(film_of(read_project(folder), lambda *_: None))
    frames = [scene.renderer("return").frame(scene.shot("return"), frame).copy() for frame in range(20)]
    return {"home": np.stack(frames[:CUT]), "return-1": np.stack(frames[CUT:])}


def edit(folder, change):
    value = json.loads((folder / "assembly.json").read_text())
    change(value)
    (folder / "assembly.json").write_text(json.dumps(value))


def plate(value, part):
    return next(one for one in value["plates"] if one["part"] == part)


def add_views(value):
    """The cap was shot from the side as well; the dial is a film of thirty photographs, of which the first are used."""
    value["plates"].append({**plate(value, "cap"), "file": "plates/side.png", "view": {"azimuth": 80}})
    plate(value, "dial").update(file="plates/dial.##.png", frames=[1, 30])


@pytest.fixture(scope="module")
def meter(tmp_path_factory):
    folder = write_project(tmp_path_factory.mktemp("m") / "p", handoff=SECTIONS, resolution=(160, 100), px_per_mm=2.5)
    plates = folder / "plates"
    (plates / "side.png").write_bytes((plates / "cap.png").read_bytes())
    for number in range(1, 31):
        (plates / f"dial.{number:02}.png").write_bytes((plates / "dial.png").read_bytes())
    edit(folder, add_views)
    names = ["--section", "home", "--section", "return-1"]
    assert main(["sign-off", str(folder), "--by", "Ada", *names, "--on", "2026-03-01"]) == 0
    return folder, drawn_anew(folder)


def other_bytes(name, source):
    def change(folder):
        (folder / "plates" / name).write_bytes((folder / "plates" / source).read_bytes())

    return change


def packed_otherwise(folder):
    """Other bytes that say the same pixels."""
    file = folder / "plates" / "cap.png"
    picture = cv2.imdecode(np.frombuffer(file.read_bytes(), np.uint8), cv2.IMREAD_UNCHANGED)
    again = cv2.imencode(".png", picture, [cv2.IMWRITE_PNG_COMPRESSION, 1])[1].tobytes()
    assert again != file.read_bytes()
    file.write_bytes(again)


def unseen_pixel(folder):
    """A colour where there is no alpha."""
    file = folder / "plates" / "cap.png"
    picture = cv2.imdecode(np.frombuffer(file.read_bytes(), np.uint8), cv2.IMREAD_UNCHANGED)
    row, column = np.argwhere(picture[..., 3] == 0)[0]
    picture[row, column, 0] ^= 255
    file.write_bytes(cv2.imencode(".png", picture)[1].tobytes())


def other_hero(folder):
    edit(folder, lambda value: value["hero"].update(px_per_mm=value["hero"]["px_per_mm"] * 1.01))


def other_pivot(folder):
    def shift(value):
        plate(value, "shell")["pivot_px"][0] += 1

    edit(folder, shift)


def other_colour(folder):
    """Of a part that shows its plate."""
    edit(folder, lambda value: value["parts"][0].update(colour="#ff0000"))


CAP, DIAL, SHELL, HERO = (*(Change("plate", (part,)) for part in ("cap", "dial", "shell")), Change("hero"))


@pytest.mark.parametrize(
    ("change", "home", "rest"),
    [
        (other_bytes("cap.png", "dial.png"), ("stale", CAP), ("stale", CAP)),
        (packed_otherwise, ("approved", CAP), ("approved", CAP)),
        (unseen_pixel, ("approved", CAP), ("approved", CAP)),
        (other_bytes("side.png", "dial.png"), ("approved",), ("approved",)),  # seen from the front, it is not shown
        (other_bytes("dial.05.png", "cap.png"), ("stale", DIAL), ("approved",)),
        (other_bytes("dial.29.png", "cap.png"), ("approved",), ("approved",)),  # the shot has twenty frames
        (other_bytes("hero.png", "shell.png"), ("approved",), ("stale", HERO)),
        (other_hero, ("approved",), ("stale", HERO)),
        (other_pivot, ("stale", SHELL), ("stale", SHELL)),
        (other_colour, ("approved",), ("approved",)),
    ],
)
def test_what_is_shown_of_photographs_counts_and_nothing_else(meter, change, home, rest):
    folder, before = meter
    files = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    try:
        change(folder)
        looker = Looker(reviewed(Namespace(project=folder, json=True)), quiet=True)
        stand, now = looker.compare(), drawn_anew(folder)
    finally:
        for path, data in files.items():
            path.write_bytes(data)
    for found, (state, *changed) in zip(stand, (home, rest), strict=True):
        assert (found.state == "approved") == np.array_equal(before[found.section.name], now[found.section.name])
        assert (found.state, list(found.changed)) == (state, changed)
    assert bool(looker.drawn) == any(one.changed for one in stand)
