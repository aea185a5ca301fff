"""Cameras against OpenCV, worked examples and the arithmetic of pinhole pictures."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from choreo.errors import ChoreoError
from choreo.geometry.cameras.camera import Camera, camera_from_matrix, orthographic_camera, perspective_camera

FULL_HD = (1920, 1080)
angles = st.tuples(st.floats(-400, 400), st.floats(-90, 90))


def lens(azimuth=0.0, elevation=0.0, target=(0, 0, 0), distance=1000.0, focal=37.5, sensor=(36, 20.25), size=FULL_HD):
    return perspective_camera(azimuth, elevation, target, distance, focal, sensor, size)


def test_plan_view_puts_x_right_and_y_up():
    # By hand: 10 px a mm around the frame centre (960, 540); y points down on the screen.
    pixels, _ = orthographic_camera(0, 0, (0, 0, 0), 10, FULL_HD).project(np.array([1.0, 2.0, 3.0]))
    assert pixels.tolist() == [970.0, 520.0]


def test_azimuth_moves_the_camera_toward_plus_x():
    # By hand: from +x, looking along -x, with y up, +z is on the left; what has the larger x is nearer.
    camera = orthographic_camera(90, 0, (0, 0, 0), 10, FULL_HD)
    pixels, depth = camera.project(np.array([[0.0, 0.0, 1.0], [5.0, 0.0, 0.0]]))
    assert pixels.tolist() == [[950.0, 540.0], [960.0, 540.0]]
    assert depth.tolist() == [0.0, -5.0]


def test_elevation_lifts_the_camera_toward_plus_y():
    # By hand: from straight above, +z is at the bottom of the screen and what has the larger y is nearer.
    camera = orthographic_camera(0, 90, (0, 0, 0), 10, FULL_HD)
    pixels, depth = camera.project(np.array([[0.0, 0.0, 1.0], [0.0, 5.0, 0.0]]))
    assert pixels.tolist() == [[960.0, 550.0], [960.0, 540.0]]
    assert depth.tolist() == [0.0, -5.0]


def test_quarter_turns_are_exact():
    for quarter in range(-4, 5):
        forward = orthographic_camera(90 * quarter, 0, (0, 0, 0), 1, FULL_HD).forward
        assert sorted(np.abs(forward).tolist()) == [0.0, 0.0, 1.0]


@settings(deadline=None)
@given(angles, st.tuples(*[st.floats(-200, 200)] * 3), st.floats(50, 2000))
def test_position_and_forward_are_as_the_conventions_say(angle, target, distance):
    camera = lens(*angle, target, distance)
    a, e = np.radians(angle)
    toward = np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])
    assert np.allclose(camera.forward, -toward, atol=1e-12)
    assert np.allclose(camera.position, np.array(target) + distance * toward, atol=1e-9)
    pixels, depth = camera.project(np.array(target))
    assert np.allclose(pixels, [960, 540], atol=1e-7)
    assert depth == pytest.approx(distance, abs=1e-9)


# Pinhole projection, Hartley and Zisserman, Multiple View Geometry, 6.1; values agree with OpenCV projectPoints.
PINHOLE = [
    ((0.0, 0.0, 1000.0), (960.0, 540.0)),
    ((50.0, 0.0, 1000.0), (1060.0, 540.0)),
    ((50.0, 0.0, 900.0), (1071.111111111, 540.0)),
    ((0.0, -30.0, 800.0), (960.0, 465.0)),
    ((-20.0, 40.0, 1250.0), (928.0, 604.0)),
]


@pytest.mark.parametrize(("seen", "pixel"), PINHOLE)
def test_pinhole_worked_examples(seen, pixel):
    # fx = 2000 px is 37.5 mm on a sensor 36 mm and 1920 px wide. OpenCV's camera looks along its own +z with y down.
    x, y, z = seen
    pixels, depth = lens().project(np.array([x, -y, 1000 - z]))
    assert np.allclose(pixels, pixel, atol=1e-6)
    assert depth == pytest.approx(z)


def test_pinhole_with_a_turned_camera():
    # Same sources: 30 degrees of yaw and a shift; the matrix is K [R | t].
    c, s = np.cos(np.pi / 6), 0.5
    turned = np.column_stack([[[c, 0, s], [0, 1, 0], [-s, 0, c]], [10, -5, 1200]])
    camera = camera_from_matrix(np.array([[2000, 0, 960], [0, 2000, 540], [0, 0, 1]]) @ turned)
    pixels, _ = camera.project(np.array([[0, 0, 0], [100, 0, 0], [0, 100, 0], [0, 0, 100.0]]))
    expected = [
        [976.666666667, 531.666666667],
        [1128.004418049, 531.304347826],
        [976.666666667, 698.333333333],
        [1053.268897141, 532.227591905],
    ]
    assert np.allclose(pixels, expected, atol=1e-6)


@settings(deadline=None)
@given(angles, st.integers(0, 2**32 - 1))
def test_projection_agrees_with_opencv(angle, seed):
    camera = lens(*angle, (5, -3, 8), 700)
    points = np.random.default_rng(seed).uniform(-100, 100, (20, 3))
    a, e = np.radians(angle)
    right = [np.cos(a), 0, -np.sin(a)]
    down = [np.sin(a) * np.sin(e), -np.cos(e), np.cos(a) * np.sin(e)]
    turn = np.array([right, down, np.cross(right, down)])
    rvec = Rotation.from_matrix(turn).as_rotvec()  # cv2.Rodrigues is inexact close to half a turn
    K = np.array([[2000.0, 0, 960], [0, 2000, 540], [0, 0, 1]])
    expected, _ = cv2.projectPoints(points, rvec, -turn @ camera.position, K, None)
    pixels, _ = camera.project(points)
    assert np.allclose(pixels, expected[:, 0], atol=1e-6)


@settings(deadline=None)
@given(angles)
def test_opencv_takes_the_matrix_apart_into_the_same_camera(angle):
    camera = lens(*angle, (5, -3, 8), 700)
    K, turn, centre, *_ = cv2.decomposeProjectionMatrix(camera.matrix)
    assert np.allclose(K / K[2, 2], [[2000, 0, 960], [0, 2000, 540], [0, 0, 1]], atol=1e-6)
    assert np.allclose(turn[2], camera.forward, atol=1e-9)
    assert np.allclose(centre[:3, 0] / centre[3, 0], camera.position, atol=1e-6)


# Angle of view 2 atan(d / 2f) on 36 x 24 mm; the row for 50 mm is printed in lens tables (Ray, Applied
# Photographic Optics, cited from memory; checked against a published table).
ANGLES_OF_VIEW = {24: (73.7398, 53.1301), 35: (54.4322, 37.8493), 50: (39.5978, 26.9915), 85: (23.9132, 16.0714)}


@pytest.mark.parametrize(("focal", "wide", "high"), [(f, *view) for f, view in ANGLES_OF_VIEW.items()])
def test_angle_of_view_reaches_the_edge_of_the_frame(focal, wide, high):
    camera = lens(focal=focal, sensor=(36, 24), size=(1800, 1200))
    edge = 1000 * np.tan(np.radians([wide / 2, high / 2]))
    pixels, _ = camera.project(np.array([edge[0], edge[1], 0.0]))
    assert np.allclose(pixels, [1800, 0], atol=0.05)


def test_focal_length_in_pixels_agrees_with_opencv():
    # OpenCV calibrationMatrixValues: 50 mm on 36 x 20.25 mm, 1920 px: fx = 50 / 36 * 1920.
    camera = lens(focal=50)
    K = np.array([[camera.scale_at(np.zeros(3)) * 1000, 0, 960], [0, 2666.6667, 540], [0, 0, 1]])
    wide, high, focal, *_ = cv2.calibrationMatrixValues(K, FULL_HD, 36, 20.25)
    assert (wide, high, focal) == pytest.approx((39.597752, 22.895192, 50.0), abs=1e-4)


@pytest.mark.parametrize(
    ("sensor", "size", "px_per_sensor_mm"),
    [
        ((36, 24), (1920, 1080), 1920 / 36),  # by hand: 16:9 on 3:2 uses the whole width, 36 x 20.25 mm
        ((36, 24), (1080, 1920), 80),  # by hand: 9:16 on 3:2 uses the whole height, 13.5 x 24 mm
        ((24.89, 18.66), (1866, 1866), 100),  # by hand: a square uses the whole height of this sensor
    ],
)
def test_frame_is_the_largest_that_fits_on_the_sensor(sensor, size, px_per_sensor_mm):
    camera = lens(distance=500, focal=50, sensor=sensor, size=size)
    assert camera.scale_at(np.zeros(3)) == pytest.approx(50 / 500 * px_per_sensor_mm)


def test_image_size_goes_with_one_over_distance():
    # Pinhole model: 50 mm at fx = 2000 px is 100 px at 1 m, 125 px at 0.8 m, 200 px at 0.5 m, 80 px at 1.25 m.
    scale = lens().scale_at(np.array([[0, 0, 0], [0, 0, 100], [9, 5, 200], [0, 0, 500], [-7, 0, -250.0]]))
    assert np.allclose(50 * scale, [100, 111.1111111111, 125, 200, 80])


@settings(deadline=None)
@given(angles, st.booleans())
def test_scale_is_what_a_small_step_across_the_view_measures(angle, flat):
    camera = orthographic_camera(*angle, (1, 2, 3), 7.5, FULL_HD) if flat else lens(*angle, (1, 2, 3), 600)
    right = np.array([np.cos(np.radians(angle[0])), 0, -np.sin(np.radians(angle[0]))])
    point = np.array([10.0, -20, 15])
    ends, _ = camera.project(np.array([point - right / 2, point + right / 2]))
    assert camera.scale_at(point) == pytest.approx(ends[1, 0] - ends[0, 0], rel=1e-9)


@settings(deadline=None)
@given(angles, st.sampled_from([-3.7, -1.0, 0.01, 250.0]), st.booleans())
def test_a_matrix_alone_gives_the_camera_back(angle, scale, flat):
    camera = orthographic_camera(*angle, (1, 2, 3), 7.5, FULL_HD) if flat else lens(*angle, (1, 2, 3), 600)
    again = camera_from_matrix(camera.matrix * scale)
    assert again.is_perspective != flat
    assert np.allclose(again.matrix, camera.matrix, rtol=1e-12, atol=1e-9)
    assert np.allclose(again.forward, camera.forward, atol=1e-12)
    if not flat:
        assert np.allclose(again.position, camera.position, atol=1e-9)


@pytest.mark.parametrize(
    "matrix",
    [
        np.zeros((3, 4)),
        np.full((3, 4), np.nan),
        np.ones((3, 4)),
        np.eye(3),
        [[1, 0, 0, 0], [2, 0, 0, 0], [0, 0, 0, 1]],
        [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 0]],
    ],
)
def test_a_matrix_that_is_no_camera_is_refused_in_words(matrix):
    with pytest.raises(ChoreoError) as caught:
        camera_from_matrix(np.array(matrix, dtype=float))
    assert caught.value.exit_code == 2
    assert caught.value.findings[0].code == "camera-matrix"


def test_arrays_cannot_be_changed():
    camera = lens()
    with pytest.raises(ValueError, match="read-only"):
        camera.matrix[0, 0] = 1
    assert Camera.near > 0
