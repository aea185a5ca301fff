"""The order of new plates: by hand for a radio, and against all orders of few plates, tried one by one."""

from __future__ import annotations

from itertools import combinations, permutations

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.passes.order_of_names import order_of_names

RADIO = ["back", "battery", "board", "speaker", "tuner", "front", "grille", "window", "dial", "knob", "badge"]
"""Invented. The window is clear, so that nothing is told of it, and its rim lies on the front."""
TOLD = [
    *[("back", part) for part in ("speaker", "front", "grille", "dial", "knob", "badge")],
    *[(part, over) for part in ("battery", "board") for over in ("speaker", "front", "grille")],
    *[("speaker", "front"), ("speaker", "grille"), ("tuner", "front"), ("tuner", "dial")],
    *[("front", part) for part in ("grille", "dial", "knob", "badge")],
]
OVERLAPPING = [
    *TOLD,
    ("back", "battery"),
    ("back", "board"),
    ("board", "tuner"),
    ("window", "front"),
    ("back", "window"),
]


def test_what_is_told_to_lie_behind_another_comes_just_before_it():
    """By hand: the still does not show the led where it shows the front, and nothing else moves."""
    assert list(order_of_names(RADIO, TOLD, OVERLAPPING).parts) == RADIO
    found = order_of_names(
        [*RADIO, "led"], [*TOLD, ("led", "front")], [*OVERLAPPING, ("led", "front"), ("led", "back")]
    )
    assert list(found.parts) == [*RADIO[:5], "led", *RADIO[5:]]
    # Told pairs leave these open, and only these: the speaker, say, is told to lie over the back.
    assert found.named == (
        *[("back", part) for part in ("battery", "board", "window", "led")],
        *[("board", "tuner"), ("front", "window")],
    )
    assert (found.ring, found.against) == ((), ())


def test_of_pairs_that_cannot_all_keep_their_names_the_one_farther_back_does():
    """By hand: c is told behind a, so b cannot lie both over a and under c; a and b come first."""
    found = order_of_names("abc", [("c", "a")], [("b", "c"), ("a", "b"), ("c", "a")])
    assert found.parts == ("c", "a", "b")
    assert (found.named, found.against) == ((("a", "b"),), (("c", "b"),))


def test_a_told_ring_tells_nothing_and_what_is_told_beside_it_holds():
    ring = [("a", "b"), ("b", "c"), ("c", "a")]
    found = order_of_names("abcd", [*ring, ("d", "b")], [])
    assert found.parts == ("a", "d", "b", "c")
    assert (found.told, found.ring) == ((("d", "b"),), tuple(ring))
    assert found.named == (("a", "b"), ("a", "c"), ("b", "c"))


def test_what_told_pairs_lead_to_is_not_decided_by_names():
    found = order_of_names("abc", [("c", "b"), ("b", "a")], [("a", "c")])
    assert found.parts == ("c", "b", "a")
    assert (found.named, found.against) == ((), ())


@st.composite
def cases(draw, most=6, rings=False):
    count = draw(st.integers(1, most))
    parts = "abcdefghijkl"[:count]
    pairs = list(combinations(parts, 2))
    true = draw(st.permutations(parts))
    how = draw(st.lists(st.sampled_from("teo-"), min_size=len(pairs), max_size=len(pairs)))
    turned = {pair: rings and draw(st.booleans()) for pair, one in zip(pairs, how, strict=True) if one == "t"}
    told = [pair if (true.index(pair[0]) < true.index(pair[1])) ^ turned[pair] else pair[::-1] for pair in turned]
    overlapping = [pair for pair, one in zip(pairs, how, strict=True) if one in "to"]
    return parts, draw(st.permutations(told)), draw(st.permutations(overlapping))


@given(cases())
@settings(max_examples=150, deadline=None)
def test_it_is_the_best_of_all_orders(case):
    """Every told pair kept; then overlapping pairs in the order of names, first ones first; then first names back."""
    parts, told, overlapping = case

    def worth(order):
        at = {part: k for k, part in enumerate(order)}
        as_named = [at[one] < at[two] for one, two in sorted(overlapping)]
        return [all(at[one] < at[two] for one, two in told), as_named, [-at[part] for part in parts]]

    assert order_of_names(parts, told, overlapping).parts == max(permutations(parts), key=worth)


@given(cases(most=10, rings=True), st.integers(0, 10))
@settings(max_examples=200, deadline=None)
def test_a_plate_that_overlaps_nothing_changes_nothing_among_the_others(case, where):
    parts, told, overlapping = case
    before = order_of_names(parts, told, overlapping)
    after = order_of_names([*parts[:where], "x", *parts[where:]], told, overlapping)
    assert tuple(part for part in after.parts if part != "x") == before.parts
    assert (after.named, after.against, after.ring) == (before.named, before.against, before.ring)


@given(cases(most=10, rings=True))
@settings(max_examples=200, deadline=None)
def test_told_pairs_hold_but_in_a_ring_and_others_lie_as_named_unless_forced(case):
    """What forces a pair is looked up as a path by networkx, through pairs that come before it."""
    parts, told, overlapping = case
    found = order_of_names(parts, told, overlapping)
    at = {part: k for k, part in enumerate(found.parts)}
    assert sorted(found.parts) == sorted(parts)
    graph = nx.DiGraph(told)
    assert set(found.ring) == {(one, two) for one, two in told if nx.has_path(graph, two, one)}
    assert set(found.told) == set(told) - set(found.ring)
    assert all(at[one] < at[two] for one, two in found.told)
    held = nx.DiGraph(found.told)
    held.add_nodes_from(parts)
    for one, two in sorted(overlapping):
        assert (at[two] < at[one]) == nx.has_path(held, two, one)
        if at[one] < at[two]:
            held.add_edge(one, two)
