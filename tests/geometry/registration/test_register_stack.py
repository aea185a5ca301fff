"""Areas over and areas missing by hand, distances against a brute force and OpenCV's distance transform."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.geometry.registration.stack import register_stack

HERO = shapely.box(0, 0, 100, 60)


def test_areas_by_hand():
    # Two halves, the right one 2 px too far right: a gap of 2 x 60 between, a surplus of 2 x 60 beyond.
    found = register_stack([shapely.box(0, 0, 50, 60), shapely.box(52, 0, 102, 60)], HERO)
    assert (found.shared_px2, found.surplus_px2, found.missing_px2) == pytest.approx((5880, 120, 120))
    assert [piece.bounds for piece in found.surplus] == [(100, 0, 102, 60)]
    assert [piece.bounds for piece in found.gaps] == [(50, 0, 52, 60)]
    # The deepest point of the gap is as far from the hero's edge as half the height: 30 px.
    assert found.worst_px == pytest.approx(30, abs=0.25)
    assert found.worst_at_px[1] == pytest.approx(30, abs=0.25)


def test_a_square_that_is_two_px_off_by_hand():
    # Of the stack's outline, 320 long, the right edge lies 2 outside: 60 x 2. The left edge lies 2 inside, but for
    # 2 px at each end, where the upper or lower edge is nearer: 60 x 2 - 4. Of the upper and lower edges 2 px stick
    # out, by 0 to 2: 4 in all. The hero's outline sees the same from the other side.
    found = register_stack([shapely.box(2, 0, 102, 60)], HERO)
    assert found.worst_px == pytest.approx(2)
    assert found.mean_px == pytest.approx(240 / 320, abs=1e-3)


def test_slivers_and_specks_are_counted_but_not_listed():
    parts = [shapely.box(0, 0, 100.3, 60), shapely.box(100.3, 20, 101.1, 21)]
    found = register_stack(parts, HERO, speck_px2=1.0, sliver_px=0.5)
    assert found.surplus_px2 == pytest.approx(0.3 * 60 + 0.8)
    assert found.surplus[0].area == pytest.approx(18.8)  # one piece: the bump of 1.1 px makes the sliver visible
    assert register_stack(parts[:1], HERO).surplus == ()
    assert register_stack(parts[:1], HERO, sliver_px=0.2).surplus != ()
    pinhole = HERO.difference(shapely.box(40, 30, 40.9, 30.9))
    assert register_stack([pinhole], HERO).gaps == ()
    assert register_stack([pinhole], HERO).missing_px2 == pytest.approx(0.81)


def test_holes_of_the_hero_are_no_gaps():
    ring = HERO.difference(shapely.box(40, 20, 60, 40))
    found = register_stack([ring], ring)
    assert (found.surplus_px2, found.missing_px2, found.worst_px, found.mean_px) == (0, 0, 0, 0)
    plugged = register_stack([HERO], ring)
    assert [piece.area for piece in plugged.surplus] == [400]
    # The stack's 320 px of outline lie on the hero's. Of the hero's 400 the hole's upper and lower sides, 20 each, are
    # 20 px from the stack's outline, the other two 20 to 30: 2 (20 x 20 + 20 x 25) / 400 = 4.5, and 0 the other way.
    assert plugged.mean_px == pytest.approx(2.25)
    assert plugged.worst_px == pytest.approx(30)


def test_pieces_come_largest_first():
    found = register_stack([HERO, shapely.box(100, 0, 103, 3), shapely.box(100, 20, 110, 30)], HERO)
    assert [piece.area for piece in found.surplus] == [100, 9]


def test_nothing_against_something():
    assert register_stack([], HERO).worst_px == np.inf
    assert register_stack([shapely.Polygon()], HERO).missing_px2 == pytest.approx(6000)


@settings(max_examples=30)
@given(st.integers(0, 10**6))
def test_distances_by_a_distance_transform(seed):
    # OpenCV's exact distance transform, from pixels of one drawn boundary, at pixels of the other: good to 2 px.
    random = np.random.default_rng(seed)
    one, two = (shapely.Polygon(_star(random)) for _ in range(2))
    found = register_stack([one], two)
    worst = []
    for here, there in ((one, two), (two, one)):
        far = np.full((200, 200), 255, np.uint8)
        cv2.polylines(far, [np.rint(shapely.get_coordinates(there)).astype(np.int32)], isClosed=True, color=0)
        field = cv2.distanceTransform(far, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        x, y = np.rint(shapely.get_coordinates(shapely.segmentize(here.boundary, 1.0))).astype(int).T
        worst.append(field[y, x].max())
    assert found.worst_px == pytest.approx(max(worst), abs=2)
    shared = one.intersection(two).area
    assert found.shared_px2 == pytest.approx(shared)
    assert found.surplus_px2 == pytest.approx(one.area - shared, abs=1e-6)
    assert found.missing_px2 == pytest.approx(two.area - shared, abs=1e-6)


def _star(random):
    turn = np.linspace(0, 2 * np.pi, 9, endpoint=False)
    return 100 + random.uniform(30, 80, 9)[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
