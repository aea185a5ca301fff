"""Nearest starts by looking: the same optimum as that of the integer program, whichever of the two is asked."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.motion import starts as motion_starts
from choreo.motion.starts import nearest_starts
from choreo.motion.starts_question import Starts, agrees
from choreo.motion.starts_search import StartsSearch, TooLongError

FAR = 200


@st.composite
def questions(draw):
    """A phase of some moves: beats or none, debts of pairs, clauses, anchors."""
    count = draw(st.integers(2, 9))
    move, step = draw(st.integers(3, 12)), draw(st.integers(0, 5))
    some = st.integers(0, count - 1)
    wish = [k * step + draw(st.sampled_from([0, 0, 0, 7])) for k in range(count)]
    latest = [draw(st.integers(count, 60)) for _ in wish]
    lags = {}
    for _ in range(draw(st.integers(1, count))):
        i, j = sorted((draw(some), draw(some)))
        if i < j:
            low, high = draw(st.integers(-move, 0)), draw(st.integers(0, move))
            lags[i, j] = draw(st.sampled_from([((high, FAR),), ((-FAR, low),), ((-FAR, low), (high, FAR)), ((0, 0),)]))
    beats = draw(st.one_of(st.none(), st.integers(2, 7)))
    choices = {} if beats is None else {k: tuple(range(1, 70, beats)) for k in range(count)}
    pairs = st.tuples(some, some, st.integers(-move, move)).filter(lambda one: one[0] != one[1])
    clauses = draw(st.lists(st.lists(pairs, min_size=1, max_size=3).map(tuple), max_size=2).map(tuple))
    anchors = {k: draw(st.integers(0, k - 1)) for k in draw(st.sets(st.integers(1, count - 1), max_size=2))}
    moves = draw(st.one_of(st.none(), st.just([move] * count)))
    return Starts(wish, latest, dict(sorted(lags.items())), choices, clauses, anchors), moves


def key(question, starts, moves):
    """What is least, then what is least of that, and so on."""
    if starts is None:
        return None
    away = sum(abs(a - b) for a, b in zip(starts, question.wished(starts), strict=True))
    last = 0 if moves is None else max(a + m for a, m in zip(starts, moves, strict=True))
    return away, last, sum((k + 1) * start for k, start in enumerate(starts))


@settings(max_examples=150, deadline=None)
@given(questions())
def test_the_search_finds_what_the_integer_program_finds(asked):
    question, moves = asked
    found = nearest_starts(question, moves)
    assert found is None or agrees(question, found)
    everybody = range(len(question.wish))
    latest = dict(enumerate(question.latest))
    # The whole question in one program, in the three steps that define the answer.
    first = motion_starts._by_program(question, everybody, latest, moves)
    if first is not None and moves is not None:
        end = max(first[k] + moves[k] for k in everybody)
        soon = {k: min(latest[k], end - moves[k]) for k in everybody}
        first = motion_starts._by_program(question, everybody, soon, None)
    whole = None if first is None else tuple(first[k] for k in everybody)
    assert key(question, found, moves) == key(question, whole, moves)


def test_moves_that_owe_nothing_to_each_other_need_no_program(monkeypatch):
    """Thirty moves on beats, two of which get into each other's way."""
    monkeypatch.setattr(motion_starts, "_by_program", None)
    beats = tuple(range(0, 200, 6))
    question = Starts([5 * k for k in range(30)], [200] * 30, {(3, 4): ((20, FAR),)}, dict.fromkeys(range(30), beats))
    found = nearest_starts(question)
    for k in set(range(30)) - {3, 4}:
        assert abs(found[k] - 5 * k) <= 3
    # 15 and 20 are asked for, 20 apart at least, so 24 on beats. They depart by 19 together wherever the first lies
    # from 0 to 12: 12 and 36 do, as do 0 and 24; the earliest counts.
    assert (found[3], found[4]) == (0, 24)


def test_where_looking_takes_too_long_the_program_is_asked():
    """Twelve moves that all want frame 30 and keep three frames apart, in any order: too many to look at."""
    pairs = {(i, j): ((-FAR, -3), (3, FAR)) for j in range(12) for i in range(j)}
    question = Starts([30] * 6, [80] * 6, {pair: spans for pair, spans in pairs.items() if pair[1] < 6}, {})
    with pytest.raises(TooLongError):
        StartsSearch(question, range(6), dict.fromkeys(range(6), 80)).run(50)
    found = nearest_starts(question)
    # Six starts three apart around 30 depart by 3, 3, 6, 6 and 9 beside one that lies on it.
    assert key(question, found, None)[0] == 27


def test_of_equally_near_starts_the_earliest_win_by_brute_force():
    """Three moves that keep apart in either order: many ties, all starts tried."""
    rng = random.Random(3)
    for _ in range(120):
        pairs = [pair for pair in itertools.combinations(range(3), 2) if rng.random() < 0.8]
        lags = {pair: ((-FAR, -least), (least, FAR)) for pair in pairs for least in [rng.randint(1, 4)]}
        question = Starts([rng.randint(0, 9) for _ in range(3)], [12] * 3, lags, {})
        every = (starts for starts in itertools.product(range(13), repeat=3) if agrees(question, starts))
        assert key(question, nearest_starts(question), None) == min(key(question, starts, None) for starts in every)
