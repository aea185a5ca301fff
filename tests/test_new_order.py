"""`choreo new` orders plates by the still, and by their names where it tells nothing: a radio, invented.

The plates and the still laid over each other are drawn by Pillow.
"""

from __future__ import annotations

import json

import pytest
from PIL import Image, ImageDraw

from choreo.cli import main

SIZE = (320, 240)
PLATES = {
    "0_back": ((70, 80, 90, 255), (60, 50, 260, 190)),
    "1_board": ((30, 110, 60, 255), (80, 70, 240, 150)),
    "2_front": ((220, 90, 60, 255), (60, 50, 260, 190)),
    "3_window": ((180, 210, 230, 150), (90, 80, 200, 120)),
    "4_knob": ((40, 40, 45, 255), (200, 140, 240, 180)),
    "5_badge": ((250, 220, 120, 255), (90, 150, 140, 170)),
}
"""Colour and box, from back to front. The window lies on the front; a clear plate tells nothing."""
LATE = ((255, 0, 255, 255), (160, 160, 180, 180))


def drawn(colour, box):
    picture = Image.new("RGBA", SIZE, (*colour[:3], 0))
    ImageDraw.Draw(picture).rectangle(box, fill=colour)
    return picture


@pytest.fixture
def radio(tmp_path):
    still = Image.new("RGBA", SIZE)
    for name, (colour, box) in PLATES.items():
        drawn(colour, box).save(tmp_path / f"{name}.png")
        still = Image.alpha_composite(still, drawn(colour, box))
    still.save(tmp_path / "hero.png")
    return tmp_path


def new(folder, capsys, *more, scale="front=80mm"):
    for file in ("assembly.json", "choreography.toml"):
        (folder / file).unlink(missing_ok=True)
    assert main(["new", str(folder), "--scale", scale, "--hero", "hero.png", *more]) == 0
    return capsys.readouterr().out


def test_a_part_that_comes_late_leaves_the_others_as_they_lay(radio, capsys):
    names = [name[2:] for name in PLATES]
    before = json.loads(new(radio, capsys, "--json"))
    assert before["parts"] == names
    assert ["front", "window"] in before["ordered_by_names"]
    drawn(*LATE).save(radio / "6_led.png")
    after = json.loads(new(radio, capsys, "--json"))
    # The still shows the front where the led lies: it is inside, and nothing else moves.
    assert after["parts"] == ["back", "board", "led", "front", "window", "knob", "badge"]
    assert "read from hero.png for" in after["order"]
    told = [pair for pair in after["ordered_by_names"] if "led" not in pair]
    assert told == before["ordered_by_names"]
    layers = {
        part["id"]: part["slabs"][0]["layer"] for part in json.loads((radio / "assembly.json").read_text())["parts"]
    }
    assert layers["led"] < layers["front"] < layers["window"]


def test_it_says_which_pairs_the_names_decide(radio, capsys):
    """By hand: the front hides board and back, so that the still tells neither their order nor the window's."""
    said = new(radio, capsys)
    assert "names alone tell: back behind board, window; board behind window; front behind window." in said


@pytest.mark.parametrize("dimmed", [1.0, 0.7])
def test_a_hidden_part_of_known_width_does_not_tell_how_light_the_still_is(radio, capsys, dimmed):
    """The back is hidden by the front; taken for the front, it would be three times as light, and red."""
    still = Image.open(radio / "hero.png")
    light = Image.merge(
        "RGBA", [channel.point(lambda v: round(v * dimmed)) for channel in still.split()[:3]] + [still.getchannel("A")]
    )
    light.save(radio / "hero.png")
    drawn(*LATE).save(radio / "6_led.png")
    by_front = json.loads(new(radio, capsys, "--json"))
    by_back = json.loads(new(radio, capsys, "--json", scale="back=80mm"))
    assert "read from hero.png for" in by_back["order"]
    assert by_back["order"] == by_front["order"]
    assert by_back["parts"] == by_front["parts"]
