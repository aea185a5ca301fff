"""Progress laws, their keys under the W3C's keyframe rule, and their monotone pieces."""

import itertools
import math

import numpy as np
import pytest
from easing_strategies import easings
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.model.plan import Move
from choreo.model.tracks import Key
from choreo.motion.law import evaluate_keys, keys, pieces, progress, progress_law


def move(start, frames, easing="linear", kind="explode"):
    return Move("lens", 0, start, frames, easing, kind, start)


@st.composite
def schedules(draw):
    kind, at, moves = draw(st.sampled_from(["explode", "assemble"])), 0, []
    for _ in range(draw(st.integers(1, 4))):
        start = at + draw(st.integers(0, 9))
        cuts = sorted({0.0, 1.0, *draw(st.lists(st.floats(0.01, 0.99), max_size=2))})
        spans = list(itertools.pairwise(cuts))
        for span in spans if kind == "explode" else reversed(spans):
            frames = draw(st.integers(1, 30))
            moves.append(Move("lens", 0, start, frames, draw(easings), kind, start, span=span))
            start += frames + draw(st.integers(0, 2))
        at = moves[-1].start + moves[-1].frames
        kind = "assemble" if kind == "explode" else "explode"
    return moves


def test_a_move_and_its_return_by_hand():
    """Linear: half way after half the time; min-jerk at a quarter: 0.103515625 (Flash and Hogan 1985)."""
    law = progress_law([move(10, 20), move(40, 8, "min-jerk", "assemble")])
    frames = [-5, 0, 10, 15, 20.5, 30, 35, 40, 42, 44, 48, 1e9]
    expected = [0, 0, 0, 0.25, 0.525, 1, 1, 1, 1 - 0.103515625, 0.5, 0, 0]
    assert expected == pytest.approx(list(progress(law, frames)), abs=1e-15)


def test_keys_by_hand():
    law = progress_law([move(10, 20, "EASE"), move(40, 8, "min-jerk", "assemble"), move(48, 2, "step-end")])
    assert keys(law) == (
        Key(10, 0.0, "ease"),
        Key(30, 1.0),
        Key(40, 1.0, "min-jerk"),
        Key(48, 0.0, "steps(1)"),
        Key(50, 1.0),
    )


def test_keyframe_rule_by_hand():
    """W3C Web Animations: hold outside, the easing of the earlier key inside, the later interval on a key."""
    given_keys = (Key(0, 2.0, "step-start"), Key(10, 4.0), Key(20, 8.0, "steps(2)"), Key(24, 0.0))
    frames = [-1, 0, 9.5, 10, 15, 20, 21.9, 22, 23.9, 24, 99]
    assert list(evaluate_keys(given_keys, frames)) == [2, 4, 4, 4, 6, 8, 8, 4, 4, 0, 0]


def test_a_part_that_never_moves():
    law = progress_law([])
    assert list(progress(law, [-1, 0, 99.5])) == [0.0] * 3
    assert keys(law) == (Key(0, 0.0),)
    assert list(evaluate_keys(keys(law), [-1, 0, 99.5])) == [0.0] * 3
    assert [(p.t0, p.t1, p.y0) for p in pieces(law)] == [(-math.inf, math.inf, 0.0)]


def test_assemble_first_begins_at_rest_and_ends_at_exactly_zero():
    """An easing that ends elsewhere, as linear(0, 0.9) does, still hands over to the hold at exactly 0."""
    law = progress_law([move(5, 7, "linear(0, 0.9)", "assemble")])
    assert list(progress(law, [0, 5, 12, 13])) == [1, 1, 0, 0]
    assert list(evaluate_keys(keys(law), [0, 5, 12, 13])) == [1, 1, 0, 0]


def test_stretches_by_hand():
    """A third of the way, a pause, the rest; and back in one. Linear, so half a stretch in half its time."""
    first, second = (Move("lens", 0, s, 10, "linear", "explode", s, span=span) for s, span in
                     ((0, (0.0, 0.25)), (14, (0.25, 1.0))))  # fmt: skip
    law = progress_law([first, second, move(30, 10, kind="assemble")])
    assert list(progress(law, [0, 5, 10, 12, 14, 19, 24, 35, 40])) == [0, 0.125, 0.25, 0.25, 0.25, 0.625, 1, 0.5, 0]
    assert keys(law)[1:3] == (Key(10, 0.25), Key(14, 0.25, "linear"))
    with pytest.raises(ValueError, match=r"is at progress 0\.25 on frame 30, not at 1"):
        progress_law([first, move(30, 10, kind="assemble")])


@settings(max_examples=100, deadline=None)
@given(schedules(), st.lists(st.floats(-20, 200), max_size=20))
def test_keys_agree_with_the_law(moves, times):
    law = progress_law(moves)
    frames = np.concatenate([np.arange(-3, 170), times])
    assert np.allclose(progress(law, frames), evaluate_keys(keys(law), frames), rtol=0, atol=1e-12)


@settings(max_examples=100, deadline=None)
@given(schedules())
def test_pieces_cover_all_time_and_agree_with_the_law(moves):
    law = progress_law(moves)
    found = pieces(law)
    assert (found[0].t0, found[-1].t1) == (-math.inf, math.inf)
    assert [piece.t1 for piece in found[:-1]] == [piece.t0 for piece in found[1:]]
    for piece in found:
        # Not on the last instant, where the value may jump, nor within rounding of it.
        t = np.linspace(max(piece.t0, -9.0), min(piece.t1, 999.0), 9)[1:-1]
        difference = np.abs(progress(law, t) - piece.value(t))
        assert np.all((difference < 1e-9) | (piece.t1 - t < 1e-9) | (t - piece.t0 < 1e-9))


@settings(max_examples=60, deadline=None)
@given(schedules(), st.floats(0.001, 0.999))
def test_pieces_of_a_law_can_be_inverted(moves, share):
    for piece in pieces(progress_law(moves)):
        if not piece.flat:
            y = piece.y0 + (piece.y1 - piece.y0) * share
            t = piece.time(y)
            assert piece.t0 <= t <= piece.t1
            beside = piece.value(np.array([t - 1e-8, t + 1e-8]))  # monotone: y lies between its neighbours
            assert min(beside) - 1e-12 <= y <= max(beside) + 1e-12


def test_pieces_by_hand():
    law = progress_law([move(10, 20, "steps(2)"), move(30, 5, "linear", "assemble")])
    assert [(p.t0, p.t1, p.y0, p.y1) for p in pieces(law)] == [
        (-math.inf, 10, 0, 0),
        (10, 20, 0, 0),
        (20, 30, 0.5, 0.5),
        (30, 35, 1, 0),
        (35, math.inf, 0, 0),
    ]
    assert pieces(law)[3].time(0.25) == pytest.approx(33.75)
    assert pieces(law)[0].value(-math.inf) == 0


@pytest.mark.parametrize(
    ("moves", "said"),
    [
        ([move(0, 10), move(9, 5, kind="assemble")], "under way until 10"),
        ([move(0, 10), move(20, 5)], "twice in a row"),
        ([move(3, 0)], "needs one or more"),
        ([move(3, 4, "esae")], "Did you mean"),
    ],
)
def test_moves_that_make_no_law(moves, said):
    with pytest.raises(ValueError, match=said):
        progress_law(moves)
