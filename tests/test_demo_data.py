"""The demo assemblies are what they say: whole, to standard sizes, and separable (or not) as intended.

The solids are built here a second time, with the mesh boolean of the manifold3d library, which shares no code with
the compiler.
"""

from __future__ import annotations

import itertools
import json
import tomllib
from functools import cache
from pathlib import Path

import jsonschema
import manifold3d
import numpy as np
import pytest
import shapely

ROOT = Path(__file__).parent.parent
DEMOS = ("headlamp", "headlamp_late_part", "hand_grinder", "layers_only", "interlocked")
LAYER_MM = 4.0
POSITIONS = 40

# The order in which the headlamp is meant to come apart, each part along the axis of its own joint.
HEADLAMP_ORDER = (
    *("screw_1", "screw_2", "screw_3", "screw_4", "bezel", "seal", "lens", "filter", "reflector", "board"),
    *("door", "cell", "hook_left", "hook_right", "button"),
)


# The order in which the grinder is meant to come apart: over the top, then through the bottom, then the bearing.
GRINDER_ORDER = (
    *("hub_nut", "knob_screw", "knob", "crank", "lid", "collar", "cup", "dial", "spring_washer", "inner_burr"),
    *("screw_1", "screw_2", "screw_3", "washer_1", "washer_2", "washer_3", "clamp_ring", "outer_burr"),
    *("axle", "bearing_balls", "bearing_inner", "bearing_outer"),
)


@cache
def assembly(demo: str) -> dict:
    return json.loads((ROOT / "demo_assemblies" / demo / "assembly.json").read_text(encoding="utf-8"))


@cache
def choreography_text(demo: str) -> str:
    return (ROOT / "demo_assemblies" / demo / "choreography.toml").read_text(encoding="utf-8")


def part_of(demo: str, part_id: str) -> dict:
    return next(p for p in assembly(demo)["parts"] if p["id"] == part_id)


def axis_of(demo: str, part_id: str) -> np.ndarray:
    joint = next(j for j in assembly(demo)["joints"] if j["part"] == part_id)
    return np.array(joint["axis"], float)


def levels(demo: str, part: dict) -> list[tuple[float, float]]:
    """Depths of a part's slabs; the place in `occlusion_order` stands in for depths that are not given."""
    order = assembly(demo).get("occlusion_order", ())
    return [
        tuple(s["z"]) if "z" in s else (LAYER_MM * order.index(part["id"]), LAYER_MM * (order.index(part["id"]) + 1))
        for s in part["slabs"]
    ]


def mesh(demo: str, part: dict, shrink: float) -> manifold3d.Manifold:
    """Return the part's solid, each slab for itself smaller by `shrink` on every side."""
    blocks = []
    for slab, (z0, z1) in zip(part["slabs"], levels(demo, part), strict=True):
        rings = [np.array(ring, float) for ring in (slab["outline"], *slab.get("holes", ()))]
        section = manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd)
        section = section.offset(-shrink, manifold3d.JoinType.Miter)
        block = manifold3d.Manifold.extrude(section, z1 - z0 - 2 * shrink)
        blocks.append(block.translate((0, 0, z0 + shrink)))
    return manifold3d.Manifold.batch_boolean(blocks, manifold3d.OpType.Add).translate(part.get("offset", (0, 0, 0)))


@cache
def solids(demo: str) -> dict[str, manifold3d.Manifold]:
    """Every part, shrunk by half of the touch tolerance, so that two parts in contact do not overlap."""
    half = assembly(demo)["touch_mm"] / 2
    return {p["id"]: mesh(demo, p, half) for p in assembly(demo)["parts"]}


def overlap(a: manifold3d.Manifold, b: manifold3d.Manifold) -> float:
    return (a ^ b).volume()


def way_out(part: manifold3d.Manifold, rest: manifold3d.Manifold, axis: np.ndarray) -> np.ndarray:
    """Displacements from at rest to clear of everything, close together at the start where the fits are tight."""
    a, b = np.array(part.bounding_box()).reshape(2, 3), np.array(rest.bounding_box()).reshape(2, 3)
    clear = max(0.0, float((np.where(axis > 0, b[1] - a[0], a[1] - b[0]) * np.abs(axis)).sum()))
    return np.linspace(0.0, 1.0, POSITIONS)[:, None] ** 2 * clear * axis


def worst_on_the_way(demo: str, part_id: str, still_there: list[str], axis: np.ndarray) -> float:
    """Return the largest overlap volume over the sampled way out."""
    mine = solids(demo)[part_id]
    rest = manifold3d.Manifold.batch_boolean([solids(demo)[i] for i in still_there], manifold3d.OpType.Add)
    return max(overlap(mine.translate(by), rest) for by in way_out(mine, rest, axis))


def stays(demo: str, gone: tuple[str, ...]) -> list[str]:
    return [i for i in solids(demo) if i not in gone]


# --- files ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("demo", DEMOS)
def test_files_fit_their_schemas(demo):
    for name, data in (
        ("assembly", assembly(demo)),
        ("choreography", tomllib.loads(choreography_text(demo))),
    ):
        schema = json.loads((ROOT / "schemas" / f"{name}.schema.json").read_text(encoding="utf-8"))
        jsonschema.Draft202012Validator(schema).validate(data)


@pytest.mark.parametrize("demo", DEMOS)
def test_demo_says_that_it_is_invented(demo):
    assert "invented" in assembly(demo)["name"]
    assert "invented" in choreography_text(demo)


@pytest.mark.parametrize("demo", DEMOS)
def test_editor_finds_the_schema(demo):
    first = choreography_text(demo).splitlines()[0]
    assert first.startswith("#:schema ")
    hinted = ROOT / "demo_assemblies" / demo / first.removeprefix("#:schema ")
    assert hinted.resolve() == ROOT.resolve() / "schemas" / "choreography.schema.json"
    assert hinted.exists()


@pytest.mark.parametrize("demo", DEMOS)
def test_shapes_are_sound_and_coordinates_neat(demo):
    for part in assembly(demo)["parts"]:
        for slab in part["slabs"]:
            polygon = shapely.Polygon(slab["outline"], slab.get("holes", ()))
            assert shapely.is_valid_reason(polygon) == "Valid Geometry", part["id"]
            numbers = [*itertools.chain(*slab["outline"], *itertools.chain(*slab.get("holes", ()))), *slab.get("z", ())]
            assert all(round(n, 3) == n for n in numbers), part["id"]


@pytest.mark.parametrize("demo", DEMOS)
def test_names_refer_to_parts(demo):
    data = assembly(demo)
    ids = [p["id"] for p in data["parts"]]
    assert len(set(ids)) == len(ids)
    assert {j[end] for j in data.get("joints", ()) for end in ("part", "into")} <= set(ids)
    assert not data.get("occlusion_order") or sorted(data["occlusion_order"]) == sorted(ids)
    named = {
        i
        for shot in tomllib.loads(choreography_text(demo))["shot"]
        for phase in shot["phase"]
        for i in phase.get("part", ())
    }
    assert named <= set(ids)


@pytest.mark.parametrize("demo", [demo for demo in DEMOS if demo != "headlamp_late_part"])
def test_every_phase_leaves_time_for_its_stagger(demo):
    # Hand arithmetic: of n moving parts the last starts (n - 1) * stagger after the first, later by its own delay,
    # takes `move` frames, and must be seen in its place on the phase's last frame. Where parts land on beats, the
    # first lands a whole move after the phase begins, and a delay may be longer: the part's turn comes early.
    film = tomllib.loads(choreography_text(demo))
    moving = len(assembly(demo)["parts"]) - 1
    move = film["defaults"]["move"]
    for shot in film["shot"]:
        for phase in (p for p in shot["phase"] if p["kind"] != "hold"):
            if "beats" in phase:
                assert move <= phase["beats"][0]
                assert phase["beats"][-1] <= phase["frames"] - 1
            else:
                stagger = phase.get("stagger", film["defaults"]["stagger"])
                longest = max((p.get("delay", 0) for p in phase.get("part", {}).values()), default=0)
                assert (moving - 1) * stagger + phase.get("move", move) + longest <= phase["frames"] - 1


def test_headlamp_asks_for_landings_on_beats():
    # Hand arithmetic: the part whose turn is k asks to land on k * stagger + delay + move; for every k that is a
    # beat, and with delays of whole staggers it stays one. A part's turn follows from the order in which parts come
    # apart: the filter goes in right after the board and the reflector (k = 2), and waits for the last beat of all.
    film = tomllib.loads(choreography_text("headlamp"))
    moving = len(assembly("headlamp")["parts"]) - 1
    (phase,) = (p for shot in film["shot"] for p in shot["phase"] if "beats" in p)
    delays = {name: part.get("delay", 0) for name, part in phase["part"].items()}
    landings = [k * phase["stagger"] + film["defaults"]["move"] for k in range(moving)]
    assert set(landings) <= set(phase["beats"])
    assert all(delay % phase["stagger"] == 0 for delay in delays.values())
    assert landings[2] + delays["filter"] == phase["beats"][-1]
    assert landings[-1] < phase["beats"][-1]


# --- solids -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("demo", DEMOS)
def test_no_two_parts_overlap_at_rest(demo):
    wrong = [
        (a, b) for a, b in itertools.combinations(solids(demo), 2) if overlap(solids(demo)[a], solids(demo)[b]) > 0
    ]
    assert wrong == []


@pytest.mark.parametrize(
    ("demo", "order", "body"), [("headlamp", HEADLAMP_ORDER, "shell"), ("hand_grinder", GRINDER_ORDER, "body")]
)
def test_demo_comes_apart_one_part_at_a_time(demo, order, body):
    assert sorted((*order, body)) == sorted(solids(demo))
    for index, part_id in enumerate(order):
        rest = stays(demo, order[: index + 1])
        assert worst_on_the_way(demo, part_id, rest, axis_of(demo, part_id)) == 0, part_id


@pytest.mark.parametrize(
    ("demo", "part_id", "held_by"),
    [
        ("headlamp", "bezel", "screw_1"),
        ("headlamp", "seal", "bezel"),
        ("headlamp", "lens", "bezel"),
        ("headlamp", "reflector", "filter"),
        ("headlamp", "board", "reflector"),
        ("headlamp", "cell", "door"),
        ("hand_grinder", "collar", "lid"),
        ("hand_grinder", "knob", "knob_screw"),
        ("hand_grinder", "lid", "crank"),
        ("hand_grinder", "crank", "hub_nut"),
        ("hand_grinder", "inner_burr", "dial"),
        ("hand_grinder", "dial", "cup"),
        ("hand_grinder", "washer_3", "screw_3"),
        ("hand_grinder", "outer_burr", "clamp_ring"),
        ("hand_grinder", "bearing_outer", "axle"),
        ("hand_grinder", "axle", "lid"),
    ],
)
def test_demo_has_a_real_order(demo, part_id, held_by):
    # Read off the drawing: what lies under something cannot leave through it.
    axis = axis_of(demo, part_id)
    assert worst_on_the_way(demo, part_id, [held_by], axis) > 0


def test_filter_slides_out_from_under_the_face_plate():
    # The point of this part: at rest the shell's own plate lies right on it and covers a good third of it (the rest
    # shows in the window or is the grip outside), so the plate's edge must mask it as it slides.
    (flat, *_ribs) = part_of("headlamp", "filter")["slabs"]
    plate = next(s for s in part_of("headlamp", "shell")["slabs"] if s["z"][0] == flat["z"][1])
    sheet, window = shapely.Polygon(flat["outline"]), shapely.Polygon(plate["outline"], plate["holes"])
    whole = shapely.Polygon(plate["outline"])
    assert shapely.intersection(sheet, window).area > 0.3 * sheet.area
    assert shapely.difference(sheet, whole).area > 0.1 * sheet.area


def test_layers_come_off_toward_the_viewer():
    order = assembly("layers_only")["occlusion_order"]
    toward = np.array([0.0, 0.0, 1.0])
    for index in range(len(order) - 1, 0, -1):
        assert worst_on_the_way("layers_only", order[index], order[:index], toward) == 0
    assert worst_on_the_way("layers_only", order[1], order[2:], toward) > 0


def directions() -> np.ndarray:
    """The 26 directions along axes and diagonals, and 60 spread evenly (Fibonacci lattice) over the sphere."""
    grid = np.array([d for d in itertools.product((-1, 0, 1), repeat=3) if any(d)], float)
    k = np.arange(60) + 0.5
    z, turn = 1 - 2 * k / 60, np.pi * (1 + 5**0.5) * k
    sphere = np.stack([np.sqrt(1 - z**2) * np.cos(turn), np.sqrt(1 - z**2) * np.sin(turn), z], axis=1)
    return np.concatenate([grid / np.linalg.norm(grid, axis=1, keepdims=True), sphere])


def test_trivet_is_stuck_in_every_direction():
    # By hand, for the south bar (y from -30 to -18; the others are it, turned by 90 degrees): its ends at x = -30
    # and x = 30 stand against the frame: x = 0. Its back at y = -30 stands against the frame, its end faces at
    # y = -18 against the middles of the west and east bars: y = 0. Its low end lies under the west bar, its high
    # end over the east bar: z = 0. So any push by 0.5 mm presses at least 0.5 / sqrt(3) = 0.29 mm into something,
    # far more than touch_mm. Proper subsets with no frame in them: the frame's groove stops each bar along its own
    # length and along z, and outward; see choreography.toml. Subsets with the frame are their complements.
    ids = [i for i in solids("interlocked") if i != "frame"]
    subsets = [s for n in range(1, len(ids) + 1) for s in itertools.combinations(ids, n)]
    for subset in subsets:
        moving, rest = (
            manifold3d.Manifold.batch_boolean([solids("interlocked")[i] for i in group], manifold3d.OpType.Add)
            for group in (subset, stays("interlocked", subset))
        )
        free = [tuple(d) for d in directions() if overlap(moving.translate(0.5 * d), rest) == 0]
        assert free == [], subset


def test_trivet_opens_without_the_top_lip():
    # The control, and the remedy that choreography.toml names: what holds it is the shape, not the test.
    frame = part_of("interlocked", "frame")
    opened = mesh("interlocked", {**frame, "slabs": [s for s in frame["slabs"] if s["z"] != [10, 12]]}, 0.025)
    bars = [i for i in solids("interlocked") if i != "frame"]
    ring = manifold3d.Manifold.batch_boolean([solids("interlocked")[i] for i in bars], manifold3d.OpType.Add)
    down = np.array([0.0, 0.0, -1.0])
    assert max(overlap(opened.translate(by), ring) for by in way_out(opened, ring, down)) == 0
    assert worst_on_the_way("interlocked", "south", bars[1:], np.array([0.0, -1.0, 0.0])) == 0


# --- standard sizes ---------------------------------------------------------------------------------------------


def sizes(ring: list) -> tuple[float, float]:
    low, high = np.min(ring, axis=0), np.max(ring, axis=0)
    return tuple(float(x) for x in high - low)


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_screws_are_iso_4762_m2_5_by_6(number):
    # ISO 4762:2004 table 1, M2.5 (as printed in two public tables that agree): head diameter 4.5 (plain, maximum),
    # head height 2.5, socket 2.0 across flats and at least 1.1 deep; length 6 is measured under the head.
    shaft, *head = part_of("headlamp", f"screw_{number}")["slabs"]
    assert sizes(shaft["outline"]) == (2.5, 2.5)
    assert shaft["z"] == [-6, 0]
    assert all(sizes(slab["outline"]) == (4.5, 4.5) for slab in head)
    assert (head[0]["z"][0], head[-1]["z"][1]) == (0, 2.5)
    (socket,) = head[-1]["holes"]
    assert min(sizes(socket)) == pytest.approx(2.0, abs=0.002)
    assert head[-1]["z"][1] - head[-1]["z"][0] >= 1.1


def test_screws_pass_the_bezel_through_iso_273_holes():
    # ISO 273, medium series: 2.9 for M2.5 (value from memory, the same as in the table of the bd-warehouse package).
    low, *_rest = part_of("headlamp", "bezel")["slabs"]
    axes = sorted(part_of("headlamp", f"screw_{n}")["offset"][:2] for n in (1, 2, 3, 4))
    small = [hole for hole in low["holes"] if max(sizes(hole)) < 10]
    middles = sorted(((np.min(h, axis=0) + np.max(h, axis=0)) / 2).round(6).tolist() for h in small)
    assert middles == axes
    assert [sizes(h) for h in small] == [pytest.approx((2.9, 2.9), abs=0.002)] * 4


def test_cell_has_the_outside_size_of_an_r03():
    # Linden's Handbook of Batteries, table 4.9a (IEC 60086 designations): R03 is 9.5 to 10.5 across and
    # 43.3 to 44.5 long.
    slabs = part_of("headlamp", "cell")["slabs"]
    length, width = (max(column) for column in zip(*(sizes(s["outline"]) for s in slabs), strict=True))
    depth = slabs[-1]["z"][1] - slabs[0]["z"][0]
    assert 43.3 <= length <= 44.5
    assert 9.5 <= width <= 10.5
    assert 9.5 <= depth <= 10.5


@pytest.mark.parametrize(
    ("part_id", "thread", "length", "head", "height", "flats", "deep"),
    [*((f"screw_{n}", 3, 8, 5.5, 3, 2.5, 1.3) for n in (1, 2, 3)), ("knob_screw", 4, 20, 7, 4, 3, 2)],
)
def test_grinder_screws_are_iso_4762(part_id, thread, length, head, height, flats, deep):
    # ISO 4762:2004 table 1, M3 and M4 (as printed in two public tables that agree): head diameter 5.5 and 7 (plain,
    # maximum), head height 3 and 4, socket 2.5 and 3 across flats, at least 1.3 and 2 deep.
    slabs = part_of("hand_grinder", part_id)["slabs"]
    shaft, heads = slabs[0], slabs[1:]
    assert sizes(shaft["outline"]) == (thread, thread)
    assert shaft["z"][1] - shaft["z"][0] == length
    assert all(sizes(s["outline"]) == (head, head) for s in heads)
    assert max(z for s in heads for z in s["z"]) - min(z for s in heads for z in s["z"]) == height
    (socketed,) = (s for s in heads if "holes" in s)
    assert min(sizes(socketed["holes"][0])) == pytest.approx(flats, abs=0.002)
    assert socketed["z"][1] - socketed["z"][0] >= deep
    assert 0 in shaft["z"]
    assert any(0 in s["z"] for s in heads)


@pytest.mark.parametrize("number", [1, 2, 3])
def test_grinder_washers_are_iso_7089_m3(number):
    # ISO 7089:2000 table 1, M3 (a public table and the bd-warehouse package agree): 3.2, 7, nominal thickness 0.5.
    (slab,) = part_of("hand_grinder", f"washer_{number}")["slabs"]
    assert sizes(slab["outline"]) == (7, 7)
    assert [sizes(hole) for hole in slab["holes"]] == [pytest.approx((3.2, 3.2), abs=0.001)]
    assert slab["z"][1] - slab["z"][0] == 0.5


def test_grinder_bearing_has_the_sizes_of_a_608():
    # ISO 15, 608: bore 8, outside 22, width 7 (from memory, confirmed by the bd-warehouse and openscad-mcad tables).
    rings = [part_of("hand_grinder", f"bearing_{n}") for n in ("inner", "outer")]
    (inner,), (outer,) = (ring["slabs"] for ring in rings)
    assert sizes(inner["holes"][0]) == (8, 8)
    assert sizes(outer["outline"]) == (22, 22)
    assert [s["z"] for s in (inner, outer)] == [[0, 7]] * 2
    assert rings[0]["offset"] == rings[1]["offset"]


def test_grinder_screws_pass_the_clamp_ring_through_iso_273_holes():
    # ISO 273, medium series: 3.4 for M3 (value from memory, the same as in the table of the bd-warehouse package).
    (ring,) = part_of("hand_grinder", "clamp_ring")["slabs"]
    small = [hole for hole in ring["holes"] if max(sizes(hole)) < 10]
    assert [sizes(hole) for hole in small] == [pytest.approx((3.4, 3.4), abs=0.02)] * 3
    axes = [part_of("hand_grinder", f"screw_{n}")["offset"][:2] for n in (1, 2, 3)]
    assert [(np.max(h, axis=0) + np.min(h, axis=0)) / 2 for h in small] == [pytest.approx(a, abs=0.02) for a in axes]


def test_grinder_stands_on_one_axis():
    # A stack on one axle: all but the screws, their washers and what sits on the crank's end are centred on z.
    aside = {f"{what}_{n}" for what in ("screw", "washer") for n in (1, 2, 3)} | {"knob", "knob_screw"}
    for part in assembly("hand_grinder")["parts"]:
        assert (part["offset"][:2] != [0, 0]) == (part["id"] in aside)


# --- colours ----------------------------------------------------------------------------------------------------


def lightness(colour: str) -> float:
    """CIE 1976 L* (ISO/CIE 11664-4) of an sRGB colour (IEC 61966-2-1); both formulas from memory."""
    encoded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    y = float(linear @ (0.2126, 0.7152, 0.0722))
    return 116 * y ** (1 / 3) - 16 if y > (6 / 29) ** 3 else y * (29 / 3) ** 3


@pytest.mark.parametrize("demo", DEMOS)
def test_neighbours_differ_in_lightness(demo):
    # So that they stay apart for every kind of colour vision. Six units of L*: common practice, no source.
    parts = assembly(demo)["parts"]
    near = [
        (a, b)
        for a, b in itertools.combinations(parts, 2)
        if solids(demo)[a["id"]].min_gap(solids(demo)[b["id"]], 1.0) < 1.0
    ]
    too_close = [(a["id"], b["id"]) for a, b in near if abs(lightness(a["colour"]) - lightness(b["colour"])) < 6]
    assert near
    assert too_close == []
