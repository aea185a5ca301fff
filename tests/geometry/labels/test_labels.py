"""Labels never cover each other or a shape, and never leave the room."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.geometry.labels.board import Board
from choreo.geometry.labels.offers import Offers
from choreo.geometry.labels.places import Wanted, place_labels
from choreo.geometry.labels.rules import LEADER_ON_LABEL, LEADERS_CROSS, ON_LABEL, conflicts

ROOM = (0.0, 0.0, 480.0, 270.0)

wanted = st.builds(
    lambda x, y, w, h, size: Wanted(size, shapely.box(x, y, x + w, y + h)),
    st.floats(0, 440),
    st.floats(0, 240),
    st.floats(2, 90),
    st.floats(2, 60),
    st.tuples(st.floats(8, 120), st.floats(10, 40)),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(wanted, max_size=14))
def test_labels_keep_apart(wants):
    # Shapely's predicates are the referee; the placer decides by arithmetic of its own.
    placed = place_labels(wants, ROOM)
    assert len(placed) == len(wants)
    boxes = [shapely.box(*place.box) for place in placed if place]
    leaders = [shapely.LineString(place.leader) for place in placed if place]
    assert all(shapely.box(*ROOM).contains(box) for box in boxes)
    assert not any(box.intersects(want.shape) for box in boxes for want in wants)
    assert not any(a.intersects(b) for a, b in itertools.combinations(boxes, 2))
    for index, leader in enumerate(leaders):
        assert not any(leader.intersects(box) for other, box in enumerate(boxes) if other != index)


def test_what_is_not_seen_gets_no_label():
    unseen, seen = Wanted((60.0, 20.0), shapely.Polygon()), Wanted((60.0, 20.0), shapely.box(200, 100, 240, 140))
    none, placed = place_labels([unseen, seen], ROOM)
    assert none is None
    assert placed == place_labels([seen], ROOM)[0]


@settings(max_examples=40, deadline=None)
@given(st.lists(wanted, min_size=1, max_size=8))
def test_each_leader_joins_its_label_to_its_shape(wants):
    for want, place in zip(wants, place_labels(wants, ROOM), strict=True):
        if place:
            start, end = map(shapely.Point, place.leader)
            assert shapely.box(*place.box).boundary.distance(start) < 1e-9
            assert want.shape.distance(end) < 1e-9
            np.testing.assert_allclose(np.subtract(place.box[2:], place.box[:2]), want.size)


def test_in_a_crowd_some_go_without():
    # Sixty labels of 120 x 40 have more area than the room.
    wants = [
        Wanted((120, 40), shapely.box(40 * (n % 10) + 20, 40 * (n // 10) + 10, 40 * (n % 10) + 24, 40 * (n // 10) + 14))
        for n in range(60)
    ]
    placed = place_labels(wants, ROOM)
    boxes = [shapely.box(*place.box) for place in placed if place]
    assert 0 < len(boxes) < 60
    assert not any(a.intersects(b) for a, b in itertools.combinations(boxes, 2))


def test_one_label_stands_beside_its_shape():
    [place] = place_labels([Wanted((60, 18), shapely.box(200, 100, 240, 140))], ROOM)
    assert shapely.box(*place.box).distance(shapely.box(200, 100, 240, 140)) < 10


def test_a_label_that_only_fits_far_away_gets_there():
    # A wall of other shapes leaves room in one corner only.
    wall = [shapely.box(0, 0, 480, 200), shapely.box(0, 200, 380, 270)]
    [place] = place_labels([Wanted((60, 18), shapely.box(10, 10, 20, 20))], ROOM, shapes=wall)
    assert place.box[0] > 380
    assert place.box[1] > 200


def test_a_label_never_stands_in_the_opening_of_another_part():
    # The opening of the frame is the only free place near the shape; the frame's own label may stand in it.
    window = shapely.Polygon(
        shapely.box(100, 20, 300, 200).exterior.coords, [shapely.box(110, 30, 290, 190).exterior.coords]
    )
    wall = [shapely.box(0, 0, 80, 270), shapely.box(80, 205, 320, 270), shapely.box(80, 0, 320, 15)]
    shape = shapely.box(84, 100, 96, 112)
    placed, own = place_labels([Wanted((60, 18), shape), Wanted((60, 18), window)], ROOM, shapes=wall)
    assert placed.box[0] > 300
    assert own is not None
    [inside] = place_labels([Wanted((60, 18), window)], (100, 20, 300, 200))
    assert window.envelope.contains(shapely.box(*inside.box))


def test_no_room_no_label():
    assert place_labels([Wanted((60, 18), shapely.box(10, 10, 20, 20))], ROOM, shapes=[shapely.box(*ROOM)]) == [None]
    assert place_labels([Wanted((500, 18), shapely.box(10, 10, 20, 20))], ROOM) == [None]


def test_labels_rather_not_stand_on_lines():
    shape = shapely.box(200, 100, 240, 140)
    [bare] = place_labels([Wanted((60, 18), shape)], ROOM)
    line = shapely.LineString([((bare.box[0] + bare.box[2]) / 2, 0), ((bare.box[0] + bare.box[2]) / 2, 270)])
    [moved] = place_labels([Wanted((60, 18), shape)], ROOM, [line])
    assert line.intersects(shapely.box(*bare.box))
    assert not line.intersects(shapely.box(*moved.box))


BOX, FAR_BOX = (0.0, 0.0, 10.0, 10.0), (100.0, 0.0, 110.0, 10.0)
NOWHERE = ((200.0, 200.0), (201.0, 201.0))


@pytest.mark.parametrize(
    ("one", "other", "cost"),
    [
        ((BOX, NOWHERE), (FAR_BOX, ((300.0, 0.0), (301.0, 0.0))), 0),
        ((BOX, NOWHERE), ((12.0, 0.0, 20.0, 10.0), ((300.0, 0.0), (301.0, 0.0))), ON_LABEL),  # 2 apart, 5 wanted
        ((BOX, NOWHERE), ((15.0, 0.0, 20.0, 10.0), ((300.0, 0.0), (301.0, 0.0))), 0),
        ((BOX, NOWHERE), (FAR_BOX, ((-5.0, 5.0), (50.0, 5.0))), LEADER_ON_LABEL),
        ((BOX, NOWHERE), (FAR_BOX, ((5.0, -9.0), (5.0, -3.0))), 0),  # in line with the box, but not up to it
        ((BOX, ((0.0, 50.0), (40.0, 50.0))), (FAR_BOX, ((20.0, 40.0), (20.0, 60.0))), LEADERS_CROSS),
        ((BOX, ((0.0, 50.0), (40.0, 50.0))), (FAR_BOX, ((20.0, 51.0), (20.0, 60.0))), 0),
        ((BOX, ((0.0, 50.0), (40.0, 50.0))), (FAR_BOX, ((30.0, 50.0), (60.0, 50.0))), LEADERS_CROSS),
        ((BOX, ((0.0, 50.0), (40.0, 50.0))), (FAR_BOX, ((50.0, 50.0), (60.0, 50.0))), 0),  # on one line, but apart
    ],
)
def test_conflicts_by_hand(one, other, cost):
    found = conflicts(*(np.array([value]) for value in (*one, *other)))
    assert found.tolist() == [cost]
    assert conflicts(*(np.array([value]) for value in (*other, *one))).tolist() == [cost]


@given(
    st.lists(st.tuples(st.integers(0, 5), st.one_of(st.none(), st.integers(0, 39))), max_size=25), st.integers(0, 99)
)
def test_the_board_counts_what_all_pairs_would(moves, seed):
    draw = np.random.default_rng(seed)

    def some(count):
        corner, at, to = (draw.integers(0, 400, (count, 2)) for _ in range(3))
        return Offers(
            np.hstack([corner, corner + np.array([60, 18])]).astype(float),
            np.stack([at, to], axis=1) * 1.0,
            draw.random(count),
        )

    board = Board([some(30) for _ in range(6)], 10)
    for step, (label, place) in enumerate(moves):
        if step == 8:
            board.add(2, some(10))
        board.move(label, None if place is None else min(place, board.size[label] - 1))
    for label in range(6):
        rows = np.arange(board.first[label], board.first[label] + board.size[label])
        others = [row for other, row in enumerate(board.at) if row is not None and other != label]
        table = conflicts(board.boxes[rows, None], board.ends[rows, None], board.boxes[others], board.ends[others])
        assert board.against[rows].tolist() == table.sum(axis=1).tolist()
        if board.at[label] is not None:
            assert board.worst(label) == table[board.at[label] - rows[0]].max(initial=0.0)
