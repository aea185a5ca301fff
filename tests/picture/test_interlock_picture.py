"""The picture of an interlock: what it says, where its sectors lie, and that names stay text."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET  # our own output, made in this process
from dataclasses import replace

import numpy as np
import pytest
from small_assemblies import box, make

from choreo.geometry.solids.solid import build_solid
from choreo.model.interlock import Bar, Held, Interlock, Link
from choreo.picture.interlock import interlock_svg

SVG = "{http://www.w3.org/2000/svg}"
PRODUCT = make(
    box("frame", 0, 0, 40, 40, 0, 10, (10, 10, 30, 30)),
    box("bar", 10, 10, 30, 30, 0, 10),
    box("pin", 40, 10, 50, 20, 0, 5),
)
SOLIDS = {part.id: build_solid(part.slabs, part.offset) for part in PRODUCT.parts}


def proof(*bars, ring=True, **more):
    held = (Held("frame", bars), Held("bar", (Bar(("frame",), (0, 0, 1)),)))
    links = (Link("frame", (0, 1, 0), "bar"), Link("bar", (0.6, 0.8, 0), "frame")) if ring else ()
    return Interlock(("frame", "bar"), held, links, 3, 3, **more)


def words(svg):
    return [element.text for element in ET.fromstring(svg).iter(f"{SVG}text")]


def sectors(svg):
    """Start and end of each sector, degrees counter-clockwise from +x, read back from the arcs that are drawn."""
    found = []
    for element in ET.fromstring(svg).iter(f"{SVG}path"):
        match = re.fullmatch(r"M(\S+) (\S+)A(\S+) \S+ 0 ([01]) 0 (\S+) (\S+)", element.get("d"))
        if match:
            x0, y0, _, large, x1, y1 = map(float, match.groups())
            start, end = (math.degrees(math.atan2(-y, x)) % 360 for y, x in ((y0, x0), (y1, x1)))
            assert ((end - start) % 360 > 180) == bool(large)
            found.append((start, end))
    return found


@pytest.mark.parametrize(("start", "end"), [(0, 90), (-30, 95), (200, 350), (10, 300)])
def test_a_sector_lies_where_the_way_is_barred(start, end):
    # An elliptical arc of SVG with sweep 0 runs counter-clockwise on the screen; up is +y. A hair is left at each end.
    ((first, last),) = sectors(interlock_svg(PRODUCT, SOLIDS, proof(Bar(("bar",), (1, 0, 0), (start, end)))))
    np.testing.assert_allclose(
        [(first - start + 180) % 360 - 180, (last - end + 180) % 360 - 180], [0.7, -0.7], atol=0.2
    )


def test_a_direction_without_width_is_seen_and_a_whole_turn_is_a_ring():
    ((first, last),) = sectors(interlock_svg(PRODUCT, SOLIDS, proof(Bar(("bar",), (0, 1, 0), (90.0, 90.0)))))
    assert 1 < last - first < 2.5
    assert (first + last) / 2 == pytest.approx(90, abs=0.1)
    whole = interlock_svg(PRODUCT, SOLIDS, proof(Bar(("bar",), (1, 0, 0), (0.0, 360.0))))
    assert sectors(whole) == []
    assert any(c.get("stroke-width") == "9" for c in ET.fromstring(whole).iter(f"{SVG}circle"))


def test_an_open_way_is_no_sector_and_is_said():
    svg = interlock_svg(PRODUCT, SOLIDS, proof(Bar((), (1, 0, 0), (0.0, 90.0)), Bar((), (0, 0, -1))))
    assert sectors(svg) == []
    assert "away from you (-z): open for this part alone" in words(svg)


def test_who_bars_which_way_and_the_ring_are_said():
    said = words(interlock_svg(PRODUCT, SOLIDS, proof(Bar(("bar", "pin"), (0, 0, 1)))))
    assert "toward you (+z): barred by Bar, Pin" in said
    assert "Frame is held by Bar on its way up (+y)" in said
    assert "Bar is held by Frame on its way at 53.1°" in said
    assert not any("not proved" in line for line in said)


def test_a_limit_that_was_reached_is_said():
    said = words(interlock_svg(PRODUCT, SOLIDS, replace(proof(), groups_in_all=9)))
    assert "This is not proved for all groups of them: 3 of 9 were tried." in said


def test_many_sectors_are_named_below():
    bars = [Bar(("bar",), (1, 0, 0), (20.0 * k, 20.0 * k + 10 - k / 10)) for k in range(18)]
    said = words(interlock_svg(PRODUCT, SOLIDS, proof(*bars)))
    assert "160° to 169°: barred by Bar" in said
    assert "and 3 more; report and --json have them all" in said


def test_names_stay_text():
    nasty = '</svg><script>alert(1)</script>&"'
    product = replace(PRODUCT, name=nasty, parts=tuple(replace(part, label=nasty) for part in PRODUCT.parts))
    svg = interlock_svg(product, SOLIDS, proof(Bar(("bar",), (1, 0, 0), (0.0, 90.0))))
    assert "<script" not in svg
    assert any("script" in line for line in words(svg))


def test_same_input_same_bytes():
    one = interlock_svg(PRODUCT, SOLIDS, proof(Bar(("bar",), (1, 0, 0), (0.0, 90.0))))
    assert one == interlock_svg(PRODUCT, SOLIDS, proof(Bar(("bar",), (1, 0, 0), (0.0, 90.0))))
