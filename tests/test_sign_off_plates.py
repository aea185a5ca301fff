"""Approvals of films with photographs: stale exactly where what the frames show of them differs."""

from __future__ import annotations

import json

import numpy as np
import pytest
from photographed_project import write_project

from choreo.commands.section_contents import sections_now
from choreo.frames.film import film_of
from choreo.frames.scene import scene_of
from choreo.model.sign_off import APPROVED
from choreo.read.project import read_project
from choreo.review.signing import mark_of
from choreo.review.standing import Change, standings

FRAMES = 20


def state_of(folder):
    film = film_of(read_project(folder), lambda *_: None)
    scene = scene_of(film, "quarter", 180.0)
    drawn = [scene.renderer("return").frame(scene.shot("return"), frame, bits=32) for frame in range(FRAMES)]
    return sections_now(film.project, film.solids, film.tracks), np.stack(drawn)


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
    folder = write_project(tmp_path_factory.mktemp("meter") / "p")
    plates = folder / "plates"
    (plates / "side.png").write_bytes((plates / "cap.png").read_bytes())
    for number in range(1, 31):
        (plates / f"dial.{number:02}.png").write_bytes((plates / "dial.png").read_bytes())
    edit(folder, add_views)
    return folder, state_of(folder)


def other_bytes(name, source):
    def change(folder):
        (folder / "plates" / name).write_bytes((folder / "plates" / source).read_bytes())

    return change


def other_hero(folder):
    edit(folder, lambda value: value["hero"].update(px_per_mm=value["hero"]["px_per_mm"] * 1.01))


def other_pivot(folder):
    def shift(value):
        plate(value, "shell")["pivot_px"][0] += 1

    edit(folder, shift)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (other_bytes("cap.png", "dial.png"), (Change("plate", ("cap",)),)),
        (other_bytes("side.png", "dial.png"), ()),  # seen from the front, that one is not shown
        (other_bytes("dial.05.png", "cap.png"), (Change("plate", ("dial",)),)),
        (other_bytes("dial.29.png", "cap.png"), ()),  # the shot has twenty frames
        (other_bytes("hero.png", "shell.png"), (Change("hero"),)),
        (other_hero, (Change("hero"),)),
        (other_pivot, (Change("plate", ("shell",)),)),
    ],
)
def test_what_is_shown_of_photographs_counts_and_nothing_else(meter, change, said):
    folder, (was, drawn) = meter
    files = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    ledger = [mark_of(section, APPROVED, "Ada", "2026-03-01", "") for section in was]
    try:
        change(folder)
        now, redrawn = state_of(folder)
    finally:
        for path, data in files.items():
            path.write_bytes(data)
    [found] = standings(now, ledger)
    assert (found.state == "approved") == np.array_equal(drawn, redrawn)
    assert found.changed == said
