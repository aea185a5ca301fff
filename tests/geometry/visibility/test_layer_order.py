import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.geometry.visibility.layer_order import EXACT_SIZE, fewest_dropped, fewest_spans, in_one_ring, nearest_order


def table(n, pairs):
    over = np.zeros((n, n), dtype=bool)
    for t, x in pairs:
        over[t, x] = True
    return over


def circulant(n, steps):
    return table(n, [(i, (i + s) % n) for i in range(n) for s in steps])


def has_ring(over):
    return not nx.is_directed_acyclic_graph(nx.from_numpy_array(over, create_using=nx.DiGraph))


def free(n):
    return np.zeros((n, n), dtype=np.int64)


@pytest.mark.parametrize(
    ("n", "steps", "least"),
    [
        # Minimum feedback arc sets of tournaments. n = 3, 5, 7: the worst case over all tournaments is
        # 1, 3, 7 (OEIS A003141; Reid 1969); the rotational tournament of 7 with steps 1, 2, 3 needs 6.
        (3, [1], 1),
        (5, [1, 2], 3),
        (7, [1, 2, 4], 7),
        (7, [1, 2, 3], 6),
    ],
)
def test_fewest_dropped_of_tournaments(n, steps, least):
    over = circulant(n, steps)
    dropped = fewest_dropped(over, free(n))
    assert dropped.sum() == least
    assert not (dropped & ~over).any()
    assert not has_ring(over & ~dropped)


def test_no_tournament_is_worse_than_the_published_worst_case():
    # OEIS A003141: 0, 0, 0, 1, 1, 3, 4, 7, 8, … for n = 0, 1, 2, …; every tournament of 4, and of 5.
    for n, worst in ((4, 1), (5, 3)):
        pairs = list(itertools.combinations(range(n), 2))
        found = [
            fewest_dropped(
                table(n, [p if keep else p[::-1] for p, keep in zip(pairs, bits, strict=True)]), free(n)
            ).sum()
            for bits in itertools.product([True, False], repeat=len(pairs))
        ]
        assert max(found) == worst


def test_the_example_with_one_ring_and_a_tail():
    # By hand: A over B over C over A, and C over D. One relation goes; D stays behind C.
    over = table(4, [(0, 1), (1, 2), (2, 0), (2, 3)])
    cost = free(4)
    cost[[0, 1]] = 1  # giving up C over A is cheapest
    dropped = fewest_dropped(over, cost)
    assert np.argwhere(dropped).tolist() == [[2, 0]]
    # Then only one order is left: front to back A, B, C, D.
    assert nearest_order([0, 1, 2, 3], over & ~dropped) == [3, 2, 1, 0]


def least_by_brute_force(over, cost):
    n = len(over)
    best = None
    for order in itertools.permutations(range(n)):
        rank = np.argsort(order)
        lost = over & (rank[:, None] < rank[None, :])
        price = (lost.sum(), (cost * lost).sum())
        best = price if best is None else min(best, price)
    return best


tables = st.integers(2, 6).flatmap(
    lambda n: st.lists(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)), max_size=24).map(
        lambda pairs: table(n, [p for p in pairs if p[0] != p[1]])
    )
)


@settings(deadline=None, max_examples=60)
@given(tables, st.integers(0, 2**32 - 1))
def test_fewest_dropped_against_all_orders(over, seed):
    cost = np.random.default_rng(seed).integers(0, 20, over.shape)
    dropped = fewest_dropped(over, cost)
    assert not has_ring(over & ~dropped)
    assert (dropped.sum(), (cost * dropped).sum()) == least_by_brute_force(over, cost)


def test_large_rings_are_broken_if_not_by_the_fewest():
    n = EXACT_SIZE + 6
    over = circulant(n, [1])  # one ring: 1 is the fewest
    dropped = fewest_dropped(over, free(n))
    assert dropped.sum() == 1
    over = circulant(n, [1, 2, 5, 9])
    assert not has_ring(over & ~fewest_dropped(over, free(n)))


@settings(deadline=None, max_examples=60)
@given(tables)
def test_rings_against_networkx(over):
    expected = np.zeros_like(over)
    for group in nx.strongly_connected_components(nx.from_numpy_array(over, create_using=nx.DiGraph)):
        if len(group) > 1:
            expected[np.ix_(sorted(group), sorted(group))] = True
    assert (in_one_ring(over) == expected).all()


def acyclic(n, rng):
    order = rng.permutation(n)
    upper = np.triu(rng.random((n, n)) < 0.35, 1)
    out = np.zeros((n, n), dtype=bool)
    out[np.ix_(order, order)] = upper
    return out


@settings(deadline=None, max_examples=40)
@given(st.integers(2, 4), st.integers(1, 8), st.integers(0, 2**32 - 1))
def test_fewest_spans_against_every_cutting(n, frames, seed):
    rng = np.random.default_rng(seed)
    over = np.array([acyclic(n, rng) for _ in range(frames)])
    spans = fewest_spans(over)
    assert [f for s in spans for f in range(s.first, s.last + 1)] == list(range(frames))
    for span in spans:
        assert (span.over == over[span.first : span.last + 1].any(axis=0)).all()
        assert not has_ring(span.over)
    fewest = min(
        cuts
        for cuts in range(frames)
        for inner in itertools.combinations(range(1, frames), cuts)
        if not any(has_ring(over[a:b].any(axis=0)) for a, b in itertools.pairwise([0, *inner, frames]))
    )
    assert len(spans) == fewest + 1


def swapped(first, second):
    return sum(
        (first.index(a) < first.index(b)) != (second.index(a) < second.index(b))
        for a, b in itertools.combinations(first, 2)
    )


def meets(order, over):
    return all(order.index(t) > order.index(x) for t, x in np.argwhere(over))


@settings(deadline=None, max_examples=60)
@given(st.integers(2, 6), st.integers(0, 2**32 - 1))
def test_nearest_order_against_all_orders(n, seed):
    rng = np.random.default_rng(seed)
    over = acyclic(n, rng)
    last = [int(v) for v in rng.permutation(n)]
    found = nearest_order(last, over)
    assert meets(found, over)
    assert swapped(found, last) == min(
        swapped(list(order), last) for order in itertools.permutations(range(n)) if meets(list(order), over)
    )


def test_nearest_order_of_many_layers_is_valid_and_leaves_the_rest_alone():
    n = EXACT_SIZE + 8
    over = table(n, [(0, n - 3), (4, 9)])  # 0 must come above n - 3: a long stretch changes
    found = nearest_order(list(range(n)), over)
    assert meets(found, over)
    assert found[-2:] == [n - 2, n - 1]


def test_an_order_that_still_holds_stays():
    assert nearest_order([2, 0, 1], table(3, [(1, 2)])) == [2, 0, 1]
