"""`choreo new` with plates of other frames: each is found on the hero still, or it is said that it is not.

The parts are drawn by Pillow at places that are known exactly (other_frames.py); half a px is what is asked for.
"""

from __future__ import annotations

import json
import shutil

import numpy as np
import other_frames
import pytest
from other_frames import FRAMES, SHAPES, hero, moved, picture, write
from PIL import Image, ImageDraw
from plates_on_hero import pixel_centres

from choreo.cli import main
from choreo.geometry.registration.similarity import apply, placement
from choreo.model.registration import Correction


def new(folder, *more, scale="housing=86mm", still="hero.png"):
    given = ["--hero", still] if still else []
    return main(["new", str(folder), "--scale", scale, *given, *more, "--json"])


def answer(capsys):
    return json.loads(capsys.readouterr().out)


def places(folder):
    """Where a compositor puts each plate on the still, by the words of the schema."""
    data = json.loads((folder / "assembly.json").read_text())
    still, found = data["hero"], {}
    for plate in data["plates"]:
        offset = next(part["offset"] for part in data["parts"] if part["id"] == plate["part"])
        origin = np.array(still["pivot_px"]) + still["px_per_mm"] * np.array([offset[0], -offset[1]])
        numbers = Correction(plate["px_per_mm"], tuple(plate["pivot_px"]), plate.get("turn", 0.0))
        found[plate["part"]] = placement(numbers, still["px_per_mm"], tuple(origin))
    return found


def worst(folder, part):
    """The farthest that any corner of the part lies from where it was drawn, px of the still."""
    there = apply(places(folder)[part], moved(part, SHAPES[part]))
    return float(np.hypot(*(there - SHAPES[part]).T).max())


def test_crops_other_scales_and_small_turns_are_found(tmp_path, capsys):
    folder = write(tmp_path / "p", dimmed=0.8)
    assert new(folder) == 0
    assert answer(capsys)["warnings"] == []
    assert {part: worst(folder, part) < 0.2 for part in SHAPES} == dict.fromkeys(SHAPES, True)
    data = json.loads((folder / "assembly.json").read_text())
    # By hand: the housing is 258 px wide on the still, 86 mm: 3 px a mm; the handle's plate is 1.25 times as large.
    assert data["hero"]["px_per_mm"] == pytest.approx(3, rel=1e-3)
    plates = {plate["part"]: plate for plate in data["plates"]}
    assert plates["handle"]["px_per_mm"] == pytest.approx(3.75, rel=1e-3)
    assert plates["dial"]["turn"] == pytest.approx(3, abs=0.1)  # shot three degrees against the clock
    assert "turn" not in plates["housing"] or abs(plates["housing"]["turn"]) < 0.02
    # Outlines stand upright: the window's lie in the product's axes, as on the still.
    x, y = np.array(data["parts"][3]["slabs"][0]["outline"]).T
    assert np.ptp(x) == pytest.approx(60 / 3, abs=0.3)
    assert np.ptp(y) == pytest.approx(84 / 3, abs=0.3)
    # And a check finds all of them within half a px.
    assert main(["check", str(folder), "--json"]) == 0
    checked = answer(capsys)["registration"]["parts"]
    assert {part["part"]: part["verdict"] for part in checked} == dict.fromkeys(SHAPES, "within")


def test_plain_parts_are_found_by_their_outline_or_not_at_all(tmp_path, capsys):
    folder = write(tmp_path / "p", plain=("housing", "window"))
    assert new(folder) == 0
    warnings = answer(capsys)["warnings"]
    assert [(one["code"], one["what"].split(":")[1][:8]) for one in warnings] == [("plate-unseen", " window.")]
    assert '--place "window=X,Y,WIDTH"' in warnings[0]["remedy"]
    # The still shows 54 to 354 px across and 36 to 252 down; the window is put in the middle, as it is.
    middle = (SHAPES["window"].min(axis=0) + SHAPES["window"].max(axis=0)) / 2 - (180, 78)
    assert apply(places(folder)["window"], middle) == pytest.approx([204, 144], abs=1.5)
    for file in folder.glob("[ac]*.*o*"):
        file.unlink()
    # By hand, its middle is 240, 150 there, and it is 60 px wide.
    assert new(folder, "--place", "window=240,150,60") == 0
    assert [one["code"] for one in answer(capsys)["warnings"]] == ["plate-by-hand"]
    assert worst(folder, "housing") < 0.2
    assert worst(folder, "dial") < 0.2
    assert worst(folder, "window") < 1.5


def test_a_place_that_is_said_roughly_is_measured(tmp_path, capsys):
    folder = write(tmp_path / "p", parts=("housing", "dial"))
    assert new(folder, "--place", "dial=157,148") == 0
    assert answer(capsys)["warnings"] == []
    assert worst(folder, "dial") < 0.2


@pytest.mark.parametrize("twins", [1, 2])
def test_two_places_that_are_as_good_are_no_place_but_for_two_parts(tmp_path, capsys, twins):
    """The still shows the same window twice, as a product with two like screws does."""
    folder = write(tmp_path / "p", parts=("housing", "window"))
    if twins == 2:
        shutil.copy(folder / "2_window.png", folder / "3_window_too.png")
    still = np.asarray(Image.open(folder / "hero.png")).copy()
    # Where the dial was, the window shows once more, 90 px to the left.
    still[105:195, 116:184] = still[105:195, 206:274]
    Image.fromarray(still).save(folder / "hero.png")
    assert new(folder) == 0
    warnings = answer(capsys)["warnings"]
    if twins == 1:
        assert [one["code"] for one in warnings] == ["plate-unseen"]
        assert warnings[0]["why"] == "window: it fits in more than one place."
    else:
        assert warnings == []
        there = sorted(place.shift_px[0] for part, place in places(folder).items() if part != "housing")
        assert there == pytest.approx([90, 180], abs=0.2)


def test_a_still_of_another_exposure_shows_where_parts_lie_and_which_is_in_front(tmp_path, capsys):
    """Files in the wrong order: handle and window are drawn over the housing."""
    folder = write(tmp_path / "p", parts=("window", "handle", "housing"), dimmed=0.8)
    assert new(folder) == 0
    said = answer(capsys)
    assert said["warnings"] == []
    assert said["parts"][0] == "housing"
    assert "hero.png for 2 pairs" in said["order"]
    assert worst(folder, "window") < 0.2


def test_a_part_that_the_still_does_not_show_is_not_placed(tmp_path, capsys):
    """A part inside the product: round, textured like the others, and nowhere to be seen."""
    folder = write(tmp_path / "p", parts=("housing",))
    size = FRAMES["dial"][0]
    cover = other_frames.covered(size, moved("dial", SHAPES["dial"]))
    inside = other_frames.painted_under(cover, "dial", pixel_centres(size) + 4321.0)
    Image.fromarray(picture(inside, cover, 0.01, 5)).save(folder / "2_cell.png")
    assert new(folder) == 0
    said = answer(capsys)
    assert [(one["code"], "hero.png: cell." in one["what"]) for one in said["warnings"]] == [("plate-unseen", True)]
    assert said["parts"] == ["cell", "housing"]  # the later file, and yet behind: the still shows the housing there


def test_a_known_part_that_is_not_on_the_still_stops_everything(tmp_path, capsys):
    folder = write(tmp_path / "p", plain=("housing", "window"))
    assert new(folder, scale="window=20mm") == 2
    findings = answer(capsys)["findings"]
    assert [(one["code"], one["file"]) for one in findings] == [("plate-not-found", "4_window.png")]
    assert not (folder / "assembly.json").exists()


def test_plates_before_a_screen_are_found_as_well(tmp_path, capsys):
    folder = write(tmp_path / "p", parts=("housing", "window"))
    for file in sorted(folder.glob("?_*.png")):
        keyed = np.asarray(Image.open(file)).astype(float)
        share = keyed[..., 3:] / 255
        before = keyed[..., :3] * share + np.array([30.0, 200.0, 40.0]) * (1 - share)
        Image.fromarray(np.rint(before).astype(np.uint8)).save(file)
    assert new(folder, "--screen", "green") == 0
    data = json.loads((folder / "assembly.json").read_text())
    assert "plates" not in data  # planning only
    # By hand: the window's middle box point and the housing's lie so far apart on the still, at 3 px a mm.
    housing, window = (np.array(part["offset"][:2]) for part in data["parts"])
    middles = [(SHAPES[part].min(axis=0) + SHAPES[part].max(axis=0)) / 2 for part in ("housing", "window")]
    assert (window - housing) * [3, -3] == pytest.approx(middles[1] - middles[0], abs=1.5)


def locked_off(folder, size, shift, parts, plain=()):
    """Plates of one frame: the still's places moved by a shift."""
    folder.mkdir()
    for number, part in enumerate(parts, 1):
        alpha = other_frames.covered(size, SHAPES[part] + shift)
        colour = other_frames.painted_under(alpha, part, pixel_centres(size) - shift, plain)
        Image.fromarray(picture(colour, alpha, 0.01, number)).save(folder / f"{number}_{part}.png")
    Image.fromarray(hero(plain)).save(folder / "hero.png")


def test_plates_of_one_frame_keep_their_places_among_each_other(tmp_path, capsys):
    """A plain part inside cannot be found by itself, but its frame can."""
    shift = np.array([22.0, 31.0])
    locked_off(tmp_path / "p", (420, 336), shift, SHAPES, plain=("window",))
    assert new(tmp_path / "p") == 0
    assert [(one["code"], one["what"][:12]) for one in answer(capsys)["warnings"]] == [
        ("plate-by-frame", "4_window.png")
    ]
    for part, place in places(tmp_path / "p").items():
        there = apply(place, SHAPES[part] + shift)
        assert np.hypot(*(there - SHAPES[part]).T).max() < 0.3, part


def test_without_a_still_a_place_can_be_said_in_the_known_part_s_frame(tmp_path, capsys):
    folder = write(tmp_path / "p", parts=("housing", "dial"))
    (folder / "hero.png").unlink()
    assert new(folder, still=None) == 2
    assert "--place" in answer(capsys)["findings"][0]["remedy"]
    assert new(folder, "--place", "dial=126,120,84", still=None) == 0
    dial = json.loads((folder / "assembly.json").read_text())["plates"][1]
    assert dial["px_per_mm"] == pytest.approx(3 * 1.4, rel=0.02)


@pytest.mark.parametrize("text", ["dial", "dial=1", "dial=a,b", "dial=1,2,0", "dial=1,2,3,4", "=1,2"])
def test_a_place_that_is_none_is_refused(tmp_path, capsys, text):
    assert new(tmp_path, "--place", text) == 2
    assert [one["code"] for one in answer(capsys)["findings"]] == ["bad-place"]


def test_a_place_of_a_part_that_is_not_there_is_refused(tmp_path, capsys):
    folder = write(tmp_path / "p", parts=("housing",))
    assert new(folder, "--place", "lamp=1,2") == 2
    assert "--place names" in answer(capsys)["findings"][0]["what"]


def test_the_frames_of_this_test_differ():
    assert len({size for size, *_ in FRAMES.values()}) == len(FRAMES)


def test_plates_of_the_still_s_size_that_it_does_not_show_keep_their_places_and_it_is_said(tmp_path, capsys):
    folder = tmp_path / "p"
    folder.mkdir()

    def draw(name, box):
        image = Image.new("RGBA", (200, 120), (0, 0, 0, 0))
        ImageDraw.Draw(image).rectangle(box, fill=(120, 130, 140, 255))
        image.save(folder / name)

    draw("base.png", (20, 20, 79, 79))
    draw("cap.png", (30, 30, 59, 59))
    draw("hero.png", (150, 10, 154, 110))  # a rod, where the plates show two squares
    assert new(folder, scale="base=60mm") == 0
    assert "hero-disagrees" in [one["code"] for one in answer(capsys)["warnings"]]
    for part in ("base", "cap"):
        assert apply(places(folder)[part], np.array([[40.0, 40.0]])) == pytest.approx(np.array([[40, 40]]), abs=1e-3)
