"""Invented assemblies and films from a seed, for tests that want many.

`cells` assemblies are made of unit cubes, so that who blocks whom can be worked out on a grid of integers.
Those of `inserted_cells` and `dressed_tray` come apart by construction: each part was put in along a straight
line while only the parts before it were there.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.affinity import rotate, translate

from choreo.model.assembly import Assembly, Joint, Part, Slab
from choreo.model.choreography import Choreography, FrameRate, PartMotion, Phase, Shot, View

AXES = {"+z": (0, 0, 1), "-z": (0, 0, -1), "+x": (1, 0, 0), "-x": (-1, 0, 0), "+y": (0, 1, 0), "-y": (0, -1, 0)}
OUTWARD = (  # easings that never go below 0
    "linear",
    "min-jerk",
    "ease-in-out",
    "cubic-bezier(0.3, 0, 0.1, 1)",
    "cubic-bezier(0.34, 1.56, 0.64, 1)",
    "linear(0, 0.6 30%, 1 50%, 0.8 65%, 1 80%, 0.95 90%, 1)",
    "linear(0, 1.25 60%, 0.9 80%, 1)",
    "steps(5, jump-end)",
    "steps(4, jump-both)",
)
HOMEWARD = (
    "linear",
    "min-jerk",
    "ease",
    "linear(0, 0.7 40%, 0.4 60%, 1)",
    "steps(6, jump-none)",
    "steps(3, jump-start)",
)
"""Easings that never go beyond 1: a part that comes home does not dig into what it rests on."""


def part(name, slabs, offset=(0.0, 0.0, 0.0)):
    return Part(name, name.capitalize(), "#808890", tuple(map(float, offset)), tuple(slabs))


def slabs_of(section, z0, z1):
    """One slab a polygon of a section."""
    out = []
    for polygon in shapely.get_parts(section):
        rings = [
            tuple(map(tuple, shapely.get_coordinates(r)[:-1].tolist())) for r in (polygon.exterior, *polygon.interiors)
        ]
        out.append(Slab(rings[0], tuple(rings[1:]), (float(z0), float(z1))))
    return out


def cell_part(name, cells, size=10.0):
    """A part made of cubes with a corner at ``size * cell``."""
    slabs = []
    for z in sorted({cell[2] for cell in cells}):
        boxes = [shapely.box(x, y, x + 1, y + 1) for x, y, k in sorted(cells) if k == z]
        section = shapely.transform(shapely.union_all(boxes), lambda xy: xy * size)
        slabs += slabs_of(section, z * size, (z + 1) * size)
    return part(name, slabs)


def cell_assembly(cells, size=10.0, joints=()):
    """An assembly from a mapping of name to cells."""
    parts = tuple(cell_part(name, own, size) for name, own in cells.items())
    return Assembly("Cubes (invented)", 0.05, parts, tuple(joints))


def random_cells(seed, parts=None, grid=3):
    """Cells of two to six parts, each a blob or scattered cubes that move as one; about half hold each other."""
    rng = np.random.default_rng(seed)
    count = parts or int(rng.integers(2, 7))
    free = {(x, y, z) for x in range(grid) for y in range(grid) for z in range(grid)}
    cells = {}
    for k in range(count):
        size = int(rng.integers(1, 2 + 3 * grid**3 // (2 * count)))
        own = _blob(rng, free, size) if rng.random() < 0.3 else _scatter(rng, free, size)
        if own:
            cells["abcdefgh"[k]] = own
            free -= own
    return cells


def inserted_cells(seed, most=6, grid=5):
    """Cells of parts that come apart, and one way of doing it: (name, axis name) pairs, first to leave first."""
    rng = np.random.default_rng(seed)
    everywhere = {(x, y, z) for x in range(grid) for y in range(grid) for z in range(grid)}
    cells = {"body": _blob(rng, everywhere, int(rng.integers(8, 30)))}
    order = []
    for k in range(int(rng.integers(1, most))):
        taken = set().union(*cells.values())
        for _ in range(40):
            own = _blob(rng, everywhere - taken, int(rng.integers(1, 9)), beside=taken)
            axis = list(AXES)[int(rng.integers(6))]
            if own and not blocks(own, taken, AXES[axis]):
                cells[f"p{k}"] = own
                order.insert(0, (f"p{k}", axis))
                break
    return cells, order


def blocks(own, others, axis, reach=12):
    """Whether any of `others` lies ahead of any of `own` along an axis."""
    return any(
        (x + k * axis[0], y + k * axis[1], z + k * axis[2]) in others for x, y, z in own for k in range(1, reach + 1)
    )


def _blob(rng, free, size, beside=None):
    """Up to `size` free cells that hang together, next to `beside` if given."""
    starts = sorted(c for c in free if beside is None or beside & set(_around(c)))
    if not starts:
        return set()
    own = {starts[int(rng.integers(len(starts)))]}
    while len(own) < size:
        rim = sorted({n for c in own for n in _around(c) if n in free and n not in own})
        if not rim:
            break
        own.add(rim[int(rng.integers(len(rim)))])
    return own


def _scatter(rng, free, size):
    listed = sorted(free)
    return {listed[int(k)] for k in rng.choice(len(listed), min(size, len(listed)), replace=False)}


def _around(cell):
    x, y, z = cell
    return [(x + dx, y + dy, z + dz) for dx, dy, dz in AXES.values()]


def blob_ring(rng, sides, radius, least):
    """A ring around the origin; convex where `least` is near 1."""
    angle = 2 * np.pi * (np.arange(sides) + rng.uniform(-0.3, 0.3, sides)) / sides
    reach = radius * rng.uniform(least, 1.0, sides)
    return np.column_stack([reach * np.cos(angle), reach * np.sin(angle)])


def dressed_tray(seed):
    """A tray with pegs in pockets, a lid over them, a screw through it, and a drawer that leaves askew."""
    rng = np.random.default_rng(seed)
    outline = shapely.Polygon(blob_ring(rng, int(rng.integers(5, 14)), 44.0, 0.85))
    deep, high = float(rng.uniform(4, 8)), float(rng.uniform(6, 14))
    places = [translate(shapely.Point(0, 0), *xy) for xy in _spots(rng, int(rng.integers(2, 5)))]
    pockets = [
        translate(shapely.Polygon(blob_ring(rng, int(rng.integers(3, 10)), 9.0, rng.choice([0.45, 0.95]))), p.x, p.y)
        for p in places
    ]
    floor = slabs_of(outline, -deep, 0)
    drawer = None
    if rng.random() < 0.7:
        drawer, floor = _drawer(rng, outline, deep)
    parts = [part("tray", [*floor, *slabs_of(shapely.difference(outline, shapely.union_all(pockets)), 0, high)])]
    joints = []
    tops, pegs = [], []
    for k, pocket in enumerate(pockets):
        peg = shapely.buffer(pocket, -float(rng.choice([0.0, 0.1, 0.6])), join_style="mitre")
        top = high * float(rng.choice([0.5, 1.0, 1.6]))
        pegs.append(part(f"peg{k}", slabs_of(peg, 0, top)))
        tops.append((peg, top))
        joints.append(Joint("insert", f"peg{k}", "tray", (0.0, 0.0, 1.0)))
    if rng.random() < 0.8:
        through = [
            shapely.buffer(peg, float(rng.choice([0.0, 0.8])), join_style="mitre") for peg, top in tops if top > high
        ]
        hole = shapely.Polygon(blob_ring(rng, 12, 3.0, 1.0))
        lid = shapely.difference(
            shapely.buffer(outline, float(rng.uniform(-3, 3)), join_style="mitre"), shapely.union_all([*through, hole])
        )
        thick = high + float(rng.uniform(2, 5))
        pegs.append(part("lid", slabs_of(lid, high, thick)))
        head = shapely.Polygon(blob_ring(rng, 6, 5.5, 1.0))
        pegs.append(part("screw", [*slabs_of(hole, high, thick), *slabs_of(head, thick, thick + 2.5)]))
        joints += [Joint("cover", "lid", "tray", (0.0, 0.0, 1.0)), Joint("fasten", "screw", "lid", (0.0, 0.0, 1.0))]
    if drawer:
        pegs.append(drawer[0])
        joints.append(drawer[1])
    return Assembly("Dressed tray (invented)", 0.05, (*parts, *pegs), tuple(joints))


def _spots(rng, count):
    turn = rng.uniform(0, 2 * np.pi)
    return [(24 * np.cos(turn + a), 24 * np.sin(turn + a)) for a in 2 * np.pi * np.arange(count) / count]


def _drawer(rng, outline, deep):
    """A bar in a channel of the floor, open at one end, askew to every axis; it leaves along its joint's axis."""
    turn = float(rng.uniform(0, 360))
    wide = float(rng.uniform(8, 20))
    channel = rotate(shapely.box(-20, -wide / 2, 80, wide / 2), turn, origin=(0, 0))
    bar = rotate(shapely.box(-19, -wide / 2, float(rng.uniform(30, 48)), wide / 2), turn, origin=(0, 0))
    floor = [
        *slabs_of(outline, -deep, -0.75 * deep),
        *slabs_of(shapely.difference(outline, channel), -0.75 * deep, -0.25 * deep),
        *slabs_of(outline, -0.25 * deep, 0),
    ]
    axis = (float(np.cos(np.radians(turn))), float(np.sin(np.radians(turn))), 0.0)
    return (part("drawer", slabs_of(bar, -0.75 * deep, -0.25 * deep)), Joint("slide", "drawer", "tray", axis)), floor


def random_assembly(seed):
    """Either kind, known to come apart."""
    if seed % 2:
        return cell_assembly(inserted_cells(seed)[0])
    return dressed_tray(seed)


def random_film(seed, ids):
    """A choreography for parts of these names: one shot out, one shot home, every kind of easing."""
    rng = np.random.default_rng(seed)

    def phase(kind, easings):
        own = {
            name: PartMotion(str(rng.choice(easings)), int(rng.integers(4, 13)), int(rng.integers(0, 6)))
            for name in ids
        }
        frames = 8 + sum(motion.move + 1 for motion in own.values())
        return Phase(kind, frames, int(rng.integers(0, 5)), PartMotion("linear", 8), own)

    shots = []
    for name, kind, easings in (("out", "explode", OUTWARD), ("home", "assemble", HOMEWARD)):
        if rng.random() < 0.5:
            angle = {"azimuth": float(rng.uniform(-60, 60)), "elevation": float(rng.uniform(-40, 60))}
            view = View("perspective", **angle, focal_mm=85.0, sensor_mm=(36.0, 20.25))
        else:
            view = View("orthographic", *((0.0, 0.0) if rng.random() < 0.5 else (30.0, 25.0)))
        shots.append(Shot(name, view, (phase(kind, easings), Phase("hold", 2))))
    clearance = float(rng.choice([0.0, 0.5, 2.0]))
    return Choreography(
        "assembly.json", FrameRate(24), (960, 540), (0.03, 0.03, 0.03, 0.03), 8.0, clearance, tuple(shots)
    )
