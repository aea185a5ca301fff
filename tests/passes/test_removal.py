"""Removal orders against answers by hand, brute force on a grid of unit cubes, and mesh booleans along the way."""

import itertools
from pathlib import Path

import numpy as np
import pytest
from grid_referee import (
    check_proof,
    comes_apart,
    groups_of,
    joined,
    leaves,
    path_is_clear,
    read_ring,
    straight_ways,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_referee import along, pairs
from random_assemblies import AXES, cell_assembly, dressed_tray, inserted_cells, random_cells

from choreo.compile import take_apart
from choreo.errors import ChoreoError
from choreo.geometry.collision.encounter import make_encounters
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Assembly, Joint
from choreo.passes.contacts import find_contacts
from choreo.passes.removal import blockers, choose_body, plan_removal
from choreo.passes.removal_words import say_direction
from choreo.read.project import read_project

DEMOS = Path(__file__).parents[2] / "demo_assemblies"
QUICK = settings(max_examples=30, deadline=None, derandomize=True)


def block(x, y, z):
    """All cells of a box, ends included."""
    return set(itertools.product(range(x[0], x[1] + 1), range(y[0], y[1] + 1), range(z[0], z[1] + 1)))


def encounters(whole):
    return make_encounters({p.id: build_solid(p.slabs, p.offset) for p in whole.parts}, whole.touch_mm, {})


def removal(whole, body):
    solids = {p.id: build_solid(p.slabs, p.offset) for p in whole.parts}
    graph = find_contacts(whole, solids, reach_mm=whole.touch_mm)
    return plan_removal(whole, encounters(whole), {p: graph.normals_of(p) for p in whole.ids}, body)


def ways(plan):
    return [f"{step.part} {say_direction(step.direction)}" for step in plan.steps]


# Single parts and the axes along which they come out, in unit cubes; answers by hand. The construction (extended
# translations) is that of Wilson and Latombe 1994, "Geometric reasoning about mechanical assembly", Artificial
# Intelligence 71(2):371-396.
_CUBE = block((0, 2), (0, 2), (0, 2))
_WELL = _CUBE - block((1, 1), (1, 1), (1, 2))
_SLOT = block((0, 4), (0, 3), (0, 2)) - block((1, 3), (0, 3), (1, 1)) - block((2, 2), (0, 3), (2, 2))
_SLIDER = block((1, 3), (0, 3), (1, 1)) | block((2, 2), (0, 3), (2, 2)) | block((1, 3), (0, 3), (3, 3))
_RING = block((0, 4), (-2, 2), (0, 0)) - block((1, 3), (-1, 1), (0, 0))
_OTHER_RING = block((-2, 2), (0, 0), (-2, 2)) - block((-1, 1), (0, 0), (-1, 1))
_TAB = block((3, 5), (0, 4), (0, 0)) | {(2, 2, 0)} | block((1, 1), (1, 3), (0, 0))
SINGLE = {
    "peg in a blind hole": (block((1, 1), (1, 1), (1, 3)), _WELL, "+z"),
    "peg in a through hole": (block((1, 1), (1, 1), (-1, 3)), _CUBE - block((1, 1), (1, 1), (0, 2)), "+z -z"),
    "slider in a T-slot": (_SLIDER, _SLOT, "+y -y"),
    "slider in a T-slot with an end wall": (_SLIDER, _SLOT | block((0, 4), (4, 4), (0, 3)), "-y"),
    "two hooks": (
        block((-2, 1), (-1, 1), (0, 0)) - block((-2, 0), (0, 0), (0, 0)),
        block((0, 3), (0, 0), (-1, 1)) - block((1, 3), (0, 0), (0, 0)),
        "+x",
    ),
    "two linked rings": (_RING, _OTHER_RING, ""),
    "flat tab in its socket": (_TAB, block((0, 2), (0, 4), (0, 0)) - _TAB, "+z -z"),
    "lid on an open box": (block((0, 2), (0, 2), (3, 3)), _WELL, "+x -x +y -y +z"),
    "cube shut in a box": ({(1, 1, 1)}, _CUBE - {(1, 1, 1)}, ""),
    "drawer open to one side": (block((1, 1), (0, 1), (1, 1)), _CUBE - block((1, 1), (0, 1), (1, 1)), "-y"),
}


@pytest.mark.parametrize("name", SINGLE)
def test_single_parts_leave_along_the_axes_known_by_hand(name):
    moving, fixed, answer = SINGLE[name]
    e = encounters(cell_assembly({"fixed": fixed, "moving": moving}))
    free = {axis for axis, d in AXES.items() if not blockers(e, "moving", tuple(map(float, d)), ["fixed", "moving"])}
    assert free == set(answer.split())


# Who blocks whom along a direction (Wilson and Latombe 1994, directional blocking graph), by hand: "a: b" reads
# "b stands in the way of a".
_FRAME = block((0, 2), (0, 2), (0, 0)) - {(1, 1, 0)}
STACK = {
    "base": _FRAME,
    "plate": {(x, y, 1) for x, y, _ in _FRAME},
    "screw": block((1, 1), (1, 1), (0, 2)) | {(0, 1, 2), (2, 1, 2)},
}
PINWHEEL = {  # each bar lies over one neighbour and under the other
    "A": {(0, 0, 0), (1, 0, 0), (1, 0, 1), (2, 0, 1), (3, 0, 1)},
    "B": {(3, 0, 0), (3, 1, 0), (3, 2, 0), (3, 2, 1), (3, 3, 1)},
    "C": {(0, 3, 1), (1, 3, 1), (2, 3, 0), (2, 3, 1), (3, 3, 0)},
    "D": {(0, 0, 1), (0, 1, 1), (0, 2, 0), (0, 2, 1), (0, 3, 0)},
}
ROW = {"A": {(0, 0, 0)}, "B": {(1, 0, 0)}, "C": {(2, 0, 0)}}
BLOCKING = [
    (STACK, "+z", "base: plate screw; plate: screw; screw:"),
    (PINWHEEL, "+z", "A: D; B: A; C: B; D: C"),
    (PINWHEEL, "-z", "A: B; B: C; C: D; D: A"),
    (PINWHEEL, "+x", "A: B; B:; C: B; D: A B C"),
    (PINWHEEL, "-x", "A: D; B: A C D; C: D; D:"),
    (PINWHEEL, "+y", "A: B C D; B: C; C:; D: C"),
    (PINWHEEL, "-y", "A:; B: A; C: A B D; D: A"),
    (ROW, "+x", "A: B C; B: C; C:"),
    (ROW, "-x", "A:; B: A; C: A B"),
    (ROW, "+y", "A:; B:; C:"),
    (ROW, "+z", "A:; B:; C:"),
]


@pytest.mark.parametrize(("cells", "axis", "answer"), BLOCKING)
def test_blockers_along_an_axis_are_those_known_by_hand(cells, axis, answer):
    e = encounters(cell_assembly(cells))
    found = {part: blockers(e, part, tuple(map(float, AXES[axis])), list(cells)) for part in cells}
    expected = {line.split(":")[0].strip(): tuple(line.split(":")[1].split()) for line in answer.split(";")}
    assert found == expected


def test_screw_then_plate_leave_the_base():
    assert ways(removal(cell_assembly(STACK), "base")) == ["screw +z", "plate +z"]


def test_a_drawer_waits_for_its_pin():
    """By hand: with the pin in, the drawer moves along no axis; the pin leaves along +z, then the drawer along -y."""
    shell = block((0, 4), (0, 4), (0, 3))
    pin = block((2, 2), (2, 2), (1, 4))
    drawer = block((1, 3), (0, 3), (1, 2)) - pin
    cells = {"shell": shell - drawer - pin, "drawer": drawer, "pin": pin}
    whole = cell_assembly(cells)
    e = encounters(whole)
    directions = {axis: tuple(map(float, d)) for axis, d in AXES.items()}
    assert [axis for axis, d in directions.items() if not blockers(e, "pin", d, whole.ids)] == ["+z"]
    assert all(blockers(e, "drawer", d, whole.ids) for d in directions.values())
    assert [axis for axis, d in directions.items() if not blockers(e, "drawer", d, ("shell", "drawer"))] == ["-y"]
    assert ways(removal(whole, "shell")) == ["pin +z", "drawer -y"]


def keyhole():
    """A T-headed pin under a slotted plate: it slides 3 cells along +x to the wide end of the slot, then up."""
    head, stem = block((1, 1), (1, 3), (0, 0)), block((1, 1), (2, 2), (1, 2))
    room = block((-1, 7), (-1, 5), (-1, 1))
    hollow = block((0, 6), (0, 4), (0, 0)) | block((1, 4), (2, 2), (1, 1)) | block((4, 6), (1, 3), (1, 1))
    return cell_assembly({"shell": room - hollow, "pin": head | stem})


def test_a_keyhole_lets_its_pin_out_by_two():
    """By hand: two moves at least, 3 cells (30 mm) or more along +x, then +z; a mesh walks the way found."""
    whole = keyhole()
    (step,) = take_apart(whole).removal.steps
    corners = np.array([(0.0, 0.0, 0.0), *step.via])
    assert (step.part, say_direction(step.direction)) == ("pin", "+z")
    assert len(corners) == 2
    assert 29.9 < corners[1][0] < 50.1
    way = np.vstack([corners, corners[-1] + np.array([0.0, 0, 60])])
    places = along(way, np.linspace(0, 1, 400))
    assert pairs(whole)["shell", "pin"].most(places)[0] < 1e-6


# Brute force on the grid of unit cubes.


def check_on_grid(cells, whole, body):
    """The plan is real on the grid, or there is none by brute force and the proof is true."""
    try:
        plan = removal(whole, body)
    except ChoreoError as error:
        assert not comes_apart(cells)
        return check_proof(cells, error)
    return check_plan(cells, plan, body, unit=whole.parts[0].slabs[0])


def check_plan(cells, plan, body, unit):
    """Every step, groups and what is inside them too, is real, and no smaller thing could have left."""
    assert comes_apart(cells)
    assert {*plan.order} == set(cells) - {body}
    assert plan.body == body
    size = (unit.z[1] - unit.z[0]) if unit is not None else 10.0
    check_tree(cells, plan, body, size)


def check_tree(cells, plan, body, size):
    present = frozenset({*plan.order, plan.body})
    for step in plan.steps:
        group = frozenset(step.members)
        corners = np.array([(0.0, 0.0, 0.0), *step.via]) / size
        assert path_is_clear(joined(cells, group), joined(cells, present - group), corners, step.direction)
        check_preference(cells, step, group, present, body)
        if step.inner is not None:
            assert step.inner.body == step.part
            check_tree(cells, step.inner, step.inner.body, size)
        present -= group


def check_preference(cells, step, group, present, body):
    """The smallest thing goes; straight, if a single part or a group can, before winding."""
    movable = [g for g in groups_of(present) if body not in g]
    assert body not in group
    loose = [g for g in movable if len(g) == 1 and leaves(cells, g, present)]
    ways = [len(g) for g in movable if straight_ways(cells, g, present)]
    if loose:
        assert len(group) == 1
        assert not step.via or 1 not in ways
    else:
        assert bool(step.via) == (not ways)
        assert len(group) == (min(ways) if ways else min(len(g) for g in movable if leaves(cells, g, present)))


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_an_order_is_found_exactly_where_brute_force_finds_one(seed):
    cells = random_cells(seed, parts=2 + seed % 4)
    check_on_grid(cells, cell_assembly(cells), next(iter(cells)))


def test_the_random_cells_hold_both_kinds():
    """So that neither branch above goes untried."""
    found = [comes_apart(random_cells(seed, parts=2 + seed % 4)) for seed in range(60)]
    assert 15 < sum(found) < 55


@QUICK
@given(st.integers(0, 10**6))
def test_flat_slabs_and_joints_change_nothing_about_what_can_leave(seed):
    """Cells become slabs of another size, and joints ask for random axes."""
    rng = np.random.default_rng(seed)
    cells = random_cells(seed, parts=2 + seed % 4)
    names = list(cells)
    joints = [
        Joint("fasten" if rng.random() < 0.5 else "insert", *rng.permutation(names)[:2], _axis(rng))
        for _ in range(int(rng.integers(0, 4)))
        if len(names) > 1
    ]
    check_on_grid(cells, cell_assembly(cells, size=float(rng.uniform(9, 80)), joints=joints), names[-1])


def _axis(rng):
    return tuple(float(c) for c in list(AXES.values())[int(rng.integers(6))])


@QUICK
@given(st.integers(0, 10**6))
def test_what_was_put_in_comes_out(seed):
    """Solvable by construction: with the body staying, because all others were put into it."""
    cells, order = inserted_cells(seed)
    assert comes_apart(cells)
    plan = removal(cell_assembly(cells), "body")
    check_plan(cells, plan, "body", None)
    assert {name for name, _ in order} == set(cells) - {"body"}


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_curved_parts_leave_without_touching_what_stays(seed):
    """Mesh booleans at 200 places of each removal: nothing that has not left yet is met."""
    whole = dressed_tray(seed)
    apart = take_apart(whole)
    referees = pairs(whole)
    present = list(whole.ids)
    for step in apart.removal.steps:
        present.remove(step.part)
        corners = np.array([(0.0, 0.0, 0.0), *step.via])
        way = along(np.vstack([corners, corners[-1] + 130 * np.array(step.direction)]), np.linspace(0, 1, 200))
        for other in present:
            a, b = sorted((step.part, other), key=whole.ids.index)
            sign = 1.0 if step.part == b else -1.0
            assert referees[a, b].most(sign * way)[0] < 1e-6
    assert apart.removal.body == "tray"


# Preferences among parts that are free.


def test_a_joint_axis_that_geometry_refuses_is_reported():
    well = {"box": _WELL, "peg": block((1, 1), (1, 1), (1, 3))}
    plan = removal(cell_assembly(well, joints=[Joint("insert", "peg", "box", (1.0, 0.0, 0.0))]), "box")
    assert ways(plan) == ["peg +z"]
    assert plan.steps[0].joint_axis == (1.0, 0.0, 0.0)


def test_a_joint_axis_is_preferred_where_it_is_free():
    lid = {"box": _WELL, "lid": block((0, 2), (0, 2), (3, 3))}
    for axis in ("+x", "-y", "+z"):
        joint = Joint("cover", "lid", "box", tuple(map(float, AXES[axis])))
        plan = removal(cell_assembly(lid, joints=[joint]), "box")
        assert (ways(plan), plan.steps[0].joint_axis) == ([f"lid {axis}"], None)


def test_an_axis_askew_to_all_others_is_found_with_its_joint_and_without():
    """The drawer of this tray leaves askew to all axes and to all contact normals."""
    whole = next(w for w in map(dressed_tray, range(20)) if "drawer" in w.ids)
    joint = next(j for j in whole.joints if j.part == "drawer")
    (step,) = [s for s in take_apart(whole).removal.steps if s.part == "drawer"]
    assert np.allclose(step.direction, joint.axis, atol=1e-8)
    # Without its joint the way is found all the same, from the walls of its channel.
    without = Assembly(whole.name, whole.touch_mm, whole.parts, tuple(j for j in whole.joints if j is not joint))
    (step,) = [s for s in take_apart(without).removal.steps if s.part == "drawer"]
    assert np.allclose(step.direction, joint.axis, atol=1e-6)


def test_fasteners_leave_first():
    """Three pegs side by side; the fastened one is last in the file."""
    cells = {"body": block((0, 4), (0, 0), (0, 0)), **{n: {(2 * k, 0, 1)} for k, n in enumerate("abc")}}
    up = (0.0, 0.0, 1.0)
    kinds = {"a": "insert", "b": "insert", "c": "fasten"}
    joints = [Joint(kind, part, "body", up) for part, kind in kinds.items()]
    assert [s.part for s in removal(cell_assembly(cells, joints=joints), "body").steps] == ["c", "a", "b"]


def test_file_order_breaks_ties():
    cells = {"body": block((0, 4), (0, 0), (0, 0)), **{n: {(2 * k, 0, 1)} for k, n in enumerate("cab")}}
    assert [s.part for s in removal(cell_assembly(cells), "body").steps] == ["c", "a", "b"]


def test_the_body_stays_even_where_it_alone_could_leave_straight():
    """A core held by two shells: pulling it, or both off it, is the same; but one shell can wind out first."""
    wedge = block((1, 1), (0, 2), (1, 1))
    shell = block((0, 2), (0, 2), (0, 2)) - wedge
    low = {c for c in shell if c[2] == 0 or c in {(0, 1, 1), (0, 1, 2)}}
    cells = {"wedge": wedge, "low": low, "high": shell - low}
    assert straight_ways(cells, frozenset({"wedge"}), frozenset(cells), 1) == [(0, -1, 0), (0, 1, 0)]
    check_on_grid(cells, cell_assembly(cells), "wedge")


def test_the_body_is_what_joints_lead_into_then_the_largest_then_the_first():
    cells = {"a": {(0, 0, 0)}, "b": {(1, 0, 0)}, "c": {(2, 0, 0)}}
    equal = dict.fromkeys("abc", 1.0)
    assert choose_body(cell_assembly(cells), equal) == "a"
    assert choose_body(cell_assembly(cells), {**equal, "c": 2.0}) == "c"
    joints = [Joint("insert", "c", "b", (1.0, 0.0, 0.0)), Joint("insert", "a", "b", (-1.0, 0.0, 0.0))]
    assert choose_body(cell_assembly(cells, joints=joints), {**equal, "c": 9.0}) == "b"
    five = {name: {(k, 0, 0)} for k, name in enumerate("abcde")}
    joints = [Joint("insert", part, into, (1.0, 0.0, 0.0)) for part, into in ("ca", "db", "eb")]
    assert (
        choose_body(cell_assembly(five, joints=joints), dict(zip("abcde", (9.0, 1.0, 1.0, 1.0, 1.0), strict=True)))
        == "b"
    )


def test_the_interlocked_demo_is_a_true_ring_for_meshes():
    """Each link of the ring: moved that way, the part overlaps the one that is said to hold it."""
    whole = read_project(DEMOS / "interlocked").assembly
    with pytest.raises(ChoreoError) as caught:
        take_apart(whole)
    assert caught.value.exit_code == 1
    (finding,) = caught.value.findings
    ring = read_ring(finding)
    referees = pairs(whole)
    for part, by, axis in ring:
        a, b = sorted((part, by), key=whole.ids.index)
        sign = 1.0 if part == b else -1.0
        way = np.linspace(0, 100, 400)[:, None] * np.array(AXES[axis])
        assert referees[a, b].most(sign * way, enough=1.0)[0] > 1.0


@QUICK
@given(st.integers(0, 10**6))
def test_links_of_random_rings_hold_for_meshes(seed):
    cells = random_cells(seed, parts=4)
    whole = cell_assembly(cells)
    try:
        removal(whole, "a")
    except ChoreoError as error:
        referees = pairs(whole)
        for part, by, axis in read_ring(error.findings[0]):
            a, b = sorted((part, by), key=whole.ids.index)
            way = (1.0 if part == b else -1.0) * np.arange(0, 40, 5.0)[:, None] * np.array(AXES[axis])
            assert referees[a, b].most(way, enough=100.0)[0] > 100.0


def test_directions_in_words():
    assert [say_direction(tuple(map(float, d))) for d in AXES.values()] == list(AXES)
    assert say_direction((0.6, 0.0, -0.8)) == "(0.6, 0, -0.8)"
