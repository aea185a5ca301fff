"""Contacts by hand, contacts of unit cubes by adjacency on a grid, overlaps by sums."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_assemblies import AXES, cell_assembly, part, random_cells

from choreo.geometry.collision.encounter import make_encounters
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Assembly, Joint, Part, Slab
from choreo.passes.contacts import find_contacts, find_loose_joints, find_overlaps

S60 = 3**0.5 / 2
UP = (0.0, 0.0, 1.0)


def prism(name, outline, z=(0.0, 10.0), holes=(), offset=(0, 0, 0)):
    rings = [tuple((float(x), float(y)) for x, y in ring) for ring in (outline, *holes)]
    return part(name, [Slab(rings[0], tuple(rings[1:]), z)], offset)


def box(name, x0, y0, z0, x1, y1, z1):
    return prism(name, [(x0, y0), (x1, y0), (x1, y1), (x0, y1)], (float(z0), float(z1)))


def assembly(*parts, joints=(), touch=0.05):
    return Assembly("By hand (invented)", touch, parts, tuple(joints))


def contacts(whole):
    solids = {p.id: build_solid(p.slabs, p.offset) for p in whole.parts}
    return find_contacts(whole, solids, reach_mm=whole.touch_mm)


def overlaps(whole, file=None):
    solids = {p.id: build_solid(p.slabs, p.offset) for p in whole.parts}
    pressed = {(j.into, j.part): j.press_mm for j in whole.joints if j.press_mm}
    return find_overlaps(whole, make_encounters(solids, whole.touch_mm, pressed), file)


def close(normals):
    return sorted(tuple(round(c, 6) for c in n) for n in normals)


# Freedom of a part from the normals of its contacts: d is allowed where n . d >= 0 for every normal n that points
# into it (Wilson and Latombe 1994, Artificial Intelligence 71(2):371-396; the cones by hand). The joints run along
# z here, because parts are prisms along z.
DOVETAIL = assembly(
    prism(
        "rail", [(-20, -8), (20, -8), (20, 10 * S60), (4, 10 * S60), (9, 0), (-9, 0), (-4, 10 * S60), (-20, 10 * S60)]
    ),
    prism("slide", [(-9, 0), (9, 0), (4, 10 * S60), (-4, 10 * S60)]),
)
VEE = assembly(
    prism("rail", [(-10, -5), (10, -5), (10, 10), (0, 0), (-10, 10)]),
    prism("slide", [(0, 0), (6, 6), (0, 12), (-6, 6)]),
)
R2 = 2**-0.5


def test_dovetail_normals_leave_only_the_way_along_the_rail():
    normals = contacts(DOVETAIL).normals_of("slide")
    assert close(normals) == close([(0, 1, 0), (S60, -0.5, 0), (-S60, -0.5, 0)])
    allowed = [d for d in _directions() if all(np.dot(n, d) >= -1e-9 for n in normals)]
    assert close(allowed) == close([(0, 0, 1), (0, 0, -1)])


def test_vee_groove_normals_allow_what_rises_steeper_than_the_walls():
    normals = contacts(VEE).normals_of("slide")
    assert close(normals) == close([(R2, R2, 0), (-R2, R2, 0)])
    for d in _directions():
        assert all(np.dot(n, d) >= -1e-9 for n in normals) == (d[1] >= abs(d[0]) - 1e-9)


def test_normals_of_the_other_part_point_the_other_way():
    graph = contacts(VEE)
    assert close(graph.normals_of("rail")) == close([(-R2, -R2, 0), (R2, -R2, 0)])
    assert contacts(assembly(VEE.parts[1], VEE.parts[0])).contacts[0].a == "slide"


def _directions():
    turn = np.arange(0, 360, 15) * np.pi / 180
    flat = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    return [tuple(d) for d in np.concatenate([flat, 0.8 * flat + [0, 0, 0.6], np.array([[0, 0, 1.0], [0, 0, -1.0]])])]


def test_lid_on_a_box_touches_along_z():
    whole = assembly(box("box", 0, 0, 0, 10, 10, 5), box("lid", -1, -1, 5, 11, 11, 7))
    assert contacts(whole).contacts[0].normals == (UP,)
    assert contacts(whole).normals_of("box") == ((0.0, 0.0, -1.0),)


def test_peg_in_a_square_hole_touches_on_four_sides():
    plate = prism("plate", [(-9, -9), (9, -9), (9, 9), (-9, 9)], holes=[[(-3, -3), (-3, 3), (3, 3), (3, -3)]])
    whole = assembly(plate, box("peg", -3, -3, 2, 3, 3, 15))
    assert close(contacts(whole).normals_of("peg")) == close([(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0)])


@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize(("gap", "touching"), [(0.0, True), (0.04, True), (0.06, False)])
def test_faces_touch_within_reach(axis, gap, touching):
    low, high = [0.0] * 3, [10.0] * 3
    low[axis], high[axis] = 10.0 + gap, 20.0
    found = contacts(assembly(box("a", 0, 0, 0, 10, 10, 10), box("b", *low, *high)))
    expected = tuple(1.0 if k == axis else 0.0 for k in range(3))
    assert [c.normals for c in found.contacts] == ([(expected,)] if touching else [])


def test_edges_and_corners_are_no_contact():
    base = box("a", 0, 0, 0, 10, 10, 10)
    for other in ((10, 10, 0, 20, 20, 10), (10, 0, 10, 20, 10, 20), (10, 10, 10, 20, 20, 20)):
        assert contacts(assembly(base, box("b", *other))).contacts == ()


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_cubes_touch_where_cells_are_neighbours(seed):
    """On the grid: a normal n for each pair of cells c of a and c + n of b."""
    cells = random_cells(seed)
    graph = contacts(cell_assembly(cells))
    expected = {}
    names = list(cells)
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            faces = {axis for axis in AXES.values() if any(tuple(np.add(cell, axis)) in cells[b] for cell in cells[a])}
            if faces:
                expected[a, b] = faces
    assert {(c.a, c.b): set(c.normals) for c in graph.contacts} == expected
    assert all(len(set(c.normals)) == len(c.normals) for c in graph.contacts)
    assert {tuple(sorted(edge)) for edge in graph.graph.edges} == set(expected)
    assert list(graph.graph.nodes) == names


def test_joints_and_contacts_share_one_graph():
    far, near = Joint("insert", "c", "a", UP), Joint("fasten", "b", "a", UP)
    parts = (box("a", 0, 0, 0, 10, 10, 10), box("b", 10, 0, 0, 20, 10, 10), box("c", 50, 0, 0, 60, 10, 10))
    graph = contacts(assembly(*parts, box("d", 80, 0, 0, 90, 10, 10), joints=(far, near))).graph
    assert graph["a"]["c"] == {"joints": (far,), "contact": None}
    assert graph["a"]["b"]["joints"] == (near,)
    assert graph["a"]["b"]["contact"].normals == ((1.0, 0.0, 0.0),)
    assert graph.degree("d") == 0


def test_overlap_at_rest_is_named_with_its_depth():
    """Two boxes share 10 x 10 x 0.5 mm: the shortest way apart is 0.5."""
    whole = assembly(box("a", 0, 0, 0, 10, 10, 10), box("b", 9.5, 0, 0, 20, 10, 10), box("c", 0, 0, 10, 10, 10, 12))
    (finding,) = overlaps(whole, "clock/assembly.json")
    assert finding.code == "overlap-at-rest"
    assert finding.what == 'Parts "a" and "b" overlap by 0.500 mm where they rest.'
    assert (finding.file, finding.place) == ("clock/assembly.json", "/parts/1")
    assert '"press_mm": 1.00' in finding.remedy


def test_every_overlapping_pair_is_named():
    whole = assembly(*(box(n, 8 * k, 0, 0, 8 * k + 10, 10, 10) for k, n in enumerate("abcd")))
    assert [f.place for f in overlaps(whole)] == ["/parts/1", "/parts/2", "/parts/3"]
    assert all("by 2.000 mm" in f.what for f in overlaps(whole))


def test_touching_parts_do_not_overlap():
    whole = assembly(box("a", 0, 0, 0, 10, 10, 10), box("b", 9.96, 0, 0, 20, 10, 10), box("c", 0, 0, 9.96, 10, 10, 12))
    assert overlaps(whole) == ()


@pytest.mark.parametrize(("press", "fits"), [(0.0, False), (0.1, False), (0.2, True), (0.5, True)])
def test_press_fit_may_overlap_by_what_it_declares(press, fits):
    """A square peg 0.24 mm wider than its hole: 0.12 mm a side, of which touching allows 0.05 and press_mm / 2."""
    plate = prism("plate", [(-9, -9), (9, -9), (9, 9), (-9, 9)], holes=[[(-3, -3), (-3, 3), (3, 3), (3, -3)]])
    joint = Joint("insert", "peg", "plate", UP, press_mm=press)
    found = overlaps(assembly(plate, box("peg", -3.12, -3.12, 0, 3.12, 3.12, 10), joints=(joint,)))
    assert (found == ()) == fits
    for finding in found:
        assert "overlap by 0.120 mm" in finding.what
        assert '"press_mm": 0.24' in finding.remedy


def test_doing_as_the_remedy_says_mends_a_press_fit():
    plate = prism("plate", [(-9, -9), (9, -9), (9, 9), (-9, 9)], holes=[[(-3, -3), (-3, 3), (3, 3), (3, -3)]])
    peg = box("peg", -3.31, -3.31, 0, 3.31, 3.31, 10)
    (finding,) = overlaps(assembly(plate, peg, joints=(Joint("insert", "peg", "plate", UP, press_mm=0.1),)))
    told = float(finding.remedy.split('"press_mm": ')[1].split()[0])
    assert told == pytest.approx(2 * 0.31, abs=0.006)
    assert overlaps(assembly(plate, peg, joints=(Joint("insert", "peg", "plate", UP, press_mm=told),))) == ()


@pytest.mark.parametrize(("gap", "said"), [(0.0, None), (1.5, None), (27.0, "27.00 mm")])
def test_a_joint_across_a_wide_gap_is_a_warning(gap, said):
    low = Part("low", "Low", "#111111", (0, 0, 0), (Slab(((0, 0), (9, 0), (9, 9), (0, 9)), (), (0.0, 5.0)),))
    top = Part("top", "Top", "#eeeeee", (0, 0, 5 + gap), low.slabs)
    whole = Assembly("Two", 0.05, (low, top), (Joint("cover", "top", "low", (0.0, 0.0, 1.0)),))
    solids = {p.id: build_solid(p.slabs, p.offset) for p in whole.parts}
    found = find_loose_joints(find_contacts(whole, solids, reach_mm=0.05), solids)
    assert [f.severity for f in found] == (["warning"] if said else [])
    assert all(said in f.what for f in found)
