"""Labels have room at rest: cases by hand, and what is done where they have none. All data is invented."""

import numpy as np
import pytest
from small_assemblies import box, compiled, film, insert, make, shot, stage, there_and_back

from choreo.geometry.cameras.camera import orthographic_camera
from choreo.geometry.solids.solid import build_solid
from choreo.model.choreography import View
from choreo.model.plan import Move
from choreo.passes.label_room import drawn_at_rest, without_room

SCREEN = (1920, 1080)
"""At 10 px a mm: 192 x 108 mm. The large panel is 984 x 553.5 units, so a mm is 5.125 units."""


def lacking(*parts, label="Part"):
    camera = orthographic_camera(0, 0, np.zeros(3), 10.0, SCREEN)
    solids = {part.id: build_solid(part.slabs, part.offset) for part in parts}
    words = {part.id: (label, number) for number, part in enumerate(parts, 1)}
    return without_room(solids, camera, {part.id: np.zeros(3) for part in parts}, words, SCREEN)


def small(name, x, y):
    return box(name, x - 1, y - 1, x + 1, y + 1, 0, 2)


def test_a_crowded_ring_of_small_parts_has_room_outside():
    around = 2 * np.pi * np.arange(12) / 12
    ring = [small(f"p{k}", 20 * np.cos(a), 20 * np.sin(a)) for k, a in enumerate(around.tolist())]
    assert lacking(*ring) == ()


def test_labels_of_more_area_than_the_frame_do_not_all_have_room():
    # Two lines of "Washer of the" and more are 1.54 * 17 + at least 4 ems = 94 units wide and 42 high: with 5 between
    # them 4650 square units each. 150 of them need 698 000; the frame has 984 * 553.5 = 544 644.
    parts = [small(f"p{k}", 12 * (k % 15) - 84, 10 * (k // 15) - 45) for k in range(150)]
    assert len(lacking(*parts, label="Washer of the outer ring")) >= 150 - 117


def test_a_label_has_room_only_near_its_part_and_not_across_another():
    # A plate covers all but a strip at the right: the part in front of it could be named only across the plate.
    plate = box("plate", -96, -54, 70, 54, -5, 0)
    assert lacking(plate, small("near", 66, 0)) == ("near",)
    assert lacking(small("alone", -60, 0)) == ()


def test_the_longest_leader_by_hand():
    # Two plates leave a corridor of 4 mm, 20 units: too low for a label of 21. It opens into a strip at the right edge,
    # where labels stand. From 20 mm inside a leader has 102 units to go, from 40 mm 205; allowed are 0.15 of the
    # diagonal of 1129 units, 169.
    plates = (box("upper", -96, 2, 60, 54, 0, 2), box("lower", -96, -54, 60, -2, 0, 2))
    assert lacking(*plates, small("near", 40, 0)) == ()
    assert lacking(*plates, small("far", 20, 0)) == ("far",)


def moved(phase, kind, start, frames):
    return Move("p", phase, start, frames, "linear", kind, start)


@pytest.mark.parametrize(
    ("moves", "frame"),
    [
        ((), None),
        ((moved(0, "assemble", 4, 10),), 0),  # the cut that it begins with
        ((moved(0, "explode", 4, 10),), 59),  # the cut that it ends with
        ((moved(0, "explode", 4, 10), moved(0, "explode", 6, 10), moved(2, "assemble", 40, 9)), 28),  # (16 + 40) / 2
    ],
)
def test_the_frame_that_is_drawn_large(moves, frame):
    assert drawn_at_rest(moves, 60) == frame


def tower(share, lid):
    """Two plates over each other that all but fill a frame without margins."""
    high = 0.9 * share
    parts = (box("base", -80, -high, 80, 0, 0, 20), box("lid", -lid / 2, 0, lid / 2, high, 0, 20))
    return make(*parts, joints=[insert("lid", "base", (0, 1, 0))])


@pytest.mark.parametrize(("share", "lid", "steps"), [(40, 150, False), (44, 150, True)])
def test_the_camera_steps_back_only_where_labels_need_it(share, lid, steps):
    wanted = film(shot(*there_and_back()), safe=(0, 0, 0, 0))
    made, before = compiled(tower(share, lid), wanted), stage(tower(share, lid), wanted)
    scale = made.report.shots[0].px_per_mm / float(before.layout.cameras[0].scale_at(np.zeros(3)))
    assert 0.939 < scale < 0.995 if steps else scale == pytest.approx(1)
    assert made.report.warnings == ()


def test_no_room_within_six_per_cent_is_a_warning_that_names_the_parts_and_costs_nothing():
    wanted = film(shot(*there_and_back()), safe=(0, 0, 0, 0))
    made, before = compiled(tower(46, 154), wanted), stage(tower(46, 154), wanted)
    [warning] = made.report.warnings
    assert (warning.code, warning.severity) == ("label-no-room", "warning")
    assert '"lid"' in warning.what or '"base"' in warning.what
    assert made.report.shots[0].px_per_mm == pytest.approx(float(before.layout.cameras[0].scale_at(np.zeros(3))))


def test_a_camera_that_the_shot_fixes_stays():
    scale = 11.8
    fixed = film(shot(*there_and_back(), view=View("orthographic", px_per_mm=scale)), safe=(0, 0, 0, 0))
    made = compiled(tower(46, 154), fixed)
    assert made.report.shots[0].px_per_mm == pytest.approx(scale)
    assert [warning.code for warning in made.report.warnings] == ["label-no-room"]
