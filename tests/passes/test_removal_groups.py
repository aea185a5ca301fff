"""Angles, groups and limits: mechanisms made by hand, their answers by hand and by brute force on the grid."""

import json

import numpy as np
import pytest
import shapely
from grid_referee import check_proof, comes_apart, groups_of, leaves, straight_ways
from mechanisms import AROUND, EYE, HOOK, HOOKED, LINKED, NESTED, block
from mesh_referee import along, pairs
from random_assemblies import cell_assembly, part, random_cells, slabs_of
from shapely.affinity import rotate

from choreo.cli import main
from choreo.compile import take_apart
from choreo.errors import ChoreoError
from choreo.model.assembly import Assembly
from choreo.model.interlock import Interlocked
from choreo.passes.removal_words import say_direction


def words(removal):
    return [
        "+".join(step.members) + f" {say_direction(step.direction)}" + (f" {words(step.inner)}" if step.inner else "")
        for step in removal.steps
    ]


def check_by_meshes(whole, removal, far=200.0):
    """Every straight step, groups as one, walked by meshes at 200 places: nothing that is still there is met."""
    referees = pairs(whole)
    present = [name for name in whole.ids if name in (*removal.order, removal.body)]
    for step in removal.steps:
        present = [name for name in present if name not in step.members]
        corners = np.array([(0.0, 0.0, 0.0), *step.via])
        way = along(np.vstack([corners, corners[-1] + far * np.array(step.direction)]), np.linspace(0, 1, 200))
        for member in step.members:
            for other in present:
                a, b = sorted((member, other), key=whole.ids.index)
                assert referees[a, b].most((1.0 if member == b else -1.0) * way)[0] < 1e-6
        if step.inner is not None:
            check_by_meshes(whole, step.inner, far)


# Angles of the plane.


def roofed(name, outline, hollow):
    """A block with a hollow between a floor and a roof."""
    return part(
        name, [*slabs_of(outline, 0, 4), *slabs_of(outline.difference(hollow), 4, 12), *slabs_of(outline, 12, 16)]
    )


def channel(angle):
    """A block with a straight channel at an angle, shut at one end, and the bar in it."""
    outline = shapely.Point(0, 0).buffer(40, quad_segs=8)
    hollow = rotate(shapely.box(-15, -6, 80, 6), angle, origin=(0, 0))
    return outline, hollow, rotate(shapely.box(-15, -6, 20, 6), angle, origin=(0, 0))


@pytest.mark.parametrize("angle", [37.0, 0.7, 123.456, 251.3])
def test_a_slanted_channel_has_one_free_direction(angle):
    outline, hollow, bar = channel(angle)
    whole = Assembly(
        "Channel (invented)", 0.05, (roofed("block", outline, hollow), part("bar", slabs_of(bar, 4, 12))), ()
    )
    (step,) = take_apart(whole).removal.steps
    assert step.part == "bar"
    assert step.direction[2] == 0
    assert np.degrees(np.arctan2(step.direction[1], step.direction[0])) % 360 == pytest.approx(angle, abs=1e-6)
    check_by_meshes(whole, take_apart(whole).removal)


def test_a_wedge_leaves_along_the_middle_of_its_free_arc():
    # A wedge in a bay whose walls lead out at 20 and 54 degrees, wider toward the mouth: it is free between the two.
    x, y = (np.cos(np.radians([20, 54])), np.sin(np.radians([20, 54])))
    wedge = shapely.Polygon([(0, 0), (30 * x[0], 30 * y[0]), (30 * x[1], 30 * y[1])])
    mouth = shapely.Polygon([(0, 0), (90 * x[0], 90 * y[0]), (90 * x[1], 90 * y[1])])
    outline = shapely.Polygon([(-9, -9), (30, -9), (30 * x[0], 30 * y[0]), (30 * x[1], 30 * y[1]), (-9, 30)])
    parts = (roofed("block", outline, mouth), part("wedge", slabs_of(wedge, 4, 12)))
    (step,) = take_apart(Assembly("Wedge (invented)", 0.05, parts, ())).removal.steps
    assert np.degrees(np.arctan2(step.direction[1], step.direction[0])) == pytest.approx(37.0, abs=0.2)


def test_a_slot_with_play_on_one_side_is_left_along_its_wall():
    """The bar touches one wall of the channel and 2 mm of play to the other: the free arc's middle is askew."""
    outline, hollow, _ = channel(37.0)
    bar = rotate(shapely.box(-15, -4, 20, 6), 37.0, origin=(0, 0))
    whole = Assembly("Play (invented)", 0.05, (roofed("block", outline, hollow), part("bar", slabs_of(bar, 4, 12))), ())
    (step,) = take_apart(whole).removal.steps
    assert np.degrees(np.arctan2(step.direction[1], step.direction[0])) == pytest.approx(37.0, abs=1e-6)


@pytest.mark.parametrize(("low", "high", "wide"), [(-4, 6, False), (-6, 4, False), (-6, -3, True)])
def test_a_narrow_free_arc_is_left_along_the_wall_that_is_touched_a_wide_one_by_its_middle(low, high, wide):
    """The bar touches one wall and neither end of its channel, so that no contact's normal leads out.

    By hand: the mouth lies on a circle of 40 mm, so the bar's last corner, 10 mm behind the middle, is out after about
    50 mm; with p mm of play across it leaves between the wall and atan(p / 50) from it. Of 2 mm that is 2.3 degrees,
    a slot; of 9 mm it is 10.2 degrees and more, no slot, and the middle of it lies more than 5 degrees off the wall.
    """
    outline, hollow, _ = channel(37.0)
    bar = rotate(shapely.box(-10, low, 20, high), 37.0, origin=(0, 0))
    whole = Assembly("Play (invented)", 0.05, (roofed("block", outline, hollow), part("bar", slabs_of(bar, 4, 12))), ())
    removal = take_apart(whole).removal
    (step,) = removal.steps
    off = np.degrees(np.arctan2(step.direction[1], step.direction[0])) - 37.0
    if wide:
        assert 5.0 < off < 6.0
    else:
        assert off == pytest.approx(0.0, abs=1e-6)
    check_by_meshes(whole, removal)


# Groups.


def test_hooked_pieces_leave_their_frame_together_and_come_apart_outside():
    """By hand: in the frame there is no room to unhook, and neither hook passes the other along z."""
    everyone = frozenset(HOOKED)
    assert not any(leaves(HOOKED, frozenset({name}), everyone) for name in ("hook", "eye"))
    removal = take_apart(cell_assembly(HOOKED)).removal
    assert words(removal) == ["eye+hook +z ['eye -x']"]
    assert (removal.order, removal.body) == (("eye", "hook"), "frame")
    check_by_meshes(cell_assembly(HOOKED), removal)


def test_groups_that_go_straight_know_no_limit(monkeypatch):
    monkeypatch.setattr("choreo.passes.removal._GROUPS", 0)
    assert words(take_apart(cell_assembly(HOOKED)).removal) == ["eye+hook +z ['eye -x']"]


def test_contacts_say_which_groups_are_tried_first(monkeypatch):
    """With room for one group only it is the one that its contacts let go: sideways, and then up."""
    hollow = block((-2, 3), (-1, 8), (-1, 1)) | block((-2, 3), (3, 8), (2, 2))
    cells = {"room": block((-3, 4), (-2, 9), (-2, 2)) - hollow, "hook": HOOK, "eye": EYE}
    pegs = {f"peg{k}": {(k, 12, 0)} for k in range(0, 6, 2)}
    cells["room"] |= block((-2, 6), (10, 14), (-2, 2)) - set().union(*pegs.values())
    monkeypatch.setattr("choreo.passes.removal._GROUPS", 1)
    with pytest.raises(ChoreoError) as caught:
        take_apart(cell_assembly({"room": cells["room"], **pegs, **cells}))
    assert set(caught.value.interlock.parts) == {"room", *pegs}


def test_groups_nest():
    """By hand: the box lets out the case with what is in it; the case lets out the hooks; they unhook."""
    whole = cell_assembly(NESTED)
    assert not any(leaves(NESTED, frozenset(g), frozenset(NESTED)) for g in ({"case"}, {"hook"}, {"eye"}))
    removal = take_apart(whole).removal
    (outer,) = removal.steps
    assert (set(outer.members), outer.part, say_direction(outer.direction)) == ({"case", "hook", "eye"}, "case", "+z")
    (inner,) = outer.inner.steps
    assert (set(inner.members), say_direction(inner.direction)) == ({"hook", "eye"}, "+x")
    assert [say_direction(step.direction) for step in inner.inner.steps] in (["+y"], ["-y"])
    assert len(removal.groups) == 2
    check_by_meshes(whole, removal)


def jigsaw():
    """A bar in a slanted, roofed channel, cut in two with a tab: the halves hold each other but for z."""
    outline, hollow, bar = channel(37.0)
    tab = shapely.union(shapely.box(0, -1, 3, 1), shapely.box(3, -3, 5, 3))
    back = rotate(shapely.union(shapely.box(-15, -6, 0, 6), tab), 37.0, origin=(0, 0))
    halves = (part("back", slabs_of(back, 4, 12)), part("front", slabs_of(bar.difference(back), 4, 12)))
    return Assembly("Jigsaw (invented)", 0.05, (roofed("block", outline, hollow), *halves), ())


def test_a_group_leaves_at_an_angle():
    removal = take_apart(jigsaw()).removal
    (step,) = removal.steps
    assert set(step.members) == {"back", "front"}
    assert np.degrees(np.arctan2(step.direction[1], step.direction[0])) == pytest.approx(37.0, abs=1e-4)
    assert [say_direction(inner.direction) for inner in step.inner.steps] == ["+z"]
    check_by_meshes(jigsaw(), removal, far=100.0)


def test_a_group_winds_its_way_out():
    """By hand: the room is too narrow to unhook in, and its opening lies 4 cells aside: along y as one, then up."""
    hollow = block((-2, 3), (-1, 8), (-1, 1)) | block((-2, 3), (3, 8), (2, 2))
    cells = {"room": block((-3, 4), (-2, 9), (-2, 2)) - hollow, "hook": HOOK, "eye": EYE}
    pair, everyone = frozenset({"hook", "eye"}), frozenset(cells)
    assert not straight_ways(cells, pair, everyone, far=12)
    assert [g for g in groups_of(everyone) if "room" not in g and leaves(cells, g, everyone)] == [pair]
    removal = take_apart(cell_assembly(cells)).removal
    assert words(removal) == ["eye+hook +z ['eye -x']"]
    (via,) = removal.steps[0].via
    assert via == pytest.approx((0, 40, 0), abs=0.06)
    check_by_meshes(cell_assembly(cells), removal)


def test_a_pin_slides_along_a_slanted_slot_and_rises_by_two_moves():
    """A keyhole at 37 degrees: along the slot into its wide end, 45 mm away, then up. Two moves, by hand."""

    def at(shape):
        return rotate(shape, 37.0, origin=(0, 0))

    outline = shapely.Point(0, 0).buffer(90, quad_segs=8)
    narrow, wide = at(shapely.box(-5, -5, 45, 5)), at(shapely.box(30, -25, 75, 25))
    room = at(shapely.box(-15, -25, 75, 25))
    block_part = part("block", [*slabs_of(outline, 0, 4), *slabs_of(outline.difference(room), 4, 10),
                                *slabs_of(outline.difference(narrow.union(wide)), 10, 14)])  # fmt: skip
    pin = part(
        "pin", [*slabs_of(at(shapely.box(-15, -15, 15, 15)), 4, 10), *slabs_of(at(shapely.box(-5, -5, 5, 5)), 10, 20)]
    )
    whole = Assembly("Keyhole (invented)", 0.05, (block_part, pin), ())
    removal = take_apart(whole).removal
    (step,) = removal.steps
    assert (step.part, say_direction(step.direction), len(step.via)) == ("pin", "+z", 1)
    ((x, y, z),) = step.via
    assert (np.hypot(x, y), z) == (pytest.approx(45, abs=0.2), pytest.approx(0, abs=0.01))
    assert np.degrees(np.arctan2(y, x)) == pytest.approx(37.0, abs=0.1)
    check_by_meshes(whole, removal)


def test_what_is_interlocked_inside_a_group_is_said_by_name():
    """Two linked rings lie in a tray: they leave it, but not each other."""
    walls = block((-3, 5), (-3, 3), (-3, 2)) - block((-2, 4), (-2, 2), (-2, 2))
    cells = {**LINKED, "tray": walls}
    with pytest.raises(Interlocked) as caught:
        take_apart(cell_assembly(cells))
    check_proof(cells, caught.value, far=6)
    (finding,) = caught.value.findings
    assert caught.value.interlock.inside
    assert '"ring" and "link" leave the rest as one, but then hold each other' in finding.what
    assert '"tray"' not in finding.why


def test_a_limit_is_named_and_can_be_raised(monkeypatch):
    """Five parts have 15 groups, 4 of them single; the search stops at four more and says so, or proves."""
    cells = next(c for c in (random_cells(s, parts=5) for s in range(400)) if len(c) == 5 and held_fast(c))
    monkeypatch.setattr("choreo.passes.removal._GROUPS", 4)
    with pytest.raises(Interlocked) as caught:
        take_apart(cell_assembly(cells))
    (finding,) = caught.value.findings
    proof = caught.value.interlock
    assert (finding.code, proof.proved, proof.groups_tried, proof.groups_in_all) == ("way-not-found", False, 8, 15)
    assert "8 of 15 groups" in finding.what
    assert "--search 2 (all groups: --search 3)" in finding.remedy
    with pytest.raises(Interlocked) as caught:
        take_apart(cell_assembly(cells), search=3)
    assert (caught.value.findings[0].code, caught.value.interlock.proved) == ("interlocked", True)
    check_proof(cells, caught.value)


def held_fast(cells):
    everyone = frozenset(cells)
    return not any(leaves(cells, group, everyone) for group in groups_of(everyone))


def test_a_part_that_winds_out_goes_before_a_group_that_goes_straight():
    """Both the hooked pair, straight up, and a pin under a plate, by two moves, could leave: the pin goes first."""
    pin = {(x + 8, y, z - 2) for x, y, z in block((1, 1), (-1, 1), (0, 0)) | block((1, 1), (0, 0), (1, 2))}
    hollow = block((8, 15), (-2, 2), (-2, -2)) | block((9, 13), (0, 0), (-1, 0)) | block((12, 14), (-1, 1), (-1, 0))
    frame = (block((-3, 16), (-3, 3), (-3, 0)) - block((-2, 3), (-1, 1), (-1, 1))) - hollow
    frame |= block((-3, 4), (-2, 2), (-2, 1)) - AROUND - hollow
    cells = {"frame": frame, "hook": HOOK, "eye": EYE, "pin": pin}
    removal = take_apart(cell_assembly(cells)).removal
    assert [set(step.members) for step in removal.steps] == [{"pin"}, {"hook", "eye"}]
    assert removal.steps[0].via


# What is said about it.


def project(folder, cells):
    parts = [
        {"id": p.id, "label": p.label, "colour": p.colour, "slabs": [
            {"outline": [list(c) for c in s.outline], "holes": [[list(c) for c in h] for h in s.holes], "z": list(s.z)}
            for s in p.slabs]} for p in cell_assembly(cells).parts
    ]  # fmt: skip
    content = {"format": "choreo/assembly", "version": 1, "name": "Cubes (invented)", "parts": parts}
    (folder / "assembly.json").write_text(json.dumps(content), encoding="utf-8")
    (folder / "choreography.toml").write_text(
        'format = "choreo/choreography"\nversion = 1\nassembly = "assembly.json"\nframe_rate = "24"\n'
        'resolution = [640, 360]\nsafe_area = [0.05, 0.05, 0.05, 0.05]\n[defaults]\neasing = "linear"\nmove = 8\n'
        'stagger = 2\n[[shot]]\nname = "one"\nview = { projection = "orthographic", azimuth = 30, elevation = 20, '
        'px_per_mm = "fit" }\n[[shot.phase]]\n'
        'kind = "explode"\nframes = 60\n[[shot.phase]]\nkind = "hold"\nframes = 4\n',
        encoding="utf-8",
    )
    return str(folder)


def test_check_prints_groups_and_what_they_come_apart_into(tmp_path, capsys):
    assert main(["check", project(tmp_path, NESTED)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert " ".join(lines[1].split()) == "1 eye + hook + case leave together along +z, then come apart:"
    assert " ".join(lines[2].split()) == "1 eye + hook leave together along +x, then come apart:"
    assert "1 Eye [eye] leaves" in " ".join(lines[3].split())
    assert [len(line) - len(line.lstrip()) for line in lines[1:4]] == [3, 7, 11]
    assert "--search" not in "".join(lines)


def test_the_tree_is_given_to_programs(tmp_path, capsys):
    assert main(["check", project(tmp_path, NESTED), "--json", "--search", "2"]) == 0
    (outer,) = json.loads(capsys.readouterr().out)["removal"]
    assert (outer["part"], outer["direction"], outer["members"]) == ("case", [0, 0, 1], ["eye", "hook", "case"])
    assert [step["members"] for step in outer["inner"]] == [["eye", "hook"]]
    assert outer["inner"][0]["inner"][0]["inner"] is None


@pytest.mark.parametrize("number", ["0", "-3", "many", "1.5", "9" * 30])
def test_an_effort_that_is_none_is_refused(number, capsys):
    assert main(["check", "x", "--search", number]) == 2
    assert "--search" in capsys.readouterr().err


def test_a_group_is_compiled_and_reported(tmp_path, capsys):
    assert main(["compile", project(tmp_path, HOOKED), "--prove"]) == 0, capsys.readouterr().err
    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    (step,) = report["removal"]
    assert (step["part"], step["members"], report["removal_order"]) == ("hook", ["eye", "hook"], ["eye", "hook"])
    assert [inner["part"] for inner in step["inner"]] == ["eye"]
    numbers = {part["id"]: part["removal_number"] for part in report["shots"][0]["parts"]}
    assert numbers == {"frame": None, "hook": 2, "eye": 1}


def test_findings_hold_the_claim_and_its_bounds():
    with pytest.raises(ChoreoError) as caught:
        take_apart(cell_assembly({"box": block((0, 2), (0, 2), (0, 2)) - {(1, 1, 1)}, "ball": {(1, 1, 1)}}))
    (finding,) = caught.value.findings
    assert "whatever single group moves, by translation, while all the others stay" in finding.why
    assert '"ball": +z by box; -z by box; in-plane all round by box' in finding.why
    assert not comes_apart({"box": block((0, 2), (0, 2), (0, 2)) - {(1, 1, 1)}, "ball": {(1, 1, 1)}})
