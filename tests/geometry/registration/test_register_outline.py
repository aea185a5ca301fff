"""Silhouettes laid on silhouettes: known places of shapes drawn by scikit-image come back, and what cannot be told is
named."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from plates_on_hero import BRACKET, box, farthest_apart, matte, round_shape, traced

from choreo.geometry.registration.motion import OPEN, Evidence, determined, split
from choreo.geometry.registration.outline import register_outline
from choreo.geometry.registration.similarity import apply
from choreo.model.registration import IDENTITY, Similarity

SIZE, HERO_SIZE = (200, 190), (250, 230)
ALL = ("shift x", "shift y", "size", "turn")


def true_and_found(true, shape=BRACKET, *, noise=0.03, hidden=(), start=IDENTITY, seed=1):
    part = traced(matte(SIZE, [shape], noise, seed=seed))
    hero = traced(matte(HERO_SIZE, [apply(true, shape)], noise, hidden, seed=seed + 100))
    return register_outline(part, hero, start)


def near(found, true, shape=BRACKET):
    """Within 0.1 px over the shape's outline, root mean square, and 0.05 degrees; no point beyond 0.15 px."""
    turned = abs(math.remainder(found.turn_degrees - true.turn_degrees, 360))
    dense = np.array(shapely.segmentize(shapely.LinearRing(shape), 1.0).coords)
    apart = apply(found, dense) - apply(true, dense)
    spread = math.sqrt((apart**2).sum(axis=1).mean())
    return spread < 0.1 and turned < 0.05 and farthest_apart(found, true, shape) < 0.15


@pytest.mark.parametrize(
    "true",
    [
        Similarity(1.03, 2, (5.3, -3.7)),
        Similarity(0.9, -5, (14, 10)),
        Similarity(1, 0.2, (0.4, 0.3)),
        Similarity(1.1, 4, (3, 2)),
    ],
    ids=str,
)
def test_known_places_come_back_through_noise_and_what_hides(true):
    # 5 % of the outline, 26 of some 510 px, is cut away: twice 13 px of the upper edge and of a side.
    corner = apply(true, BRACKET)
    upper = (corner[0] + corner[1]) / 2
    lower = (corner[5] + corner[4]) / 2
    hidden = [np.s_[int(y) - 14 : int(y) + 14, int(x) - 6 : int(x) + 7] for x, y in (upper, lower)]
    found = true_and_found(true, hidden=hidden)
    assert near(found.transform, true)
    assert found.determined == ALL
    assert found.held == ()
    assert 0.9 < found.used_share < 0.99
    assert found.mean_px < 0.1
    assert found.sd_px < 0.05


@settings(max_examples=8)
@given(st.floats(0.92, 1.08), st.floats(-6, 6), st.floats(-8, 8), st.floats(-8, 8), st.integers(0, 10**6))
def test_any_place_near_the_start_comes_back(scale, turn, x, y, seed):
    # Turned and grown about the middle, so that the start is off by what is said and no more.
    middle = np.array([90.0, 90.0])
    about = apply(Similarity(scale, turn, (0, 0)), middle)
    true = Similarity(scale, turn, (float(100 + x - about[0]), float(100 + y - about[1])))
    found = true_and_found(true, start=Similarity(1, 0, (10, 10)), seed=seed)
    assert near(found.transform, true)


def test_without_a_start_moments_give_one():
    true = Similarity(1.05, 160, (215, 150))
    found = true_and_found(true, start=None)
    assert near(found.transform, true)


def test_a_disc_tells_no_turn():
    disc = round_shape((90, 90), 60)
    found = true_and_found(Similarity(1.02, 3, (4, -2)), disc, start=Similarity(1, 0.7, (0, 0)))
    assert found.determined == ALL[:3]
    assert [held.kind for held in found.held] == ["turn"]
    assert found.transform.turn_degrees == pytest.approx(0.7, abs=1e-9)  # held at the start, exactly
    assert found.transform.scale == pytest.approx(1.02, abs=0.1 / 60)
    middle = apply(found.transform, np.array([90.0, 90.0]))
    assert middle == pytest.approx(apply(Similarity(1.02, 3, (4, -2)), np.array([90.0, 90.0])), abs=0.1)


def test_a_straight_edge_tells_one_shift():
    # A block of which only a short piece of the right side is the hero's outline: the rest lies inside a larger body.
    part = traced(matte(SIZE, [box(40, 40, 160, 150)]))
    body = shapely.box(0, 0, 200, 87).union(shapely.box(0, 103, 200, 190)).union(shapely.box(0, 80, 100, 110))
    found = register_outline(part, [shapely.box(41.8, 40, 161.8, 150).union(body)], IDENTITY, others=body)
    assert found.determined == ("shift x",)
    # What is left: along the edge, a turn about the piece that is seen, and growth about it.
    assert [held.kind for held in found.held] == ["shift", "turn", "size"]
    assert found.held[0].words == "shift along y"
    assert re.fullmatch(r"size about \(16\d, 95\)", found.held[2].words)
    assert found.transform.scale == pytest.approx(1)
    assert found.transform.turn_degrees == pytest.approx(0)
    assert found.transform.shift_px == pytest.approx((1.8, 0), abs=0.02)
    assert found.used_share < 0.06


def test_a_long_bar_slides_along_itself():
    # Both long edges are seen, the ends are not: turn, size and the shift across are told, the shift along is not.
    part = traced(matte((300, 60), [box(30, 20, 270, 40)]))
    true = Similarity(1.01, 1.0, (6, 5))
    bar = shapely.Polygon(apply(true, box(30, 20, 270, 40)))
    ends = shapely.box(0, 0, 70, 80).union(shapely.box(240, 0, 330, 80))
    found = register_outline(part, [bar.union(ends)], IDENTITY, others=ends)
    assert [held.kind for held in found.held] == ["shift"]
    assert set(found.determined) >= {"size", "turn"}
    assert found.transform.turn_degrees == pytest.approx(1.0, abs=0.05)


def test_other_parts_edges_are_not_taken_for_its_own():
    # A plate lies 5 px inside a larger one of the same shape. Its outline is not the hero's, and it must stay.
    inner, outer = box(45, 45, 155, 145), box(40, 40, 160, 150)
    part = traced(matte(SIZE, [inner]))
    found = register_outline(part, [shapely.Polygon(outer)], IDENTITY, others=shapely.Polygon(outer))
    assert found.used_px == 0
    assert found.transform == IDENTITY
    assert found.determined == ()


def test_holes_count_as_outline():
    # A round plate with a round hole off the middle: only the hole tells the turn.
    def ring(transform):
        outer, hole = (apply(transform, r) for r in (round_shape((90, 90), 70), round_shape((120, 90), 18)))
        return shapely.Polygon(outer, [hole])

    true = Similarity(1, 3, (8, -2))
    found = register_outline([ring(IDENTITY)], [ring(true)], IDENTITY)
    assert found.determined == ALL
    assert farthest_apart(found.transform, true, round_shape((90, 90), 70)) < 0.05


def test_where_it_is_worst_is_said():
    # One corner of the hero was retouched away by less than the reach: it is where the outlines are farthest apart.
    hero = box(40, 40, 160, 150)
    hero = np.insert(hero, 1, [(100, 40.0), (102, 40.6), (108, 40.6), (110, 40.0)], axis=0)
    found = register_outline([shapely.Polygon(box(40, 40, 160, 150))], [shapely.Polygon(hero)], IDENTITY)
    assert found.mean_px < 0.05
    assert farthest_apart(found.transform, IDENTITY, box(40, 40, 160, 150)) < 0.02


def test_a_swelling_is_not_averaged_in():
    # 40 of 460 px of the hero's outline were painted 0.8 px out: by plain least squares they would draw the rest along.
    hero = np.array([(40, 40), (160, 40), (160, 60), (160.8, 60.5), (160.8, 100), (160, 100.5), (160, 150), (40, 150)])
    found = register_outline(
        [shapely.Polygon(box(40, 40, 160, 150))], [shapely.Polygon(hero)], Similarity(1, 0, (2, 1))
    )
    assert farthest_apart(found.transform, IDENTITY, box(40, 40, 160, 150)) < 0.01
    assert found.used_share < 0.95


def evidence(sizes, floor, noise, count):
    normal = np.diag(np.array(sizes, float))
    return Evidence(normal, np.zeros(4), noise, count, normal, floor * np.eye(4))


def test_what_counts_as_measured_by_hand():
    # A turn that shows 0.002 of itself is under a floor of 0.004, however many points there are.
    parted = split(evidence([1, 1, 1, 0.002], 0.004, 0.01, 1e9), OPEN)
    assert determined(parted) == ALL[:3]
    # Noise of 0.1 px, 10 points: a direction that shows a hundredth has a variance of 0.01 / (0.01 * 10), 0.32 px: too
    # unsure; with 100 points, 0.1 px. What is sure adds 0.01 / 100 three times: 0.1015 px in all.
    assert determined(split(evidence([1, 1, 1, 0.01], 0.004, 0.01, 10), OPEN)) == ALL[:3]
    parted = split(evidence([1, 1, 1, 0.01], 0.004, 0.01, 100), OPEN)
    assert determined(parted) == ALL
    assert parted.sd_px == pytest.approx(math.sqrt(0.01 + 3e-4))
    # What was held stays held.
    again = split(evidence([1, 1, 1, 1], 0.004, 0.01, 100), split(evidence([1, 1, 1, 0], 0.004, 0.01, 100), OPEN))
    assert determined(again) == ALL[:3]


def test_same_input_same_answer():
    one, two = (true_and_found(Similarity(1.03, 2, (5.3, -3.7))) for _ in range(2))
    assert one == two


def test_nothing_to_compare():
    assert register_outline([], [shapely.box(0, 0, 9, 9)], IDENTITY).determined == ()
    far = register_outline([shapely.box(0, 0, 50, 50)], [shapely.box(500, 500, 550, 550)], IDENTITY)
    assert (far.used_px, far.transform) == (0, IDENTITY)
