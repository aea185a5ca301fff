"""What a section is made of: its frames at its rate; and the pieces that say what has changed."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tracks import FRAMES
from test_frame_content import (
    ASSEMBLY,
    FILM,
    PICTURES,
    SAMPLED,
    TRACKS,
    camera,
    contents_of,
    digests,
    edited,
    edits,
    held,
    hero,
    in_part,
    in_shot,
    later,
    picture,
    plate_frame,
    registered,
    rekeyed,
    renamed,
    split,
    swapped,
    tilted,
    turned,
)

from choreo.model.sign_off import from_runs, in_runs, paired, runs
from choreo.model.tracks import FilmSection
from choreo.review.section_content import section_now

LAST = 2 * FRAMES - 1
sections = st.tuples(st.integers(0, LAST), st.integers(0, LAST)).map(sorted)


def now(film, first=0, last=LAST, name="all"):
    return section_now(contents_of(film), film[0], FilmSection(name, first, last))


@settings(max_examples=60)
@given(one=edits, other=edits, ends=sections)
def test_a_section_is_its_frames_and_so_are_the_pieces_that_it_is_made_of(one, other, ends):
    first, last = ends
    a, b = edited(one), edited([*one, *other])
    made = [now(film, *ends) for film in (a, b)]
    same = digests(a)[first : last + 1] == digests(b)[first : last + 1]
    assert (made[0].content == made[1].content) == same
    assert (made[0].frame_contents == made[1].frame_contents) == same
    assert (made[0].makings == made[1].makings) == same


def test_the_rate_is_part_of_a_picture_and_names_and_places_are_not():
    base = now(FILM, 2, 5)
    slower = now((replace(TRACKS, frame_rate=(25, 1)), ASSEMBLY, PICTURES), 2, 5)
    assert (slower.content == base.content, slower.frame_contents == base.frame_contents) == (False, True)
    common = base.makings.common
    assert [name for name in common if common[name] != slower.makings.common[name]] == ["film"]
    assert now(renamed(FILM, 0, "", 0), 2, 5, "other").content == base.content
    # Twice the same shot: its sections show the same, wherever they lie in the film.
    shot = TRACKS.shots[1]
    film = (replace(TRACKS, shots=(replace(shot, name="first", start_frame=0), shot)), ASSEMBLY, PICTURES)
    assert now(film, 0, 4).content == now(film, FRAMES, FRAMES + 4).content == now(FILM, FRAMES, FRAMES + 4).content


@pytest.mark.parametrize("ends", [(-1, 3), (5, 18), (4, 3)])
def test_frames_that_are_not_in_the_film_are_refused(ends):
    with pytest.raises(ValueError, match="not all in the film"):
        now(FILM, *ends)


# By hand: which piece an edit of one part on frame 3 belongs to.
@pytest.mark.parametrize(
    ("edit", "part", "common", "own"),
    [
        (SAMPLED["position"], "lid", set(), {"path"}),
        (rekeyed, "lid", set(), {"path"}),
        (turned, "lid", set(), {"path"}),
        (SAMPLED["opacity"], "lid", set(), {"look"}),
        (in_part(colour="#000001"), "lid", set(), {"look"}),
        (plate_frame, "knob", set(), {"plate"}),
        (registered, "box", set(), {"plate"}),
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
    before = now(FILM, 0, 8).makings
    after = now(edit(FILM, 0, part, 2 if edit is plate_frame else 3), 0, 8).makings
    assert {name for name in before.common if before.common[name] != after.common[name]} == common
    differ = {
        (one, name) for one, each in before.parts.items() for name in each if each[name] != after.parts[one][name]
    }
    assert differ == {(part, name) for name in own}


def test_a_changed_picture_is_the_plate_of_its_part():
    before = now(FILM, 0, 8).makings
    after = now(picture(FILM, 0, "box", list(PICTURES).index("knob/004.png")), 0, 8).makings
    assert after.common == before.common
    assert [one for one in before.parts if before.parts[one] != after.parts[one]] == ["knob"]


def test_a_move_that_comes_later_is_told_by_its_time():
    # 17 and 33 lie in other powers of two; all else about a frame is told from that frame.
    one, two = (now(later(FILM, start), start + 3, start + 6).makings for start in (17, 33))
    assert {name for name in one.common if one.common[name] != two.common[name]} == {"time"}
    assert one.parts == two.parts


@given(st.lists(st.tuples(st.sampled_from(["0" * 12, "a" * 12, "b" * 12]), st.integers(1, 4)), min_size=1, max_size=9))
def test_runs_stand_for_each_frame(counted):
    said = [digest for digest, count in counted for _ in range(count)]
    line = runs(said)
    assert from_runs(line) == tuple(said)
    assert in_runs(line) == len(said)
    assert line.count(" ") + 1 == 1 + sum(one != other for one, other in pairwise(said))
    other = [f"{number:012x}" for number in range(len(said))]
    assert paired(runs(other), line) == dict(zip(other, said, strict=True))
    assert paired(line, runs(said)) == {one: one for one in said}


def test_how_all_stands_at_the_end_is_told_apart_from_the_still():
    # The lid is taken over on frames 3 to 5; where the knob stands on frame 8 counts there, and is not the still's own.
    rows = np.r_[np.zeros(3), 0.5, 0.75, np.ones(4)]
    film = in_shot(FILM, 0, hero_opacity=np.zeros(FRAMES), hero_parts={"lid": rows})
    one, two = (now(each, 2, 5).makings for each in (film, SAMPLED["position"](film, 0, "knob", 8)))
    assert {name for name in one.common if one.common[name] != two.common[name]} == {"home"}
    assert one.parts == two.parts
