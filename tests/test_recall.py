"""What is recalled is what would have been computed; what an edit does not touch is not computed again."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_assemblies import FRONT, TURNED, cross, drawer, stack

from choreo.compile import compile_film
from choreo.errors import ChoreoError, Finding, no_solution
from choreo.model.choreography import Choreography, FrameRate, Orbit, PartMotion, Phase, Pin, Shot
from choreo.recall import Memory, content
from choreo.timed_shot import untimed
from choreo.write.report_json import report_text
from choreo.write.tracks_json import tracks_text

values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.text(max_size=4)
    | st.binary(max_size=4),
    lambda inner: st.lists(inner, max_size=3).map(tuple) | st.dictionaries(st.text(max_size=2), inner, max_size=2),
    max_leaves=8,
)


def said(value):
    """A text that tells values apart, by Python's own repr."""
    return repr(value)


@given(values, values)
def test_two_contents_are_the_same_only_if_their_values_are(one, other):
    assert (content(one) == content(other)) == (said(one) == said(other))


def test_arrays_differ_by_shape_kind_and_numbers():
    whole = np.arange(6.0)
    others = [whole.reshape(2, 3), whole.reshape(3, 2), whole.astype(np.float32), whole + 1e-16 * np.arange(6) + 1e-15]
    digests = [content(array) for array in (whole, *others)]
    assert len(set(digests)) == 5
    assert content(whole.reshape(2, 3).T.copy().T) == content(whole.reshape(2, 3))


def test_what_has_no_known_content_is_refused():
    with pytest.raises(TypeError, match="object"):
        content((1, object()))
    with pytest.raises(TypeError, match="ndarray"):
        content(np.array([object()]))


def test_answers_and_refusals_are_kept_and_the_oldest_forgotten():
    memory, asked = Memory(most=2), []

    def answer(n):
        asked.append(n)
        if n == 2:
            raise no_solution(Finding("none", "There is none."))
        return 10 * n

    for _ in range(2):
        assert memory("pass", (1,), lambda: answer(1)) == 10
        with pytest.raises(ChoreoError):
            memory("pass", (2,), lambda: answer(2))
    assert asked == [1, 2]
    memory("pass", (3,), lambda: answer(3))  # the answer to 1 is now the oldest
    memory("pass", (1,), lambda: answer(1))
    assert asked == [1, 2, 3, 1]
    assert memory("other", (1,), lambda: "else") == "else"


def test_what_was_asked_last_is_kept_longest():
    memory, asked = Memory(most=2), []
    for n in (1, 2, 1, 3, 1):
        memory("pass", (n,), lambda n=n: asked.append(n))
    assert asked == [1, 2, 3]


def film(*, orbit=8.0, stagger=2, delay=0, easing="ease-in-out", azimuth=35.0, gap=20.0, hold=3, pin=None, late=4):
    parts = {"knob": PartMotion(easing, 8, delay)} if delay else {}
    moves = PartMotion(easing, 8)
    first = Shot(
        "burst", replace(TURNED, azimuth=azimuth),
        (Phase("hold", hold), Phase("explode", 30, stagger, moves, parts), Phase("hold", 4)),
        Orbit(orbit), pins={} if pin is None else {"knob": Pin(travel_mm=pin)},
    )  # fmt: skip
    second = Shot("back", FRONT, (Phase("assemble", 24, 1, PartMotion("linear", 6)), Phase("hold", late)))
    return Choreography("assembly.json", FrameRate(24), (960, 540), (0.05,) * 4, gap, 0.5, (first, second))


def texts(assembly, choreography, recall=None):
    try:
        made = compile_film(assembly, choreography, **({} if recall is None else {"recall": recall}))
    except ChoreoError as error:
        return [finding.as_json() for finding in error.findings]
    return tracks_text(made.tracks), report_text(made.report)


EDITS = st.fixed_dictionaries(
    {},
    optional={
        "stagger": st.sampled_from([0, 2, 5]),
        "delay": st.sampled_from([0, 3, 40]),  # the last leaves no time
        "easing": st.sampled_from(["linear", "cubic-bezier(0.34, 1.56, 0.64, 1)", "min-jerk"]),
        "azimuth": st.sampled_from([35.0, 20.0]),
        "orbit": st.sampled_from([8.0, 0.0]),
        "gap": st.sampled_from([20.0, 40.0]),
        "hold": st.sampled_from([3, 1]),
        "late": st.sampled_from([4, 2]),
        "pin": st.sampled_from([None, 25.0]),
    },
)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.sampled_from([stack, cross]), EDITS), min_size=2, max_size=4))
def test_a_round_of_edits_gives_what_a_fresh_compile_gives(edits):
    memory = Memory()
    for product, edit in edits:
        kept = edit if product is stack else {k: v for k, v in edit.items() if k not in ("delay", "pin")}
        assert texts(product(), film(**kept), memory) == texts(product(), film(**kept))


def test_masks_are_those_of_the_camera():
    def still(elevation):
        shot = Shot("still", replace(TURNED, elevation=elevation), (Phase("hold", 3),))
        return Choreography("assembly.json", FrameRate(24), (960, 540), (0.05,) * 4, 20.0, 0.5, (shot,))

    memory = Memory()
    for elevation in (60.0, -60.0):
        view = still(elevation), memory
        assert texts(drawer(), *view) == texts(drawer(), still(elevation))
        made = compile_film(cross(), still(elevation), recall=memory).tracks.shots[0].masking.orders
        assert made == compile_film(cross(), still(elevation)).tracks.shots[0].masking.orders


@pytest.mark.parametrize(
    ("edit", "asked"),
    [
        ({}, {}),
        ({"late": 2}, {"timed": 1, "layout": 1, "tracks": 1, "shot": 1, "masking": 1, "labels": 0}),
        ({"stagger": 5}, {"timed": 1, "tracks": 1, "shot": 1, "masking": 1}),
        ({"easing": "linear"}, {"timed": 1, "tracks": 1, "shot": 1, "masking": 1}),
        ({"delay": 3}, {"timed": 1, "tracks": 1, "shot": 1, "masking": 1}),
        ({"azimuth": 20.0}, {"timed": 1, "layout": 1, "labels": 1, "tracks": 1, "shot": 1, "masking": 1}),
    ],
)
def test_only_what_an_edit_touches_is_computed_again(edit, asked):
    memory = Memory()
    texts(stack(), film(), memory)
    assert memory.asked["layout"] == memory.asked["masking"] == 2
    memory.asked.clear()
    texts(stack(), film(**edit), memory)
    assert memory.asked == {name: count for name, count in asked.items() if count}


def test_an_easing_that_swings_out_is_seen_by_the_layout():
    swings = "cubic-bezier(0.34, 1.56, 0.64, 1)"
    assert untimed(film().shots[0]) == untimed(film(easing="linear", stagger=7).shots[0])
    assert untimed(film().shots[0]) != untimed(film(easing=swings).shots[0])
    assert untimed(film().shots[0]) == untimed(film(delay=9).shots[0])
