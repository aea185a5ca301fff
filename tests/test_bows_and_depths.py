"""Bowed ways before the mesh referee, and how deep an overshoot is said to go, measured on meshes (manifold3d)."""

import dataclasses
import re
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from mesh_referee import Pair, eroded, pairs, worst_overlap
from random_assemblies import random_assembly, random_film
from small_assemblies import TURNED, compiled, cross, film, insert, make, phase, rect, shot, there_and_back

from choreo.compile import compile_film, take_apart
from choreo.errors import ChoreoError
from choreo.model.assembly import Part, Slab
from choreo.model.choreography import Pin, View
from choreo.motion.easing import parse_easing

ROUNDING = 1e-6
"""Cubic mm that two meshes may share by rounding alone."""


# --- Bows -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("view", [TURNED, View("orthographic")])
def test_no_two_parts_meet_on_bowed_ways(view):
    pins = {part: (None, None, bow) for part, bow in [("east", 9.0), ("west", -9.0), ("north", 4.0), ("south", 25.0)]}
    bent = compiled(cross(), film(shot(*there_and_back(60), view=view, pins=pins)))
    plain = compiled(cross(), film(shot(*there_and_back(60), view=view)))
    [one], [other] = bent.tracks.shots, plain.tracks.shots
    grown = [a for a, b in zip(one.parts, other.parts, strict=True) if len(a.route) > len(b.route)]
    assert len(grown) >= 3
    assert worst_overlap(pairs(cross()), one.parts, one.frames, 8)[0] <= ROUNDING


def compiled_or_not(assembly, made):
    try:
        return compile_film(assembly, made), None
    except ChoreoError as error:
        return None, error


@settings(max_examples=10, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.floats(2, 60), st.sampled_from([1, -1]))
def test_no_two_parts_of_a_random_film_meet_where_all_ways_are_bowed(seed, bow, side):
    assembly = random_assembly(seed)
    made = random_film(seed, assembly.ids)
    straight = dataclasses.replace(made, shots=made.shots[seed % 2 :][:1])
    order = take_apart(assembly, made.clearance_mm).removal.order
    pins = MappingProxyType({part: Pin(bow_mm=side * bow) for part in order})
    bowed, refused = compiled_or_not(assembly, dataclasses.replace(straight, shots=(
        dataclasses.replace(straight.shots[0], pins=pins),)))  # fmt: skip
    if refused is not None:
        # A bow takes the room that there is: it refuses nothing that the straight way would not be refused for.
        assert compiled_or_not(assembly, straight)[1] is not None, str(refused)
        reject()
    [done] = bowed.tracks.shots
    assert worst_overlap(pairs(assembly), done.parts, done.frames, 3)[0] <= ROUNDING


# --- How deep an overshoot goes -------------------------------------------------------------------------------------

SPRINGY = "cubic-bezier(0.34, 1.56, 0.64, 1)"


def prism(name, *corners):
    return Part(name, name.capitalize(), "#888888", (0.0, 0.0, 0.0), (Slab(tuple(corners), (), (0.0, 20.0)),))


FLAT = prism("slide", *rect(0, -8, 20, 8))
"""Touches the wall at x = 0."""
GAP = prism("slide", *rect(2, -8, 22, 8))
"""Stands 2 mm off it."""
NOSE = prism("slide", (-1, -2), (16, -10), (16, 10), (2, 10))
"""Its nose points at a slanted wall, beside the middle."""
WALL = prism("wall", *rect(-60, -30, 0, 30))
SLANTED = prism("wall", (-60, -30), (-8, -30), (2, 30), (-60, 30))


@pytest.mark.parametrize(("slide", "wall"), [(FLAT, WALL), (GAP, WALL), (NOSE, SLANTED)])
@pytest.mark.parametrize("easing", [SPRINGY, "cubic-bezier(0.3, 1.9, 0.5, 1)"])
def test_the_depth_of_an_overshoot_is_that_of_meshes(slide, wall, easing):
    assembly = make(wall, slide, joints=[insert("slide", "wall", (1, 0, 0))])
    one = shot(phase("assemble", 40, easing=easing), phase("hold", 3), pins={"slide": ((1, 0, 0), 60.0)})
    with pytest.raises(ChoreoError) as caught:
        compiled(assembly, film(one))
    [finding] = caught.value.findings
    assert finding.code == "overshoot-collides"
    deep = float(re.search(r"drives it (\d+\.\d+) mm into \"wall\"", finding.what)[1])
    # How far it is carried beyond its place, and from where on the full-size meshes share anything, by halving.
    beyond = 60 * (float(np.asarray(parse_easing(easing).value(np.linspace(0, 1, 20001))).max()) - 1)
    pair = Pair(*(eroded(part.slabs, part.offset, 0.0) for part in (wall, slide)))
    apart, inside = 0.0, beyond
    assert pair.overlap((-inside, 0, 0)) > 1
    for _ in range(50):
        middle = (apart + inside) / 2
        apart, inside = (apart, middle) if pair.overlap((-middle, 0, 0)) > 1e-6 else (middle, inside)
    assert deep == pytest.approx(beyond - inside, abs=0.02)  # two decimals; meshes of corners within a hundredth
