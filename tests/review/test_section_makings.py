"""Pieces of a section's content differ exactly where the whole does, and name what was edited."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tracks import FRAMES
from test_section_content import (
    ASSEMBLY,
    PICTURES,
    TRACKS,
    camera,
    edited,
    edits,
    held,
    hero,
    in_part,
    picture,
    plate_frame,
    registered,
    rekeyed,
    sampled,
    split,
    swapped,
    tilted,
    turned,
)

from choreo.review.section_content import section_digest
from choreo.review.section_makings import section_makings

LAST = 2 * FRAMES - 1


@settings(max_examples=150)
@given(
    one=edits,
    other=edits,
    ends=st.tuples(st.integers(0, LAST), st.integers(0, LAST)).map(sorted),
)
def test_pieces_differ_exactly_where_the_whole_does(one, other, ends):
    a, b = edited(one), edited([*one, *other])
    wholes = [section_digest(*film[:2], *ends, film[2]) for film in (a, b)]
    pieces = [section_makings(*film[:2], *ends, film[2]) for film in (a, b)]
    assert (wholes[0] == wholes[1]) == (pieces[0] == pieces[1])


# By hand: which piece an edit of one part on frame 3 belongs to.
@pytest.mark.parametrize(
    ("edit", "part", "common", "own"),
    [
        (sampled("position"), "lid", set(), {"path"}),
        (rekeyed, "lid", set(), {"path"}),
        (turned, "lid", set(), {"path"}),
        (sampled("screen"), "lid", {"screen"}, set()),
        (sampled("opacity"), "lid", set(), {"look"}),
        (in_part(colour="#000001"), "lid", set(), {"look"}),
        (plate_frame, "box", set(), {"plate"}),
        (registered, "lid", set(), {"plate"}),
        (tilted, "box", set(), {"plate"}),
        (tilted, "lid", {"hero"}, set()),
        (hero, "lid", {"hero"}, set()),
        (camera, "lid", {"camera"}, set()),
        (swapped, "lid", {"order"}, set()),
        (held, "lid", {"masks"}, set()),
        (split, "lid", set(), set()),
    ],
)
def test_an_edit_is_named(edit, part, common, own):
    before = section_makings(TRACKS, ASSEMBLY, 0, 8, PICTURES)
    film = edit((TRACKS, ASSEMBLY, PICTURES), 0, part, 3)
    after = section_makings(*film[:2], 0, 8, film[2])
    assert {name for name in before.common if before.common[name] != after.common[name]} == common
    differ = {
        (one, name) for one, each in before.parts.items() for name in each if each[name] != after.parts[one][name]
    }
    assert differ == {(part, name) for name in own}


def test_a_changed_picture_is_the_plate_of_its_part():
    before = section_makings(TRACKS, ASSEMBLY, 0, 8, PICTURES)
    film = picture((TRACKS, ASSEMBLY, PICTURES), 0, "box", list(PICTURES).index("knob/004.png"))
    after = section_makings(*film[:2], 0, 8, film[2])
    assert after.common == before.common
    assert [one for one in before.parts if before.parts[one] != after.parts[one]] == ["knob"]
