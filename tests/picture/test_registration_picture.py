"""The sheet of a registration: sound and inert, drawn where it says, the same every time."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import shapely

from choreo.geometry.registration.stack import register_stack
from choreo.model.registration import (
    IDENTITY,
    Arrow,
    Correction,
    OutlineFit,
    PartRegistration,
    Registration,
    Similarity,
)
from choreo.picture.registration_picture import _factor, _hatched, registration_svg

SVG = "{http://www.w3.org/2000/svg}"
HERO = shapely.box(0, 0, 400, 200)
HOSTILE = ["<script>x</script>", '"/><image href="x"/>', "\u202eright to left", "\x00\x1b[2J", "word " * 400, ""]


def registration(off=3.0):
    """The stack stands 3 px too far right; mended, it does not."""
    fitted = OutlineFit(
        IDENTITY, 0.1, 0.2, (0.0, 0.0), 0.9, 1000.0, 0.01, (), ("shift x", "shift y", "size", "turn"),
        (Arrow((0.0, 50.0), (0.0, 0.0)), Arrow((400.0, 50.0), (0.0, 0.0))),
    )  # fmt: skip
    placed = Similarity(1.0, 0.0, (off, 0.0))
    shell = PartRegistration(
        "shell", "off", "off by 3.0 px at (403, 0)", off, (403.0, 0.0), "outline", placed, fitted, None,
        Correction(10.0, (200.0 + off, 100.0), 0.0),
    )  # fmt: skip
    dial = PartRegistration(
        "dial", "unmeasured", "cannot be measured: it has no plate", None, None, "", None, None, None, None
    )
    stack = shapely.affinity.translate(HERO, off)
    return Registration(0.5, (shell, dial), register_stack([stack], HERO), register_stack([HERO], HERO))


@pytest.fixture(scope="module")
def drawn():
    return registration_svg(registration(), {"shell": "Shell", "dial": "Dial"}, "Invented meter")


def texts(svg):
    return [node.text or "" for node in ET.fromstring(svg).iter(SVG + "text")]


def test_it_is_one_standalone_picture(drawn):
    root = ET.fromstring(drawn)
    assert root.tag == SVG + "svg"
    assert {node.tag.removeprefix(SVG) for node in root.iter()} <= {"svg", "title", "g", "rect", "line", "path", "text"}
    assert not re.search(r"url\(|href|@import|<!|<\?| on\w+=|style=", drawn)


def test_the_table_says_what_was_found(drawn):
    said = texts(drawn)
    assert "Invented meter: stack on hero still" in said
    for words in ("Shell", "off by 3.0 px at (403, 0)", "3.00", "90%", "203.00, 100.00", "+0.000", "Dial"):
        assert words in said
    assert any("worst 3.00 px" in words and "sticks out 600 px²" in words for words in said)


def test_the_factor_of_the_arrows_is_stated_and_kept(drawn):
    stated = next(float(m[1]) for words in texts(drawn) if (m := re.search(r"drawn ([\d.]+) times as long", words)))
    # 435.12 px of hero (403 and 4 % of it on both sides) fill 1992 units: 4.578 a px, so 3 px are 13.73 units; five
    # times that is the longest of 1, 2, 5, 10 that stays below 70.
    assert stated == 5
    width = 403 * 1.08
    length = 3 * 1992 / width * 5
    shafts = [m for m in re.findall(r"M(-?\d+) (-?\d+)l(-?\d+)[ ]?(-?\d+)", drawn) if m[3] == "0"]
    assert any(abs(int(m[2]) + length * 10) <= 1 for m in shafts)  # back to the left, in tenths


def test_arrows_that_are_nothing_have_no_factor():
    assert _factor([], 5.0) == 1
    assert _factor([(np.zeros((2, 2)), np.zeros((2, 2)))], 5.0) == 1
    # 300 px at 5 units each are 1500: even a tenth is more than 70, and no less is drawn.
    assert _factor([(np.zeros((1, 2)), np.array([[300.0, 0.0]]))], 5.0) == 0.1


def test_hatching_stays_inside_its_piece():
    piece = shapely.box(103, 40, 163, 75).difference(shapely.box(120, 50, 140, 60))
    for lean in (1.0, -1.0):
        steps = re.findall(r"M(-?\d+) (-?\d+)l([-\d ]+)z?", _hatched([piece], lean))
        strokes = []
        for x, y, rest in steps:
            numbers = np.array([int(n) for n in re.findall(r"-?\d+", rest)]).reshape(-1, 2)
            if len(numbers) == 1:
                start = np.array([int(x), int(y)])
                strokes.append(shapely.LineString(np.stack([start, start + numbers[0]]) / 10))
        assert len(strokes) > 10
        assert all(piece.buffer(0.1).contains(stroke) for stroke in strokes)
        slants = [np.diff(np.array(stroke.coords), axis=0)[0] for stroke in strokes if stroke.length > 3]
        assert all(np.sign(dx * dy) == lean for dx, dy in slants)
        # The lines are 7 units apart along x, so the ink's length is the area over 7 times the root of 2.
        assert sum(stroke.length for stroke in strokes) == pytest.approx(piece.area / 7 * np.sqrt(2), rel=0.08)


@pytest.mark.parametrize("words", HOSTILE)
def test_names_mean_nothing_but_themselves(words):
    drawn = registration_svg(registration(), {"shell": words}, words)
    root = ET.fromstring(drawn)
    assert {node.tag.removeprefix(SVG) for node in root.iter()} <= {"svg", "title", "g", "rect", "line", "path", "text"}


def test_a_stack_in_place_has_nothing_hatched():
    found = registration(0.0)
    drawn = registration_svg(dataclasses.replace(found, stack=found.mended), {})
    assert any("meets the hero" in words for words in texts(drawn))
    assert len(re.findall("<path", drawn)) < len(re.findall("<path", registration_svg(registration(), {})))


def test_no_stack_and_no_hero_still_make_a_sheet():
    nothing = register_stack([], shapely.Polygon())
    found = Registration(0.5, (), nothing, nothing)
    ET.fromstring(registration_svg(found, {}))
    only_hero = register_stack([], HERO)
    assert any("unknown" in words for words in texts(registration_svg(Registration(0.5, (), only_hero, only_hero), {})))


def test_the_same_input_gives_the_same_bytes(drawn):
    assert registration_svg(registration(), {"shell": "Shell", "dial": "Dial"}, "Invented meter") == drawn
