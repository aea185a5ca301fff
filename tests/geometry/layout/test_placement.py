"""Free places: Minkowski sums by published formulas, the nearest free place and the first clear way by sampling."""

import math

import numpy as np
import pytest
import shapely
from seen_by_opencv import parallel, pinhole
from small_assemblies import hulls_on_screen

from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.layout.clearing import first_clear
from choreo.geometry.layout.placement import keep_outs, nearest_free

RES = (1920, 1080)
RT2 = math.sqrt(2)


def mirrored(ring):
    return shapely.Polygon([(-x, -y) for x, y in ring])


def random_hull(rng, middle=(0, 0), size=40.0):
    return shapely.convex_hull(shapely.MultiPoint(rng.uniform(-size, size, (7, 2)) + middle))


def keep_out(fixed, mover, gap):
    """What is kept out of around one hull."""
    return shapely.Polygon(keep_outs(np.array([fixed], dtype=object), mover, gap)[0])


# --- Minkowski sums -----------------------------------------------------------------------------------------------
# de Berg, Cheong, van Kreveld, Overmars: Computational Geometry, ch. 13 (from memory): perimeters of convex sums
# add. Areas by hand: (a + c)(b + d) for rectangles; six times the area for a triangle with its reflection.
SUMS = [
    ([(0, 0), (4, 0), (4, 2), (0, 2)], [(0, 0), (1, 0), (1, 3), (0, 3)], 25, 20),
    ([(0, 0), (4, 0), (0, 3)], [(0, 0), (-4, 0), (0, -3)], 36, 24),
    ([(-1, -1), (1, -1), (1, 1), (-1, 1)], [(RT2, 0), (0, RT2), (-RT2, 0), (0, -RT2)], 8 + 8 * RT2, 16),
]


@pytest.mark.parametrize(("a", "b", "area", "perimeter"), SUMS)
def test_sums_of_convex_rings(a, b, area, perimeter):
    found = keep_out(shapely.Polygon(a), mirrored(b), 0.0)
    assert found.is_valid
    assert found.area == pytest.approx(area, abs=1e-9)
    assert found.length == pytest.approx(perimeter, abs=1e-9)


@pytest.mark.parametrize(("a", "b", "area", "perimeter"), SUMS)
def test_a_gap_adds_a_disk(a, b, area, perimeter):
    # Steiner's formula (Schneider, Convex Bodies, from memory): A + P r + pi r^2. The disk is drawn around the
    # true one with 48 corners: at most 1 / cos(pi / 48) - 1 = 0.2 % more radius.
    found = keep_out(shapely.Polygon(a), mirrored(b), 3.0).area
    exact = area + perimeter * 3 + math.pi * 9
    assert exact <= found <= area + perimeter * 3 * 1.0022 + math.pi * 9 * 1.0022**2


def test_keep_out_is_where_shapely_measures_too_little():
    rng = np.random.default_rng(5)
    for _ in range(40):
        fixed, mover = random_hull(rng), random_hull(rng, (15, -20))
        gap = float(rng.uniform(1, 20))
        region = keep_out(fixed, mover, gap)
        for shift in rng.uniform(-120, 120, (25, 2)):
            apart = shapely.transform(mover, lambda xy, shift=shift: xy + shift).distance(fixed)
            if region.contains(shapely.Point(shift)):
                assert apart < gap * 1.0022
            else:
                assert apart >= gap - 1e-9


# --- The nearest free place -----------------------------------------------------------------------------------------


def scene(rng):
    forbidden = [random_hull(rng, rng.uniform(-60, 60, 2), 45) for _ in range(int(rng.integers(1, 6)))]
    return forbidden, rng.uniform(-60, 60, 2), rng.uniform(0.5, 2, 2)


def grid_nearest(forbidden, wish, metric, allowed=None, step=1.0):
    """Least distance to the wish over a grid of free places."""
    x, y = np.meshgrid(np.arange(-200, 200, step), np.arange(-200, 200, step))
    free = np.ones(x.shape, dtype=bool)
    for one in forbidden:
        free &= ~shapely.contains_xy(one, x, y)
    if allowed is not None:
        free &= shapely.contains_xy(shapely.buffer(allowed, 1e-9), x, y)
    return float(np.hypot((x - wish[0]) / metric[0], (y - wish[1]) / metric[1])[free].min(initial=np.inf))


@pytest.mark.parametrize("seed", range(12))
def test_nearest_free_by_sampling(seed):
    rng = np.random.default_rng(seed)
    forbidden, wish, metric = scene(rng)
    found = nearest_free(forbidden, wish, metric)
    assert min(one.distance(shapely.Point(found)) for one in forbidden) >= 0
    assert not any(shapely.buffer(one, -1e-6).contains(shapely.Point(found)) for one in forbidden)
    away = float(np.hypot(*((found - wish) / metric)))
    least = grid_nearest(forbidden, wish, metric)
    assert away <= least + 1e-9
    assert away >= least - 1.5 / metric.min()  # a grid cell's diagonal


@pytest.mark.parametrize("seed", range(8))
def test_nearest_free_inside_a_room_by_sampling(seed):
    rng = np.random.default_rng(100 + seed)
    forbidden, wish, metric = scene(rng)
    room = shapely.box(-70, -50, 60, 40)
    found = nearest_free(forbidden, wish, metric, room)
    least = grid_nearest(forbidden, wish, metric, room)
    if found is None:
        assert not np.isfinite(least)
        return
    assert shapely.buffer(room, 1e-6).contains(shapely.Point(found))
    assert not any(shapely.buffer(one, -1e-6).contains(shapely.Point(found)) for one in forbidden)
    away = float(np.hypot(*((found - wish) / metric)))
    assert away <= least + 1e-9


def test_a_free_wish_is_granted_and_a_covered_room_is_refused():
    wish = np.array([50.0, 0.0])
    assert nearest_free([shapely.box(-10, -10, 10, 10)], wish, np.ones(2)) is wish
    # A square of 20 around the origin: the nearest point of its edge, by hand.
    assert nearest_free([shapely.box(-10, -10, 10, 10)], np.array([3.0, 1.0]), np.ones(2)) == pytest.approx([10, 1])
    # In a metric that counts x a tenth, going up is farther than going left.
    assert nearest_free([shapely.box(-10, -10, 10, 10)], np.array([-1.0, 8.0]), np.array([10.0, 1.0])) == pytest.approx(
        [-10, 8]
    )
    assert nearest_free([shapely.box(-10, -10, 10, 10)], np.zeros(2), np.ones(2), shapely.box(-5, -5, 5, 5)) is None


# --- The first clear way ----------------------------------------------------------------------------------------------


def no_jump(way):
    return way


def sampled_first(hulls_at, fixed, gap, jump, farthest, step):
    for way in np.arange(0, farthest, step):
        if jump(way) == way and shapely.distance(hulls_at(way)[:, None], fixed).min() >= gap - 1e-3:
            return way
    return None


def mover(points, direction, cameras):
    return lambda t: hulls_on_screen(points + t * np.array(direction), cameras)


def clear(points, direction, cameras, fixed, gap, jump, farthest):
    matrices = np.stack([camera.matrix for camera in cameras])
    return first_clear(points, np.array(direction, dtype=float), matrices, fixed, gap, jump, farthest)


def block(x0, y0, z0, x1, y1, z1):
    return np.array([(x, y, z) for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)], dtype=float)


def test_the_first_clear_way_by_hand():
    # 10 px a mm; a box flush against the body's side is clear by 24 px after 2.4 mm. By hand.
    cameras = [orthographic_camera(0, 0, (0, 0, 0), 10, RES)]
    fixed = hulls_on_screen(block(-10, -10, 0, 10, 10, 5), cameras)[:, None]
    found = clear(block(10, -3, 0, 16, 3, 5), (1, 0, 0), cameras, fixed, 24, no_jump, 500)
    assert found == pytest.approx(2.4, abs=1e-3)
    # Through the whole body from its far side: 20 mm of body, 6 mm of its own, and the gap.
    found = clear(block(-16, -3, 0, -10, 3, 5), (1, 0, 0), cameras, fixed, 24, no_jump, 500)
    assert found == pytest.approx(28.4, abs=1e-3)
    # A stretch that is forbidden for other reasons is jumped.
    ahead = clear(block(10, -3, 0, 16, 3, 5), (1, 0, 0), cameras, fixed, 24, lambda t: 7.0 if 2 < t < 7 else t, 500)
    assert ahead == pytest.approx(7.0, abs=1e-3)
    # Toward the viewer nothing ever moves on the screen.
    assert clear(block(-3, -3, 5, 3, 3, 9), (0, 0, 1), cameras, fixed, 24, no_jump, 500) is None


@pytest.mark.parametrize("projection", ["orthographic", "perspective"])
@pytest.mark.parametrize("seed", range(30))
def test_the_first_clear_way_by_sampling(seed, projection):
    rng = np.random.default_rng(seed)
    views = [(float(rng.uniform(-60, 60)), float(rng.uniform(-30, 40))) for _ in range(2)]
    if projection == "orthographic":
        cameras = [orthographic_camera(a, e, (0, 0, 0), 6, RES) for a, e in views]
    else:
        cameras = [perspective_camera(a, e, (0, 0, 0), 180, 24, (36, 20.25), RES) for a, e in views]
    others = [block(-20, -15, 0, 20, 15, 10), block(25, -10, 0, 35, 10, 10), block(-8, 22, -5, 9, 30, 12)]
    fixed = np.stack([hulls_on_screen(one, cameras) for one in others], axis=1)
    points = block(*rng.uniform(-12, 0, 3), *rng.uniform(1, 12, 3))
    # Sideways, or mostly toward the viewer, where a thing grows as it comes and a step can go too far.
    direction = rng.normal(size=3) if seed % 2 else np.array([0.6, 0.2, 0.77]) * rng.choice([-1, 1], 3)
    direction /= np.linalg.norm(direction)
    hulls_at = mover(points, direction, cameras)
    found = clear(points, direction, cameras, fixed, 24, no_jump, 90)
    sampled = sampled_first(hulls_at, fixed, 24, no_jump, 90, 0.02)
    assert (found is None) == (sampled is None)
    if found is not None:
        assert found <= sampled + 1e-3
        assert found >= sampled - 0.02 - 1e-3
        assert shapely.distance(hulls_at(found)[:, None], fixed).min() >= 24 - 2e-3


def test_hulls_by_opencv():
    import cv2

    rng = np.random.default_rng(3)
    points = rng.uniform(-40, 40, (30, 3))
    tele = perspective_camera(35, 20, (1, 2, 3), 500, 85, (36, 20.25), RES)
    flat = orthographic_camera(-25, 40, (1, 2, 3), 7, RES)
    expected = [
        pinhole(points, 35, 20, tele.position, 85 * 1920 / 36, RES),
        parallel(points, -25, 40, np.array([1, 2, 3]), 7, RES),
    ]
    for hull, pixels in zip(hulls_on_screen(points, [tele, flat]), expected, strict=True):
        ring = cv2.convexHull(pixels.astype(np.float32)).reshape(-1, 2)
        assert len(shapely.get_coordinates(hull)) == len(ring) + 1
        assert hull.area == pytest.approx(cv2.contourArea(ring), rel=1e-4)
        assert hull.symmetric_difference(shapely.Polygon(ring)).area < 1e-3 * hull.area
