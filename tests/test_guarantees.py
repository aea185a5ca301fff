"""What every compile promises, promise by promise, on whole films and by means that the compiler does not use.

Referees: a mesh library (manifold3d) for solids and outlines, shapely's distances, lines of sight through boxes,
all permutations and all cuttings where the fewest are claimed, and plain bytes. All data is invented.
"""

from __future__ import annotations

import functools
import itertools
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import networkx as nx
import numpy as np
import pytest
import shapely
from manifold3d import Manifold
from mesh_referee import along, eroded, meshes, pairs, values, worst_overlap
from small_assemblies import (
    FRONT,
    TURNED,
    cross,
    drawer,
    film,
    insert,
    make,
    phase,
    rect,
    shot,
    stack,
    there_and_back,
)

from choreo.checks.check_masking import check_masking
from choreo.cli import main
from choreo.compile import compile_film
from choreo.errors import ChoreoError
from choreo.model.assembly import Part, Slab
from choreo.model.choreography import Handoff, Orbit, PartMotion, View
from choreo.read.project import read_project

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "demo_assemblies" / "layers_only"
ROUNDING = 1e-6
"""Cubic mm that two meshes may share by rounding alone."""
BOUNCE = "cubic-bezier(0.34, 1.56, 0.64, 1)"
SMALL = ("stack", "drawer", "cross", "slot")

SLOT = {
    "body": [
        ((-30, -20, 0), (60, 20, 3)),  # floor
        ((-30, -20, 3), (14, -8, 9)),  # two arms and what joins them
        ((-30, 8, 3), (14, 20, 9)),
        ((-30, -8, 3), (-22, 8, 9)),
        ((-30, -20, 9), (10, 20, 12)),  # face plate
    ],
    "tongue": [((-22, -8, 3), (25, 8, 9))],
}


def slot():
    """A tongue over the floor and under the face plate of a body; it leaves to the right."""
    parts = [
        Part(name, name.capitalize(), "#888888", (0.0, 0.0, 0.0),
             tuple(Slab(rect(*low[:2], *high[:2]), (), (float(low[2]), float(high[2]))) for low, high in boxes))
        for name, boxes in SLOT.items()
    ]  # fmt: skip
    return make(*parts, joints=[insert("tongue", "body", (1, 0, 0))])


def boxes_of(assembly):
    """Lowest and highest corners (n, 3) of the boxes each part is made of; only for parts without holes."""
    out = {}
    for part in assembly.parts:
        assert not any(slab.holes for slab in part.slabs)
        flat = [(np.array(slab.outline), slab.z) for slab in part.slabs]
        out[part.id] = (
            np.array([[*xy.min(axis=0), z[0]] for xy, z in flat]),
            np.array([[*xy.max(axis=0), z[1]] for xy, z in flat]),
        )
    return out


@functools.cache
def filmed(name):
    """A compiled film: its assembly, its choreography, what came out, its shots."""
    if name == "layers_only":
        project = read_project(DEMO)
        assembly, plan = project.assembly, project.choreography
    else:
        assembly, plan = {
            # The lid is quick and the knob upon it slow: without a schedule one runs into the other.
            "stack": lambda: (
                stack(),
                film(shot(*there_and_back(48, stagger=0, parts={
                    "lid": PartMotion("linear", 6), "knob": PartMotion("ease-in", 24)}),
                    view=View("orthographic", 20, 35), handoff=Handoff(3))),
            ),
            "drawer": lambda: (
                drawer(),
                film(shot(*there_and_back(60, stagger=0, easing="min-jerk", parts={"drawer": PartMotion("ease", 7)}),
                          view=TURNED, orbit=Orbit(25.0))),
            ),
            "cross": lambda: (
                cross(),
                film(shot(*there_and_back(30, stagger=1), view=View("orthographic", -20, 25), orbit=Orbit(200.0)),
                     shot(phase("explode", 26, easing=BOUNCE), phase("hold", 2), name="bounce")),
            ),
            "slot": lambda: (slot(), film(shot(*there_and_back(16), view=FRONT))),
        }[name]()  # fmt: skip
    made = compile_film(assembly, plan)
    return SimpleNamespace(assembly=assembly, plan=plan, made=made, shots=made.tracks.shots)


def phases_of(plan, name):
    """Each phase of a shot with its first frame and the frame after its last."""
    (one,) = [s for s in plan.shots if s.name == name]
    ends = np.cumsum([p.frames for p in one.phases]).tolist()
    return [(p.kind, end - p.frames, end) for p, end in zip(one.phases, ends, strict=True)]


def rest_frames(plan, name):
    """Frames of holds after an explode, or before an assemble with which a shot begins."""
    listed = phases_of(plan, name)
    moving = [kind for kind, _, _ in listed if kind != "hold"]
    apart = moving[0] == "assemble"
    out = []
    for kind, start, end in listed:
        if kind == "hold":
            out += range(start, end) if apart else []
        else:
            apart = kind == "explode"
    return out


@functools.cache
def triangles(name):
    """Triangles (n, 3, 3) of each part's mesh at its assembled place, by the mesh library."""
    out = {}
    for part in filmed(name).assembly.parts:
        mesh = eroded(part.slabs, part.offset, 0.0).to_mesh64()
        out[part.id] = np.asarray(mesh.vert_properties)[:, :3][np.asarray(mesh.tri_verts, dtype=np.int64)]
    return out


def on_screen(matrix, points):
    """(u/w, v/w): Hartley and Zisserman, Multiple View Geometry, ch. 6."""
    uvw = points @ matrix[:, :3].T + matrix[:, 3]
    return uvw[..., :2] / uvw[..., 2:]


def silhouette(matrix, faces):
    """The union of all triangles of a mesh as the camera sees them."""
    seen = shapely.polygons(on_screen(matrix, faces))
    return shapely.union_all(shapely.buffer(seen[shapely.area(seen) > 1e-9], 0))


# G1: no two parts collide at any instant, between frames included.


@pytest.mark.parametrize(
    ("name", "steps"), [("stack", 9), ("drawer", 9), ("cross", 7), ("slot", 9), ("layers_only", 2)]
)
def test_g1_no_two_parts_collide_between_frames_either(name, steps):
    """Source: mesh booleans (manifold3d) of parts placed by the W3C's keyframe rule, written anew."""
    one = filmed(name)
    referees = pairs(one.assembly)
    for made in one.shots:
        assert sum(len(t.keys) > 1 for t in made.parts) == len(one.assembly.parts) - 1
        volume, pair, time = worst_overlap(referees, made.parts, made.frames, steps)
        assert volume <= ROUNDING, (pair, time, volume)


@pytest.mark.parametrize("name", [*SMALL, "layers_only"])
def test_g1_what_is_shown_on_frames_is_the_motion_that_was_proved(name):
    """Source: the W3C's keyframe rule and easing formulas (CSS Easing Functions Level 2), written anew."""
    for made in filmed(name).shots:
        for t in made.parts:
            again = along(t.route, values(t.keys, np.arange(made.frames, dtype=float)))
            assert np.abs(again - t.position).max() <= 1e-9, t.id


# G2: the removal order is real: each route is free of everything that has not left yet.


def swept(mesh, start, end):
    """What a convex mesh passes through on a straight leg: the convex hull of its two ends."""
    return Manifold.batch_hull([mesh.translate(tuple(start)), mesh.translate(tuple(end))])


@pytest.mark.parametrize("name", SMALL)
def test_g2_each_route_is_free_of_all_that_has_not_left(name):
    """Source: mesh booleans of whole sweeps (manifold3d). A convex part on a straight leg sweeps a convex hull."""
    one = filmed(name)
    solids, steps = meshes(one.assembly), one.made.apart.removal.steps
    assert {step.part for step in steps} | {one.made.apart.removal.body} == set(one.assembly.ids)
    for made in one.shots:
        routes = {t.id: t.route for t in made.parts}
        staying = dict(solids)
        for step in steps:
            mesh = staying.pop(step.part)
            assert mesh.hull().volume() == pytest.approx(mesh.volume())  # convex, or this check would be wrong
            assert np.linalg.norm(np.diff(routes[step.part], axis=0), axis=1).sum() > 1.0
            for start, end in itertools.pairwise(routes[step.part]):
                for other, stands in staying.items():
                    assert (swept(mesh, start, end) ^ stands).volume() <= ROUNDING, (step.part, other)


def test_g2_each_route_of_the_flat_layers_is_free_of_all_that_has_not_left():
    """Source: mesh booleans (manifold3d), every quarter of a mm along each route."""
    one = filmed("layers_only")
    referees = pairs(one.assembly)
    routes = {t.id: t.route for t in one.shots[0].parts}
    left = set()
    for step in one.made.apart.removal.steps:
        length = np.linalg.norm(np.diff(routes[step.part], axis=0), axis=1).sum()
        places = along(routes[step.part], np.linspace(0, 1, int(4 * length) + 1))
        left.add(step.part)
        for (a, b), pair in referees.items():
            if step.part in (a, b) and not {a, b} <= left and not {a, b} & (left - {step.part}):
                volume, row = pair.most(places if b == step.part else -places, enough=ROUNDING)
                assert volume <= ROUNDING, (a, b, row)


# G3: at rest the parts stand clear of each other by gap_px, inside the safe area; moving, they stay in frame.


@pytest.mark.parametrize("name", [*SMALL, "layers_only"])
def test_g3_at_rest_parts_stand_clear_and_inside_the_safe_area(name):
    """Source: shapely's distance between outlines projected triangle by triangle from the mesh library's meshes."""
    one = filmed(name)
    width, height = one.plan.resolution
    left, top, right, bottom = one.plan.safe_area
    low, high = np.array([left * width, top * height]), np.array([width * (1 - right), height * (1 - bottom)])
    looked = 0
    for made in one.shots:
        last = None
        for f in rest_frames(one.plan, made.name):
            now = np.concatenate([made.cameras[f].ravel(), *(t.position[f] for t in made.parts)])
            looked += 1
            if last is not None and np.array_equal(now, last):
                continue
            last = now
            shapes = [silhouette(made.cameras[f], triangles(name)[t.id] + t.position[f]) for t in made.parts]
            for (a, one_shape), (b, other) in itertools.combinations(zip(one.assembly.ids, shapes, strict=True), 2):
                assert shapely.distance(one_shape, other) >= one.plan.gap_px - 0.1, (f, a, b)
            bounds = shapely.total_bounds(shapes)
            assert (bounds[:2] >= low - 0.1).all(), (f, bounds)
            assert (bounds[2:] <= high + 0.1).all(), (f, bounds)
    assert looked >= len(one.shots)


@pytest.mark.parametrize("name", [*SMALL, "layers_only"])
def test_g3_no_part_ever_leaves_the_frame(name):
    """Source: the corners of the mesh library's meshes, on every frame."""
    one = filmed(name)
    for made in one.shots:
        for t in made.parts:
            corners = np.unique(triangles(name)[t.id].reshape(-1, 3), axis=0)
            for f in range(made.frames):
                seen = on_screen(made.cameras[f], corners + t.position[f])
                assert (seen >= -1e-6).all(), (t.id, f)
                assert (seen <= np.array(one.plan.resolution) + 1e-6).all(), (t.id, f)


def test_g3_what_cannot_be_met_says_by_how_much():
    """By hand: at 40 px per mm the core, 20 mm tall in plan view, is 800 px; the frame has 600, the safe area 540."""
    plan = film(shot(*there_and_back(), view=View("orthographic", px_per_mm=40.0)), resolution=(1000, 600))
    with pytest.raises(ChoreoError) as caught:
        compile_film(cross(), plan)
    assert caught.value.exit_code == 1
    said = [f.what for f in caught.value.findings if '"core"' in f.what]
    assert [float(*re.findall(r"([\d.]+) px", what)) for what in said] == [(800 - 600) / 2, (800 - 540) / 2]


# G4: assemble ends at displacement exactly (0, 0, 0); explode starts there.


@pytest.mark.parametrize("name", [*SMALL, "layers_only"])
def test_g4_explode_starts_and_assemble_ends_at_exactly_zero(name):
    """Source: zero is zero; no tolerance."""
    one = filmed(name)
    for made in one.shots:
        at_rest = rest_frames(one.plan, made.name)
        for kind, start, end in phases_of(one.plan, made.name):
            homes = {"explode": [start], "assemble": [end - 1], "hold": range(start, end)}[kind]
            for f in sorted(set(homes) - set(at_rest)):
                assert all(t.position[f].tolist() == [0.0, 0.0, 0.0] for t in made.parts), f
        moved = [t for t in made.parts if t.position.any()]
        assert len(moved) == len(one.assembly.parts) - 1


# G5: layer order plus holdouts equals true visibility, apart from the edge pixel.


def sight(matrix, pixels):
    """Lines of sight (Hartley and Zisserman, ch. 6): a point on each, and which way it looks."""
    linear, last = matrix[:, :3], matrix[:, 3]
    if linear[2].any():
        away = np.column_stack([pixels, np.ones(len(pixels))]) @ np.linalg.inv(linear).T
        return np.broadcast_to(-np.linalg.solve(linear, last), away.shape), away
    away = np.cross(linear[0], linear[1])
    away /= np.linalg.norm(away)
    target = np.column_stack([pixels * last[2] - last[:2], np.full(len(pixels), -1e4)])
    return target @ np.linalg.inv(np.vstack([linear[:2], away])).T, np.broadcast_to(away, (len(pixels), 3))


def depths(one, made, frame, pixels):
    """(parts, n): how far along each line of sight each part begins, by the slab method (Kay and Kajiya 1986)."""
    origin, away = sight(made.cameras[frame], pixels)
    away = np.where(np.abs(away) < 1e-12, 1e-12, away)[:, None]
    out = []
    for t in made.parts:
        low, high = (corner + t.position[frame] for corner in boxes_of(one.assembly)[t.id])
        to = np.stack([(low - origin[:, None]) / away, (high - origin[:, None]) / away])
        enters, leaves = to.min(axis=0).max(axis=2), to.max(axis=0).min(axis=2)
        out.append(np.where(enters < leaves, enters, np.inf).min(axis=1))
    return np.array(out)


def grid(one, made, frame, count):
    """A grid of count x count pixels over all that is on screen, and what every line of sight meets."""
    seen = np.concatenate([
        on_screen(made.cameras[frame], np.concatenate(boxes_of(one.assembly)[t.id]) + t.position[frame])
        for t in made.parts
    ])  # fmt: skip
    low, high = seen.min(axis=0) - 40, seen.max(axis=0) + 40
    share = (np.arange(count) + 0.5) / count
    return low + np.stack(np.meshgrid(share, share), axis=-1).reshape(-1, 2) * (high - low)


def nearest(depth):
    return np.where(np.isfinite(depth).any(axis=0), depth.argmin(axis=0), -1)


def drawn(made, frame, pixels, met):
    """What the layers leave on top when drawn back to front, each without its holdouts."""
    ids = [t.id for t in made.parts]
    (order,) = [s.back_to_front for s in made.masking.orders if s.first <= frame <= s.last]
    out = np.full(len(pixels), -1)
    for name in order:
        kept = met[ids.index(name)].copy()
        for h in made.masking.holdouts:
            if h.part == name and h.first <= frame <= h.last:
                for r in h.region:
                    kept &= ~shapely.contains_xy(shapely.Polygon(r.outline, r.holes), *pixels.T)
        out[kept] = ids.index(name)
    return out


@pytest.mark.parametrize("name", ["stack", "cross", "slot"])
def test_g5_drawn_layers_show_what_lines_of_sight_meet_first(name):
    """Source: rays against boxes (Kay and Kajiya 1986, from memory), judged 1 px and more away from edges."""
    one = filmed(name)
    for made in one.shots:
        for frame in np.linspace(0, made.frames - 1, 11).round().astype(int):
            pixels = grid(one, made, frame, 50)
            depth = depths(one, made, frame, pixels)
            true, calm = nearest(depth), np.ones(len(pixels), dtype=bool)
            for by in itertools.product((-1, 0, 1), repeat=2):
                beside = depths(one, made, frame, pixels + by)
                calm &= (nearest(beside) == true) & (np.isfinite(beside) == np.isfinite(depth)).all(axis=0)
            assert calm.sum() > 1000
            wrong = calm & (drawn(made, frame, pixels, np.isfinite(depth)) != true)
            assert not wrong.any(), (frame, pixels[wrong][0])


def test_g5_a_tongue_under_a_face_plate_by_hand():
    """By hand, plan view, assembled: the plate hides the tongue up to x = 10 mm; beyond, it lies on the floor."""
    one = filmed("slot")
    (made,) = one.shots
    points = {(0, 0): "body", (9, 7): "body", (-26, 0): "body", (11, 0): "tongue", (24, -7): "tongue", (40, 0): "body"}
    pixels = on_screen(made.cameras[0], np.array([[x, y, 0.0] for x, y in points]))
    met = np.array([[True] * 6, [-22 < x < 25 and abs(y) < 8 for x, y in points]])
    for frame in (0, made.frames - 1):
        shown = [made.parts[k].id for k in drawn(made, frame, pixels, met)]
        assert shown == list(points.values())


@pytest.mark.parametrize("name", ["drawer", "layers_only"])
def test_g5_lines_of_sight_through_prisms_agree(name):
    """Source: the check that shares nothing with the passes, for parts that are not made of boxes."""
    one = filmed(name)
    for made in one.shots:
        where = {t.id: t.position for t in made.parts}
        found = check_masking(made.masking, one.made.apart.solids, made.cameras, where, frames_checked=10)
        assert [f.as_text() for f in found if f.severity == "error"] == []


# G6: holdouts only where no order of whole layers shows the truth; the fewest orders, each nearest to the last.


@functools.cache
def relations(name, index=0):
    """(frames, parts, parts) by lines of sight: t is seen somewhere with x behind it."""
    one = filmed(name)
    made = one.shots[index]
    out = np.zeros((made.frames, len(made.parts), len(made.parts)), dtype=bool)
    for f in range(made.frames):
        depth = depths(one, made, f, grid(one, made, f, 110))
        top = nearest(depth)
        for t in range(len(made.parts)):
            out[f, t] = np.isfinite(depth[:, top == t]).any(axis=1)
            out[f, t, t] = False
    return out


def has_ring(over):
    return not nx.is_directed_acyclic_graph(nx.from_numpy_array(over, create_using=nx.DiGraph))


def fewest_by_all_cuttings(over):
    """Try every way of cutting the frames, fewest cuts first."""
    changes = [f for f in range(1, len(over)) if (over[f] != over[f - 1]).any()]
    for cuts in range(len(changes) + 1):
        for chosen in itertools.combinations(changes, cuts):
            ends = [0, *chosen, len(over)]
            if not any(has_ring(over[a:b].any(axis=0)) for a, b in itertools.pairwise(ends)):
                return cuts + 1
    raise AssertionError


def swaps(one, two):
    return sum(
        (one.index(a) < one.index(b)) != (two.index(a) < two.index(b)) for a, b in itertools.combinations(one, 2)
    )


@pytest.mark.parametrize(("name", "rings"), [("stack", False), ("cross", False), ("slot", True)])
def test_g6_a_holdout_stands_only_where_no_order_shows_the_truth(name, rings):
    """Source: networkx's test for rings on relations found by lines of sight, frame by frame."""
    made = filmed(name).shots[0]
    needed = [has_ring(over) for over in relations(name)]
    assert any(needed) == rings
    for f, needs in enumerate(needed):
        assert any(h.first <= f <= h.last for h in made.masking.holdouts) == needs, f


@pytest.mark.parametrize(("name", "least"), [("stack", 1), ("cross", 2), ("slot", 1)])
def test_g6_orders_are_as_few_as_any_cutting_allows_and_each_is_the_nearest(name, least):
    """Source: all cuttings and all permutations. By hand: half a turn and more swaps what stands before the core."""
    made = filmed(name).shots[0]
    ids, over = [t.id for t in made.parts], relations(name).copy()
    for h in made.masking.holdouts:
        for t in h.behind:
            over[h.first : h.last + 1, ids.index(t), ids.index(h.part)] = False
    spans = made.masking.orders
    assert [f for s in spans for f in range(s.first, s.last + 1)] == list(range(made.frames))
    assert len(spans) == fewest_by_all_cuttings(over) >= least
    for before, span in itertools.pairwise(spans):
        asked = np.argwhere(over[span.first : span.last + 1].any(axis=0))
        valid = [p for p in itertools.permutations(ids) if all(p.index(ids[t]) > p.index(ids[x]) for t, x in asked)]
        nearest_valid = min(swaps(before.back_to_front, p) for p in valid)
        assert swaps(before.back_to_front, span.back_to_front) == nearest_valid > 0


# G7: the hand-off happens only while every part is within half a pixel of home, and without a dip in alpha.


def test_g7_the_hero_is_there_only_while_all_parts_are_home_to_half_a_pixel():
    """Source: corners of the mesh library's meshes, projected here and at home."""
    made = filmed("stack").shots[0]
    hero = made.hero_opacity
    assert hero[0] == hero[-1] == 1
    assert (hero > 0).sum() >= 4
    for f in np.flatnonzero(hero > 0):
        for t in made.parts:
            corners = triangles("stack")[t.id].reshape(-1, 3)
            apart = on_screen(made.cameras[f], corners + t.position[f]) - on_screen(made.cameras[f], corners)
            assert np.hypot(*apart.T).max() <= 0.5, (f, t.id)


def test_g7_over_a_single_part_the_still_is_there_only_while_that_part_is_home_and_what_shows_beside_it():
    """Source: corners as above; parts that touch each other show side by side."""
    made = filmed("stack").shots[0]
    solids = triangles("stack")
    assert made.hero_parts
    for part, row in made.hero_parts.items():
        assert (row >= made.hero_opacity).all()
        for f in np.flatnonzero(row > made.hero_opacity):
            assert np.array_equal(made.cameras[f], made.cameras[0 if (row[: f + 1] > 0).all() else -1])
            for t in made.parts:
                if t.id == part or touches(solids[t.id], solids[part]):
                    corners = solids[t.id].reshape(-1, 3)
                    apart = on_screen(made.cameras[f], corners + t.position[f]) - on_screen(made.cameras[f], corners)
                    assert np.hypot(*apart.T).max() <= 0.5, (f, part, t.id)


def touches(one, other):
    """Whether two parts' boxes touch when all is assembled: in the stack these are those that lie on each other."""
    low, high = (np.array([each.reshape(-1, 3).min(axis=0) for each in (one, other)]),
                 np.array([each.reshape(-1, 3).max(axis=0) for each in (one, other)]))  # fmt: skip
    return bool((low.max(axis=0) <= high.min(axis=0) + 1e-9).all())


def test_g7_a_hand_off_that_would_show_a_moving_stack_is_refused():
    """By hand: the shot stands assembled for 3 frames at its end, and 12 are asked for, while parts still fly."""
    plan = film(shot(*there_and_back(24, move=20, stagger=0, easing="linear"), handoff=Handoff(12)))
    with pytest.raises(ChoreoError) as caught:
        compile_film(stack(), plan)
    assert caught.value.exit_code == 1


def test_g7_the_picture_never_loses_alpha_while_the_hero_takes_over():
    """Source: "over" of Porter and Duff 1984, alpha = a + b (1 - a), at a whole pixel and at a soft one."""
    made = filmed("stack").shots[0]
    for plate in (1.0, 0.5):
        for f in range(made.frames):
            alpha = 0.0
            for t in made.parts:
                layer = plate * float(t.opacity[f])
                alpha = layer + alpha * (1 - layer)
            hero = plate * float(made.hero_opacity[f])
            whole = 1 - (1 - plate) ** len(made.parts)  # all layers at full opacity
            assert hero + alpha * (1 - hero) >= whole, f
            assert all(t.opacity[f] == 1 for t in made.parts)


# G8: same input, same bytes out.

CHOREOGRAPHY = """format = "choreo/choreography"
version = 1
assembly = "assembly.json"
frame_rate = "24"
resolution = [960, 540]
safe_area = [0.05, 0.05, 0.05, 0.05]
[defaults]
easing = "min-jerk"
move = 8
stagger = 2
gap_px = 12
clearance_mm = 0.5
[[shot]]
name = "burst"
view = { projection = "orthographic", azimuth = 0, elevation = 0, px_per_mm = "fit" }
  [[shot.phase]]
  kind = "explode"
  frames = 20
  [[shot.phase]]
  kind = "hold"
  frames = 2
"""


def project(folder, *parts):
    """Write a project: parts as (id, slabs), slabs as (outline, z)."""
    listed = [
        {"id": name, "label": name, "colour": "#808080", "offset": [0, 0, 0],
         "slabs": [{"outline": [list(p) for p in outline], "z": list(z)} for outline, z in slabs]}
        for name, slabs in parts
    ]  # fmt: skip
    assembly = {"format": "choreo/assembly", "version": 1, "name": "Boxes (invented)", "parts": listed}
    folder.mkdir()
    (folder / "assembly.json").write_text(json.dumps(assembly))
    (folder / "choreography.toml").write_text(CHOREOGRAPHY)
    return folder


def plain_project(folder):
    base, lid = rect(-30, -20, 30, 20), rect(-20, -10, 20, 10)
    return project(folder, ("base", [(base, (0, 10))]), ("lid", [(lid, (10, 14))]))


def stuck_project(folder):
    """A seed in a closed shell: it cannot leave by any way."""
    wide, inner = rect(-20, -20, 20, 20), rect(-10, -10, 10, 10)
    bars = [rect(-20, -20, 20, -10), rect(-20, 10, 20, 20), rect(-20, -10, -10, 10), rect(10, -10, 20, 10)]
    shell = [(wide, (0, 5)), *((bar, (5, 10)) for bar in bars), (wide, (10, 15))]
    return project(folder, ("shell", shell), ("seed", [(inner, (5, 10))]))


def contents(folder):
    """Every file below a folder with its bytes, and every folder."""
    return {str(p.relative_to(folder)): p.read_bytes() if p.is_file() else None for p in sorted(folder.rglob("*"))}


def test_g8_the_same_input_gives_the_same_bytes(tmp_path, capsys):
    """Source: bytes against bytes; a second process orders its sets and dicts of words by another hash."""
    assert main(["compile", str(DEMO), "--out", str(tmp_path / "one")]) == 0
    assert main(["compile", str(DEMO), "--out", str(tmp_path / "two")]) == 0
    seed = "4321" if os.environ.get("PYTHONHASHSEED") != "4321" else "1234"
    subprocess.run(
        [sys.executable, "-m", "choreo", "compile", str(DEMO), "--out", str(tmp_path / "three")],
        check=True, capture_output=True, cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    first = contents(tmp_path / "one")
    assert {"tracks.json", "report.json", "strip.svg"} <= set(first)
    assert contents(tmp_path / "two") == first
    assert contents(tmp_path / "three") == first


# G9: all or nothing: output files are replaced whole, or left as they were.


@pytest.fixture
def standing(tmp_path):
    """An output folder with files of an earlier run, one of today's not among them, and one that is not ours."""
    folder = tmp_path / "out"
    folder.mkdir()
    for name in ("tracks.json", "report.json", "notes.txt"):
        (folder / name).write_text(f"an earlier {name}\n")
    return folder


def test_g9_a_write_that_fails_leaves_everything_as_it_was(tmp_path, standing, monkeypatch, capsys):
    """Source: bytes against bytes; the move of each file in turn is made to fail as a full disk would."""
    small, before, moves, real = plain_project(tmp_path / "project"), contents(standing), [], os.replace

    for failing in range(1, 99):
        moves.clear()

        def replace(source, target, failing=failing, **kw):
            moves.append(target)
            if len(moves) == failing:
                raise OSError(28, "No space left on device")
            real(source, target, **kw)

        monkeypatch.setattr(os, "replace", replace)
        code = main(["compile", str(small), "--out", str(standing)])
        if len(moves) < failing:
            break
        assert code == 2, failing
        assert contents(standing) == before, failing
    assert code == 0
    assert failing > 3  # three files, each of whose moves has failed once
    after = contents(standing)
    assert after["notes.txt"] == before["notes.txt"]
    assert after["tracks.json"] != before["tracks.json"]
    assert set(after) == {*before, "strip.svg"}


def test_g9_a_compile_that_fails_touches_nothing(tmp_path, standing, capsys):
    """Source: bytes against bytes; no solution (a seed in a closed shell, by hand), then wrong input.

    The picture of the proof is the one thing that an interlock leaves behind.
    """
    before, stuck = contents(standing), stuck_project(tmp_path / "stuck")
    assert main(["compile", str(stuck), "--out", str(standing)]) == 1
    assert main(["compile", str(stuck), "--out", str(tmp_path / "proof")]) == 1
    assert set(contents(tmp_path / "proof")) == {"interlock.svg"}
    (stuck / "assembly.json").write_text("{")
    assert main(["compile", str(stuck), "--out", str(standing)]) == 2
    assert main(["compile", str(stuck), "--out", str(tmp_path / "nowhere")]) == 2
    after = contents(standing)
    del after["interlock.svg"]
    assert after == before
    assert not (tmp_path / "nowhere").exists()
