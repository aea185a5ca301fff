"""Visible regions, layer orders and holdouts against a z-buffer that shares no code with choreo.

Outside a band of two sample rows around edges (1.5 px and more at this sampling) no sample may differ.
"""

import functools

import numpy as np
import pytest
import shapely
import zbuffer
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from choreo.geometry.camera import orthographic_camera, perspective_camera
from choreo.geometry.solid import build_solid
from choreo.model.assembly import Slab
from choreo.model.plan import Removal, RemovalStep
from choreo.passes.masking import masking
from choreo.passes.visibility import visibility

TOUCH_MM = 0.05
SHAPE = (72, 96)
RESOLUTION = (960, 540)


def ring(radius, count=24, x=0.0, y=0.0):
    angle = np.arange(count) * 2 * np.pi / count
    return tuple((float(x + radius * c), float(y + radius * s)) for c, s in zip(np.cos(angle), np.sin(angle), strict=True))


def rect(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def slab(outline, z0, z1, *holes):
    return Slab(tuple(map(tuple, outline)), tuple(tuple(map(tuple, h[::-1])) for h in holes), (float(z0), float(z1)))


@functools.lru_cache
def assemblies():
    cup = [slab(ring(30), 0, 2), slab(ring(30), 2, 20, ring(24))]
    u_body = [
        slab(rect(-30, -20, 30, 20), 0, 3),
        slab([(-30, -20), (30, -20), (30, -8), (-22, -8), (-22, 8), (30, 8), (30, 20), (-30, 20)], 3, 9),
        slab(rect(-30, -20, 30, 20), 9, 12),
    ]
    cross = [(-4, -12), (4, -12), (4, -4), (12, -4), (12, 4), (4, 4), (4, 12), (-4, 12), (-4, 4), (-12, 4), (-12, -4), (-4, -4)]
    return {
        # name: (parts, direction in which each leaves)
        "stack": (
            [[slab(rect(-30, -20, 30, 20), 0, 5)], [slab(rect(-20, -15, 20, 15), 5, 9)], [slab(ring(12), 9, 14)]],
            [(0, 0, 0), (0, 0, 1), (0, 0, 2)],
        ),
        "ring with a cell inside": ([cup, [slab(ring(14), 2, 17)]], [(0, 0, 0), (0, 0, 1)]),
        "tongue under a face plate": ([u_body, [slab(rect(-22, -8, 34, 8), 3, 9)]], [(0, 0, 0), (1, 0, 0)]),
        "pinwheel": (pinwheel(), [(0, 0, 0)] * 4),
        "screw in a hole": (
            [
                [slab(rect(-25, -25, 25, 25), 0, 10, ring(5))],
                [slab(ring(5), 1, 10), slab(ring(9, 6), 10, 14)],
            ],
            [(0, 0, 0), (0, 0, 1)],
        ),
        "cross in a cross-shaped hole": (
            [[slab(ring(20), 0, 10, cross)], [slab([(0.98 * x, 0.98 * y) for x, y in cross], 1, 12)]],
            [(0, 0, 0), (0, 0, 1)],
        ),
        "two hooks": (
            [
                [slab([(-20, -20), (20, -20), (20, -10), (-10, -10), (-10, 20), (-20, 20)], 0, 8)],
                [slab([(20, 20), (-5, 20), (-5, 10), (10, 10), (10, -5), (20, -5)], 2, 11)],
            ],
            [(0, 0, 0), (1, 1, 0)],
        ),
        "pin through a flange from below": (
            [
                [slab(ring(20), 0, 6, ring(6)), slab(ring(16), 6, 14, ring(9))],
                [slab(ring(6), -10, 8)],
                [slab(ring(8.5), 8, 12, ring(3))],
            ],
            [(0, 0, 0), (0, 0, -1), (0, 0, 1)],
        ),
    }


def pinwheel():
    # asm.dbg.pinwheel: four bars, A over B over C over D over A (Wilson and Latombe 1994, directional blocking
    # graphs; Newell, Newell and Sancha 1972 for the cyclic overlap, that year from memory). Unit cells of 10 mm.
    cells = {
        "A": [[0, 0, 0], [1, 0, 0], [1, 0, 1], [2, 0, 1], [3, 0, 1]],
        "B": [[3, 0, 0], [3, 1, 0], [3, 2, 0], [3, 2, 1], [3, 3, 1]],
        "C": [[0, 3, 1], [1, 3, 1], [2, 3, 0], [2, 3, 1], [3, 3, 0]],
        "D": [[0, 0, 1], [0, 1, 1], [0, 2, 0], [0, 2, 1], [0, 3, 0]],
    }
    return [
        [slab(rect(10 * x, 10 * y, 10 * x + 10, 10 * y + 10), 10 * z, 10 * z + 10) for x, y, z in bar]
        for bar in cells.values()
    ]


CAMERAS = {
    "plan view": lambda k: orthographic_camera(0, 0, (5, 5, 5), 8, RESOLUTION),
    "oblique": lambda k: orthographic_camera(20 + 15 * k, 35, (5, 5, 5), 7, RESOLUTION),
    "side": lambda k: orthographic_camera(90, 0, (5, 5, 5), 7, RESOLUTION),
    "orbit": lambda k: perspective_camera(-50 + 37 * k, 25, (5, 5, 5), 170, 50, (36, 20.25), RESOLUTION),
    "from below": lambda k: perspective_camera(165 + 10 * k, -10, (5, 5, 5), 150, 50, (36, 20.25), RESOLUTION),
    "beside": lambda k: perspective_camera(88 + k, 3, (5, 5, 5), 130, 50, (36, 20.25), RESOLUTION),
}
TRAVEL = (0.0, 6.0, 19.0, 45.0)


def compiled(parts, ways, camera):
    cameras = np.array([CAMERAS[camera](k).matrix for k in range(len(TRAVEL))])
    shifts = np.array([[[c * t for c in way] for t in TRAVEL] for way in ways], dtype=float)
    seen = visibility([build_solid(p) for p in parts], cameras, shifts, TOUCH_MM)
    return seen, cameras, shifts


def pictures(parts, seen, cameras, shifts):
    frames = np.arange(len(cameras))
    for f in frames:
        outlines = [seen.silhouette(p, frames)[f] for p in range(len(parts))]
        box = shapely.total_bounds(outlines) + [-9, -9, 9, 9]
        yield f, *zbuffer.picture(parts, shifts[:, f], cameras[f], box, SHAPE)


def visible_labels(seen, f, pixels):
    label = np.full(pixels.shape[:2], zbuffer.BACKGROUND)
    for p in range(seen.parts):
        label[shapely.contains_xy(seen.visible(p, np.array([f]))[0], pixels[..., 0], pixels[..., 1])] = p
    return label


def layered_labels(seen, plan, ids, f, pixels):
    label = np.full(pixels.shape[:2], zbuffer.BACKGROUND)
    span = [s for s in plan.orders if s.first <= f <= s.last]
    assert len(span) == 1
    for name in span[0].back_to_front:
        p = ids.index(name)
        drawn = shapely.contains_xy(seen.silhouette(p, np.array([f]))[0], pixels[..., 0], pixels[..., 1])
        for h in plan.holdouts:
            if h.part == name and h.first <= f <= h.last:
                for region in h.region:
                    polygon = shapely.Polygon(region.outline, region.holes)
                    drawn &= ~shapely.contains_xy(polygon, pixels[..., 0], pixels[..., 1])
        label[drawn] = p
    return label


def removal(ids):
    return Removal(tuple(RemovalStep(name, (0.0, 0.0, 1.0)) for name in reversed(ids[1:])), ids[0])


def agree(parts, seen, cameras, shifts, plan, ids):
    for f, pixels, depth, nearest in pictures(parts, seen, cameras, shifts):
        keep = zbuffer.clear_of_edges(nearest, depth)
        assert keep.sum() > 100
        wrong = keep & (visible_labels(seen, f, pixels) != nearest)
        assert not wrong.any(), (f, pixels[wrong][:3], nearest[wrong][:3])
        wrong = keep & (layered_labels(seen, plan, ids, f, pixels) != nearest)
        assert not wrong.any(), (f, pixels[wrong][:3], nearest[wrong][:3], plan)


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("name", assemblies())
def test_hand_made_assemblies(name, camera):
    parts, ways = assemblies()[name]
    seen, cameras, shifts = compiled(parts, ways, camera)
    ids = [f"p{n}" for n in range(len(parts))]
    agree(parts, seen, cameras, shifts, masking(seen, ids, removal(ids)), ids)


cameras = st.one_of(
    st.builds(
        lambda a, e, d: perspective_camera(a, e, (20, 20, 20), d, 50, (36, 20.25), RESOLUTION),
        st.integers(-180, 180),
        st.sampled_from([-90, -60, -20, -5, 0, 10, 35, 70, 90]),
        st.integers(120, 260),
    ),
    st.builds(
        lambda a, e: orthographic_camera(a, e, (20, 20, 20), 6, RESOLUTION),
        st.integers(-180, 180),
        st.sampled_from([-90, -45, 0, 20, 90]),
    ),
)


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32 - 1), st.lists(cameras, min_size=1, max_size=2))
def test_random_assemblies(seed, views):
    """Cells of a grid dealt out to parts at random: sections with holes, notches, islands, rings of parts."""
    rng = np.random.default_rng(seed)
    owner = rng.integers(-1, 4, (4, 4, 3))
    # The corner cells keep every part in the picture.
    owner[0, 0, 0], owner[3, 0, 0], owner[0, 3, 2], owner[3, 3, 2] = range(4)
    parts = [
        [
            slab(rect(10 * x, 10 * y, 10 * x + 10, 10 * y + 10), 10 * z, 10 * z + 10)
            for x, y, z in np.argwhere(owner == n).tolist()
        ]
        for n in range(4)
    ]
    matrices = np.array([camera.matrix for camera in views])
    shifts = np.zeros((4, len(views), 3))
    seen = visibility([build_solid(p) for p in parts], matrices, shifts, TOUCH_MM)
    ids = list("abcd")
    plan = masking(seen, ids, removal(ids))
    agree(parts, seen, matrices, shifts, plan, ids)
