"""The turn of a turntable that shows a needed view, against SciPy's rotations and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.cameras.turning import rows_toward, table_rotation, table_turn, turn_about_z, view_off, view_rows

ANGLES = st.floats(-179, 179)


@pytest.mark.parametrize(("camera", "turn"), [(0, 0), (30, -30), (90, -90), (-45, 45), (170, -170)])
def test_a_camera_that_walks_right_asks_for_a_table_that_turns_back(camera, turn):
    # By hand: azimuth moves the camera toward +x; the same is seen if the table turns +z away from +x instead.
    found, off = table_turn(view_rows(0, 0), (0, 1, 0), view_rows(camera, 0)[None])
    np.testing.assert_allclose([found[0], off[0]], [turn, 0], atol=1e-5)


def test_a_table_about_the_line_of_sight_shows_a_part_that_spins():
    # Seen along its own axis, a part that turned by 40 degrees is the plate that turned by 40 degrees.
    needed = view_rows(0, 0) @ turn_about_z(np.array([40.0, -100.0]))
    found, off = table_turn(view_rows(0, 0), (0, 0, 1), needed)
    np.testing.assert_allclose(found, [40, -100], atol=1e-9)
    np.testing.assert_allclose(off, 0, atol=1e-5)


def test_a_lifted_camera_remains_off_by_its_elevation():
    # By hand: a table about +y cannot tip the part, so 25 degrees of elevation stay.
    found, off = table_turn(view_rows(0, 0), (0, 1, 0), view_rows(30, 25)[None])
    np.testing.assert_allclose([found[0], off[0]], [-30, 25], atol=1e-5)


@given(ANGLES, st.floats(-80, 80), ANGLES, st.floats(-80, 80), st.tuples(*[st.floats(-1, 1)] * 3))
def test_no_other_turn_is_nearer(azimuth, elevation, other, lift, axis):
    # SciPy's Rotation as referee: a scan of all whole degrees never beats the closed form.
    axis = np.array(axis) + 1e-3
    axis /= np.linalg.norm(axis)
    plate, needed = view_rows(azimuth, elevation), view_rows(other, lift)
    turn, off = table_turn(plate, tuple(axis), needed[None])
    scan = Rotation.from_rotvec(np.radians(np.arange(-180, 180))[:, None] * axis).as_matrix()
    rest = Rotation.from_matrix(needed @ np.transpose(plate @ scan, (0, 2, 1))).magnitude()
    assert off[0] <= np.degrees(rest.min()) + 1e-5
    best = Rotation.from_rotvec(np.radians(turn[0]) * axis).as_matrix()
    mine = Rotation.from_matrix(needed @ (plate @ best).T).magnitude()
    np.testing.assert_allclose(np.degrees(mine), off[0], atol=1e-4)


@given(st.tuples(*[st.floats(-1, 1)] * 3), ANGLES)
def test_rotation_about_an_axis_is_scipys(axis, angle):
    axis = np.array(axis) + 1e-3
    axis /= np.linalg.norm(axis)
    expected = Rotation.from_rotvec(np.radians(angle) * axis).as_matrix()
    np.testing.assert_allclose(table_rotation(tuple(axis), np.array([angle]))[0], expected, atol=1e-12)


def test_view_off_is_the_angle_between_two_views():
    np.testing.assert_allclose(view_off(view_rows(10, 0), view_rows(55, 0)[None]), 45, atol=1e-6)


def test_a_perspective_camera_sees_a_part_aside_from_aside():
    # By hand: the camera stands 100 mm before the origin; from 100 mm to the right it is seen 45 degrees from the left.
    camera = perspective_camera(0, 0, (0, 0, 0), 100, 50, (36, 20.25), (1920, 1080))
    rows = rows_toward([camera, camera], np.array([[0.0, 0, 0], [100.0, 0, 0]]))
    np.testing.assert_allclose(rows[0], np.eye(3), atol=1e-12)
    np.testing.assert_allclose(rows[1], view_rows(-45, 0), atol=1e-12)


def test_an_orthographic_camera_sees_all_parts_alike():
    camera = orthographic_camera(20, 30, (0, 0, 0), 10, (1920, 1080))
    rows = rows_toward([camera, camera], np.array([[0.0, 0, 0], [100.0, 5, 9]]))
    np.testing.assert_allclose(rows[0], view_rows(20, 30), atol=1e-12)
    np.testing.assert_allclose(rows[1], rows[0])
