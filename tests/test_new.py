"""From a folder of plates to a project that compiles: by hand, with pictures from an independent rasteriser."""

from __future__ import annotations

import json
import os
import tomllib

import numpy as np
import pytest
import shapely
from pictures import coverage, disc, png_bytes, rgba, write_png

from choreo.cli import main
from choreo.errors import ChoreoError
from choreo.passes.place_plates import stacked
from choreo.read.plate_folder import read_plate_folder
from choreo.read.screen_key import key_screen

SIZE = (200, 150)


def plate(folder, name, alpha, depth="uint8", colour=None):
    picture = rgba(alpha, depth)
    if colour is not None:
        picture[..., :3] = np.rint(np.array(colour) * np.iinfo(depth).max)
    write_png(folder / name, picture)


@pytest.fixture
def plates(tmp_path):
    """A body of radius 60 px, a lid of 30 beside its middle, a screw of 6: invented."""
    folder = tmp_path / "lamp"
    folder.mkdir()
    plate(folder, "1_body.png", disc(SIZE, (100, 75), 60), colour=(0.5, 0.25, 1.0))
    plate(folder, "2_lid.png", disc(SIZE, (110, 70), 30), "uint16")
    plate(folder, "3_screw.png", disc(SIZE, (40, 75), 6))
    return folder


def new(*arguments):
    return main(["new", *map(str, arguments)])


def written(folder):
    return json.loads((folder / "assembly.json").read_text()), tomllib.loads((folder / "choreography.toml").read_text())


def test_scale_places_and_layers_by_hand(plates):
    assert new(plates, "--scale", "body=60mm") == 0
    assembly, _ = written(plates)
    body, lid, screw = assembly["parts"]
    # 120 px are 60 mm: 2 px a mm. The lid stands 10 px right of and 5 px above the body's middle, the screw 60 px left.
    assert [part["id"] for part in assembly["parts"]] == ["body", "lid", "screw"]
    assert assembly["plates"][0]["px_per_mm"] == pytest.approx(2, rel=2e-3)
    assert body["offset"] == [0, 0, 0]
    np.testing.assert_allclose(lid["offset"], [5, 2.5, 0], atol=0.02)
    np.testing.assert_allclose(screw["offset"], [-30, 0, 0], atol=0.05)
    assert assembly["plates"][1]["pivot_px"] == [110, 70]
    # The lid and the screw both lie on the body and not on each other.
    assert [part["slabs"][0]["layer"] for part in assembly["parts"]] == [1, 2, 2]
    assert body["colour"] == "#8040ff"
    x, y = np.array(body["slabs"][0]["outline"]).T
    area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    assert area == pytest.approx(np.pi * 30**2, rel=3e-3)


def test_it_compiles_at_once(plates, capsys):
    write_png(plates / "hero.png", rgba(disc(SIZE, (100, 75), 60)))
    assert new(plates, "--scale", "body=6cm", "--hero", "hero.png") == 0
    assembly, choreography = written(plates)
    assert assembly["hero"]["pivot_px"] == [100, 75]
    assert [shot["handoff"]["frames"] for shot in choreography["shot"]] == [8, 8]
    capsys.readouterr()
    assert main(["compile", str(plates), "--json"]) == 0
    # The plates of this test are 120 px wide; a film shows them larger, and says so.
    assert {warning["code"] for warning in json.loads(capsys.readouterr().out)["warnings"]} == {"plate-enlarged"}


def test_nothing_is_overwritten(plates, capsys):
    assert new(plates, "--scale", "body=60mm") == 0
    before = (plates / "assembly.json").read_bytes()
    assert new(plates, "--scale", "lid=10mm", "--json") == 2
    findings = json.loads(capsys.readouterr().out.splitlines()[-1])["findings"]
    assert [finding["code"] for finding in findings] == ["already-there", "already-there"]
    assert findings[0]["what"].startswith("assembly.json is in this folder already")
    assert "part that came late" in findings[0]["remedy"]
    assert (plates / "assembly.json").read_bytes() == before


@pytest.mark.parametrize("text", ["body", "body=60", "body=0mm", "=60mm", "body=60px", "body=-5mm", "body=1e9mm"])
def test_a_scale_that_is_none_is_refused(plates, text, capsys):
    assert new(plates, "--scale", text) == 2
    assert "bad-scale" in capsys.readouterr().err
    assert not (plates / "assembly.json").exists()


def test_a_part_that_is_not_there_is_refused_by_name(plates, capsys):
    assert new(plates, "--scale", "shell=60mm") == 2
    assert "body, lid, screw" in capsys.readouterr().err


def test_plates_of_another_frame_are_refused_in_one_finding(plates, capsys):
    plate(plates, "4_knob.png", disc((90, 90), (45, 45), 20))
    plate(plates, "5_foot.png", disc((80, 90), (40, 45), 20))
    assert new(plates, "--scale", "body=60mm", "--json") == 2
    findings = json.loads(capsys.readouterr().out)["findings"]
    assert [one["code"] for one in findings] == ["plates-differ"]
    assert "4_knob.png 90 x 90 px, 5_foot.png 80 x 90 px" in findings[0]["what"]


def test_a_picture_called_hero_is_no_part(plates, capsys):
    plate(plates, "Hero.PNG", disc(SIZE, (100, 75), 60))
    assert new(plates, "--scale", "body=60mm", "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["parts"] == ["body", "lid", "screw"]
    assert [(one["code"], "Hero.PNG was left out" in one["what"]) for one in answer["warnings"]] == [
        ("hero-left-out", True)
    ]


def test_numbered_files_are_one_sequence(plates):
    for number in (7, 8, 9):
        plate(plates, f"5_knob.{number:04d}.png", disc(SIZE, (150, 100), 8))
    assert new(plates, "--scale", "body=60mm") == 0
    assembly, _ = written(plates)
    assert assembly["plates"][3]["file"] == "5_knob.####.png"
    assert assembly["plates"][3]["frames"] == [7, 9]
    assert main(["check", str(plates)]) == 0


def test_an_ear_apart_and_a_hole_stay(tmp_path):
    ring = coverage(
        SIZE, [[(20, 20), (120, 20), (120, 120), (20, 120)]], [[(40, 40), (100, 40), (100, 100), (40, 100)]]
    )
    ear = coverage(SIZE, [[(150, 20), (180, 20), (180, 50), (150, 50)]])
    plate(tmp_path, "ring.png", np.maximum(ring, ear))
    assert new(tmp_path, "--scale", "ring=16cm") == 0
    assembly, _ = written(tmp_path)
    slabs = assembly["parts"][0]["slabs"]
    assert [len(slab.get("holes", [])) for slab in slabs] == [1, 0]


def test_ids_are_made_of_file_names(tmp_path):
    for name in ("02 Größe.png", "lid (1).png", "LID 1.png", "..png", "x" * 90 + ".png"):
        plate(tmp_path, name, disc((40, 40), (20, 20), 10))
    found, _ = read_plate_folder(tmp_path)
    assert [one.id for one in found] == ["part", "Gr_e", "LID_1", "lid_1_2", "x" * 60]


def test_a_green_screen_is_for_planning_only(tmp_path, capsys):
    # Drawn by hand: a grey disc before green that falls off to a corner; the pictures have no alpha.
    alpha = disc(SIZE, (100, 75), 40)[..., None]
    green = np.array([0.1, 0.8, 0.2]) * np.linspace(1, 0.85, SIZE[0])[None, :, None]
    picture = alpha * np.array([0.5, 0.5, 0.5]) + (1 - alpha) * green
    (tmp_path / "a.png").write_bytes(png_bytes(np.rint(255 * picture).astype("uint8")))
    assert new(tmp_path, "--scale", "a=80mm") == 2
    assert "no-alpha" in capsys.readouterr().err
    assert new(tmp_path, "--scale", "a=80mm", "--screen", "blue") == 2
    assert "no-screen" in capsys.readouterr().err
    assert new(tmp_path, "--scale", "a=80mm", "--screen", "green") == 0
    assert "planning only" in capsys.readouterr().out
    assembly, _ = written(tmp_path)
    assert "plates" not in assembly
    assert "planning only" in assembly["parts"][0]["stand_in"]
    x, y = np.array(assembly["parts"][0]["slabs"][0]["outline"]).T
    np.testing.assert_allclose([np.ptp(x), np.ptp(y)], [80, 80], rtol=0.02)


def test_the_key_by_hand():
    # Green stands 0.6 above the others on the screen; 0.75 of that, 0.45, and more is all screen; 0.225 is half.
    picture = np.full((5, 5, 3), [0.1, 0.7, 0.1])
    picture[2, 1:4] = [[0.5, 0.5, 0.5], [0.1, 0.325, 0.1], [0.2, 0.65, 0.2]]
    np.testing.assert_allclose(key_screen(picture, "green")[2], [0, 1, 0.5, 0, 0])


@pytest.mark.parametrize(
    ("name", "make", "code"),
    [
        ("broken.png", lambda path: path.write_bytes(png_bytes(rgba(disc((40, 40), (20, 20), 9)))[:60]), None),
        ("empty.png", lambda path: write_png(path, rgba(np.zeros((40, 40)))), "empty-matte"),
        ("text.png", lambda path: path.write_text("no picture"), "not-an-image"),
        ("folder.png", lambda path: path.mkdir(), "not-a-file"),
        ("link.png", lambda path: path.symlink_to("/etc/hostname"), "path-outside"),
        ("\udcff.png", lambda path: path.write_bytes(b""), "not-utf-8"),
    ],
)
def test_a_hostile_picture_is_one_finding(plates, name, make, code, capsys):
    try:
        make(plates / name)
    except (OSError, UnicodeError):
        assert os.name == "nt"  # names that a file system refuses cannot do harm there
        return
    assert new(plates, "--scale", "body=60mm", "--json") == 2
    findings = json.loads(capsys.readouterr().out)["findings"]
    assert len(findings) == 1
    assert code in (None, findings[0]["code"])
    assert not (plates / "assembly.json").exists()


@pytest.mark.parametrize("make", [None, "folder", "file"])
def test_no_folder_or_no_plates(tmp_path, make):
    path = tmp_path / "x"
    if make == "folder":
        path.mkdir()
    elif make == "file":
        path.write_text("")
    with pytest.raises(ChoreoError) as error:
        read_plate_folder(path)
    assert error.value.findings[0].code in {"no-such-folder", "no-plates"}


def test_layers_by_hand():
    wide, left, right = shapely.box(0, 0, 10, 10), shapely.box(0, 0, 4, 4), shapely.box(6, 0, 10, 4)
    assert stacked([[wide], [left], [right], [shapely.box(3, 0, 7, 4)], [left]]) == [1, 2, 2, 3, 4]
