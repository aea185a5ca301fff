"""An invented product whose plates are off by known amounts: verdicts, numbers that mend it, and what is said."""

from __future__ import annotations

import dataclasses
import math
import re

import numpy as np
import pytest
import shapely
from photographed import HERO, OFFSETS, SHAPES, TRUE, WRONG, assembly, hero_still, on_hero, photograph, registered

from choreo.geometry.registration.similarity import apply, origin_px, placement
from choreo.model.assembly import ViewAngle
from choreo.model.registration import IDENTITY, ContentFit, Correction, Photograph
from choreo.passes.registration import register
from choreo.passes.registration_words import correction_words, registration_words


@pytest.fixture(scope="module")
def found():
    return registered(WRONG)


def part_of(found, name):
    return next(part for part in found.parts if part.part == name)


def off_by_hand(part):
    """How far the wrong numbers put the part's outline, from the true place, by the drawing itself."""
    scale, pivot = WRONG[part]
    origin = origin_px(OFFSETS[part], HERO)
    wrong = placement(Correction(scale, pivot, 0.0), HERO.px_per_mm, origin)
    true = placement(TRUE[part], HERO.px_per_mm, origin)
    corners = np.linalg.solve(_matrix(true), (on_hero(part) - true.shift_px).T).T
    return float(np.hypot(*(apply(wrong, corners) - on_hero(part)).T).max())


def _matrix(place):
    turn = math.radians(place.turn_degrees)
    return place.scale * np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])


def test_each_part_gets_its_verdict(found):
    assert [(part.part, part.verdict, part.by) for part in found.parts] == [
        ("shell", "within", "outline"),
        ("cap", "off", "outline"),
        ("dial", "off", "picture"),
    ]
    assert not found.within


@pytest.mark.parametrize("part", ["cap", "dial"])
def test_how_far_off_and_where(found, part):
    measured = part_of(found, part)
    assert measured.off_px == pytest.approx(off_by_hand(part), abs=0.15)
    px, x, y = re.match(r"off by ([\d.]+) px at \((\d+), (\d+)\)", measured.said).groups()
    assert float(px) == pytest.approx(measured.off_px, abs=0.1)
    assert float(px) >= measured.off_px - 1e-6
    # The place named is on the part, where the wrong numbers show it.
    assert shapely.Polygon(on_hero(part)).buffer(6).contains(shapely.Point(float(x), float(y)))


@pytest.mark.parametrize("part", ["shell", "cap", "dial"])
def test_the_numbers_that_mend_it_are_the_true_ones(found, part):
    mend = part_of(found, part).correction
    origin = origin_px(OFFSETS[part], HERO)
    places = [placement(numbers, HERO.px_per_mm, origin) for numbers in (mend, TRUE[part])]
    corners = SHAPES[part] + TRUE[part].pivot_px
    assert apply(places[0], corners) == pytest.approx(apply(places[1], corners), abs=0.15)
    assert mend.turn_degrees == pytest.approx(TRUE[part].turn_degrees, abs=0.1)


def test_pasted_in_the_numbers_hold():
    again = registered({part: (one.px_per_mm, one.pivot_px, one.turn_degrees) for part, one in TRUE.items()})
    assert all(part.off_px < 0.15 for part in again.parts)
    assert [part.verdict for part in again.parts] == ["within"] * 3
    assert again.within


def test_the_stack_before_and_after(found):
    assert found.stack.worst_px > 1
    assert not found.stack.meets
    # What is left is in the notch where cap and shell meet: the hero's matte rounds it, two mattes together do not.
    notch = shapely.Polygon(on_hero("cap")).boundary.intersection(shapely.Polygon(on_hero("shell")).boundary)
    assert found.mended.worst_px < 0.8
    assert notch.distance(shapely.Point(found.mended.worst_at_px)) < 1
    assert found.mended.meets
    assert found.mended.mean_px < 0.05
    assert found.stack.surplus
    assert found.mended.surplus == found.mended.gaps == ()


def test_a_part_inside_without_a_picture_cannot_be_measured():
    found = registered(WRONG, dial={"colour": None})
    dial = part_of(found, "dial")
    assert dial.verdict == "unmeasured"
    assert dial.correction is None
    assert "none of its outline is on the hero's outline" in dial.said
    assert "no picture" in dial.said


def test_a_rim_just_inside_another_part_is_not_drawn_to_the_hero():
    # A frame 3 to 5 px inside the shell's edge, all along: by itself it would fit the hero's outline, 5 % larger.
    middle = on_hero("shell").mean(axis=0)
    inset = middle + 0.95 * (on_hero("shell") - middle)
    own = inset - np.array(origin_px(OFFSETS["dial"], HERO)) + TRUE["dial"].pivot_px
    rim = Photograph((shapely.Polygon(own),))
    shell = photograph("shell")
    found = register(assembly(), {"shell": shell, "dial": rim}, hero_still())
    assert part_of(found, "dial").verdict == "unmeasured"


def test_a_plain_part_inside_cannot_be_measured():
    found = registered(WRONG, dial={"colour": np.full((160, 180, 3), 0.4)})
    assert "plain" in part_of(found, "dial").said


def test_a_plate_beside_all_that_the_still_shows_is_said_to_be_so():
    beside = {**WRONG, "cap": (WRONG["cap"][0], (WRONG["cap"][1][0] + 5000, WRONG["cap"][1][1]))}
    cap = part_of(registered(beside), "cap")
    assert cap.verdict == "unmeasured"
    assert cap.said.endswith("the still shows nothing where its numbers put it")


def test_a_picture_that_tells_no_number_whole_is_a_reason_in_words(monkeypatch):
    # An answer of which all four numbers are held in part is no trouble, and still none to go by.
    def nothing_whole(*_arguments, **_options):
        return ContentFit(IDENTITY, 0.9, 0.0, 0.0, (), (), "")

    monkeypatch.setattr("choreo.passes.registration.register_reduced", nothing_whole)
    (dial,) = (part for part in registered(WRONG).parts if part.part == "dial")
    assert dial.said.endswith("and its picture has too little on it to tell")


def test_plates_from_other_views_and_plates_not_read():
    whole = assembly()
    side = dataclasses.replace(whole.plates[1], view=ViewAngle(90, 0))
    whole = dataclasses.replace(whole, plates=(whole.plates[0], side, whole.plates[2]))
    found = register(whole, {"shell": photograph("shell"), "cap": photograph("cap")}, hero_still())
    assert "no plate from the hero's view" in part_of(found, "cap").said
    assert "could not be read" in part_of(found, "dial").said
    assert part_of(found, "shell").placed is not None


def test_a_full_turn_is_the_same_view():
    whole = assembly()
    plates = tuple(dataclasses.replace(plate, view=ViewAngle(360, 0)) for plate in whole.plates)
    found = register(dataclasses.replace(whole, plates=plates), {"shell": photograph("shell")}, hero_still())
    assert part_of(found, "shell").placed is not None


def test_another_shape_is_said_to_be_one():
    # The hero's upper edge bulges by 0.8 px, as another lens has it: no place makes the outlines the same.
    shell = on_hero("shell")
    dense = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(shell), 2.0))
    wavy = dense + 0.7 * np.sin(dense[:, ::-1] / 6)
    found = register(
        assembly(), {"shell": Photograph((shapely.Polygon(SHAPES["shell"] + TRUE["shell"].pivot_px),))},
        Photograph((shapely.Polygon(wavy),)),
    )  # fmt: skip
    one = part_of(found, "shell")
    assert one.verdict == "misfit"
    assert "its outline is not the hero's" in one.said


def test_nothing_to_lay_on_the_hero():
    found = register(assembly(), {}, hero_still())
    assert all(part.verdict == "unmeasured" for part in found.parts)
    assert "cannot be laid" in registration_words(found)[0]
    empty = register(assembly(), {"shell": Photograph(())}, hero_still())
    assert "its matte is empty" in part_of(empty, "shell").said
    with pytest.raises(ValueError):
        register(dataclasses.replace(assembly(), hero=None), {}, hero_still())


def test_what_is_said(found):
    lines = registration_words(found)
    assert lines[0].startswith("The stack does not meet the hero still to 0.5 px: ")
    assert any(re.match(r"  It sticks out in \d+ places?, \d+ px² in all: at \(\d+, \d+\)", line) for line in lines)
    assert any(line.startswith("  shell: within 0.5 px. It is 0.0") and "Told by " in line for line in lines)
    cap = next(index for index, line in enumerate(lines) if line.startswith("  cap: off by "))
    numbers = re.search(r'"px_per_mm": ([\d.]+), "pivot_px": \[([\d.]+), ([\d.]+)\]', lines[cap + 1])
    assert [float(n) for n in numbers.groups()] == pytest.approx([9.9, 88.7, 81.2], abs=0.15)
    assert '"turn": 0.' in lines[cap + 1]
    assert lines[-1].startswith("With these numbers the outlines would be up to 0.")
    assert all(line.isprintable() for line in lines)


def test_numbers_to_paste_are_as_exact_as_the_measurement():
    said = correction_words(Correction(10.0123456, (512.0004, 3.25), -0.125))
    assert said == '"px_per_mm": 10.012346, "pivot_px": [512.000, 3.250], "turn": -0.1250'
    assert correction_words(Correction(10, (1, 2), -0.00001)).endswith('"turn": 0.0000')


def test_same_input_same_answer(found):
    again = registered(WRONG)
    assert again.parts == found.parts
    assert again.stack.stack.equals_exact(found.stack.stack, 0)
