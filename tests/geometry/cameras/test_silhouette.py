"""Silhouettes against closed forms, lines of sight traced one by one, and unions of plainly projected faces."""

import itertools

import cv2
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from polygon_cases import SECTIONS, prism, random_section, random_stack, regular, tiles
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation
from shapely.affinity import rotate

from choreo.geometry.cameras.camera import Camera, orthographic_camera, perspective_camera
from choreo.geometry.cameras.silhouette import face_on_screen, hull_points, silhouettes
from choreo.geometry.solids.solid import Band, Solid

FRAME = (1920, 1080)
HOME = np.zeros(3)


def parallel(azimuth=0.0, elevation=0.0, scale=10.0) -> Camera:
    return orthographic_camera(azimuth, elevation, (0, 0, 0), scale, FRAME)


def lens(azimuth=0.0, elevation=0.0, target=(0, 0, 0), distance=150.0) -> Camera:
    return perspective_camera(azimuth, elevation, target, distance, 37.5, (36, 20.25), FRAME)


angles = st.tuples(
    st.one_of(st.sampled_from([-180, -90, 0, 45, 90, 180]), st.floats(-180, 180)),
    st.one_of(st.sampled_from([-90, 0, 90]), st.floats(-90, 90)),
)
cameras = st.one_of(
    st.builds(lambda a: parallel(*a), angles),
    st.builds(lambda a, d: lens(*a, distance=d), angles, st.floats(40, 400)),
)
close_cameras = st.builds(lambda a, t, d: lens(*a, t, d), angles, st.tuples(*[st.floats(-8, 8)] * 3), st.floats(0, 25))
seeds = st.integers(0, 10**6)


def outline(solid, camera, displacement=HOME):
    return silhouettes(solid, camera, displacement)[0]


def sight_meets(solid, camera, pixel) -> bool:
    """Whether the line of sight through a pixel meets the solid, by following it through every band."""
    if camera.is_perspective:
        start, way = camera.position, np.linalg.solve(camera.matrix[:, :3], [*pixel, 1.0])
        nearest = camera.near  # this way is 1 deep
    else:
        rows = np.vstack([camera.matrix[:2, :3], camera.forward])
        start, way = np.linalg.solve(rows, [*(pixel - camera.matrix[:2, 3]), 0.0]), camera.forward
        nearest = -1e5
    for band in solid.bands:
        lo, hi = nearest, 1e5
        if way[2] != 0:
            ends = sorted((np.array([band.z0, band.z1]) - start[2]) / way[2])
            lo, hi = max(lo, ends[0]), min(hi, ends[1])
        elif not band.z0 < start[2] < band.z1:
            continue
        if lo < hi and band.section.intersects(shapely.LineString([(start + t * way)[:2] for t in (lo, hi)])):
            return True
    return False


def assert_sight_agrees(solid, camera, image, seed, count=60):
    """Pixels clear of the outline's edge are covered exactly if their line of sight meets the solid."""
    rng = np.random.default_rng(seed)
    low, high = (np.array([-100.0, -100]), np.array(FRAME) + 100.0)
    if not image.is_empty:
        low, high = np.maximum(low, image.bounds[:2]) - 5, np.minimum(high, image.bounds[2:]) + 5
    pixels = rng.uniform(np.minimum(low, high), np.maximum(low, high), (count, 2))
    # Half of them close to the edges, where mistakes would be.
    corners = shapely.get_coordinates(image)
    corners = corners[(np.abs(corners) < 1e4).all(axis=1)]
    if len(corners):
        pixels[::2] = corners[rng.integers(len(corners), size=len(pixels[::2]))] + rng.normal(
            0, 2, (len(pixels[::2]), 2)
        )
    for pixel in pixels:
        point = shapely.Point(pixel)
        if image.boundary.distance(point) > 1e-4 or image.is_empty:
            assert image.contains(point) == sight_meets(solid, camera, pixel), pixel


def plainly_projected(solid, camera, grid=None):
    """Union of every face and wall, projected by OpenCV where the camera is a pinhole."""

    def image(points):
        if not camera.is_perspective:
            return points @ camera.matrix[:2, :3].T + camera.matrix[:2, 3]
        K, turn, *_ = cv2.decomposeProjectionMatrix(camera.matrix)
        rvec = Rotation.from_matrix(turn).as_rotvec()  # cv2.Rodrigues is inexact close to half a turn
        return cv2.projectPoints(points, rvec, -turn @ camera.position, K / K[2, 2], None)[0][:, 0]

    faces = []
    for band in solid.bands:
        for part in shapely.get_parts(band.section):
            for z in (band.z0, band.z1):
                flat = shapely.transform(part, lambda xy, z=z: image(np.column_stack([xy, np.full(len(xy), z)])))
                faces.append(shapely.make_valid(flat))
            for ring in shapely.get_rings(part):
                xy = shapely.get_coordinates(ring)
                for a, b in itertools.pairwise(xy):
                    wall = np.array([[*a, band.z0], [*b, band.z0], [*b, band.z1], [*a, band.z1]])
                    faces.append(shapely.MultiPoint(image(wall)).convex_hull)
    return shapely.union_all([f for f in faces if f.area > 0], grid_size=grid)


def areas_apart(a, b) -> float:
    """Area of the symmetric difference, rounded to 1e-6 px, of what may hold lines as well."""
    a, b = (shapely.union_all([p for p in shapely.get_parts(g) if p.area > 0]) for g in (a, b))
    return shapely.symmetric_difference(a, b, grid_size=1e-6).area


def same(a, b) -> bool:
    """Equal but for rounding: OpenCV takes the camera apart to some 1e-9 px, all along the edges."""
    return shapely.symmetric_difference(a, b).area <= 1e-7 * (a.length + 1)


@settings(deadline=None)
@given(angles, st.tuples(*[st.floats(1, 40)] * 3))
def test_box_shows_its_three_faces_foreshortened(angle, size):
    # By hand: a convex body's parallel image has half the area of all faces, each times the cosine it is seen
    # under; for a box a b |fz| + b c |fx| + c a |fy|. (A cube seen along its diagonal: the regular hexagon, root 3.)
    a, b, c = size
    camera = parallel(*angle)
    fx, fy, fz = np.abs(camera.forward)
    image = outline(prism(shapely.box(-a / 2, -b / 2, a / 2, b / 2), 0, c), camera)
    assert image.area == pytest.approx(100 * (a * b * fz + b * c * fx + c * a * fy), rel=1e-9)
    assert image.geom_type == "Polygon"


def test_cube_along_its_diagonal_is_the_regular_hexagon():
    # Elementary geometry: area root 3, six sides of root 2/3.
    camera = parallel(45, np.degrees(np.arcsin(3**-0.5)), 1.0)
    image = outline(prism(shapely.box(0, 0, 1, 1), 0, 1), camera)
    assert (image.area, image.length) == pytest.approx((3**0.5, 6 * (2 / 3) ** 0.5))


def test_plan_view_shows_the_section_itself():
    for section in SECTIONS.values():
        expected = shapely.transform(section, lambda xy: xy * [10, -10] + [960, 540])
        assert shapely.symmetric_difference(outline(prism(section), parallel()), expected).area < 1e-9


def test_hole_that_touches_the_outline_stays_a_hole():
    # By hand: a 10 x 10 plate 6 thick less a kite of 12 that touches its edge. The perspective camera looks straight
    # at that point from 150 mm, fx = 2000 px: everything shrinks toward it, so the hole is as open as its far end.
    for turn in range(0, 360, 5):
        section = rotate(SECTIONS["hole that touches the outline"], turn, origin=(0, 0))
        touch = shapely.get_coordinates(rotate(shapely.Point(0, 5), turn, origin=(0, 0)))[0]
        if section.is_valid:
            flat, deep = outline(prism(section), parallel(0, 0, 3.7)), outline(prism(section), lens(target=(*touch, 6)))
            assert flat.is_valid
            assert deep.is_valid
            assert flat.area == pytest.approx(88 * 3.7**2)
            assert deep.area == pytest.approx(100 * (2000 / 150) ** 2 - 12 * (2000 / 156) ** 2)


def test_hole_seen_at_45_degrees_shows_what_its_depth_leaves():
    # By hand: a 10 x 10 hole in a plate 4 thick, camera turned by 45 degrees about y: the far edge has moved by
    # 4 sin 45 across a hole 10 cos 45 wide; 10 mm high, 10 px a mm. Turned by 70 degrees nothing is left of it.
    plate = prism(shapely.Polygon(shapely.box(-20, -20, 20, 20).exterior, [shapely.box(-5, -5, 5, 5).exterior]), 0, 4)
    image = outline(plate, parallel(45))
    assert [shapely.Polygon(r).area for r in image.interiors] == pytest.approx([(10 - 4) * 0.5**0.5 * 10 * 100])
    assert not outline(plate, parallel(70)).interiors


def test_hole_looked_into_in_perspective_is_as_open_as_its_far_end():
    # By hand: fx = 2000 px, front face 100 mm away, back face 110 mm: the 10 x 10 hole shows 2000 * 10 / 110 px.
    plate = prism(shapely.Polygon(shapely.box(-20, -20, 20, 20).exterior, [shapely.box(-5, -5, 5, 5).exterior]), -10, 0)
    image = outline(plate, lens(distance=100))
    assert image.area == pytest.approx((2000 * 40 / 100) ** 2 - (2000 * 10 / 110) ** 2)


@pytest.mark.parametrize("name", SECTIONS)
def test_points_of_the_solid_land_in_the_silhouette(name):
    solid, rng = prism(SECTIONS[name]), np.random.default_rng(7)
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(SECTIONS[name]))
    corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    weights = rng.dirichlet([0.4] * 3, (len(corners), 40))
    xy = np.einsum("tkc,tcd->tkd", weights, corners).reshape(-1, 2)
    points = np.column_stack([xy, rng.choice([0, 6, 3, 1.234], len(xy))])
    for camera in (parallel(30, 20), lens(30, 20), lens(170, -60), lens(90, 0), parallel(90)):
        pixels, _ = camera.project(points)
        away = shapely.distance(outline(solid, camera), shapely.points(pixels))
        assert away.max() < 1e-9


@pytest.mark.parametrize("name", SECTIONS)
@pytest.mark.parametrize("angle", [(0, 0), (35, 20), (90, 0), (89.9, 0.1), (180, 0), (200, -70), (0, 90), (13, 1)])
def test_every_shape_agrees_with_its_projected_faces(name, angle):
    for camera in (parallel(*angle), lens(*angle, distance=100)):
        image = outline(prism(SECTIONS[name]), camera)
        assert image.is_valid
        assert same(image, plainly_projected(prism(SECTIONS[name]), camera))


@settings(max_examples=120, deadline=None)
@given(seeds, cameras)
def test_random_stacks_agree_with_their_projected_faces(seed, camera):
    solid = random_stack(seed)
    image = outline(solid, camera)
    assert image.is_valid
    assert same(image, plainly_projected(solid, camera))


@pytest.mark.parametrize("seed", [0, 1, 2, 17])
@pytest.mark.parametrize("angle", [(1e-9, 90), (30, 1e-12), (30, 90), (90, 0), (45, 20), (90.0001, 90)])
def test_stacks_of_tiles_seen_along_their_edges_agree_with_their_projected_faces(seed, angle):
    cuts = [0, 0.5, 1.8, 3]
    layers = [tiles(10 * seed), shapely.transform(tiles(10 * seed + 1), lambda xy: 0.3 * xy), tiles(10 * seed + 2)]
    layers = [shapely.transform(layer, lambda xy: xy + 0.1) for layer in layers]
    solid = Solid(tuple(Band(*z, layer) for z, layer in zip(itertools.pairwise(cuts), layers, strict=True)))
    for camera in (parallel(*angle), parallel(*angle, 3.7), lens(*angle, distance=100.3)):
        image = outline(solid, camera)
        assert image.is_valid
        assert image.geom_type in {"Polygon", "MultiPolygon"}
        # The referee rounds to 1e-6 px: edges that all but coincide defeat a plain union.
        expected = plainly_projected(solid, camera, 1e-6)
        assert areas_apart(image, expected) <= 1e-4


@settings(max_examples=60, deadline=None)
@given(seeds, cameras)
def test_lines_of_sight_agree_with_the_silhouette(seed, camera):
    solid = random_stack(seed)
    assert_sight_agrees(solid, camera, outline(solid, camera), seed)


@settings(max_examples=80, deadline=None)
@given(seeds, close_cameras)
def test_lines_of_sight_agree_close_to_the_camera_and_behind_it(seed, camera):
    solid = random_stack(seed)
    image = outline(solid, camera)
    assert image.is_valid
    assert_sight_agrees(solid, camera, image, seed, 30)


@settings(max_examples=60, deadline=None)
@given(seeds, st.sampled_from(sorted(SECTIONS)), close_cameras)
def test_lines_of_sight_agree_inside_holes(seed, name, camera):
    solid = prism(SECTIONS[name], -6, 6)
    assert_sight_agrees(solid, camera, outline(solid, camera), seed, 30)


def test_camera_in_a_hole_that_looks_through_it_sees_its_far_end_open():
    # By hand: fx = 2000 px; the back face is 5 mm away, its 10 x 10 opening 4000 px wide; around it, all is covered.
    plate = prism(shapely.Polygon(shapely.box(-20, -20, 20, 20).exterior, [shapely.box(-5, -5, 5, 5).exterior]), -5, 5)
    image = outline(plate, lens(distance=0))
    assert [shapely.Polygon(r).area for r in image.interiors] == pytest.approx([4000**2])
    assert image.contains(shapely.Point(960, 540 - 2001))


def test_what_lies_behind_the_camera_is_not_seen():
    behind = silhouettes(prism(SECTIONS["washer"]), lens(distance=50), np.array([0, 0, 60.0]))[0]
    assert (behind.geom_type, behind.is_empty) == ("Polygon", True)


@settings(max_examples=60, deadline=None)
@given(seeds, cameras, st.tuples(*[st.floats(-15, 15)] * 3))
def test_displacement_equals_a_solid_that_stands_there(seed, camera, shift):
    solid = random_stack(seed)
    there = Solid(
        tuple(
            Band(b.z0 + shift[2], b.z1 + shift[2], shapely.transform(b.section, lambda xy: xy + np.array(shift[:2])))
            for b in solid.bands
        )
    )
    assert same(outline(solid, camera, np.array(shift)), outline(there, camera))


def test_rows_do_not_depend_on_the_rows_beside_them():
    solid = random_stack(11)
    views = [lens(20 + k, 10) for k in range(4)] + [parallel(20), parallel(20), parallel(40), lens(20, 10)]
    moves = np.array([[k % 3, 0.5 * k, -k] for k in range(7)] + [[0, 0, 0]], dtype=float)
    together = silhouettes(solid, views, moves)
    alone = [outline(solid, camera, move) for camera, move in zip(views, moves, strict=True)]
    assert [g.wkb for g in together] == [g.wkb for g in alone]
    assert together[7].wkb == together[0].wkb


def test_equal_rows_are_computed_once():
    together = silhouettes(random_stack(11), [lens(20, 10)] * 5, np.tile([1.0, 2, 3], (5, 1)))
    assert len({id(g) for g in together}) == 1


def test_one_camera_serves_all_rows_and_one_row_all_cameras():
    solid, moves = random_stack(4), np.array([[0, 0, 0], [4, 0, 0.0]])
    assert len(silhouettes(solid, lens(), moves)) == 2
    assert len(silhouettes(solid, [lens(), lens(9), parallel()], HOME)) == 3
    assert len(silhouettes(solid, [], np.zeros((0, 3)))) == 0


def test_a_solid_without_bands_shows_nothing():
    assert outline(Solid(()), lens()).is_empty


@settings(max_examples=60, deadline=None)
@given(seeds, st.one_of(cameras, close_cameras))
def test_a_face_on_screen_is_where_lines_of_sight_meet_it(seed, camera):
    section = random_section(seed)
    image = face_on_screen(section, 2.0, camera, (1.0, -2.0, 3.0))
    assert image.is_valid
    moved = shapely.transform(section, lambda xy: xy + np.array([1.0, -2.0]))
    thin = 1e-7
    if abs(camera.forward[2]) > 0.05:
        assert_sight_agrees(prism(moved, 5 - thin, 5 + thin), camera, image, seed, 30)


def test_a_face_seen_edge_on_has_no_area():
    assert face_on_screen(shapely.box(0, 0, 5, 5), 1.0, parallel(90), (0, 0, 0)).area == 0
    assert face_on_screen(shapely.box(0, 0, 5, 5), 1.0, lens(distance=50), (0, 0, 60)).is_empty


@pytest.mark.parametrize("seed", range(5))
def test_hull_points_span_the_hull_of_all_vertices(seed):
    # Against scipy's (Qhull's) hull of every vertex at every depth.
    solid = random_stack(seed)
    every = np.concatenate(
        [
            np.column_stack([xy, np.full(len(xy), z)])
            for band in solid.bands
            for xy in [shapely.get_coordinates(band.section)]
            for z in (band.z0, band.z1)
        ]
    )
    assert ConvexHull(hull_points(solid)).volume == pytest.approx(ConvexHull(every).volume, rel=1e-12)


def test_a_film_of_holes_is_valid_throughout():
    section = shapely.Polygon(regular(40, 30), [regular(20, 3, (x, y)) for x in (-12, 12) for y in (-9, 9)])
    solid = Solid((Band(0, 3, section), Band(3, 10, SECTIONS["gear"])))
    views = [perspective_camera(k, 20, (0, 0, 0), 300, 85, (36, 20.25), FRAME) for k in range(0, 180, 3)]
    images = silhouettes(solid, views, np.linspace([0, 0, 0], [20, 5, 40], len(views)))
    assert shapely.is_valid(images).all()
    assert set(shapely.get_type_id(images)) == {shapely.GeometryType.POLYGON}
