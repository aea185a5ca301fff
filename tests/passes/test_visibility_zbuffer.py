"""Visible regions, layer orders and holdouts against a z-buffer that shares no code with choreo.

Outside a band of two sample rows around edges (1.5 px and more at this sampling) no sample may differ.
"""

import numpy as np
import pytest
import shapely
import zbuffer
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from masking_cases import TOUCH_MM, assemblies, rect, slab

from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Slab
from choreo.model.plan import Removal, RemovalStep
from choreo.passes.masking import masking
from choreo.passes.visibility import visibility

SHAPE = (72, 96)
RESOLUTION = (960, 540)


CAMERAS = {
    "plan view": lambda _: orthographic_camera(0, 0, (5, 5, 5), 8, RESOLUTION),
    "oblique": lambda k: orthographic_camera(20 + 15 * k, 35, (5, 5, 5), 7, RESOLUTION),
    "side": lambda _: orthographic_camera(90, 0, (5, 5, 5), 7, RESOLUTION),
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
        box = shapely.total_bounds(outlines) + np.array([-9, -9, 9, 9])
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


ANGLES = st.one_of(st.sampled_from([-90, -45, 0, 45, 90, 180]), st.integers(-180, 180))
LIFTS = st.sampled_from([-90, -60, -20, -5, 0, 10, 35, 70, 90])
VIEWS = st.one_of(
    st.builds(
        lambda a, e, d: perspective_camera(a, e, (20, 20, 20), d, 50, (36, 20.25), RESOLUTION),
        ANGLES,
        LIFTS,
        st.integers(120, 260),
    ),
    st.builds(lambda a, e: orthographic_camera(a, e, (20, 20, 20), 6, RESOLUTION), ANGLES, LIFTS),
)


def dealt(seed, views):
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
    return parts, matrices, shifts, visibility([build_solid(p) for p in parts], matrices, shifts, TOUCH_MM)


@settings(deadline=None, max_examples=20, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32 - 1), st.lists(VIEWS, min_size=1, max_size=2))
def test_random_assemblies(seed, views):
    parts, matrices, shifts, seen = dealt(seed, views)
    ids = list("abcd")
    agree(parts, seen, matrices, shifts, masking(seen, ids, removal(ids)), ids)


@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32 - 1), st.lists(VIEWS, min_size=1, max_size=2))
@example(5, [orthographic_camera(45, -5, (20, 20, 20), 6, RESOLUTION)])
@example(90, [orthographic_camera(45, 0, (20, 20, 20), 6, RESOLUTION)])
@example(22994, [perspective_camera(-130, 90, (20, 20, 20), 133, 50, (36, 20.25), RESOLUTION)])
@example(9489889, [perspective_camera(148, 90, (20, 20, 20), 250, 50, (36, 20.25), RESOLUTION)])
def test_visible_regions_tile_the_picture(seed, views):
    """By the law of what is seen: visible regions fill the union of all silhouettes and share nothing.

    The examples are views along walls, in which edges of many cells come to lie on each other.
    """
    seen = dealt(seed, views)[-1]
    frames = np.arange(len(views))
    visible = np.array([seen.visible(p, frames) for p in range(seen.parts)])
    outlines = np.array([seen.silhouette(p, frames) for p in range(seen.parts)])
    # On a grid of 2**-20 px, unions do not depend on how edges are rounded.
    whole = shapely.union_all(outlines, axis=0, grid_size=2.0**-20)
    assert shapely.area(visible).sum(axis=0) == pytest.approx(shapely.area(whole), abs=2)
    assert shapely.area(shapely.union_all(visible, axis=0, grid_size=2.0**-20)) == pytest.approx(
        shapely.area(whole), abs=2
    )


@pytest.mark.parametrize(("azimuth", "front", "shown_mm"), [(60, 1, 4.9), (120, 0, 5.0)])
def test_of_two_pressed_into_each_other_along_z_the_one_on_the_cameras_side_is_nearer(azimuth, front, shown_mm):
    # By hand: two blocks of 10 x 10 mm, z 0 to 5 and 4.9 to 10, share 0.1 mm. A parallel camera at 60 degrees looks
    # from the second one's side: it hides the first down to its own lower edge, z = 4.9, so 4.9 sin 60 x 10 mm are
    # left of the first. At 120 degrees the first hides the second up to z = 5 of 10.
    outline = ((0, 0), (10, 0), (10, 10), (0, 10))
    solids = [build_solid([Slab(outline, (), z)]) for z in ((0.0, 5.0), (4.9, 10.0))]
    camera = orthographic_camera(azimuth, 0, (5, 5, 5), 8, RESOLUTION).matrix[None]
    seen = visibility(solids, camera, np.zeros((2, 1, 3)), TOUCH_MM, pressed={(0, 1): 0.2})
    first = np.array([0])
    whole, rest = seen.visible(front, first)[0], seen.visible(1 - front, first)[0]
    assert whole.area == pytest.approx(seen.silhouette(front, first)[0].area, rel=1e-9)
    assert rest.area == pytest.approx(10 * shown_mm * np.sin(np.radians(60)) * 8**2, rel=1e-9)
