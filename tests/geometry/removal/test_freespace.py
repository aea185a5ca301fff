"""Ways out of several moves: published and hand-made mechanisms, and brute force on unit cells."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.geometry.collision.encounter import make_encounters
from choreo.geometry.removal.freespace import find_way_out, free_space, is_connected_out
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Slab

STEPS = ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))


def cells(places):
    return build_solid([Slab(((x, y), (x + 1, y), (x + 1, y + 1), (x, y + 1)), (), (z, z + 1)) for x, y, z in places])


def space_of(mover, fixed):
    encounters = make_encounters({"mover": cells(mover), "fixed": cells(fixed)}, 0.05, {})
    return encounters, free_space(encounters, "mover", ["fixed"])


def moves(way):
    return len(way.corners)  # corners passed, the first being the start, each followed by one move


def walk(way):
    return np.concatenate([way.corners, [way.corners[-1] + 50 * way.direction]])


def box(x0, x1, y0, y1, z0, z1):
    return set(product(range(x0, x1), range(y0, y1), range(z0, z1)))


# A T-headed pin under a plate with a slot that widens: hand-built unit-cell model of a keyhole. It has no single
# straight way out; it must slide 3 cells to the wide end and then rise (2 moves).
PLATE = box(0, 7, 0, 5, 1, 2) - {(1, 2, 1), (2, 2, 1), (3, 2, 1)} - box(4, 7, 1, 4, 1, 2) - {(6, 1, 1), (6, 3, 1)}
BELOW = box(-1, 8, -1, 6, -1, 0) | {
    (x, y, 0) for x in range(-1, 8) for y in range(-1, 6) if x in (-1, 7) or y in (-1, 5)
}
PIN = {(1, 1, 0), (1, 2, 0), (1, 3, 0), (1, 2, 1), (1, 2, 2)}


def test_the_keyhole_needs_a_slide_and_then_a_lift():
    encounters, space = space_of(PIN, PLATE | BELOW)
    way = find_way_out(space)
    assert is_connected_out(space)
    assert moves(way) == 2
    assert way.direction.tolist() == [0, 0, 1]
    assert 2.9 < way.corners[1, 0] < 3.06
    assert not encounters.hits("mover", walk(way), "fixed")


def test_a_peg_in_a_blind_hole_has_one_way_out():
    block = box(0, 3, 0, 3, 0, 3) - {(1, 1, 1), (1, 1, 2)}
    _, space = space_of({(1, 1, 1), (1, 1, 2)}, block)
    way = find_way_out(space)
    assert moves(way) == 1
    assert way.direction.tolist() == [0, 0, 1]


def test_a_peg_in_a_closed_box_has_none():
    _, space = space_of({(1, 1, 1)}, box(0, 3, 0, 3, 0, 3) - {(1, 1, 1)})
    assert not is_connected_out(space)
    assert find_way_out(space) is None


def test_a_bayonet_turns_two_corners():
    # A channel through a block: in along -z, along +x, out along +y. By hand: up is shut, so it needs -x, then +z.
    channel = {(1, 1, 2), (1, 1, 1), (2, 1, 1), (3, 1, 1)}
    block = box(0, 5, 0, 3, 0, 3) - channel
    encounters, space = space_of({(3, 1, 1)}, block)
    way = find_way_out(space)
    assert moves(way) == 2
    assert way.direction.tolist() == [0, 0, 1]
    assert way.corners[1] == pytest.approx([-2, 0, 0], abs=0.06)
    assert not encounters.hits("mover", walk(way), "fixed")


def test_a_crooked_channel_takes_four_moves():
    # +z, +x, +z, +y by hand; the lid over the second rise shuts the last move up.
    channel = {(1, 1, 1), (1, 1, 2), (1, 1, 3), (2, 1, 3), (3, 1, 3), (3, 1, 4), (3, 1, 5), (3, 2, 5), (3, 3, 5)}
    block = box(0, 5, 0, 4, 0, 7) - channel
    encounters, space = space_of({(1, 1, 1)}, block)
    way = find_way_out(space)
    assert moves(way) == 4
    assert way.direction == pytest.approx([0, 1, 0])
    assert not encounters.hits("mover", walk(way), "fixed")


def test_fewer_moves_go_before_less_travel():
    # By hand: 5 cells along x to one shaft, or 1 along -x and 1 along y to another: two moves, or three.
    channel = {(x, 0, 1) for x in range(-1, 6)} | {(5, 0, 2), (-1, 1, 1), (-1, 1, 2)}
    block = box(-3, 8, -3, 4, 0, 3) - channel
    way = find_way_out(space_of({(0, 0, 1)}, block)[1])
    assert moves(way) == 2
    assert way.corners[1] == pytest.approx([5, 0, 0], abs=0.06)
    # With one more turn on the long way, travel decides.
    way = find_way_out(space_of({(0, 0, 1)}, (block | {(5, 0, 2)}) - {(5, 1, 1), (5, 1, 2)})[1])
    assert moves(way) == 3
    assert way.corners[1] == pytest.approx([-1, 0, 0], abs=0.06)


def brute_force_way_out(mover, fixed, reach=7):
    """Breadth-first over whole-cell displacements: the classic search on a cubic grid."""
    seen, todo = {(0, 0, 0)}, [(0, 0, 0)]
    while todo:
        at = todo.pop(0)
        if max(abs(c) for c in at) >= reach:
            return True
        for step in STEPS:
            to = tuple(a + b for a, b in zip(at, step, strict=True))
            if to not in seen and not any(
                tuple(a + b for a, b in zip(cell, to, strict=True)) in fixed for cell in mover
            ):
                seen.add(to)
                todo.append(to)
    return False


@settings(max_examples=40)
@given(st.sets(st.sampled_from(sorted(box(0, 4, 0, 4, 0, 3))), min_size=12, max_size=44), st.integers(0, 10**6))
def test_unit_cells_have_a_way_out_exactly_if_a_grid_search_finds_one(filled, pick):
    # The mover is one cell of the block and perhaps its neighbour: whole-cell moves decide, for all gaps are cells.
    spots = sorted(filled)
    first = spots[pick % len(spots)]
    mover = {first} | {tuple(a + b for a, b in zip(first, STEPS[pick % 6], strict=True))} & filled
    fixed = filled - mover
    if not fixed:
        return
    encounters, space = space_of(mover, fixed)
    expected = brute_force_way_out(mover, fixed)
    assert is_connected_out(space) == expected
    way = find_way_out(space)
    assert (way is not None) == expected
    if way is not None:
        assert not encounters.hits("mover", walk(way), "fixed")


def fewest_moves(mover, fixed, reach=7):
    """Breadth-first over straight moves of whole cells along the axes; the last one leads out."""
    seen, ring, moves_made = {(0, 0, 0)}, [(0, 0, 0)], 0
    while ring:
        moves_made += 1
        after = []
        for at, step in product(ring, STEPS):
            to = at
            while True:
                to = tuple(a + b for a, b in zip(to, step, strict=True))
                if any(tuple(a + b for a, b in zip(cell, to, strict=True)) in fixed for cell in mover):
                    break
                if max(map(abs, to)) >= reach:
                    return moves_made
                if to not in seen:
                    seen.add(to)
                    after.append(to)
        ring = after
    return None


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.sets(st.sampled_from(sorted(box(0, 4, 0, 4, 0, 3))), min_size=20, max_size=44), st.integers(0, 10**6))
def test_no_way_along_the_axes_has_fewer_moves(filled, pick):
    mover = {sorted(filled)[pick % len(filled)]}
    fixed = filled - mover
    _, space = space_of(mover, fixed)
    least, way = fewest_moves(mover, fixed), find_way_out(space)
    assert (way is None) == (least is None)
    assert way is None or moves(way) <= least
