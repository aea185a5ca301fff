"""Shapes of known area and place, drawn by others and traced back; scikit-image's contours as referee."""

from __future__ import annotations

import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pictures import coverage, disc, samples
from skimage.draw import polygon2mask
from skimage.measure import find_contours

from choreo.errors import ChoreoError
from choreo.geometry.plane.simplify import AREA_PX2, AREA_SHARE, deviation, simplify
from choreo.geometry.plane.trace import MOST_RINGS, trace_alpha

DEPTHS = ("uint8", "uint16", "float16", "float32")


def stored(alpha, depth):
    full = np.iinfo(depth).max if depth.startswith("u") else 1.0
    return (np.rint(alpha * full) if depth.startswith("u") else alpha).astype(depth)


def far_apart(traced, truth):
    """Hausdorff distance of the edges, sampled every quarter of a px."""
    found = shapely.MultiPolygon(list(traced.polygons)).boundary
    return shapely.hausdorff_distance(shapely.segmentize(found, 0.25), shapely.segmentize(truth.boundary, 0.25))


def turned(width, height, centre, degrees):
    angle = np.deg2rad(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([width, height]) / 2
    return half @ turn.T + np.array(centre)


def test_the_rasteriser_of_these_tests_fills_what_another_fills():
    ring = turned(70, 31, (50.3, 40.2), 27)
    assert np.array_equal(samples(ring, (80, 100)), polygon2mask((80, 100), ring[:, ::-1]))


@pytest.mark.parametrize("depth", DEPTHS)
@pytest.mark.parametrize("simplify_px", [0.0, 0.5])
@pytest.mark.parametrize(
    ("centre", "radius"), [((160.0, 120.0), 100.0), ((160.3, 119.6), 47.35), ((100.5, 100.5), 20.0)]
)
def test_a_disc(depth, simplify_px, centre, radius):
    traced = trace_alpha(stored(disc((320, 240), centre, radius), depth), 0.5, simplify_px)
    # Area of a disc by hand; 0.1 % is the claim (of the smallest, 0.02 px all around), plus what simplifying may cost.
    slack = {"rel": 1e-3 + (AREA_SHARE if simplify_px else 0), "abs": 0.02 * 2 * np.pi * radius}
    assert traced.area == pytest.approx(np.pi * radius**2, **slack)
    assert len(traced.polygons) == 1
    radii = np.hypot(*(shapely.get_coordinates(traced.polygons[0]) - centre).T)
    assert np.abs(radii - radius).max() < (0.5 if simplify_px else 0.1)
    middle = traced.polygons[0].centroid
    assert (middle.x, middle.y) == pytest.approx(centre, abs=0.05)


@pytest.mark.parametrize("degrees", [0.0, 7.0, 30.0, 45.0])
def test_a_turned_rectangle_with_a_slot(degrees):
    outline, slot = turned(220, 120, (160.3, 120.2), degrees), turned(120, 6, (160.3, 120.2), degrees)
    truth = shapely.Polygon(outline, [slot])
    traced = trace_alpha(stored(coverage((320, 240), [outline], [slot]), "uint8"), 0.5, 0.25)
    assert [len(polygon.interiors) for polygon in traced.polygons] == [1]
    assert traced.area == pytest.approx(truth.area, rel=1e-3)
    assert far_apart(traced, truth) < 0.75  # the corners, which a pixel rounds
    edges = shapely.segmentize(shapely.MultiPolygon(list(traced.polygons)).boundary, 0.1)
    points = shapely.points(shapely.get_coordinates(edges))
    corners = shapely.MultiPoint(np.concatenate([outline, slot]))
    along = points[shapely.distance(points, corners) > 2]
    assert len(along) > 1000
    assert shapely.distance(along, truth.boundary).max() < 0.25


def test_rings_within_rings_and_islands():
    alpha = disc((300, 300), (150, 150), 120) - disc((300, 300), (150, 150), 90) + disc((300, 300), (150, 150), 50)
    alpha += disc((300, 300), (20, 20), 12)
    traced = trace_alpha(stored(alpha, "uint16"))
    assert sorted(len(polygon.interiors) for polygon in traced.polygons) == [0, 0, 1]
    assert traced.area == pytest.approx(np.pi * (120**2 - 90**2 + 50**2 + 12**2), rel=2e-3)
    assert shapely.is_valid(shapely.MultiPolygon(list(traced.polygons)))


def test_a_thin_slot_stays_open():
    slot = [[50.2, 20], [51.7, 20], [51.7, 180], [50.2, 180]]  # 1.5 px wide
    traced = trace_alpha(stored(coverage((100, 200), [[[10, 10], [90, 10], [90, 190], [10, 190]]], [slot]), "uint8"))
    (polygon,) = traced.polygons
    assert len(polygon.interiors) == 1
    # Two columns of alpha 0.2 and 0.3 are all that a picture keeps of it. By hand, 0.5 is passed at 49.5 + 0.5 / 0.8
    # and at 51.5 + 0.2 / 0.7: the slot looks a tenth wider than it is.
    assert shapely.Polygon(polygon.interiors[0]).area == pytest.approx((51.7857 - 50.125) * 160, rel=0.01)


def test_dust_is_dropped_and_counted():
    alpha = disc((200, 200), (100, 100), 80)
    for x, y in ((5.5, 5.5), (190.5, 8.5), (8.5, 190.5)):
        alpha += disc((200, 200), (x, y), 2.0)  # 12.6 px^2
    for x in (80.5, 120.5):
        alpha -= disc((200, 200), (x, 100.5), 1.5)
    traced = trace_alpha(stored(alpha, "uint8"))
    assert (len(traced.polygons), traced.dropped_specks, traced.dropped_pinholes) == (1, 3, 2)
    assert not traced.polygons[0].interiors
    everything = trace_alpha(stored(alpha, "uint8"), speck_px2=0)
    assert (len(everything.polygons), everything.dropped_specks, everything.dropped_pinholes) == (4, 0, 0)
    assert sum(len(polygon.interiors) for polygon in everything.polygons) == 2


def test_beyond_the_picture_there_is_nothing():
    traced = trace_alpha(np.full((40, 60), 255, dtype=np.uint8), 0.5, 0)
    # By hand: alpha falls from 1 to 0 between the last centre and one that is not there, so it is 0.5 at the border.
    assert traced.polygons[0].bounds == pytest.approx((0, 0, 60, 40), abs=1e-9)
    assert traced.touches_border
    assert not trace_alpha(stored(disc((50, 50), (25, 25), 20), "uint8")).touches_border
    assert trace_alpha(np.zeros((4, 4), dtype=np.uint8)).polygons == ()


def test_the_threshold_lies_where_alpha_is_linear():
    # A ramp over 21 pixels, alpha = (x - 10) / 20 at pixel centres x: by hand the edge lies at x = 10 + 20 * threshold.
    ramp = np.clip((np.arange(60) + 0.5 - 10) / 20, 0, 1)
    alpha = np.zeros((60, 62), dtype=np.float32)
    alpha[10:50, :60] = ramp
    for threshold in (0.1, 0.37, 0.5, 0.9):
        left = trace_alpha(alpha, threshold, 0).polygons[0].bounds[0]
        assert left == pytest.approx(10 + 20 * threshold, abs=1e-5)


@pytest.mark.parametrize(("values", "pieces"), [((255, 0, 0, 255), 1), ((130, 0, 0, 130), 2)])
def test_a_saddle_follows_the_mean_of_its_corners(values, pieces):
    # Two fields of 8 x 8 px that meet at a corner: the mean there is 127.5 * values / 255 against a level of 100.
    alpha = np.zeros((20, 20), dtype=np.uint8)
    alpha[2:10, 2:10], alpha[10:18, 10:18] = values[0], values[3]
    assert len(trace_alpha(alpha, 100 / 255).polygons) == pieces


def referee_rings(alpha, level):
    return find_contours(np.pad(alpha.astype(float), 1), level)


@given(st.integers(0, 2**32 - 1), st.sampled_from([6, 12, 40]))
@settings(max_examples=20, deadline=None)
def test_crossings_are_those_of_another_tracer(seed, size):
    rng = np.random.default_rng(seed)
    alpha = rng.integers(0, 256, (size, size + 3)).astype(np.uint8)
    traced = trace_alpha(alpha, 0.5, 0, speck_px2=0)
    shape = shapely.MultiPolygon(list(traced.polygons))
    assert shapely.is_valid(shape)
    # It decides saddles by another rule, but crosses the sides of cells at the same points: rows and columns there.
    theirs = np.concatenate([ring[:-1] for ring in referee_rings(alpha, 127.5)])[:, ::-1] - 0.5
    ours = np.concatenate([shapely.get_coordinates(ring)[:-1] for ring in shapely.get_rings(list(traced.polygons))])
    # Those that find_contours calls fully connected low differ in saddles alone, so the points are the same set.
    assert len(ours) == len(theirs)
    assert shapely.hausdorff_distance(shapely.MultiPoint(ours), shapely.MultiPoint(theirs)) < 1e-9


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_smooth_mattes_have_the_area_of_another_tracer(seed):
    rng = np.random.default_rng(seed)
    bumps = sum(
        rng.uniform(0.4, 1)
        * np.exp(-(((np.arange(60) - x) / w) ** 2)[None, :] - (((np.arange(50) - y) / w) ** 2)[:, None])
        for x, y, w in rng.uniform([10, 10, 4], [50, 40, 14], (5, 3))
    )
    alpha = np.clip(bumps, 0, 1).astype(np.float32)
    traced = trace_alpha(alpha, 0.5, 0, speck_px2=0)
    theirs = sum(
        (np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y)) / 2 for y, x in (r.T for r in referee_rings(alpha, 0.5))
    )
    assert traced.area == pytest.approx(abs(theirs), abs=1e-4)


@given(st.lists(st.floats(30, 90), min_size=5, max_size=24), st.floats(0, 6))
@settings(max_examples=25, deadline=None)
def test_random_polygons_come_back(radii, turn):
    angle = turn + np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) * np.array(radii)[:, None] + 100.25
    truth = shapely.Polygon(ring)
    traced = trace_alpha(stored(coverage((200, 200), [ring], factor=8), "uint8"), 0.5, 0.5)
    assert shapely.MultiPolygon(list(traced.polygons)).is_valid
    # Half a pixel for simplifying, a pixel at most for what sharp corners lose.
    difference = shapely.symmetric_difference(truth, shapely.union_all(list(traced.polygons))).area
    assert difference < 0.3 * truth.length + 4 * len(radii)
    assert traced.area == pytest.approx(truth.area, abs=0.05 * truth.length + len(radii))


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.25, 0.5, 2.0, 10.0]))
@settings(max_examples=12, deadline=None)
def test_simplifying_keeps_its_word(seed, tolerance):
    rng = np.random.default_rng(seed)
    smooth = np.kron(rng.random((8, 8)), np.ones((16, 16)))
    kernel = np.ones(9) / 9
    for axis in (0, 1):
        smooth = np.apply_along_axis(np.convolve, axis, smooth, kernel, mode="same")
    before = trace_alpha(smooth.astype(np.float32), 0.5, 0).polygons
    after = simplify(before, tolerance)
    assert shapely.is_valid(shapely.MultiPolygon(after))
    for old, new in zip(before, after, strict=True):
        for ring, fewer in zip(shapely.get_rings(old), shapely.get_rings(new), strict=True):
            one, two = shapely.segmentize(ring, 0.5), shapely.segmentize(fewer, 0.5)
            assert shapely.hausdorff_distance(one, two) <= tolerance + 1e-9
            area = shapely.Polygon(ring).area
            assert abs(shapely.Polygon(fewer).area - area) <= max(AREA_SHARE * area, AREA_PX2) + 1e-9


def test_deviation_by_hand():
    # The corner (1, 2) lies 2 above the edge that replaces it.
    ring = np.array([[0.0, 0], [4, 0], [4, 4], [0, 4], [0, 2]])
    assert deviation(ring, ring[:4]) == pytest.approx(0)
    ring = np.array([[0.0, 0], [1, 2], [4, 0], [4, -4]])
    assert deviation(ring, ring[[0, 2, 3]]) == pytest.approx(2)
    assert deviation(ring, ring[[2, 3, 0]]) == pytest.approx(2)


def test_fewer_corners_where_the_edge_is_straight():
    outline = turned(220, 120, (160.3, 120.2), 7)
    traced = trace_alpha(stored(coverage((320, 240), [outline]), "uint8"), 0.5, 0.5)
    assert len(traced.polygons[0].exterior.coords) < 16


def test_a_circle_of_any_size_keeps_some_eighty_corners():
    # By hand: chords of half angle t lose 2/3 * t**2 of the area; 0.1 % allows t = 0.0387, 81 corners.
    y, x = np.ogrid[:900, :900]
    for radius in (60, 120, 400):
        alpha = np.clip(radius + 0.5 - np.hypot(x + 0.5 - 450, y + 0.5 - 450), 0, 1)
        assert 60 < len(trace_alpha(stored(alpha, "uint16")).polygons[0].exterior.coords) < 160


@pytest.mark.parametrize(
    ("threshold", "depth", "value"), [(0.2, "uint8", 51), (0.5, "float32", 0.5), (0.25, "float16", 0.25)]
)
def test_a_pixel_of_just_the_threshold_is_inside(threshold, depth, value):
    alpha = np.zeros((20, 20), dtype=depth)
    alpha[5:13, 6:14] = value
    (polygon,) = trace_alpha(alpha, threshold, 0).polygons
    # The edge runs through the centres of the outer pixels.
    assert polygon.bounds == pytest.approx((6.5, 5.5, 13.5, 12.5), abs=1e-3)
    lone = np.zeros((9, 9), dtype=depth)
    lone[4, 4] = value
    (speck,) = trace_alpha(lone, threshold, 0, speck_px2=0).polygons
    assert speck.is_valid
    assert 0 < speck.area < 1e-3
    alpha[5:13, 6:14] = np.nextafter(alpha.dtype.type(value), 0) if depth[0] == "f" else value - 1
    assert trace_alpha(alpha, threshold, 0).polygons == ()


def test_noise_is_refused():
    alpha = np.zeros((400, 400), dtype=np.uint8)
    alpha[::4, ::4] = 255
    assert np.count_nonzero(alpha) > MOST_RINGS
    with pytest.raises(ChoreoError) as caught:
        trace_alpha(alpha, speck_px2=0)
    assert [finding.code for finding in caught.value.findings] == ["too-ragged"]


def test_a_large_plate_is_quick():
    y, x = np.ogrid[:3072, :4096]
    alpha = stored(np.clip(1200.5 - np.hypot(x - 2048.0, y - 1536.0), 0, 1), "uint8")
    before = time.perf_counter()
    traced = trace_alpha(alpha)
    # 0.1 s where it was written; four times that for a busy machine.
    assert time.perf_counter() - before < 0.5
    assert len(traced.polygons) == 1


def test_a_generous_tolerance_simplifies_as_well():
    # The area allows a circle some seventy corners, however far they might lie from it.
    alpha = disc((200, 150), (100, 75), 60)
    fine = shapely.get_num_coordinates(trace_alpha(alpha, 0.5, 0.5).polygons[0])
    for tolerance in (8.0, 100.0):
        assert shapely.get_num_coordinates(trace_alpha(alpha, 0.5, tolerance).polygons[0]) <= fine
