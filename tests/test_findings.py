"""Findings that a film may end with, each made to happen once: its code, its words, and how it ends."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from small_assemblies import box, film, insert, make, phase, shot, stack, there_and_back

from choreo.compile import compile_film
from choreo.errors import ChoreoError
from choreo.model.choreography import View
from choreo.read.project import inspect_assembly


def warnings(made):
    return {finding.code: finding.what for finding in made.report.warnings}


def test_a_part_that_travels_into_the_camera():
    # By hand: the knob's face is 20 mm high; a camera 300 mm above the middle is passed after less than 300 mm.
    view = View("perspective", 0, 0, focal_mm=20, sensor_mm=(36, 20.25), distance_mm=300.0)
    one = shot(*there_and_back(), view=view, pins={"knob": (None, 320.0)})
    with pytest.raises(ChoreoError) as error:
        compile_film(stack(), film(one))
    assert error.value.exit_code == 1
    assert "behind-camera" in {finding.code for finding in error.value.findings}


def test_an_axis_that_something_stands_in_the_way_of():
    # The lid's joint says downward, through the base.
    wrong = make(*stack().parts, joints=[insert("lid", "base", (0, 0, -1)), insert("knob", "lid", (0, 0, 1))])
    assert (
        'Part "lid" leaves along (0, 0, 1)'
        in warnings(compile_film(wrong, film(shot(*there_and_back()))))["axis-refused"]
    )


def test_a_passage_that_leaves_less_room_than_the_clearance():
    # The bolt's head keeps the lid down, so its foot goes up through the lid's opening first: 0.2 mm of air on each
    # side, where 0.5 mm are asked for. At rest the two are 2 mm apart and more.
    head, shank = box("head", -6, -6, 6, 6, 20, 24), box("shank", -1, -1, 1, 1, 2, 20)
    foot = box("foot", -3, -3, 3, 3, 2, 6)
    bolt = replace(foot, id="bolt", label="Bolt", slabs=(*foot.slabs, *shank.slabs, *head.slabs))
    base = box("base", -20, -20, 20, 20, 0, 2)
    wall = box("wall", -20, -20, 20, 20, 2, 12, (-18, -18, 18, 18))
    lid = box("lid", -20, -20, 20, 20, 12, 14, (-3.2, -3.2, 3.2, 3.2))
    up = (0, 0, 1)
    narrow = make(base, wall, bolt, lid, joints=[insert("bolt", "base", up), insert("lid", "wall", up)])
    said = warnings(compile_film(narrow, film(shot(phase("explode", 120)))))
    assert '"bolt" and "lid" pass each other closer than clearance_mm' in said["clearance-not-kept"]


def test_a_file_with_very_many_mistakes_is_not_told_all_of_them(tmp_path):
    parts = [{"id": f"p{k}", "colour": "red", "slabs": []} for k in range(200)]
    (tmp_path / "assembly.json").write_text(
        json.dumps({"format": "choreo/assembly", "version": 1, "name": "Tin", "parts": parts}), encoding="utf-8"
    )
    findings = inspect_assembly(tmp_path / "assembly.json").findings
    assert findings[-1].code == "and-more"
    assert len(findings) < 200
