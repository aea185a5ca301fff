"""Starts nearest to the wishes: by hand, by brute force, by another solver in another formulation."""

import itertools
import math

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from choreo.motion.starts import nearest_starts, shortest_phase
from choreo.motion.starts_question import Starts, agrees, allowed_lags

INF = math.inf


# --- Allowed lags, by hand: the whole numbers that lie in none of the open intervals ----------------------------


@pytest.mark.parametrize(
    ("forbidden", "allowed"),
    [
        ([], [(-5, 5)]),
        ([(0.5, 2.5)], [(-5, 0), (3, 5)]),
        ([(0, 2)], [(-5, 0), (2, 5)]),  # the ends of an open interval are free
        ([(0.2, 0.8)], [(-5, 0), (1, 5)]),
        ([(-INF, 1.5)], [(2, 5)]),
        ([(-1.5, INF)], [(-5, -2)]),
        ([(-INF, INF)], []),
        ([(-7, 7)], []),
        ([(-3, -1), (1, 3)], [(-5, -3), (-1, 1), (3, 5)]),
        ([(-3, 1), (1, 3)], [(-5, -3), (1, 1), (3, 5)]),
        ([(0.5, 1.2), (1.3, 2.5)], [(-5, 0), (3, 5)]),
        ([(-5, 2)], [(-5, -5), (2, 5)]),
        ([(-9, -5)], [(-5, 5)]),
        ([(-9, -6)], [(-5, 5)]),
        ([(6, 9)], [(-5, 5)]),
        ([(4.5, 9)], [(-5, 4)]),
    ],
)
def test_allowed_lags_by_hand(forbidden, allowed):
    found = [lag for a, b in allowed_lags(forbidden, 5) for lag in range(a, b + 1)]
    assert found == [lag for a, b in allowed for lag in range(a, b + 1)]
    assert found == [n for n in range(-5, 6) if not any(low < n < high for low, high in forbidden)]


# --- Against brute force and another solver ---------------------------------------------------------------------


def random_question(rng, horizon):
    """Three or four moves, most pairs with one to three forbidden intervals, sometimes beats."""
    count = int(rng.integers(2, 5))
    latest = rng.integers(3, horizon + 1, count).tolist()
    wish = [int(rng.integers(0, last + 1)) for last in latest]
    lags = {}
    for pair in itertools.combinations(range(count), 2):
        cuts = sorted((rng.integers(-2 * horizon, 2 * horizon + 1, 2 * int(rng.integers(0, 4))) / 2).tolist())
        forbidden = [(a, b) for a, b in zip(cuts[::2], cuts[1::2], strict=True) if a < b]
        if forbidden:
            lags[pair] = allowed_lags(forbidden, horizon)
    choices = {}
    if rng.random() < 0.3:
        beats = sorted(rng.choice(horizon, 3, replace=False).tolist())
        choices = {k: tuple(b for b in beats if b <= latest[k]) or (0,) for k in range(count)}
    return Starts(wish, latest, lags, choices)


def breaks(question, starts):
    """The definition, in words of its own: each lag in an allowed span, each start in time and on a choice."""
    for (i, j), spans in question.lags.items():
        if not [1 for low, high in spans if low <= starts[j] - starts[i] <= high]:
            return True
    return any(starts[k] not in frames for k, frames in question.choices.items())


def all_starts(question):
    every = itertools.product(*(range(last + 1) for last in question.latest))
    return [starts for starts in every if not breaks(question, starts)]


def away(question, starts):
    return sum(abs(s - w) for s, w in zip(starts, question.wish, strict=True))


def by_time_slots(question):
    """The least departure by scipy's milp, with one binary a move and frame and one row a pair that collides."""
    slot = {}
    for k, last in enumerate(question.latest):
        for t in range(last + 1):
            slot[k, t] = len(slot)
    cost = np.array([abs(t - question.wish[k]) for k, t in slot], dtype=float)
    rows, low, high = [], [], []
    for k, last in enumerate(question.latest):
        rows.append([1.0 if key[0] == k else 0.0 for key in slot])
        low.append(1.0)
        high.append(1.0)
        for t in range(last + 1):
            if k in question.choices and t not in question.choices[k]:
                cost[slot[k, t]] = 1e6
    for (i, j), spans in question.lags.items():
        for t, u in itertools.product(range(question.latest[i] + 1), range(question.latest[j] + 1)):
            if not any(a <= u - t <= b for a, b in spans):
                row = [0.0] * len(slot)
                row[slot[i, t]] = row[slot[j, u]] = 1.0
                rows.append(row)
                low.append(0.0)
                high.append(1.0)
    limits = LinearConstraint(np.array(rows), np.array(low), np.array(high))
    found = milp(cost, constraints=limits, integrality=np.ones(len(slot)), bounds=Bounds(0, 1))
    return None if not found.success or found.fun >= 1e6 - 1 else round(found.fun)


def check_nearest(question):
    found = nearest_starts(question)
    free = all_starts(question)
    if not free:
        assert found is None
        return
    assert found is not None
    assert not breaks(question, found)
    least = min(away(question, starts) for starts in free)
    assert away(question, found) == least
    if not breaks(question, question.wish):
        assert found == tuple(question.wish)
        return
    # Among the nearest, the earliest: the later a move stands in the list, the more its start weighs.
    weights = [sum((k + 1) * s for k, s in enumerate(starts)) for starts in free if away(question, starts) == least]
    assert sum((k + 1) * s for k, s in enumerate(found)) == min(weights)


def test_200_small_questions_by_brute_force():
    rng = np.random.default_rng(1)
    for _ in range(200):
        check_nearest(random_question(rng, 9))


def test_larger_questions_by_another_solver():
    rng = np.random.default_rng(2)
    for _ in range(12):
        question = random_question(rng, 24)
        found = nearest_starts(question)
        assert (None if found is None else away(question, found)) == by_time_slots(question)


def test_what_agrees_is_what_brute_force_calls_free():
    rng = np.random.default_rng(3)
    for _ in range(10):
        question = random_question(rng, 6)
        free = set(all_starts(question))
        for starts in itertools.product(*(range(last + 2) for last in question.latest)):
            assert agrees(question, starts) == (starts in free)


def test_the_shortest_phase_by_brute_force():
    rng = np.random.default_rng(4)
    for _ in range(20):
        question = random_question(rng, 7)
        moves = rng.integers(1, 6, len(question.wish)).tolist()
        # The phase counts its frames from 0 and shows the arrival: its length is the last arrival plus one.
        roomy = Starts(question.wish, [14] * len(moves), question.lags, {})
        # Beyond the horizon of its spans a lag is free, as the spans that reach it say.
        ends = [max(s + m for s, m in zip(starts, moves, strict=True)) for starts in all_starts(_opened(roomy, 7))]
        found = shortest_phase(_opened(roomy, 7), moves, 14)
        if found is None:
            assert not ends
            continue
        frames, starts = found
        assert frames == min(ends) + 1
        assert not breaks(_opened(roomy, 7), starts)
        assert max(s + m for s, m in zip(starts, moves, strict=True)) == frames - 1


def _opened(question, horizon):
    """Spans that reach the horizon go on beyond it."""
    wide = {
        pair: tuple((-99 if a == -horizon else a, 99 if b == horizon else b) for a, b in spans)
        for pair, spans in question.lags.items()
    }
    return Starts(question.wish, question.latest, wide, question.choices)


# --- Difference constraints: Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms, 3rd ed., section 24.4 --
# x_i - x_j <= b. The solution by shortest paths is, component by component, the largest with x <= 0; so the starts
# nearest to "all as late as can be" are that solution, shifted. Systems (24.3) to (24.10) and Exercise 24.4-1 as
# published; Exercise 24.4-2 ("no solution") from memory.

SYSTEM = [(1, 2, 0), (1, 5, -1), (2, 5, 1), (3, 1, 5), (4, 1, 4), (4, 3, -1), (5, 3, -3), (5, 4, -3)]
EXERCISE_1 = [
    (1, 2, 1), (1, 4, -4), (2, 3, 2), (2, 5, 7), (2, 6, 5), (3, 6, 10), (4, 2, 2), (5, 1, -1), (5, 4, 3), (6, 3, -8),
]  # fmt: skip
EXERCISE_2 = [(1, 2, 4), (1, 5, 5), (2, 4, -6), (3, 2, 1), (4, 1, 3), (4, 3, 5), (4, 5, 10), (5, 3, -4), (5, 4, -8)]


def difference_question(system, count, top):
    lags = {}
    for i, j, b in system:
        low, high = lags.get((j - 1, i - 1), (-top, top))
        lags[j - 1, i - 1] = (low, min(high, b))
    return Starts([top] * count, [top] * count, {pair: (span,) for pair, span in lags.items()}, {})


@pytest.mark.parametrize(("system", "solution"), [(SYSTEM, (-5, -3, 0, -1, -4)), (EXERCISE_1, (-5, -3, 0, -1, -6, -8))])
def test_systems_of_difference_constraints(system, solution):
    question = difference_question(system, len(solution), 20)
    assert agrees(question, [x + 20 for x in solution])
    assert nearest_starts(question) == tuple(x + 20 for x in solution)


def test_a_system_with_a_negative_cycle_has_no_starts():
    question = difference_question(EXERCISE_2, 5, 40)
    assert nearest_starts(question) is None
    assert shortest_phase(question, [1] * 5, 40) is None


# --- Critical paths: published tables of earliest and latest starts ---------------------------------------------
# Tables 1 and 2: course slides, slideplayer.com/slide/3283910. Table 3: homeworklib.com question 1445255, in half
# units. Durations and starts as printed there; who comes before whom was inferred from the printed numbers.

PATHS = {
    "eleven activities": (
        41,
        {
            "A": (4, "", 0, 0), "B": (6, "A", 4, 4), "C": (3, "A", 4, 22), "D": (6, "B", 10, 10),
            "E": (14, "D", 16, 16), "F": (5, "C", 7, 25), "G": (2, "EF", 30, 30), "H": (2, "G", 32, 33),
            "I": (3, "G", 32, 32), "J": (4, "HI", 35, 35), "K": (2, "J", 39, 39),
        },
    ),
    "quiz": (
        22,
        {
            "A": (4, "", 0, 0), "B": (3, "A", 4, 7), "C": (5, "A", 4, 4), "D": (2, "A", 4, 7), "E": (5, "BC", 9, 10),
            "F": (6, "CD", 9, 9), "G": (4, "EF", 15, 15), "H": (3, "G", 19, 19),
        },
    ),
    "halves": (
        36,
        {
            "A": (4, "", 0, 3), "B": (7, "", 0, 0), "C": (3, "AB", 7, 7), "D": (9, "A", 4, 12), "E": (11, "C", 10, 10),
            "F": (1, "DE", 21, 21), "G": (14, "F", 22, 22), "H": (11, "DE", 21, 25),
        },
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", PATHS)
def test_critical_paths(name):
    total, table = PATHS[name]
    names = list(table)
    moves = [duration for duration, *_ in table.values()]
    lags = {}
    for after, (_, before, *_) in table.items():
        for one in before:
            lags[names.index(one), names.index(after)] = ((table[one][0], 2 * total),)
    latest = [total - move for move in moves]
    zeros = [0] * len(names)
    frames, starts = shortest_phase(Starts(zeros, zeros, lags, {}), moves, 2 * total)
    assert frames == total + 1
    assert starts == tuple(row[2] for row in table.values())
    assert nearest_starts(Starts(zeros, latest, lags, {})) == tuple(row[2] for row in table.values())
    assert nearest_starts(Starts(latest, latest, lags, {})) == tuple(row[3] for row in table.values())
    # One frame less than the critical path needs: no starts.
    assert nearest_starts(Starts(zeros, [last - 1 for last in latest], lags, {})) is None
