"""Starts under clauses, beats, waits, moves that start together and wishes that follow another move's start."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from choreo.motion.conflict import conflict
from choreo.motion.starts import has_starts, nearest_starts, shortest_phase
from choreo.motion.starts_question import Starts, agrees, common_lags
from choreo.motion.stretches import passed_marks, share_frames

FREE = 60
"""Frames; wider than any lag in these questions."""


def random_question(rng):
    """Three or four moves with gaps, clauses, and sometimes beats, waits, a start in common, an anchored wish."""
    count = int(rng.integers(3, 5))
    latest = rng.integers(4, 8, count).tolist()
    wish = [int(rng.integers(0, last + 1)) for last in latest]
    lags, anchors, choices = {}, {}, {}
    for pair in itertools.combinations(range(count), 2):
        kind = rng.choice(["none", "gap", "wait", "together"], p=[0.45, 0.3, 0.15, 0.1])
        low = int(rng.integers(-4, 3))
        high = low + int(rng.integers(2, 6))
        spans = {"gap": ((-FREE, low), (high, FREE)), "wait": ((int(rng.integers(1, 4)), FREE),), "together": ((0, 0),)}
        if kind != "none":
            lags[pair] = spans[kind]
    clauses = []
    for _ in range(int(rng.integers(0, 4))):
        literals = []
        for _ in range(int(rng.integers(1, 4))):
            p, q = rng.choice(count, 2, replace=False).tolist()
            literals.append((p, q, int(rng.integers(-2, 5))))
        clauses.append(tuple(literals))
    if rng.random() < 0.3:
        beats = sorted(rng.choice(8, 4, replace=False).tolist())
        choices = {k: tuple(b for b in beats if b <= latest[k]) or (0,) for k in range(count)}
    if rng.random() < 0.5:
        anchors[count - 1] = 0
        wish[count - 1] = int(rng.integers(0, 4))
    return Starts(wish, latest, lags, choices, tuple(clauses), anchors)


def kept(question, starts):
    """The rules in words of their own."""
    for (i, j), spans in question.lags.items():
        if all(starts[j] - starts[i] < a or starts[j] - starts[i] > b for a, b in spans):
            return False
    for clause in question.clauses:
        if max((starts[q] - starts[p] - c for p, q, c in clause), default=-1) < 0:
            return False
    return not any(starts[k] not in frames for k, frames in question.choices.items())


def away(question, starts):
    total = 0
    for k, start in enumerate(starts):
        wish = question.wish[k] + (starts[question.anchors[k]] if k in question.anchors else 0)
        total += abs(start - wish)
    return total


def by_time_slots(question):
    """The least departure by scipy's milp over one binary a move and frame: no big constants, another formulation.

    A clause is a row that rules out each combination of starts of the moves in it that breaks it; an anchored wish
    costs by the pair of starts, with a binary for each pair.
    """
    slot, cost = {}, []
    for k, last in enumerate(question.latest):
        for t in range(last + 1):
            slot[k, t] = len(slot)
            cost.append(0.0 if k in question.anchors else abs(t - question.wish[k]))
    rows, low, high = [], [], []

    def row(entries, least, most):
        rows.append(entries)
        low.append(least)
        high.append(most)

    for k, last in enumerate(question.latest):
        row({slot[k, t]: 1 for t in range(last + 1)}, 1, 1)
        for t in range(last + 1):
            if k in question.choices and t not in question.choices[k]:
                row({slot[k, t]: 1}, 0, 0)
    for k, anchor in question.anchors.items():
        for t, u in itertools.product(range(question.latest[k] + 1), range(question.latest[anchor] + 1)):
            cost.append(abs(t - u - question.wish[k]))
            row({slot[k, t]: 1, slot[anchor, u]: 1, len(cost) - 1: -1}, -2, 1)
    groups = [((i, j), lambda s, i=i, j=j, v=v: any(a <= s[j] - s[i] <= b for a, b in v)) for (i, j), v in
              question.lags.items()]  # fmt: skip
    groups += [
        (tuple(sorted({x for p, q, _ in c for x in (p, q)})), lambda s, c=c: any(s[q] - s[p] >= n for p, q, n in c))
        for c in question.clauses
    ]
    for who, holds in groups:
        for starts in itertools.product(*(range(question.latest[k] + 1) for k in who)):
            if not holds(dict(zip(who, starts, strict=True))):
                row({slot[k, t]: 1 for k, t in zip(who, starts, strict=True)}, 0, len(who) - 1)
    matrix = np.zeros((len(rows), len(cost)))
    for r, entries in enumerate(rows):
        for column, value in entries.items():
            matrix[r, column] = value
    limits = LinearConstraint(matrix, np.array(low, float), np.array(high, float))
    found = milp(np.array(cost), constraints=limits, integrality=np.ones(len(cost)), bounds=Bounds(0, 1))
    return round(found.fun) if found.success else None


def test_200_questions_by_brute_force():
    rng = np.random.default_rng(11)
    seen = {"none": 0, "moved": 0, "clauses": 0, "anchors": 0, "beats": 0}
    for _ in range(200):
        question = random_question(rng)
        every = itertools.product(*(range(last + 1) for last in question.latest))
        free = [starts for starts in every if kept(question, starts)]
        found = nearest_starts(question)
        assert has_starts(question) == bool(free)
        if not free:
            seen["none"] += 1
            assert found is None
            continue
        least = min(away(question, starts) for starts in free)
        assert kept(question, found)
        assert agrees(question, found)
        assert away(question, found) == least
        seen["moved"] += least > 0
        seen["clauses"] += bool(question.clauses)
        seen["anchors"] += bool(question.anchors)
        seen["beats"] += bool(question.choices)
        # Among the nearest those whose last arrival is earliest, where that is asked for.
        moves = rng.integers(1, 6, len(found)).tolist()
        short = nearest_starts(question, moves)
        ends = [max(map(sum, zip(s, moves, strict=True))) for s in free if away(question, s) == least]
        if least > 0:
            assert away(question, short) == least
            assert max(map(sum, zip(short, moves, strict=True))) == min(ends)
    assert min(seen.values()) >= 20


def test_40_questions_by_another_formulation():
    rng = np.random.default_rng(12)
    for _ in range(40):
        question = random_question(rng)
        found = nearest_starts(question)
        assert (None if found is None else away(question, found)) == by_time_slots(question)


def test_the_shortest_phase_under_clauses_by_brute_force():
    rng = np.random.default_rng(13)
    for _ in range(30):
        question = random_question(rng)
        moves = rng.integers(1, 5, len(question.wish)).tolist()
        roomy = Starts(question.wish, [11] * len(moves), question.lags, question.choices, question.clauses)
        every = itertools.product(range(12), repeat=len(moves))
        ends = [max(map(sum, zip(s, moves, strict=True))) for s in every if kept(roomy, s)]
        found = shortest_phase(question, moves, 11, choices=True)
        assert (found is None) == (not ends)
        assert found is None or found[0] == min(ends) + 1


def test_an_empty_clause_never_holds():
    question = Starts([0, 0], [5, 5], {}, {}, ((),))
    assert nearest_starts(question) is None
    assert shortest_phase(question, [1, 1], 9) is None


# --- Conflicts: Junker's definition, looked up subset by subset -----------------------------------------------------


@settings(max_examples=150, deadline=None)
@given(st.lists(st.frozensets(st.integers(0, 7), min_size=1, max_size=4), max_size=5))
def test_a_conflict_is_one_and_none_of_it_can_be_spared(quarrels):
    """Rules are numbers; some sets of them contradict each other, and everything that holds such a set does too."""

    def feasible(rules):
        return not any(quarrel <= set(rules) for quarrel in quarrels)

    found = conflict(range(8), feasible)
    if not quarrels:
        assert found == ()
        return
    assert not feasible(found)
    assert all(feasible(found[:k] + found[k + 1 :]) for k in range(len(found)))
    assert list(found) == sorted(found)


def test_a_negative_cycle_is_the_conflict():
    # Cormen, Leiserson, Rivest, Stein, 3rd ed., Exercise 24.4-2, from memory: x_i - x_j <= b has no solution. By the
    # book's theorem 24.9 a system has none exactly where its graph has a cycle of negative weight; an irreducible
    # conflict is one such cycle, e.g. x2 - x4 <= -6, x4 - x1 <= 3, x1 - x2 <= 4 is none (it adds up to 1).
    system = [(1, 2, 4), (1, 5, 5), (2, 4, -6), (3, 2, 1), (4, 1, 3), (4, 3, 5), (4, 5, 10), (5, 3, -4), (5, 4, -8)]

    def feasible(rules):
        return has_starts(Starts([20] * 5, [40] * 5, {}, {}, tuple(((i - 1, j - 1, -b),) for i, j, b in rules)))

    found = conflict(system, feasible)
    assert sum(b for _, _, b in found) < 0
    # A cycle: each variable in it once on the left and once on the right.
    assert sorted(i for i, _, _ in found) == sorted(j for _, j, _ in found) == sorted({i for i, _, _ in found})


# --- Small pieces ---------------------------------------------------------------------------------------------------


@given(st.lists(st.integers(-9, 9), min_size=8, max_size=8))
def test_common_lags_are_those_in_both(ends):
    cuts = sorted(ends[:4]), sorted(ends[4:])
    one, two = (tuple((a, b) for a, b in zip(c[::2], c[1::2], strict=True)) for c in cuts)
    both = {n for a, b in one for n in range(a, b + 1)} & {n for a, b in two for n in range(a, b + 1)}
    assert {n for a, b in common_lags(one, two) for n in range(a, b + 1)} == both


@pytest.mark.parametrize(
    ("lengths", "frames", "shares"),
    [
        # By hand, largest remainder: 6.67 and 13.33; 3.33 three times, the first gets the spare; a sliver its frame.
        ((30, 60), 20, (7, 13)), ((1, 1, 1), 10, (4, 3, 3)), ((0.001, 50), 10, (1, 9)), ((5, 0, 5), 3, (1, 1, 1)),
        ((0, 0), 5, (3, 2)),
    ],
)  # fmt: skip
def test_frames_shared_by_hand(lengths, frames, shares):
    assert share_frames(lengths, frames) == shares


@given(st.lists(st.floats(0, 1e4), min_size=1, max_size=6), st.integers(0, 60))
def test_frames_are_shared_fairly(lengths, more):
    frames = len(lengths) + more
    shares = share_frames(lengths, frames)
    assert sum(shares) == frames
    assert min(shares) >= 1


def test_stops_that_a_short_move_leaves_out():
    # Stretches of 10, 2, 30, 5 mm in 3 frames: the shortest, 2, joins the shorter neighbour, 10. In 1 frame: no stop.
    assert passed_marks([0, 10, 12, 42, 47], 3) == [0, 12, 42, 47]
    assert passed_marks([0, 10, 12, 42, 47], 1) == [0, 47]
    assert passed_marks([47, 42, 12, 10, 0], 3) == [47, 42, 12, 0]
    assert passed_marks([0, 10, 12, 42, 47], 4) == [0, 10, 12, 42, 47]
